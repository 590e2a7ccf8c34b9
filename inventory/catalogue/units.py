"""Units as people write them: `ea`, or one of pint's names. Quantities are converted here, once, at the edge, and exactly."""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any

from rapidfuzz import fuzz, process, utils

from inventory.common.fields import LIMIT, plain, rounded
from inventory.common.problems import Problem
from inventory.common.quantities import COUNT

MOST = 40  # characters: the column's
SHOWN_PLACES = 6
NEAR_ENOUGH = 60

_WRITTEN = re.compile(r"(?P<name>[^\W\d]\w*)(?:(?:\*\*|\^)(?P<power>[23]))?")
_DIMENSIONS: dict[tuple[tuple[str, int], ...], str] = {
    (): "a number without a dimension",
    (("[mass]", 1),): "a mass",
    (("[length]", 1),): "a length",
    (("[length]", 2),): "an area",
    (("[length]", 3),): "a volume",
    (("[time]", 1),): "a time",
    (("[temperature]", 1),): "a temperature",
    (("[current]", 1),): "a current",
}
_STOCK = frozenset({"a count", "a mass", "a length", "an area", "a volume"})  # what stock is counted or measured by
_COUNT_WORDS = frozenset({"each", "pc", "pcs", "piece", "pieces", "count", "no", "nos", "unit", "units", "off", "qty"})
_USUAL = (
    *("ea", "g", "kg", "mg", "lb", "oz", "gram", "kilogram", "pound", "ounce"),
    *("m", "cm", "mm", "km", "in", "ft", "yd", "inch", "foot", "yard", "thou", "meter", "metre", "millimeter", "centimeter"),
    *("m**2", "cm**2", "mm**2", "in**2", "ft**2", "square_foot", "square_inch"),
    *("ml", "l", "cc", "liter", "litre", "milliliter", "fluid_ounce", "pint", "quart", "gallon", "cubic_inch", "m**3", "in**3"),
)


class UnitError(Problem):
    """A unit that isn't known, or that nothing can be measured by."""

    title = "This unit doesn't do"


class DimensionError(UnitError):
    """A quantity of another dimension than the stock unit's."""


class RangeError(UnitError):
    """A quantity that is nothing, or past 10^12, in the stock unit."""


@dataclass(frozen=True, slots=True)
class Converted:
    """A quantity in thousandths of the stock unit; `rounding` says how it was rounded, or nothing where it is exact."""

    quantity: Decimal
    rounding: str


@dataclass(frozen=True, slots=True)
class _Unit:
    """`dimension` as half a sentence; `factor` leads to its root unit, None where no plain one does (offsets, logarithms)."""

    dimension: str
    factor: Fraction | None


def check_unit(text: str) -> str:
    """`text` as a stock unit, without outer blanks. Raises `UnitError` with what would do."""
    written = text.strip()
    unit = _unit(written)
    if unit.dimension not in _STOCK or unit.factor is None:
        raise UnitError(f"{written} is {unit.dimension}: stock is counted in ea, or measured by mass, length, area or volume")
    return written


def to_stock_unit(quantity: Decimal, unit: str, stock_unit: str) -> Converted:
    """`quantity` of `unit` in `stock_unit`, half up to a thousandth. No unit given means the stock unit.

    Raises `UnitError`, `DimensionError` (naming both units as written) or `RangeError`.
    """
    target = check_unit(stock_unit)
    written = unit.strip() or target
    _refuse_absurd(quantity)
    exact = Fraction(quantity) * _ratio(written, target)
    found = rounded(exact)
    _refuse_out_of_range(quantity, written, found, target)
    return Converted(found, "" if exact == found else _rounding(quantity, written, exact, found, target))


def _refuse_absurd(quantity: Decimal) -> None:
    """A fraction of 1E999999 would have a million digits."""
    if not quantity.is_finite() or not -MOST <= quantity.adjusted() <= MOST:
        raise RangeError(f"{quantity} is no quantity")


