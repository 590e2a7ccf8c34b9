"""Counting by weight. Pure.

The unit mass always comes from a weighed sample, never from a table: half a length step is some 12 % of a small rivet's mass.
"""

import math
from decimal import Decimal, localcontext
from fractions import Fraction

from inventory.common.exact import Exact, decimal_text, half_up, not_negative, positive, whole
from inventory.common.reasons import ARITHMETIC, Reason

_DIGITS = 28  # as many as Decimal keeps unless told otherwise
_CERTAIN = Fraction(1, 2)  # less than half a piece off: the nearest whole number is the count

Trace = tuple[Reason, ...]


def weigh_count(total: Exact, tare: Exact, sample_n: int, sample_mass: Exact, division: Exact) -> tuple[int, Decimal, Trace]:
    """How many pieces weigh `total` with their container (`tare`), by a sample of `sample_n` that weighs `sample_mass` without it.

    Returns (count, plus_minus, trace): the nearest int, and how many pieces it may be off where each reading is off by half a
    `division` of the scale, not rounded. All masses in one unit. Raises `ValueError` that names the argument.
    """
    empty, unit = not_negative("tare", tare), _unit_mass(sample_n, sample_mass)
    net = not_negative("total", total) - empty
    if net < 0:
        raise ValueError("total: less than the tare")
    count = half_up(net / unit)
    sample = sample_error(count, sample_mass, division)
    heap = heap_error(sample_n, sample_mass, division, tared=empty > 0)
    return count, _decimal(sample + heap), _trace(net, unit, count, sample, heap)


def sample_error(count: int, sample_mass: Exact, division: Exact) -> Fraction:
    """How many pieces of `count` the sample's own reading may put it off: count x (division / 2) / sample_mass."""
    return whole("count", count, least=0) * positive("division", division) / 2 / positive("sample_mass", sample_mass)


def heap_error(sample_n: int, sample_mass: Exact, division: Exact, *, tared: bool) -> Fraction:
    """How many pieces the heap's reading may put it off, and the tare's where there is one: (division / 2) x n / sample_mass each."""
    readings = 2 if tared else 1
    return readings * positive("division", division) / 2 / _unit_mass(sample_n, sample_mass)


def sample_for_certainty(total: Exact, tare: Exact, sample_n: int, sample_mass: Exact, division: Exact) -> tuple[int | None, Trace]:
    """The smallest sample that would make this count certain to one piece; None where no sample on this scale can.

    Certain is off by less than half a piece. Arguments as of `weigh_count`, whose sample gives the unit mass.
    """
    count, _, trace = weigh_count(total, tare, sample_n, sample_mass, division)
    room = _CERTAIN - heap_error(sample_n, sample_mass, division, tared=not_negative("tare", tare) > 0)
    if room <= 0:
        text = "reading the heap alone is half a piece off or more: weigh it in smaller heaps, or on a finer scale"
        return None, (*trace, Reason(text, ARITHMETIC))
    needed = math.floor(count * positive("division", division) / 2 / _unit_mass(sample_n, sample_mass) / room) + 1
    if needed >= count:
        return None, (*trace, Reason("no sample short of all the pieces would do: count them, or use a finer scale", ARITHMETIC))
    return needed, (*trace, Reason(f"a sample of {needed} would leave it less than half a piece off", ARITHMETIC))


def _unit_mass(sample_n: int, sample_mass: Exact) -> Fraction:
    return positive("sample_mass", sample_mass) / whole("sample_n", sample_n, least=1)


def _decimal(value: Fraction) -> Decimal:
    with localcontext(prec=_DIGITS):
        return Decimal(value.numerator) / Decimal(value.denominator)


def _trace(net: Fraction, unit: Fraction, count: int, sample: Fraction, heap: Fraction) -> Trace:
    weighed = f"{decimal_text(net)} without the tare, {decimal_text(unit, 6)} a piece by the sample -> {count}"
    errors = f"+-{decimal_text(sample)} from the sample, +-{decimal_text(heap)} from the heap: each reading off by half a division"
    return Reason(weighed, "the readings, as entered"), Reason(errors, ARITHMETIC)
