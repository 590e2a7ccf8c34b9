"""Fields of the API: exact quantities, dates as labels state them, rows by what people call them."""

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any, Generic, TypeVar

from django.core.exceptions import ValidationError as FormError
from django.db.models import Model
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from inventory.common.fields import LIMIT, PLACES, plain
from inventory.common.forms import SizeInput
from inventory.common.problems import NotHere
from inventory.shelflife.calc import StatedDate

Row = TypeVar("Row", bound=Model)
MOST_SIZE = 31  # characters of a fraction: the column's
DIGITS = len(str(LIMIT)) + PLACES
_EXACT = {"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}
_GIVEN = {"oneOf": [{"type": "string", "pattern": r"^\d{1,13}(\.\d{1,3})?$"}, {"type": "number", "minimum": 0}]}
_STATED = {"type": "string", "pattern": r"^(\d{4}-\d{2}(-\d{2})?|[1-4]Q(\d{2}|\d{4}))$", "example": "2027-03"}
_SIZE = {"type": "string", "example": "1/8"}


@extend_schema_field(_EXACT)
class DecimalOut(serializers.Field[Decimal, Any, str, Any]):
    """An exact decimal as text: no exponent, no trailing zeros. Its unit stands in a field beside it."""

    def __init__(self, **kwargs: Any) -> None:
        """Never read."""
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Decimal) -> str:
        """As people write it."""
        return plain(value)


@extend_schema_field(_GIVEN)
class QuantityIn(serializers.DecimalField):
    """A quantity of the item's stock unit: decimal text, or a number; at most three decimals, 0 or more, at most 10^12."""

    def __init__(self, **kwargs: Any) -> None:
        """The service refuses 0 where nothing makes no sense."""
        super().__init__(max_digits=DIGITS, decimal_places=PLACES, min_value=Decimal(0), max_value=LIMIT, **kwargs)


@extend_schema_field(_STATED)
class StatedDateField(serializers.Field[StatedDate, str, str, Any]):
    """A date as precisely as a label states it: a day, a month (`2027-03`) or a quarter (`2Q2027`)."""

    default_error_messages = {"invalid": "Write 2027-03-14, 2027-03 or 2Q27."}

    def to_internal_value(self, data: Any) -> StatedDate:
        """Read it."""
        if not isinstance(data, str):
            self.fail("invalid")
        try:
            return StatedDate.parse(data)
        except ValueError:
            self.fail("invalid")

    def to_representation(self, value: StatedDate) -> str:
        """As it was stated."""
        return str(value)


@extend_schema_field(_SIZE)
class SizeField(serializers.Field[Fraction, str, str, Any]):
    """An exact size in inches: `1/8` or `0.125`."""

    default_error_messages = {"invalid": "Write the size as 1/8 or 0.125.", "long": "Write the size with fewer digits."}

    def to_internal_value(self, data: Any) -> Fraction:
        """Read it."""
        if not isinstance(data, str) or not data.strip():
            self.fail("invalid")
        try:
            found: Fraction = SizeInput().clean(data)
        except FormError:
            self.fail("invalid")
        if len(str(found)) > MOST_SIZE:
            self.fail("long")
        return found

    def to_representation(self, value: Fraction) -> str:
        """A fraction."""
        return str(value)


class CodeField(serializers.CharField, Generic[Row]):
    """A row by the code or path that people call it by. One that isn't of this workshop is a 404, as in an address."""

    def __init__(self, what: str, find: Callable[[str], Row | None], **kwargs: Any) -> None:
        """`find` gives the row of a text; `what` is what messages call it."""
        self.what, self.find = what, find
        super().__init__(max_length=kwargs.pop("max_length", 400), **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        """The row."""
        text = self.run_validators_on(super().to_internal_value(data))
        if (row := self.find(text)) is None:
            raise NotHere(f"there is no {self.what} {text} here")
        return row

    def run_validators_on(self, text: str) -> str:
        """The text, checked before anything is looked for by it; DRF would check the row."""
        serializers.CharField.run_validators(self, text)
        return text

    def run_validators(self, value: Any) -> None:
        """The row needs none."""

    def to_representation(self, value: Any) -> str:
        """Its text."""
        return str(value)


class IdField(serializers.IntegerField, Generic[Row]):
    """A row by its id. One that isn't of this workshop is a 404, as in an address."""

    def __init__(self, what: str, find: Callable[[int], Row | None], **kwargs: Any) -> None:
        """`find` gives the row of an id; `what` is what messages call it."""
        self.what, self.find = what, find
        super().__init__(**kwargs)

    def to_internal_value(self, data: Any) -> Any:
        """The row."""
        number = super().to_internal_value(data)
        if (row := self.find(number)) is None:
            raise NotHere(f"there is no {self.what} {number} here")
        return row

    def to_representation(self, value: Any) -> int:
        """Its id."""
        return int(value.pk)


class ReasonOut(serializers.Serializer[Any]):
    """One reason of a trace."""

    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment] # a declared field; the class keeps its own `source`


def body_of(shape: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    """What a request's body says, read and checked as `shape`; a 400 names each field that isn't as it should be."""
    asked = shape(data=request.data)
    asked.is_valid(raise_exception=True)
    return dict(asked.validated_data)
