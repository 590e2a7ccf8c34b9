"""A leak test as places in a picture: what was read, what was expected, and the least that the limit allows. Pure.

The template draws it, the table beside it says the same. Widths are percent of the picture, heights its own units: text then keeps its size
however wide the picture is shown.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from itertools import pairwise

from buildplan.closeup.calc import Corrected, Limit, Unit, minutes
from inventory.common.exact import decimal_text, half_up

TOP, BOTTOM, FOOT = 24, 184, 26  # where the plot begins and ends, and what stands below it
FEWEST = 2


@dataclass(frozen=True, slots=True)
class Dot:
    """A reading in a line."""

    x: str
    y: int


@dataclass(frozen=True, slots=True)
class Piece:
    """A straight piece between two readings."""

    x1: str
    y1: int
    x2: str
    y2: int


@dataclass(frozen=True, slots=True)
class Line:
    """The dots of a line, and the pieces between them."""

    dots: tuple[Dot, ...]
    pieces: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class LeakChart:
    """What the template draws. `most` and `least` are the figures at the edges of the plot."""

    read: Line
    expected: Line
    floor: Line | None
    most: str
    least: str
    lasts: str
    top: int
    bottom: int
    height: int


def chart(rows: Sequence[Corrected], limit: Limit, unit: Unit) -> LeakChart | None:
    """The picture of some readings; None with fewer than two of them, or where all were read at once."""
    if len(rows) < FEWEST or rows[-1].elapsed <= timedelta(0):
        return None
    floors = [row.expected - limit.drop for row in rows] if limit.drop is not None else []
    values = [row.reading.gauge for row in rows] + [row.expected for row in rows] + floors
    most, least = max(values), min(values)
    place = _place(least, most)
    times = [Fraction(row.elapsed / rows[-1].elapsed).limit_denominator(10**6) for row in rows]
    return LeakChart(
        read=_line(times, [row.reading.gauge for row in rows], place),
        expected=_line(times, [row.expected for row in rows], place),
        floor=_line(times, floors, place) if floors else None,
        most=unit.of(most),
        least=unit.of(least),
        lasts=minutes(rows[-1].elapsed),
        top=TOP,
        bottom=BOTTOM,
        height=BOTTOM + FOOT,
    )


def _place(least: Fraction, most: Fraction) -> Callable[[Fraction], int]:
    """How high a pressure stands; in the middle where all are alike."""
    span = most - least
    return lambda value: half_up(BOTTOM - (value - least) * (BOTTOM - TOP) / span) if span else (TOP + BOTTOM) // 2


def _line(times: Sequence[Fraction], values: Sequence[Fraction], place: Callable[[Fraction], int]) -> Line:
    dots = [Dot(f"{decimal_text(time * 100, 3)}%", place(value)) for time, value in zip(times, values, strict=True)]
    pieces = [Piece(one.x, one.y, other.x, other.y) for one, other in pairwise(dots)]
    return Line(tuple(dots), tuple(pieces))
