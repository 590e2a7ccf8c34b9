"""Stock against need by week as places in a picture: the large one of a page, and the small one of a line. Pure.

The template draws them, the table beside them says the same. A mark stands for what colour says: a triangle down for the first short week,
a triangle up for what is due, a cross for what can't serve any more, hatching for what is missing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.shortfall.weeks import Week, first_short
from inventory.common.drawing import Tick, middle, percent

TOP, BOTTOM = 44, 160  # of the plot: above it the highest figure and the first short week, below it two rows of marks and the days
PLAIN = Decimal("0.2")  # of a week's width on each side of the bar of its need
RIGHT = 50  # percent from which on words beside a mark stand left of it
FEWEST_FOR_MIDDLE = 3
WIDE, HIGH, LOW = 120, 28, 26  # the small picture: its width, its height, where its plot ends
ROOF = 9


@dataclass(frozen=True, slots=True)
class Column:
    """A week: what is left at its end, what it needs, and of that what is missing. `up`: some is due in it, `cross`: some dies."""

    week: Week
    x: str
    end: str
    width: str
    left_top: str
    left_height: str
    need_x: str
    need_width: str
    need_top: str
    need_height: str
    missing_height: str
    middle: str
    up: bool
    cross: bool


@dataclass(frozen=True, slots=True)
class Flag:
    """The first short week. `dx` and `anchor` put its words beside the mark, on the side that has room."""

    x: str
    dx: int
    anchor: str
    week: Week


@dataclass(frozen=True, slots=True)
class WeeksChart:
    """What the template draws. `most` is the figure at the top of the plot."""

    columns: tuple[Column, ...]
    flag: Flag | None
    ticks: tuple[Tick, ...]
    most: Decimal


def weeks_chart(found: Sequence[Week]) -> WeeksChart:
    """The picture of some weeks: at least one."""
    most = _most(found)
    count = len(found)
    columns = tuple(_column(week, at, count, most) for at, week in enumerate(found))
    return WeeksChart(columns, _flag(found), tuple(_ticks(found)), most)


def _most(found: Sequence[Week]) -> Decimal:
    return max(max(week.left, week.need) for week in found)


def _column(week: Week, at: int, count: int, most: Decimal) -> Column:
    width = Decimal(100) / count
    left, need, missing = (_height(figure, most) for figure in (week.left, week.need, week.missing))
    return Column(
        week=week,
        x=percent(width * at),
        end=percent(width * (at + 1)),
        width=percent(width),
        left_top=f"{BOTTOM - left:.1f}",
        left_height=f"{left:.1f}",
        need_x=percent(width * (at + PLAIN)),
        need_width=percent(width * (1 - 2 * PLAIN)),
        need_top=f"{BOTTOM - need:.1f}",
        need_height=f"{need:.1f}",
        missing_height=f"{missing:.1f}" if week.missing else "",
        middle=percent(middle(at, count)),
        up=bool(week.came),
        cross=bool(week.died),
    )


def _height(figure: Decimal, most: Decimal) -> Decimal:
    return figure * (BOTTOM - TOP) / most if most else most


def _flag(found: Sequence[Week]) -> Flag | None:
    week = first_short(found)
    if week is None:
        return None
    x = middle(found.index(week), len(found))
    return Flag(percent(x), -12 if x > RIGHT else 12, "end" if x > RIGHT else "start", week)


def _ticks(found: Sequence[Week]) -> Iterator[Tick]:
    """The first day of the first week, of one half way, and of the last one: each where its week stands."""
    yield Tick("0%", "start", found[0].first)
    if len(found) >= FEWEST_FOR_MIDDLE:
        at = (len(found) - 1) // 2
        yield Tick(percent(middle(at, len(found))), "middle", found[at].first)
    if len(found) > 1:
        yield Tick("100%", "end", found[-1].first)


@dataclass(frozen=True, slots=True)
class Spark:
    """The small picture: paths of what is left and of what is needed, and where the mark of the first short week stands."""

    left: str
    need: str
    flag: str
    short: date | None


def spark(found: Sequence[Week]) -> Spark:
    """The weeks small enough for a line of a list, in few characters."""
    most, short = _most(found), first_short(found)
    width = Decimal(WIDE) / len(found)
    need = "".join(f"M{_at(width * (at + Decimal(1) / 2))} {LOW}V{_y(week.need, most)}" for at, week in enumerate(found) if week.need)
    flag = "" if short is None else f"M{_at(width * (found.index(short) + Decimal(1) / 2) - 4)} 0h8l-4 7z"
    return Spark(_area(found, width, most), need, flag, None if short is None else short.first)


def _area(found: Sequence[Week], width: Decimal, most: Decimal) -> str:
    """Steps from week to week; weeks of one height are one step."""
    path, height = f"M0 {LOW}", ""
    for at, week in enumerate(found):
        if (now := _y(week.left, most)) != height:
            path, height = f"{path}H{_at(width * at)}V{now}", now
    return f"{path}H{WIDE}V{LOW}z"


def _at(x: Decimal) -> str:
    return f"{x:.1f}"


def _y(figure: Decimal, most: Decimal) -> str:
    return f"{LOW - (figure * (LOW - ROOF) / most if most else most):.1f}"
