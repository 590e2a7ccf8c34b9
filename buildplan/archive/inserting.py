"""The rows of one table on their way into the database."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from django.db import DataError, IntegrityError, connection, transaction

from buildplan.archive import kinds
from buildplan.archive.looking import Look, Plan, photo_name
from buildplan.archive.problems import BadCell
from inventory.common.rows import batches

MOST_VALUES = 30_000  # of one statement: PostgreSQL takes 65,535, and SQLite 32,766
MOST_ROWS = 1000


@dataclass(frozen=True, slots=True)
class Into:
    """Where rows go: the new workshop's id and code. `told` hears how many are written; `pictures` gathers the files of each photo."""

    look: Look
    workshop: int
    code: str
    told: Callable[[int], None]
    pictures: dict[str, list[str]] = field(default_factory=dict)


class Rows:
    """The rows of one table on their way into the database."""

    def __init__(self, into: Into, plan: Plan, readers: Sequence[Callable[[str], Any]]) -> None:
        """`readers` are how each column of the file is read."""
        self._into, self._plan, self._readers = into, plan, readers
        self._table = plan.table
        meta = self._table.model._meta  # noqa: SLF001 - Django's documented API
        made = [meta.get_field(name) for name in self._table.held_back]
        constant = [one for one in meta.concrete_fields if one.name in {"workshop", "history_relation"}]
        photo = [meta.get_field("file")] if self._table.label == kinds.PHOTO else []
        self._fields = [*(column.field for column in plan.columns), *plan.left_to_default, *made, *constant, *photo]
        self._first = [one.get_db_prep_save(one.get_default(), connection) for one in plan.left_to_default]
        self._fillers = [self._table.held_back[one.name] for one in made]
        self._constants = [one.name for one in constant]
        names = ", ".join(f'"{one.column}"' for one in self._fields)
        self._marks = f"({', '.join(['%s'] * len(self._fields))})"
        self._sql = f'INSERT INTO "{meta.db_table}" ({names}) VALUES '  # noqa: S608 - names of our tables
        self._name = {column.name: at for at, column in enumerate(plan.columns)}

    def write(self) -> None:
        """All of them, some thousand values at a time."""
        size = min(MOST_ROWS, MOST_VALUES // len(self._fields))
        for batch in batches(self._rows(), size):
            self._insert(batch)
            self._into.told(len(batch))

    def _rows(self) -> Iterator[tuple[int, list[Any]]]:
        for line, cells in self._into.look.lines(self._plan.file):
            row = self._row(line, cells)
            if row is not None:
                yield line, row

    def _row(self, line: int, cells: Sequence[str]) -> list[Any] | None:
        try:
            values = [read(text) for read, text in zip(self._readers, cells, strict=True)]
        except BadCell:
            self._tell_faults(line, cells)
            return None
        own = values[self._plan.own]
        values += self._first
        values += [filler(own) for filler in self._fillers]
        values += [own if name == "history_relation" else self._into.workshop for name in self._constants]
        if self._table.label == kinds.PHOTO:
            values.append(self._picture(line, cells))
        if self._table.label == kinds.WORKSHOP:
            values[self._name["code"]] = self._into.code
        return values

    def _tell_faults(self, line: int, cells: Sequence[str]) -> None:
        for column, read, text in zip(self._plan.columns, self._readers, cells, strict=True):
            try:
                read(text)
            except BadCell as error:
                self._into.look.fault(f"{self._plan.file.name}:{line}: {column.name}: {error}")

    def _picture(self, line: int, cells: Sequence[str]) -> str:
        digest = cells[self._name["digest"]]
        if not self._into.look.has_photo(digest):
            self._into.look.fault(f"{self._plan.file.name}:{line}: digest: the photo {photo_name(digest)} is missing from the archive")
        name = f"{self._into.workshop}/{uuid4().hex}.jpg"
        self._into.pictures.setdefault(digest, []).append(name)
        return name

    def _insert(self, batch: Sequence[tuple[int, list[Any]]]) -> None:
        """Insert them; where the database refuses, find the row by halves."""
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                marks = ", ".join([self._marks] * len(batch))
                cursor.execute(self._sql + marks, [value for _, row in batch for value in row])
        except (IntegrityError, DataError) as error:
            if len(batch) == 1:
                self._into.look.fault(f"{self._plan.file.name}:{batch[0][0]}: {_refusal(error)}")
                return
            half = len(batch) // 2
            self._insert(batch[:half])
            self._insert(batch[half:])


def _refusal(error: Exception) -> str:
    """Which rule of the database a row breaks."""
    text = str(error).splitlines()[0]
    if "unique" in text.lower():
        return f"another row, of this workshop or of another one here, has the same already ({text}). Is a copy of this workshop here?"
    return f"the database refuses it ({text})"
