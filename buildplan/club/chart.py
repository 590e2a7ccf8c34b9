"""The week of the pool as places in a picture. Pure: the template draws it, the table beside it says the same.

A row has a line of text and below it a cell for each day. Widths are percent of the picture, heights its own units: text then keeps its
size however wide the picture is shown. Shape and figure say what colour says.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext

from buildplan.club.week import Row, Week
from inventory.common.drawing import cut, middle, percent
from inventory.common.fields import plain
from inventory.pool.calc import Day

HEAD, ROW, CELL, TEXT = 40, 52, 26, 15  # the days on top; a row, its cells, and how far down its text stands
PAD = Decimal("0.35")  # percent between cells
MOST_LABEL = 34
ALL, SOME, NONE, OVER = "all", "some", "none", "over"


@dataclass(frozen=True, slots=True)
class Cell:
    """One day of a row. `kind` is all free, some free, none free, or over: more was promised than is there."""

    x: str
    middle: str
    y: int
    text_y: int
    text: str
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the picture."""

    label: str
    there: str
    text_y: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Head:
    """A day on top."""

    middle: str
    day: date
    today: bool


@dataclass(frozen=True, slots=True)
class Grid:
    """What the template draws."""

    heads: tuple[Head, ...]
    lines: tuple[Line, ...]
    width: str
    height: int


def grid(week: Week) -> Grid:
    """The picture of a week."""
    count = len(week.days)
    heads = tuple(Head(percent(middle(at, count)), day, day == week.today) for at, day in enumerate(week.days))
    lines = tuple(_line(row, at) for at, row in enumerate(week.rows))
    return Grid(heads, lines, percent(Decimal(100) / count - 2 * PAD), HEAD + ROW * len(week.rows) + 4)


def _line(row: Row, at: int) -> Line:
    top = HEAD + ROW * at
    there = row.days[0].there
    cells = tuple(_cell(day, number, len(row.days), top + ROW - CELL - 4) for number, day in enumerate(row.days))
    return Line(cut(row.label, MOST_LABEL), "" if row.thing_id else f"{_text(there)} {row.unit}", top + TEXT, cells)


def _cell(day: Day, at: int, count: int, y: int) -> Cell:
    kind = OVER if day.over else ALL if day.free == day.there else SOME if day.free else NONE
    free = gettext("%(free)s of %(there)s free") % {"free": _text(day.free), "there": _text(day.there)}
    who = "; ".join(f"{span.who} {span.what} {_text(span.quantity)}" for span in day.spans)
    words = f"{day.day}: {free}{f', {who}' if who else ''}"
    text = f"-{_text(day.over)}" if day.over else _text(day.free)
    x = percent(Decimal(100) * at / count + PAD)
    return Cell(x, percent(middle(at, count)), y, y + 18, text, kind, words)


def _text(quantity: Decimal) -> str:
    return plain(quantity)
