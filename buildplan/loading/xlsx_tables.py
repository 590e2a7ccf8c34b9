"""Reading XLSX: sheets by name, cells as the texts that a CSV file would hold."""

import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from itertools import repeat
from pathlib import Path
from typing import TypeAlias

from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.cell.read_only import EmptyCell, ReadOnlyCell
from openpyxl.utils import get_column_letter

from buildplan.loading.records import Fault, Record, Unreadable, trim

AnyCell: TypeAlias = Cell | MergedCell | ReadOnlyCell | EmptyCell

OLE_MAGIC = b"\xd0\xcf\x11\xe0"
LAST_ROW = 1_048_576  # the most that the format allows; a larger number in a file would only spin
MOST_UNPACKED = 1 << 30
CHUNK = 1 << 20
FORMULA_TAG = re.compile(rb"<(?:\w+:)?f[\s/>]")
# What a number format may say beside its date letters: "text", [locale], \x and _x.
FORMAT_ASIDE = re.compile(r'"[^"]*"|\[[^\]]*\]|[\\_*].')

# Notes on drawings or validations that were not read would only puzzle whoever loads a file.
warnings.filterwarnings("ignore", category=UserWarning, module=r"openpyxl\.")


class Book:
    """An open workbook. Its formulas are read beside its values, since only so one without a value can be told."""

    def __init__(self, path: Path, label: str) -> None:
        """Open the file. Raises `Unreadable`."""
        try:
            has_formulas = _inspect(path)
            self._values = _open(path, data_only=True)
            self._formulas = _open(path, data_only=False) if has_formulas else None
        except Unreadable:
            raise
        except Exception as error:  # the reader raises whatever a broken part of a file makes it stumble over
            raise Unreadable(_no_workbook(path)) from error
        self._label = label

    def titles(self) -> list[str]:
        """The names of the sheets, as written."""
        return [sheet.title for sheet in self._values.worksheets]

    def sheet(self, title: str) -> "XlsxSheet":
        """The sheet of that name."""
        return XlsxSheet(self._values, self._formulas, title, f"{self._label}:{title}")


class XlsxSheet:
    """One sheet as a source of records."""

    decimal_comma: bool = False
    ragged: bool = False
    warnings: tuple[str, ...] = ()

    def __init__(self, values: Workbook, formulas: Workbook | None, title: str, label: str) -> None:
        """Take the sheet from both readings of a workbook."""
        self.label = label
        self._values = values
        self._formulas = formulas
        self._title = title

    def records(self) -> Iterator[Record]:
        """Each row from the header on, blank ones included."""
        row = 0
        try:
            for row, (values, formulas) in enumerate(self._pairs(), start=1):
                _refuse_past_the_end(row)
                yield record(row, values, formulas)
        except Unreadable:
            raise
        except Exception as error:
            raise Unreadable("is broken from here on: open it in a spreadsheet and save it again", row + 1) from error

    def _pairs(self) -> Iterator[tuple[Sequence[AnyCell], Sequence[AnyCell]]]:
        if self._formulas is None:
            return zip(_rows(self._values, self._title), repeat(()), strict=False)
        return zip(_rows(self._values, self._title), _rows(self._formulas, self._title), strict=True)


def record(row: int, values: Sequence[AnyCell], formulas: Sequence[AnyCell] = ()) -> Record:
    """One row as texts, with a fault for each cell that has no value to read."""
    faults = [
        *(Fault(_error_text(row, index, cell), index) for index, cell in enumerate(values) if cell.data_type == "e"),
        *(Fault(_formula_text(row, index), index) for index in _unsaved(values, formulas)),
    ]
    return Record(row, [text_of(cell) for cell in values], tuple(faults))


def text_of(cell: AnyCell) -> str:
    """The cell as a CSV file would hold it."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, str):
        return trim(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, date):
        return date_text(value, cell.number_format or "")
    return str(value)


def number_text(value: float) -> str:
    """The shortest digits that mean this number, without an exponent."""
    return str(int(value)) if value.is_integer() else format(Decimal(repr(value)), "f")


def date_text(value: date, number_format: str) -> str:
    """The ISO day; only the month where the cell shows none, since spreadsheets store `2027-03` as its first day."""
    day = value.date() if isinstance(value, datetime) else value
    letters = FORMAT_ASIDE.sub("", number_format).lower()
    month_alone = day.day == 1 and "y" in letters and "d" not in letters
    return day.isoformat()[:7] if month_alone else day.isoformat()


def _open(path: Path, *, data_only: bool) -> Workbook:
    return load_workbook(path, read_only=True, data_only=data_only, keep_links=False)


def _rows(book: Workbook, title: str) -> Iterator[Sequence[AnyCell]]:
    sheet = book[title]
    # The size that a file states for a sheet is often wrong, and would cut rows off.
    sheet.reset_dimensions()
    return iter(sheet.iter_rows(max_row=LAST_ROW + 1))


def _refuse_past_the_end(row: int) -> None:
    if row > LAST_ROW:
        raise Unreadable("is past the last row that the format allows: move it up", row)


def _inspect(path: Path) -> bool:
    """Whether any sheet holds a formula. Refuses what would fill the memory when unpacked."""
    with zipfile.ZipFile(path) as archive:
        parts = archive.infolist()
        if sum(part.file_size for part in parts) > MOST_UNPACKED:
            raise Unreadable("is over 1 GiB when unpacked: split it into several files")
        return any(_has_formula(archive, part) for part in parts)


def _has_formula(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> bool:
    tail = b""
    with archive.open(part) as file:
        while chunk := file.read(CHUNK):
            # A part in UTF-16 hides the tag from this search: better to look too closely than not at all.
            if FORMULA_TAG.search(tail + chunk) or (part.filename.endswith(".xml") and b"\0" in chunk):
                return True
            tail = chunk[-64:]
    return False


def _no_workbook(path: Path) -> str:
    with path.open("rb") as file:
        if file.read(4) == OLE_MAGIC:
            return "is an old .xls or has a password: save it as .xlsx without one"
    return "is no XLSX workbook, or a broken one: open it in a spreadsheet and save it as .xlsx"


def _unsaved(values: Sequence[AnyCell], formulas: Sequence[AnyCell]) -> Iterator[int]:
    for index, (value, formula) in enumerate(zip(values, formulas, strict=False)):
        # A formula whose result is an empty text has a value: its type stays "str".
        if formula.data_type == "f" and value.value is None and value.data_type != "str":
            yield index


def _error_text(row: int, index: int, cell: AnyCell) -> str:
    return f"cell {_name(row, index)} holds the error {cell.value}: mend its formula, or write the value"


def _formula_text(row: int, index: int) -> str:
    return f"cell {_name(row, index)} holds a formula without a stored value: open and save the file in a spreadsheet"


def _name(row: int, index: int) -> str:
    return f"{get_column_letter(index + 1)}{row}"
