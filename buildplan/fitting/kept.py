"""What every writer here asks: whether a row was made by this key already, and whether a day is over."""

from collections.abc import Hashable, Mapping
from datetime import date
from typing import Any, TypeVar
from uuid import UUID

from django.db import models

from buildplan.fitting.problems import DayAhead
from inventory.common.history import changed_by, delete_many, put_many
from inventory.models import Member

Row = TypeVar("Row", bound=models.Model)
Key = TypeVar("Key", bound=Hashable)


def known(model: type[Row], key: UUID | None) -> Row | None:
    """The row that was made by this key; None without one."""
    return None if key is None else model._default_manager.filter(key=key).first()  # noqa: SLF001 - Django's documented API


def saved(row: Row, by: Member) -> Row:
    """The row, saved by a member."""
    changed_by(row, by).save()
    return row


def put_these(model: type[Row], present: Mapping[Key, Row], wanted: Mapping[Key, Mapping[str, Any]], by: Member) -> None:
    """Make the rows of one model those of `wanted`, which may be none."""
    if wanted:
        put_many(model, present, wanted, by)
    else:
        delete_many(model, list(present.values()), by)


def refuse_ahead(on: date, today: date) -> None:
    """Refuse a day to come: what was said, decided or done has a day that is over."""
    if on > today:
        raise DayAhead("on", f"{on} is still to come: give a day up to {today}")
