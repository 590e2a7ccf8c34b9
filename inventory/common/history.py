"""Who changed an editable row."""

from typing import TypeVar

from django.db import models

Row = TypeVar("Row", bound=models.Model)


def changed_by(row: Row, by: models.Model | None) -> Row:
    """Name the member behind the next save or delete of `row`; the history keeps it."""
    row._history_user = by  # type: ignore[attr-defined]  # noqa: SLF001 - simple-history's documented hook
    return row
