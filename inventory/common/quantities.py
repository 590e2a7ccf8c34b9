"""Quantities as a caller hands them in, checked before any row is touched."""

from decimal import ROUND_DOWN, Decimal

from inventory.common.fields import LIMIT, STEP, plain
from inventory.common.problems import Problem


class BadQuantity(Problem):
    """A figure that is no quantity to move, count or order."""

    title = "This quantity doesn't do"


def positive(value: Decimal | int) -> Decimal:
    """`value` in thousandths. Refuses zero, a negative, a finer or a larger one than a row can keep."""
    if not (kept := not_negative(value)):
        raise BadQuantity("the quantity is 0: give one above it")
    return kept


def not_negative(value: Decimal | int) -> Decimal:
    """`value` in thousandths, which may be 0. Refuses a negative, a finer or a larger one than a row can keep."""
    given = Decimal(value)
    if not given.is_finite():
        raise BadQuantity(f"{given} is no quantity")
    if given < 0:
        raise BadQuantity(f"the quantity is {plain(given)}: it can't be negative")
    return _kept(given)


def _kept(given: Decimal) -> Decimal:
    if given > LIMIT:
        raise BadQuantity(f"{plain(given)} is past 10^12: check it, or use a larger unit")
    kept = given.quantize(STEP, rounding=ROUND_DOWN)
    if kept != given:
        raise BadQuantity(f"{plain(given)} is finer than a thousandth")
    return abs(kept)  # -0 is 0
