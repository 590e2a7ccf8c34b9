"""The tables of an archive, as the models tell them: every one of a workshop, with its history."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cache
from typing import Any

from django.apps import apps
from django.db import models

from buildplan.archive import kinds

HISTORY_ID = "history_id"
_RELATION = "history_relation"  # the row itself once more: its `id` says it


class Kind(Enum):
    """How the value of a column is carried over."""

    PLAIN = "plain"
    OWN = "own"  # the row's id; in a history the id of the row that it is of
    LINK = "link"  # a foreign key
    REF = "ref"
    TEXT = "text"  # ids among other things
    JSON = "json"
    ACCOUNT = "account"


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a file. `target` is the table whose id it holds, where it holds one."""

    name: str
    field: "models.Field[Any, Any]"
    kind: Kind = Kind.PLAIN
    target: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its file, the columns that are written, and those that are made anew or are the same in all rows.

    `of` is the table whose earlier rows it keeps, blank for one that keeps its own.
    """

    model: type[models.Model]
    label: str
    file: str
    columns: tuple[Column, ...]
    held_back: Mapping[str, kinds.Filler]
    of: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names, as the file's first row has them."""
        return tuple(column.name for column in self.columns)

    def of_workshop(self, workshop: int) -> "models.QuerySet[models.Model, Any]":
        """Its rows of a workshop, in the order in which they were made."""
        rows = self.model._base_manager.order_by("pk")  # noqa: SLF001 - Django's documented API; the workshop is named, so no scope is needed
        if kinds.WORKSHOP in (self.label, self.of):
            return rows.filter(id=workshop)
        return rows.filter(workshop=workshop)


@cache
def all_tables() -> Mapping[str, Table]:
    """Every table of an archive by its label, those of the inventory first."""
    found = [
        _table(model) for model in apps.get_models(include_auto_created=True) if not kinds.is_left_out(model) and not _left_with(model)
    ]
    return {table.label: table for table in found}


def original(model: type[models.Model]) -> type[models.Model] | None:
    """Whose history a table is; None for one that is no history."""
    return getattr(model, "instance_type", None) if hasattr(model, HISTORY_ID) else None


def _left_with(model: type[models.Model]) -> bool:
    """The history of a table that is left out goes with it."""
    of = original(model)
    return of is not None and kinds.is_left_out(of)


def _table(model: type[models.Model]) -> Table:
    of, meta = original(model), model._meta  # noqa: SLF001 - Django's documented API
    label = meta.label
    held = kinds.HELD_BACK.get(label, {})
    known = [field for field in meta.concrete_fields if field.name not in {HISTORY_ID, _RELATION, "workshop"}]
    if label == kinds.PHOTO:
        known = [field for field in known if field.name != "file"]  # made anew: the digest finds the picture
    named = of._meta.label if of else label  # noqa: SLF001 - likewise
    columns = tuple(_column(field, named) for field in known if field.name not in held)
    present = {field.name for field in meta.concrete_fields}
    fillers = {name: filler for name, filler in held.items() if name in present}
    return Table(model, label, f"tables/{meta.app_label}/{model.__name__}.csv", columns, fillers, of._meta.label if of else "")  # noqa: SLF001


def _column(field: "models.Field[Any, Any]", table: str) -> Column:
    path = f"{table}.{field.name}"
    if field.name == "id":
        return Column("id", field, Kind.OWN, table)
    if isinstance(field, models.ForeignKey):
        target = field.related_model._meta.label  # noqa: SLF001 - likewise
        return Column(field.name, field, Kind.ACCOUNT if target == kinds.ACCOUNT else Kind.LINK, target)
    if isinstance(field, models.JSONField):
        return Column(field.name, field, Kind.JSON, path)
    if path in kinds.TEXTS:
        return Column(field.name, field, Kind.TEXT, path)
    if field.name == "ref" or path in kinds.REF_COLUMNS:
        return Column(field.name, field, Kind.REF)
    return Column(field.name, field)


def attname(column: Column) -> str:
    """What a query asks for: the id of a link, the address of an account."""
    return f"{column.name}__email" if column.kind is Kind.ACCOUNT else column.field.attname


__all__ = ["HISTORY_ID", "Column", "Kind", "Table", "all_tables", "attname", "original"]
