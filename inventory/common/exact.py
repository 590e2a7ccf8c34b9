"""Arguments as exact numbers, and exact numbers as text. Pure."""

import math
from decimal import Decimal
from fractions import Fraction

Exact = int | Fraction | Decimal

_MOST_DIGITS = 300  # past this a number is no size of anything, and slow to reckon with
_MOST_BITS = 4 * _MOST_DIGITS


def exact(name: str, value: object) -> Fraction:
    """`value` as a Fraction. `ValueError` that names the argument for a bool, a float, NaN, or a size past all reason."""
    if isinstance(value, bool) or not isinstance(value, int | Fraction | Decimal):
        raise ValueError(f"{name}: give an int, a Fraction or a Decimal, not {type(value).__name__}")  # noqa: TRY004 - pinned
    if isinstance(value, Decimal):
        _refuse_wild(name, value)
    number = Fraction(value)
    if max(number.numerator.bit_length(), number.denominator.bit_length()) > _MOST_BITS:
        raise ValueError(f"{name}: over {_MOST_DIGITS} digits")
    return number


def positive(name: str, value: object) -> Fraction:
    """`value` as a Fraction over 0."""
    number = exact(name, value)
    if number <= 0:
        raise ValueError(f"{name}: must be over 0")
    return number


def not_negative(name: str, value: object) -> Fraction:
    """`value` as a Fraction of at least 0."""
    number = exact(name, value)
    if number < 0:
        raise ValueError(f"{name}: must not be below 0")
    return number


def whole(name: str, value: object, *, least: int) -> int:
    """`value` where it is an int of at least `least`; a bool is none."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{name}: give a whole number, not {type(value).__name__}")  # noqa: TRY004 - pinned
    if value < least:
        raise ValueError(f"{name}: must be at least {least}")
    return value


def finite(name: str, value: object) -> float:
    """`value` as a float: for temperatures and hours alone. Refuses a bool and whatever is not finite."""
    if isinstance(value, bool) or not isinstance(value, int | float | Fraction | Decimal):
        raise ValueError(f"{name}: give a number, not {type(value).__name__}")  # noqa: TRY004 - pinned
    try:
        number = float(value)
    except (OverflowError, ValueError) as error:  # ValueError: a signalling NaN
        raise ValueError(f"{name}: is not finite") from error
    if not math.isfinite(number):
        raise ValueError(f"{name}: is not finite")
    return number


def half_up(value: Fraction) -> int:
    """The nearest int, a tie goes up."""
    return math.floor(value + Fraction(1, 2))


def thousandths(count: int) -> Decimal:
    """`count` thousandths as a Decimal of three places, whatever the precision of the caller's context."""
    return Decimal(f"{count}e-3")


def decimal_text(value: Fraction, places: int = 4) -> str:
    """`value` in plain digits, rounded half up to `places`, without trailing zeros."""
    sign, scaled = ("-", half_up(-value * 10**places)) if value < 0 else ("", half_up(value * 10**places))
    digits = f"{scaled:0{places + 1}d}"
    return f"{sign}{digits[:-places]}.{digits[-places:]}".rstrip("0").rstrip(".")


def _refuse_wild(name: str, value: Decimal) -> None:
    if not value.is_finite():
        raise ValueError(f"{name}: is not finite")
    if value and abs(value.adjusted()) > _MOST_DIGITS:
        raise ValueError(f"{name}: over {_MOST_DIGITS} digits")
