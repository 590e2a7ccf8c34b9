"""Tables from .csv, .xlsx or a folder of .csv: rows one at a time, each numbered, and all problems at once.

The header is row 1. A row has the number of the line on which it starts, which in a sheet is its own number.
"""

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TypeAlias

from openpyxl.utils import get_column_letter

from buildplan.loading.columns import COLUMNS, Columns, in_message, near, read_header
from buildplan.loading.csv_tables import CsvFile
from buildplan.loading.mapped import Mapped
from buildplan.loading.mapping import ColumnMap
from buildplan.loading.problems import NoSuchPath, Problems
from buildplan.loading.records import Record, Source, Unreadable, ragged_text, shown, trim
from buildplan.loading.xlsx_tables import Book

__all__ = ["COLUMNS", "KINDS", "Columns", "NoSuchPath", "Problems", "Row", "Table", "near", "open_tables"]

# What can be loaded, and its tables: the first must be there.
KINDS: Mapping[str, tuple[str, ...]] = {
    "catalogue": ("catalogue",),
    "stock": ("stock",),
    "plan": ("steps", "needs", "rows", "seams", "blanks", "pieces"),
    "packing": ("packing",),
}
TABLES: Mapping[str, tuple[str, ...]] = {**KINDS, "log": ("log",)}  # with what only the command loads
ROWS_PER_REPORT = 1000

Openers: TypeAlias = dict[str, tuple[str, Callable[[], Source]]]
Progress: TypeAlias = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Row:
    """One row that has something in it. `where` is what messages call it, as `stock.csv:3`."""

    where: str
    cells: Mapping[str, str]
    decimal_comma: bool
    called: Mapping[str, str] = field(default_factory=dict)  # columns that the file names otherwise, as messages name them

    def __getitem__(self, column: str) -> str:
        """The trimmed text of a column, empty where the file has no such column."""
        return self.cells.get(column, "")

    def error(self, column: str, text: str) -> str:
        """The message that `text` is wrong with that column of this row."""
        return f"{self.where}: {self.called.get(column, column)}: {text}"


class Table:
    """One table of a file. Its header is already checked; `rows` reads the rest."""

    def __init__(self, name: str, source: Source, problems: Problems) -> None:
        """Read the header. Raises `Unreadable` where there is none."""
        self.name = name
        self.label = source.label
        self._source = source
        self._problems = problems
        self._digest: str | None = None
        self._header = read_header(name, source, problems)
        self._called: Mapping[str, str] = source.called if isinstance(source, Mapped) else {}

    @property
    def columns(self) -> frozenset[str]:
        """The known columns that the file has."""
        return frozenset(self._header.positions)

    @property
    def digest(self) -> str:
        """SHA-256 of the table's name and filled cells in the order of its rows, known once `rows` has ended.

        It is the same for CSV and XLSX and for any order of columns. Numbers count as written.
        """
        if self._digest is None:
            raise RuntimeError(f"the digest of {self.label} is not known until all its rows are read")
        return self._digest

    def rows(self, progress: Progress | None = None) -> Iterator[Row]:
        """Each row, read as it is asked for. A faulty row is a problem instead, noted in the first full reading alone.

        Where a required column is missing, faults are looked for but no row is given.
        `progress` is told now and then, and at the end, how many rows are read.
        """
        problems = self._problems if self._digest is None else Problems()
        digest = hashlib.sha256(self.name.encode())
        try:
            for row in self._faultless(problems, progress):
                digest.update(_canonical(row.cells))
                if self._header.complete:
                    yield row
        except Unreadable as error:
            _note(problems, self.label, error)
        self._digest = digest.hexdigest()

    def _faultless(self, problems: Problems, progress: Progress | None) -> Iterator[Row]:
        for record in _counted(self._filled(), progress, self._no_rows):
            faults = list(self._faults(record))
            for fault in faults:
                problems.add_error(fault)
            if not faults:
                yield self._row(record)

    def _filled(self) -> Iterator[Record]:
        records = self._source.records()
        next(records, None)
        return (record for record in records if not record.blank)

    def _no_rows(self) -> Unreadable:
        return Unreadable(f"a header alone: add rows below it, or leave out the {self.name}", 1)

    def _row(self, record: Record) -> Row:
        width = len(record.cells)
        cells = {name: record.cells[at] if at < width else "" for name, at in self._header.positions.items()}
        return Row(f"{self.label}:{record.row}", cells, self._source.decimal_comma, self._called)

    def _faults(self, record: Record) -> Iterator[str]:
        where = f"{self.label}:{record.row}"
        for fault in record.faults:
            yield f"{where}: {fault.text}" if fault.index is None else f"{where}: {self._title(fault.index)}: {fault.text}"
        if not record.faults and self._source.ragged and len(record.cells) != self._header.width:
            yield f"{where}: {ragged_text(len(record.cells), self._header.width, self._source.decimal_comma)}"
            return
        for index, cell in enumerate(record.cells):
            if cell and self._header.nameless(index):
                yield f"{where}: {self._title(index)}: {shown(cell)} stands under no name: name the column, or empty the cell"

    def _title(self, index: int) -> str:
        if index < len(self._header.titles) and (called := self._called.get(self._header.titles[index])):
            return called
        return f"column {get_column_letter(index + 1)}" if self._header.nameless(index) else in_message(self._header.titles[index])


