"""Drawings at true size: bars as long as rivets, and the ruler that tells whether a print is true. Pure.

A drawing's width and height are in mm, its inside in the same mm, so that 1 is 1 mm on paper printed at 100 %.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from inventory.common.exact import decimal_text

MM = Fraction(254, 10)  # of an inch
RULER_MM = 50
RULER_IN = 2
_PLACES = 5  # 1/32 in is 0.79375 mm
_AXIS = Fraction(7)  # where the ruler's line lies in its drawing
_TICK = Fraction(4)
_HALF_TICK = Fraction(5, 2)


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar as long and as thick as a rivet's shank; lengths of a countersunk rivet are overall."""

    length: Fraction
    diameter: Fraction

    @property
    def width(self) -> str:
        """Its length in mm, exact."""
        return decimal_text(self.length * MM, _PLACES)

    @property
    def height(self) -> str:
        """Its thickness in mm, exact."""
        return decimal_text(self.diameter * MM, _PLACES)

    @property
    def label(self) -> str:
        """The length in words."""
        return f"{decimal_text(self.length * 16)}/16 in = {decimal_text(self.length, _PLACES)} in = {self.width} mm"


@dataclass(frozen=True, slots=True)
class Tick:
    """One line of the ruler: how many mm from its left end, and the heights to which it goes up or down."""

    at: str
    up: str
    down: str


def ruler_mm() -> tuple[Tick, ...]:
    """Ticks of the 50 mm side, one each 5 mm."""
    return tuple(_tick(Fraction(at), full=at % 10 == 0) for at in range(0, RULER_MM + 1, 5))


def ruler_in() -> tuple[Tick, ...]:
    """Ticks of the 2 in side, one each 1/8 in."""
    return tuple(_ruler_in())


def _ruler_in() -> Iterator[Tick]:
    for eighth in range(RULER_IN * 8 + 1):
        yield _tick(Fraction(eighth, 8) * MM, full=eighth % 8 == 0)


def _tick(at: Fraction, *, full: bool) -> Tick:
    size = _TICK if full else _HALF_TICK
    return Tick(decimal_text(at, _PLACES), decimal_text(_AXIS - size), decimal_text(_AXIS + size))
