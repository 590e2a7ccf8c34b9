"""How the cells of an archive are read: values as they are, and whatever names a row by the row's new id."""

from collections.abc import Callable, Mapping
from typing import Any

from buildplan.archive import kinds
from buildplan.archive.cells import json_reader, reader, row_id, shown
from buildplan.archive.looking import Look, Plan
from buildplan.archive.problems import BadCell
from buildplan.archive.tables import Column, Kind, Table


class Readers:
    """The readers of an archive whose rows have their new ids. `accounts` are the ids of accounts by their addresses."""

    def __init__(self, look: Look, accounts: Mapping[str, int]) -> None:
        """Nothing is read yet."""
        self._look, self._accounts = look, accounts

    def of(self, plan: Plan) -> list[Callable[[str], Any]]:
        """How each column of a file is read."""
        return [self._reader(plan.table, column) for column in plan.columns]

    def _reader(self, table: Table, column: Column) -> Callable[[str], Any]:
        if column.kind is Kind.OWN:
            return self._owns(table)
        if column.kind is Kind.JSON:
            rename = kinds.JSON.get(column.target, kinds.as_it_is)
            return json_reader(column.field, lambda value: rename(value, self._any))
        if column.kind in {Kind.LINK, Kind.ACCOUNT}:
            read_link = self._links(column) if column.kind is Kind.LINK else self._account
            return _or_none(read_link, nullable=column.field.null)
        read, named = reader(column.field), self._named(column)
        return read if named is None else lambda text: named(read(text))

    def _named(self, column: Column) -> Callable[[Any], Any] | None:
        """How the ids in a text are renamed; None for one that has none."""
        if column.kind is Kind.REF:
            return self._ref
        rename = kinds.TEXTS.get(column.target)
        return None if rename is None else lambda text: rename(text, self._any)

    def _owns(self, table: Table) -> Callable[[str], Any]:
        """The row's own id; in a history that of the row that it is of, which may be gone."""
        numbers = self._look.numbers[table.of or table.label]
        return (lambda text: numbers.any(row_id(text))) if table.of else (lambda text: numbers.row(row_id(text)))

    def _links(self, column: Column) -> Callable[[str], int]:
        numbers, strict, target = self._look.numbers[column.target], column.field.db_constraint, column.target  # type: ignore[attr-defined]

        def read(text: str) -> int:
            old = row_id(text)
            new = numbers.row(old) if strict else numbers.any(old)
            if new is None:
                raise BadCell(f"no row {old} of {target} is in this archive")
            return new

        return read

    def _account(self, address: str) -> int:
        if address not in self._accounts:
            raise BadCell(f"{shown(address)} is no member's address")
        return self._accounts[address]

    def _any(self, table: str, old: int) -> int:
        return self._look.numbers[table].any(old) if 0 < old < kinds.MOST_ID else old  # 0 is nobody's

    def _ref(self, text: Any) -> Any:
        """A reference with the new id; a text that is none stays as it is."""
        if not text:
            return text
        kind, colon, rest = text.partition(":")
        number, slash, behind = rest.partition("/")
        if not colon or kind not in kinds.REFS or not kinds.is_id(number) or not self._is_ref(kind, int(number)):
            return text
        return f"{kind}:{self._any(kinds.REFS[kind], int(number))}{slash}{behind}"

    def _is_ref(self, kind: str, number: int) -> bool:
        """A seal day's list names a lot that is still on its way by its code, which may be a number too."""
        return kind not in kinds.OR_CODE or self._look.numbers[kinds.REFS[kind]].row(number) is not None


def _or_none(read: Callable[[str], int], *, nullable: bool) -> Callable[[str], int | None]:
    def read_or_none(text: str) -> int | None:
        if text:
            return read(text)
        if nullable:
            return None
        raise BadCell("blank: this column needs a value in every row")

    return read_or_none