def open_tables(path: Path, kind: str, problems: Problems, called: str = "") -> dict[str, Table]:
    """The tables of `kind` (see `KINDS`) by name: of a .csv, of an .xlsx, or of a folder if there are several.

    Messages call the file `called`, else by the name of its path. What cannot be read goes to `problems` and is left out.
    Raises `NoSuchPath`.
    """
    if not (path.is_dir() or path.is_file()):
        raise NoSuchPath(f"{path}: no such file or folder: check the path")
    tables = {}
    for name, (label, opener) in _openers(path, called or _label(path), TABLES[kind], problems).items():
        table = _table(name, label, opener, problems)
        if table is not None:
            tables[name] = table
    return tables


@dataclass(frozen=True, slots=True)
class Part:
    """One table of several files: which file or sheet holds it, what messages call that, and its columns where they aren't ours."""

    table: str
    path: Path
    label: str
    sheet: str | None = None
    columns: ColumnMap | None = None


def open_parts(parts: Iterable[Part], problems: Problems) -> dict[str, Table]:
    """The tables of these parts by name. What cannot be read goes to `problems` and is left out."""
    books: dict[Path, Book] = {}
    tables = {part.table: _table(part.table, part.label, partial(_source, part, books), problems) for part in parts}
    return {name: table for name, table in tables.items() if table is not None}


def _source(part: Part, books: dict[Path, Book]) -> Source:
    if part.sheet is None:
        source: Source = CsvFile(part.path, part.label)
    else:
        if part.path not in books:
            books[part.path] = Book(part.path, part.label.removesuffix(f":{part.sheet}"))
        source = books[part.path].sheet(part.sheet)
    return source if part.columns is None else Mapped(source, part.columns)


def _openers(path: Path, label: str, names: tuple[str, ...], problems: Problems) -> Openers:
    try:
        return _by_kind_of_path(path, label, names, problems)
    except Unreadable as error:
        _note(problems, label, error)
        return {}


def _by_kind_of_path(path: Path, label: str, names: tuple[str, ...], problems: Problems) -> Openers:
    if path.is_dir():
        return _in_folder(path, names, problems)
    if path.suffix.lower() == ".xlsx":
        return _in_book(Book(path, label), label, names, problems)
    if path.suffix.lower() == ".csv":
        return {names[0]: (label, partial(CsvFile, path, label))}
    raise Unreadable("is neither .csv nor .xlsx: save it as one of these")


def _in_folder(folder: Path, names: tuple[str, ...], problems: Problems) -> Openers:
    if len(names) == 1:
        raise Unreadable(f"is a folder: name the file of the {names[0]} itself")
    files = {f"{name}.csv": name for name in names}
    found = [path.name for path in sorted(folder.iterdir()) if path.suffix.lower() == ".csv" and path.is_file()]
    chosen = _choose(found, files, f"{_label(folder)}: file", problems)
    return {name: (_label(folder / file), partial(CsvFile, folder / file, _label(folder / file))) for name, file in chosen.items()}


def _in_book(book: Book, label: str, names: tuple[str, ...], problems: Problems) -> Openers:
    chosen = _choose(book.titles(), {name: name for name in names}, f"{label}: sheet", problems)
    return {name: (f"{label}:{title}", partial(book.sheet, title)) for name, title in chosen.items()}


def _choose(found: Iterable[str], wanted: Mapping[str, str], where: str, problems: Problems) -> dict[str, str]:
    """What is found of what is wanted, in the order wanted, by table. The first must be there; the rest is warned of."""
    chosen: dict[str, str] = {}
    for title in found:
        key = trim(title).lower()
        if key in wanted and wanted[key] not in chosen:
            chosen[wanted[key]] = title
        else:
            problems.add_warning(f"{where} {in_message(title)}: ignored{_meant(key, wanted)}")
    main = next(iter(wanted))
    if wanted[main] not in chosen:
        problems.add_error(f"{where} {main}: missing: add it, or give one of the others this name")
    return {name: chosen[name] for name in wanted.values() if name in chosen}


def _meant(title: str, wanted: Iterable[str]) -> str:
    match = near(title, wanted)
    return f": did you mean {match}?" if match else f": to be read it must be named {' or '.join(wanted)}"


def _table(name: str, label: str, opener: Callable[[], Source], problems: Problems) -> Table | None:
    try:
        source = opener()
        for warning in source.warnings:
            problems.add_warning(f"{label}: {warning}")
        return Table(name, source, problems)
    except Unreadable as error:
        _note(problems, label, error)
        return None


def _counted(records: Iterator[Record], progress: Progress | None, none: Callable[[], Unreadable]) -> Iterator[Record]:
    """The records, their number told to `progress`; raises `none()` if there are none."""
    count = 0
    for count, record in enumerate(records, start=1):
        yield record
        if progress and count % ROWS_PER_REPORT == 0:
            progress(count)
    if not count:
        raise none()
    if progress and count % ROWS_PER_REPORT:
        progress(count)


def _canonical(cells: Mapping[str, str]) -> bytes:
    return json.dumps(sorted((name, text) for name, text in cells.items() if text)).encode()


def _note(problems: Problems, label: str, error: Unreadable) -> None:
    row = "" if error.row is None else f":{error.row}"
    problems.add_error(f"{label}{row}: {error.text}")


def _label(path: Path) -> str:
    """The name that messages call a file, even where it is no proper text."""
    return os.fsencode(path.name or path.resolve().name).decode("utf-8", "replace")
