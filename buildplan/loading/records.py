"""What both kinds of file come down to: numbered rows of trimmed texts, and what was wrong with them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

# Not all that str.strip() takes: the ASCII separators 1C to 1F are part of scanned codes.
BLANKS = " \t\r\n\v\f\u00a0\ufeff"
SHOWN = 40


class Unreadable(ValueError):  # noqa: N818 - says what the file is
    """A file or sheet that cannot be read on; `row` is where, if that is known."""

    def __init__(self, text: str, row: int | None = None) -> None:
        """Say `text` of the whole file, or of `row`."""
        super().__init__(text)
        self.text = text
        self.row = row


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a row; `index` counts its columns from 0 where one column is to blame."""

    text: str
    index: int | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """One row as it stands in the file, the header as row 1 and blank rows included."""

    row: int
    cells: Sequence[str]
    faults: tuple[Fault, ...] = ()

    @property
    def blank(self) -> bool:
        """Whether nothing at all stands in this row."""
        return not self.faults and not any(self.cells)


class Source(Protocol):
    """A CSV file or a sheet. `label` opens its messages, `ragged` tells whether its rows can differ in width."""

    label: str
    decimal_comma: bool
    ragged: bool
    warnings: tuple[str, ...]

    def records(self) -> Iterator[Record]:
        """Each row from the header on, read from the start at every call; `Unreadable` where it breaks off."""


def trim(text: str) -> str:
    """The text without outer blanks."""
    return text.strip(BLANKS)


def ragged_text(width: int, header: int, decimal_comma: bool) -> str:
    """What is wrong with a row of `width` cells under a header of another number, and what to do."""
    widths = f"{width} cells where the header has {header}"
    if width < header:
        return f"too short: {widths}; keep the delimiters of empty cells"
    return f'too long: {widths}; put a cell that holds "{";" if decimal_comma else ","}" in quotes'


def shown(text: str) -> str:
    """The text as a message quotes it: on one line, and not too long."""
    return repr(text if len(text) <= SHOWN else text[:SHOWN] + "...")
