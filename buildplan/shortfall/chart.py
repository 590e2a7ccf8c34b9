"""A chart of pins held against pins owned, as places in a picture. Pure: the template draws it, the table beside it says the same.

Widths are percent of the picture, heights its own units: text then keeps its size however wide the picture is shown.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import groupby
from operator import attrgetter

from buildplan.shortfall.pins import Stretch
from inventory.common.drawing import Tick, later, percent, ticks

TOP, BOTTOM = 22, 152  # of the plot; above it stands the highest figure, below it the days


@dataclass(frozen=True, slots=True)
class Bar:
    """What is held during a stretch: how far across it goes, and how high. `over` is the height of the part above what is owned."""

    x: str
    width: str
    top: str
    height: str
    over: str


@dataclass(frozen=True, slots=True)
class Level:
    """What is owned, over days on which it stays the same."""

    x: str
    end: str
    y: str


@dataclass(frozen=True, slots=True)
class Chart:
    """What the template draws. `most` is the figure at the top of the plot."""

    bars: tuple[Bar, ...]
    levels: tuple[Level, ...]
    ticks: tuple[Tick, ...]
    most: Decimal


def chart(stretches: Sequence[Stretch]) -> Chart | None:
    """The picture of some stretches; None without any. One without an end is drawn a tenth longer than all before it."""
    if not stretches:
        return None
    start, end = stretches[0].first, _end(stretches)
    most = max(max(stretch.held, stretch.owned) for stretch in stretches)
    days = (end - start).days
    frame = _Frame(start, days, most)
    return Chart(tuple(_bar(stretch, end, frame) for stretch in stretches), tuple(_levels(stretches, end, frame)), ticks(start, days), most)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a day and a figure lie in the picture. Something is held, so neither side is nothing."""

    start: date
    days: int
    most: Decimal

    def x(self, day: date) -> Decimal:
        return Decimal((day - self.start).days) * 100 / max(1, self.days)

    def y(self, figure: Decimal) -> Decimal:
        return BOTTOM - figure * (BOTTOM - TOP) / self.most


def _end(stretches: Sequence[Stretch]) -> date:
    """The day after the last one drawn."""
    last = stretches[-1]
    if last.through is not None:
        return later(last.through, 1)
    return later(last.first, max(1, (last.first - stretches[0].first).days // 10))


def _after(stretch: Stretch, end: date) -> date:
    return end if stretch.through is None else later(stretch.through, 1)


def _bar(stretch: Stretch, end: date, frame: _Frame) -> Bar:
    x, right = frame.x(stretch.first), frame.x(_after(stretch, end))
    top, level = frame.y(stretch.held), frame.y(stretch.owned)
    over = level - top if stretch.lacking else Decimal(0)
    return Bar(percent(x), percent(right - x), f"{top:.1f}", f"{BOTTOM - top:.1f}", f"{over:.1f}" if over else "")


def _levels(stretches: Sequence[Stretch], end: date, frame: _Frame) -> Iterator[Level]:
    """One line for all days in a row with as much: a dash that starts anew each day would blur."""
    for owned, group in groupby(stretches, key=attrgetter("owned")):
        same = list(group)
        yield Level(percent(frame.x(same[0].first)), percent(frame.x(_after(same[-1], end))), f"{frame.y(owned):.1f}")
