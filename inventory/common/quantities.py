"""Quantities as a caller hands them in, checked before any row is touched."""

from decimal import ROUND_CEILING, ROUND_DOWN, Decimal
from typing import Protocol

from inventory.common.fields import LIMIT, STEP, plain
from inventory.common.problems import FieldProblem, Problem

COUNT = "ea"  # the unit of what is counted by the piece


class Item(Protocol):
    """What there is a quantity of."""

    code: str
    unit: str


class BadQuantity(Problem):
    """A figure that is no quantity to move, count or order."""

    title = "This quantity doesn't do"


class PartOfPiece(BadQuantity, FieldProblem):
    """Half a rivet: what is counted by the piece is whole."""

    title = BadQuantity.title


def pieces(quantity: Decimal, item: Item, *, field: str = "quantity") -> Decimal:
    """`quantity`, whole where the item's unit counts pieces. `field` is where it was given."""
    refuse_part(quantity, item.unit, item.code, field=field)
    return quantity


def refuse_part(quantity: Decimal, unit: str, code: str, *, field: str = "quantity") -> None:
    """Raise `PartOfPiece` where `quantity` splits one."""
    if part_of_piece(quantity, unit):
        below = quantity.to_integral_value(ROUND_DOWN)
        do = f"{below} or {below + 1}" if below else "1, or none"
        raise PartOfPiece(field, f"{plain(quantity)} {unit} of {code} is no whole number of pieces: give {do}")


def part_of_piece(quantity: Decimal, unit: str) -> bool:
    """Whether it splits a piece."""
    return unit == COUNT and quantity != quantity.to_integral_value()


def whole_pieces(quantity: Decimal, unit: str) -> Decimal:
    """What is taken or bought for `quantity`: half a piece takes a whole one."""
    return quantity.to_integral_value(ROUND_CEILING) if part_of_piece(quantity, unit) else quantity


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
