"""Reading CSV: encoding, delimiter, and rows numbered by the line on which they start."""

import codecs
import csv
import re
from collections.abc import Iterator
from pathlib import Path

from buildplan.loading.records import Fault, Record, Unreadable, trim

XLSX_MAGIC = b"PK\x03\x04"
QUOTED = re.compile(r'"[^"]*"')
UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
SAVE_AGAIN = "save the file again as CSV in UTF-8"
AS_1252 = f"is not UTF-8, so it is read as Windows-1252: check its accented letters, or {SAVE_AGAIN}"


class CsvFile:
    """A CSV file as a source of records. A row has the number of the line on which it starts."""

    ragged: bool = True

    def __init__(self, path: Path, label: str) -> None:
        """Settle encoding and delimiter. Raises `Unreadable`."""
        self.label = label
        self._path = path
        try:
            self._encoding = encoding_of(path)
            self._delimiter = delimiter_of(self._first_line())
        except OSError as error:
            raise Unreadable(_cannot_read(error)) from error
        self.decimal_comma = self._delimiter == ";"
        self.warnings: tuple[str, ...] = (AS_1252,) if self._encoding == "cp1252" else ()

    def records(self) -> Iterator[Record]:
        """Each row from the header on, blank ones included."""
        try:
            with self._path.open(encoding=self._encoding, newline="") as lines:
                yield from self._parsed(lines)
        except (OSError, UnicodeDecodeError) as error:
            raise Unreadable(_cannot_read(error)) from error

    def _parsed(self, lines: Iterator[str]) -> Iterator[Record]:
        # Not strict, an unclosed quote would swallow the rest of the file without a word.
        reader = csv.reader(lines, delimiter=self._delimiter, skipinitialspace=True, strict=True)
        while True:
            row = reader.line_num + 1
            try:
                yield Record(row, [trim(cell) for cell in next(reader)])
            except csv.Error as error:
                yield Record(row, (), (Fault(explain(error)),))
            except StopIteration:
                return

    def _first_line(self) -> str:
        with self._path.open(encoding=self._encoding, newline="") as lines:
            return lines.readline()


def encoding_of(path: Path) -> str:
    """UTF-8 (a byte-order mark is dropped) or else Windows-1252. Raises `Unreadable` with the row."""
    with path.open("rb") as file:
        head = file.read(4)
    _refuse_other_formats(head)
    not_utf8 = _undecodable_row(path, "utf-8")
    if not_utf8 is None:
        return "utf-8-sig"
    if head.startswith(codecs.BOM_UTF8):
        raise Unreadable(f"is marked as UTF-8, but this row is not: {SAVE_AGAIN}", not_utf8)
    row = _undecodable_row(path, "cp1252")
    if row is not None:
        raise Unreadable(f"cannot be decoded, neither as UTF-8 nor as Windows-1252: {SAVE_AGAIN}", row)
    return "cp1252"


def delimiter_of(header: str) -> str:
    """A comma or a semicolon, whichever `header` has more of outside quotes."""
    bare = QUOTED.sub("", header)
    return ";" if bare.count(";") > bare.count(",") else ","


def explain(error: csv.Error) -> str:
    """What to do about a line that the parser gave up on."""
    text = str(error)
    if "unexpected end of data" in text:
        return 'a quote (") opens in this row and never closes: close it, or write it twice ("") inside quotes'
    if "field limit" in text:
        return f'a cell over {csv.field_size_limit()} characters: look for a quote (") that never closes'
    return 'text follows a closing quote ("): inside a quoted cell write each quote twice ("")'


def _refuse_other_formats(head: bytes) -> None:
    if head.startswith(XLSX_MAGIC):
        raise Unreadable("is an XLSX workbook by its content: give it a name that ends in .xlsx", 1)
    if head.startswith(UTF16):
        raise Unreadable(f"is in UTF-16: {SAVE_AGAIN}", 1)


def _undecodable_row(path: Path, encoding: str) -> int | None:
    """The first row that `encoding` cannot read; NUL bytes are refused on the way."""
    # Latin-1 takes any byte, so that this splits lines just as the CSV parser will.
    with path.open(encoding="latin-1", newline="") as lines:
        for row, line in enumerate(lines, start=1):
            if "\0" in line:
                raise Unreadable(f"holds a NUL byte, which is no text: {SAVE_AGAIN}", row)
            if not line.isascii() and not _decodes(line.encode("latin-1"), encoding):
                return row
    return None


def _decodes(line: bytes, encoding: str) -> bool:
    try:
        line.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _cannot_read(error: OSError | UnicodeDecodeError) -> str:
    reason = error.strerror if isinstance(error, OSError) else error.reason
    return f"cannot be read ({reason}): check that it is there, whole, and open to you"