def _refuse_out_of_range(quantity: Decimal, written: str, found: Decimal, target: str) -> None:
    if found <= 0:
        raise RangeError(f"{plain(quantity)} {written} is less than half a thousandth of {target}")
    if found > LIMIT:
        raise RangeError(f"{plain(quantity)} {written} is past 10^12 {target}: check it, or use a larger stock unit")


def _rounding(quantity: Decimal, written: str, exact: Fraction, found: Decimal, target: str) -> str:
    start = f"{plain(quantity)} {written}"
    if written != target:
        start += f" = {_digits(exact)} {target}"
    return f"{start}, rounded half up to {plain(found)}"


def _digits(exact: Fraction) -> str:
    """The first places of a ratio, cut and not rounded; the dots say that more follow."""
    cut = Decimal(exact.numerator * 10**SHOWN_PLACES // exact.denominator).scaleb(-SHOWN_PLACES)
    return plain(cut) if cut == exact else f"{cut:f}..."


def ratio(unit: str, target: str) -> Fraction:
    """How many `target` one `unit` is, exactly. Raises `UnitError` where either isn't known or they measure different things."""
    return _ratio(unit, target)


@lru_cache(maxsize=1024)
def _ratio(written: str, target: str) -> Fraction:
    if written == target:
        return Fraction(1)
    one, other = _unit(written), _unit(target)
    if one.dimension != other.dimension:
        raise DimensionError(f"{written} is {one.dimension}, {target} {other.dimension}: {_advice(target, other)}")
    if one.factor is None or other.factor is None:
        raise UnitError(f"{written} has no plain factor to {target}: write the quantity in {target}")
    return one.factor / other.factor


def _advice(target: str, unit: _Unit) -> str:
    if target == COUNT:
        return "write the quantity in ea"
    return f"write the quantity in {target}, or in another unit of {unit.dimension.split(maxsplit=1)[1]}"


@lru_cache(maxsize=1024)
def _unit(written: str) -> _Unit:
    """Read a unit. Only a name, perhaps squared or cubed, ever reaches pint, so that no text is worked out as an expression."""
    if written == COUNT:
        return _Unit("a count", Fraction(1))
    found = _WRITTEN.fullmatch(written) if len(written) <= MOST else None
    if found is None or written.lower() == COUNT or written.lower() in _COUNT_WORDS:
        raise UnitError(_unknown(written))
    return _of_pint(written, found["name"], int(found["power"] or 1))


def _of_pint(written: str, name: str, power: int) -> _Unit:
    import pint  # noqa: PLC0415 - a third of a second that most requests never need

    try:
        unit = _registry().parse_units(name) ** power
        dimension = _dimension(dict(unit.dimensionality))
    except (pint.PintError, ValueError, TypeError, AttributeError, KeyError, AssertionError) as error:  # it asserts on a bare comment
        raise UnitError(_unknown(written)) from error
    return _Unit(dimension, _factor(unit))


def _factor(unit: Any) -> Fraction | None:
    registry = _registry()
    if not all(registry._is_multiplicative(name) for name in unit._units):  # noqa: SLF001 - pint asks no other way
        return None
    factor = registry.get_root_units(unit)[0]
    return Fraction(factor) if isinstance(factor, Fraction | int) else None


def _dimension(powers: dict[str, Any]) -> str:
    key = tuple((name, power) for name, power in sorted(powers.items()) if power)
    return _DIMENSIONS.get(key, "a measure of another kind")


def _unknown(written: str) -> str:
    if written.lower() == COUNT or written.lower() in _COUNT_WORDS:
        return f"{written} is no known unit: write ea for a count"
    shown = repr(written if len(written) <= MOST else written[:MOST] + "…")
    near = process.extractOne(written[:MOST], _USUAL, scorer=fuzz.ratio, processor=utils.default_process, score_cutoff=NEAR_ENOUGH)
    return f"{shown} is no known unit: {f'did you mean {near[0]}?' if near else 'write ea, or a unit such as g, lb, m, ft or ml'}"


@cache
def _registry() -> Any:
    import pint  # noqa: PLC0415 - as above

    # Fractions all the way: 1 oz is 28.349523125 g, and not about that.
    return pint.UnitRegistry(non_int_type=Fraction, cache_folder=None)
