"""Fields that keep a workshop's figures exact: no float ever stands between a count and its row."""

from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from fractions import Fraction
from typing import TYPE_CHECKING, Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import models

if TYPE_CHECKING:
    from django.db.models.expressions import Combinable

PLACES = 3
STEP = Decimal(1).scaleb(-PLACES)
LIMIT = Decimal(10) ** 12  # of a stock unit: far past any hangar, and its thousandths fit 64 bits


def to_thousandths(value: Decimal | int) -> int:
    """Whole thousandths of `value`; a finer one is refused, since silent rounding would make a count untrue."""
    scaled = Decimal(value).scaleb(PLACES)
    whole = int(scaled)
    if whole != scaled:
        message = f"{value} is finer than a thousandth"
        raise ValueError(message)
    return whole


def rounded(value: Decimal | Fraction) -> Decimal:
    """`value` to a thousandth, half up: the one rounding that a converted quantity takes."""
    if isinstance(value, Fraction):
        whole = (value * 10**PLACES * 2 + 1) // 2
        return Decimal(int(whole)).scaleb(-PLACES)
    return value.quantize(STEP, rounding=ROUND_HALF_UP)


def plain(value: Decimal) -> str:
    """`value` as people write it: no exponent, no trailing zeros, `0` for nothing."""
    text = format(value, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"", "-0"} else text


# What a field takes and what it gives. Django's fields accept these type arguments in their stubs alone, so at run time they are dropped.
Set_contra = TypeVar("Set_contra", contravariant=True)
Get_co = TypeVar("Get_co", covariant=True)

if TYPE_CHECKING:
    _Integer = models.Field
    _Text = models.Field
else:

    class _Untyped:
        def __class_getitem__(cls, _types):  # noqa: ANN001, ANN204 - never seen by a type checker
            return cls

    class _Integer(_Untyped, models.BigIntegerField):
        pass

    class _Text(_Untyped, models.CharField):
        pass


class QuantityField(_Integer[Set_contra, Get_co]):
    """A quantity of an item's stock unit: `Decimal` in Python, whole thousandths in the database."""

    if TYPE_CHECKING:
        _pyi_private_set_type: Decimal | int | Combinable
        _pyi_private_get_type: Decimal
        _pyi_lookup_exact_type: Decimal | int

    description = "exact quantity in thousandths of the stock unit"

    def from_db_value(self, value: int | None, *_: Any) -> Decimal | None:
        """Thousandths become a `Decimal`."""
        return None if value is None else Decimal(value).scaleb(-PLACES)

    def to_python(self, value: Any) -> Decimal | None:
        """Read a form's text or a fixture's figure."""
        if value is None or isinstance(value, Decimal):
            return value
        try:
            return Decimal(value)
        except (InvalidOperation, TypeError, ValueError) as error:
            message = f"{value!r} is no quantity"
            raise ValidationError(message) from error

    def get_prep_value(self, value: Any) -> Any:
        """A `Decimal` or whole number becomes thousandths; expressions pass."""
        if value is None or hasattr(value, "resolve_expression"):
            return value
        return to_thousandths(value)

    def formfield(self, **kwargs: Any) -> Any:
        """Forms ask for a decimal of three places."""
        from django import forms  # noqa: PLC0415 - only where a form is made

        return forms.DecimalField(decimal_places=PLACES, max_digits=15, label=kwargs.get("label"), required=not self.blank)


class FractionField(_Text[Set_contra, Get_co]):
    """An exact ratio such as a rivet's `1/8` inch: `Fraction` in Python, its text in the database."""

    if TYPE_CHECKING:
        _pyi_private_set_type: Fraction | Decimal | int | str | Combinable
        _pyi_private_get_type: Fraction
        _pyi_lookup_exact_type: Fraction | str

    description = "exact fraction"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Room for two 15-digit numbers, unless told otherwise."""
        kwargs.setdefault("max_length", 31)
        super().__init__(*args, **kwargs)

    def from_db_value(self, value: str | None, *_: Any) -> Fraction | None:
        """Text becomes a `Fraction`."""
        return None if value is None else Fraction(value)

    def to_python(self, value: Any) -> Fraction | None:
        """Read `1/8` or `0.125`."""
        if value is None or isinstance(value, Fraction):
            return value
        try:
            return Fraction(str(value))
        except (ValueError, ZeroDivisionError) as error:
            message = f"{value!r} is no fraction"
            raise ValidationError(message) from error

    def get_prep_value(self, value: Any) -> str | None:
        """A `Fraction` becomes its text."""
        return None if value is None else str(Fraction(value))
