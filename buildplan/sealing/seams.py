"""How many grams of sealant a seam takes, from its shape. Pure.

Shapes and which sizes they read: concave (length, leg_a = radius), triangle (length, leg_a, leg_b), quarter_round (length, leg_a),
film (length, leg_a = width, thickness), dome (leg_a = base radius, leg_b = height), each (grams_each).
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from inventory.common.exact import Exact, decimal_text, half_up, not_negative, positive, thousandths, whole
from inventory.common.reasons import ARITHMETIC, Reason

PI = Decimal("3.14159265358979323846264338327950288419716939937510")
MM: Mapping[str, Fraction] = MappingProxyType(
    {
        "mm": Fraction(1),
        "cm": Fraction(10),
        "m": Fraction(1000),
        "in": Fraction(254, 10),
        "inch": Fraction(254, 10),
        "ft": Fraction(3048, 10),
        "foot": Fraction(3048, 10),
    }
)

_PI = Fraction(PI)
_THE_PLANS = "sizes from the plans"
Sizes = Mapping[str, Fraction]


class Shape(StrEnum):
    """The form of a seam. A concave and a triangular fillet of one leg differ by 2.33 times: the plans say which."""

    CONCAVE = "concave"
    TRIANGLE = "triangle"
    QUARTER_ROUND = "quarter_round"
    FILM = "film"
    DOME = "dome"
    EACH = "each"


@dataclass(frozen=True, slots=True)
class Seam:
    """A sealed joint as a row of the plans states it.

    `size_unit` is of legs and thickness, else `unit`; `count` is how many alike; None is a blank.
    """

    shape: str
    length: Exact | None = None
    unit: str = "mm"
    leg_a: Exact | None = None
    leg_b: Exact | None = None
    thickness: Exact | None = None
    size_unit: str | None = None
    count: int = 1
    grams_each: Exact | None = None
    loss_percent: Exact = 0


@dataclass(frozen=True, slots=True)
class SeamGrams:
    """What a seam takes, in thousandths of a gram, rounded half up once; `reasons` is the trace."""

    grams: Decimal
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class _Rule:
    names: tuple[str, ...]
    volume: Callable[[Sizes], Fraction]
    text: str


def concave_area(radius: Exact) -> Fraction:
    """What a round tool leaves in a square corner: r^2 (1 - pi/4), in the square of the unit of `radius`."""
    return positive("radius", radius) ** 2 * (1 - _PI / 4)


def triangle_area(leg_a: Exact, leg_b: Exact) -> Fraction:
    """A flat fillet: a b / 2."""
    return positive("leg_a", leg_a) * positive("leg_b", leg_b) / 2


def quarter_round_area(radius: Exact) -> Fraction:
    """A full fillet: pi r^2 / 4."""
    return _PI * positive("radius", radius) ** 2 / 4


def dome_volume(radius: Exact, height: Exact) -> Fraction:
    """A cap over a fastener: pi h (3 a^2 + h^2) / 6, in the cube of the unit."""
    base, high = positive("radius", radius), positive("height", height)
    return _PI * high * (3 * base**2 + high**2) / 6


_RULES: Mapping[Shape, _Rule] = MappingProxyType(
    {
        Shape.CONCAVE: _Rule(("length", "leg_a"), lambda s: concave_area(s["leg_a"]) * s["length"], "r^2 (1 - pi/4) x length"),
        Shape.TRIANGLE: _Rule(
            ("length", "leg_a", "leg_b"), lambda s: triangle_area(s["leg_a"], s["leg_b"]) * s["length"], "a b / 2 x length"
        ),
        Shape.QUARTER_ROUND: _Rule(("length", "leg_a"), lambda s: quarter_round_area(s["leg_a"]) * s["length"], "pi r^2 / 4 x length"),
        Shape.FILM: _Rule(
            ("length", "leg_a", "thickness"), lambda s: math.prod(s.values(), start=Fraction(1)), "width x thickness x length"
        ),
        Shape.DOME: _Rule(("leg_a", "leg_b"), lambda s: dome_volume(s["leg_a"], s["leg_b"]), "pi h (3 a^2 + h^2) / 6"),
    }
)
_SIZES = ("length", "leg_a", "leg_b", "thickness", "grams_each")


def seam_grams(seam: Seam, gravity: Exact | None = None) -> SeamGrams:
    """The grams of a seam, losses in, with the trace of its geometry.

    `gravity` is the product's specific gravity (g/cm3): no default, and `each` alone needs none. `ValueError` names what is missing,
    not wanted for the shape, or makes no sense.
    """
    shape = _shape(seam.shape)
    count = whole("count", seam.count, least=1)
    loss = not_negative("loss_percent", seam.loss_percent)
    one, reasons = _each(seam) if shape is Shape.EACH else _shaped(seam, shape, gravity)
    grams = thousandths(half_up(one * count * (1 + loss / 100) * 1000))
    return SeamGrams(grams, (*reasons, *_totals(count, loss, grams)))


def _shape(shape: str) -> Shape:
    try:
        return Shape(shape)
    except ValueError as error:
        raise ValueError(f"shape: none of {', '.join(Shape)}") from error


def _each(seam: Seam) -> tuple[Fraction, tuple[Reason, ...]]:
    _refuse_spare(seam, ("grams_each",))
    if seam.grams_each is None:
        raise ValueError("grams_each: a seam counted by the piece needs it")
    grams = positive("grams_each", seam.grams_each)
    return grams, (Reason(f"{decimal_text(grams)} g each", _THE_PLANS),)


def _shaped(seam: Seam, shape: Shape, gravity: Exact | None) -> tuple[Fraction, tuple[Reason, ...]]:
    rule = _RULES[shape]
    sizes = _in_mm(seam, shape, rule.names)
    if gravity is None:
        raise ValueError("gravity: not known: read it off the data sheet")
    dense = positive("gravity", gravity)
    cubic = rule.volume(sizes)
    stated = ", ".join(f"{name} {decimal_text(size)} mm" for name, size in sizes.items())
    return cubic / 1000 * dense, (
        Reason(f"{shape}: {rule.text}, {stated} -> {decimal_text(cubic)} mm3", _THE_PLANS),
        Reason(f"x specific gravity {decimal_text(dense)} g/cm3", "the product's data sheet, as entered"),
    )


def _in_mm(seam: Seam, shape: Shape, names: tuple[str, ...]) -> dict[str, Fraction]:
    _refuse_spare(seam, names)
    sizes = {}
    for name in names:
        value = getattr(seam, name)
        if value is None:
            raise ValueError(f"{name}: {shape} needs it")
        sizes[name] = positive(name, value) * _mm(seam, name)
    return sizes


def _mm(seam: Seam, name: str) -> Fraction:
    field = "unit" if name == "length" or seam.size_unit is None else "size_unit"
    unit = getattr(seam, field)
    if unit not in MM:
        raise ValueError(f"{field}: {str(unit)[:20]!r} is no length known here: give {', '.join(MM)}")
    return MM[unit]


def _refuse_spare(seam: Seam, names: tuple[str, ...]) -> None:
    """A size that the shape does not read is more likely a wrong shape than a spare number."""
    for name in _SIZES:
        if name not in names and getattr(seam, name) is not None:
            raise ValueError(f"{name}: {seam.shape} has none: is the shape right?")


def _totals(count: int, loss: Fraction, grams: Decimal) -> list[Reason]:
    reasons = [Reason(f"x {count} alike", _THE_PLANS)] if count > 1 else []
    if loss:
        reasons.append(Reason(f"+ {decimal_text(loss)} % loss", "as entered"))
    return [*reasons, Reason(f"{grams} g, rounded half up once to 0.001 g", ARITHMETIC)]
