r"""A value as the text of a cell, and back as the database takes it. Nothing is rounded, guessed or trimmed.

Blank is nothing, `\N` is nothing in a column of text (where blank is a text too), and a text that starts with a backslash has one more.
"""

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, time
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import connection, models
from django.db.backends.base.operations import BaseDatabaseOperations

from buildplan.archive import kinds
from buildplan.archive.problems import BadCell
from inventory.common.fields import LIMIT, FractionField, QuantityField, plain, to_thousandths

NOTHING = "\\N"
_WHOLE = re.compile(r"-?\d{1,19}", re.ASCII)
_NUMBER = re.compile(r"-?\d{1,30}(\.\d{1,30})?", re.ASCII)
_RATIO = re.compile(r"-?\d{1,30}(/[1-9]\d{0,29})?", re.ASCII)
_SHOWN = 40
Field = "models.Field[Any, Any]"
Write = Callable[[Any], str]
Read = Callable[[str], Any]


def shown(text: str) -> str:
    """A cell's text as a message names it: cut, and on one line."""
    return repr(text if len(text) <= _SHOWN else f"{text[:_SHOWN]}...")


def is_text(field: Field) -> bool:  # type: ignore[valid-type]
    """Whether blank is a value of its own in a column."""
    return isinstance(field, models.CharField | models.TextField) and not isinstance(field, FractionField)


def writer(field: Field) -> Write:  # type: ignore[valid-type]
    """How values of a column are written."""
    if is_text(field):
        return _write_text
    write = _WRITERS[_kind(field)]
    return lambda value: "" if value is None else write(value)


def reader(field: Field) -> Read:  # type: ignore[valid-type]
    """How texts of a column are read. Raises `BadCell`."""
    if is_text(field):
        return _text_reader(field)
    return _or_nothing(_READERS[_kind(field)](field), nullable=field.null)  # type: ignore[attr-defined]


def json_reader(field: Field, rename: Callable[[Any], Any]) -> Read:  # type: ignore[valid-type]
    """How JSON is read, with the ids in it renamed."""

    def read(text: str) -> Any:
        try:
            value = json.loads(text, parse_constant=_no_constant)
        except (ValueError, RecursionError) as error:
            raise BadCell(f"{shown(text)} is no JSON") from error
        if "\\u0000" in text:
            raise BadCell("holds a character of code 0, which no database keeps")
        return connection.ops.adapt_json_value(rename(value), field.encoder)  # type: ignore[attr-defined]

    return _or_nothing(read, nullable=field.null)  # type: ignore[attr-defined]


def whole(text: str) -> int:
    """A whole number."""
    if not _WHOLE.fullmatch(text):
        raise BadCell(f"{shown(text)} is no whole number")
    return int(text)


def row_id(text: str) -> int:
    """A row's number."""
    number = whole(text)
    if not 0 <= number < kinds.MOST_ID:
        raise BadCell(f"{shown(text)} is no id")
    return number


def _kind(field: Field) -> type:  # type: ignore[valid-type]
    """The first class of a field that is known here: a field of ours is known before the one that it is made of."""
    return next(kind for kind in type(field).__mro__ if kind in _WRITERS)


# Writing


def _write_text(value: str | None) -> str:
    if value is None:
        return NOTHING
    return f"\\{value}" if value.startswith("\\") else value


def _write_instant(value: datetime) -> str:
    return value.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _write_decimal(value: Decimal) -> str:
    return format(value, "f")


def _write_json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def _write_flag(value: bool) -> str:
    return "yes" if value else "no"


_WRITERS: dict[type, Write] = {
    QuantityField: plain,
    FractionField: str,
    models.BooleanField: _write_flag,
    models.DateTimeField: _write_instant,
    models.DateField: date.isoformat,
    models.TimeField: time.isoformat,
    models.DecimalField: _write_decimal,
    models.IntegerField: str,
    models.UUIDField: str,
    models.JSONField: _write_json,
}


# Reading


def _or_nothing(read: Read, *, nullable: bool) -> Read:
    def read_or_nothing(text: str) -> Any:
        if text:
            return read(text)
        if nullable:
            return None
        raise BadCell("blank: this column needs a value in every row")

    return read_or_nothing


def _text_reader(field: Any) -> Read:
    most = field.max_length
    known = None if not field.choices or hasattr(field.model, "history_id") else {*dict(field.flatchoices), ""}

    def read(text: str) -> str | None:
        if text.startswith("\\"):
            if text == NOTHING:
                _refuse_nothing(nullable=field.null)
                return None
            text = text[1:]
        if most is not None and len(text) > most:
            raise BadCell(f"{shown(text)} has {len(text)} characters, and {most} are the most")
        if "\0" in text:
            raise BadCell("holds a character of code 0, which no database keeps")
        if known is not None and text not in known:
            raise BadCell(f"{shown(text)} is none of {', '.join(sorted(filter(None, known)))}")
        return text

    return read


def _refuse_nothing(*, nullable: bool) -> None:
    if not nullable:
        raise BadCell(f"{NOTHING} is nothing: this column needs a text in every row")


def _quantity(_field: Any) -> Read:
    def read(text: str) -> int:
        try:
            value = to_thousandths(_decimal(text))
        except ValueError as error:
            raise BadCell(str(error)) from error
        if abs(value) > LIMIT * 1000:
            raise BadCell(f"{shown(text)} is too large")
        return value

    return read


def _decimal(text: str) -> Decimal:
    if not _NUMBER.fullmatch(text):
        raise BadCell(f"{shown(text)} is no number")
    return Decimal(text)


def _decimals(field: Any) -> Read:
    def read(text: str) -> Any:
        value = _decimal(text)
        try:
            field.run_validators(value)
        except (ValidationError, InvalidOperation) as error:
            raise BadCell(f"{shown(text)} has over {field.max_digits} digits, or over {field.decimal_places} behind the point") from error
        return connection.ops.adapt_decimalfield_value(value, field.max_digits, field.decimal_places)

    return read


def _ratio(field: Any) -> Read:
    def read(text: str) -> str:
        if not _RATIO.fullmatch(text) or len(text) > field.max_length:
            raise BadCell(f"{shown(text)} is no fraction such as 1/8")
        return str(Fraction(text))

    return read


def _integer(field: Any) -> Read:
    low, high = BaseDatabaseOperations.integer_field_ranges[field.get_internal_type()]  # on SQLite no other is held
    low = max([low, *(one.limit_value for one in field.validators if isinstance(one, MinValueValidator))])
    high = min([high, *(one.limit_value for one in field.validators if isinstance(one, MaxValueValidator))])

    def read(text: str) -> int:
        value = whole(text)
        if not low <= value <= high:
            raise BadCell(f"{value} is not between {low} and {high}")
        return value

    return read


def _flag(_field: Any) -> Read:
    def read(text: str) -> bool:
        if text not in _FLAGS:
            raise BadCell(f"{shown(text)} is neither yes nor no")
        return _FLAGS[text]

    return read


_FLAGS = {"yes": True, "no": False}


def _made_by(make: Callable[[str], Any], adapt: str, what: str) -> Callable[[Any], Read]:
    """A reader of texts that `make` understands, whose values the database adapts by its own function of that name."""

    def read(text: str) -> Any:
        try:
            return getattr(connection.ops, adapt)(make(text))
        except (ValueError, OverflowError) as error:
            raise BadCell(f"{shown(text)} is no {what}") from error

    return lambda _field: read


def _instant(text: str) -> datetime:
    value = datetime.fromisoformat(text)
    if value.tzinfo is None:
        raise ValueError(text)
    return value.astimezone(UTC)


def _uuid(_field: Any) -> Read:
    def read(text: str) -> Any:
        try:
            value = UUID(text)
        except ValueError as error:
            raise BadCell(f"{shown(text)} is no uuid") from error
        return value if connection.features.has_native_uuid_field else value.hex

    return read


_READERS: dict[type, Callable[[Any], Read]] = {
    QuantityField: _quantity,
    FractionField: _ratio,
    models.BooleanField: _flag,
    models.DateTimeField: _made_by(_instant, "adapt_datetimefield_value", "instant such as 2027-03-14T18:00:00Z"),
    models.DateField: _made_by(date.fromisoformat, "adapt_datefield_value", "day such as 2027-03-14"),
    models.TimeField: _made_by(time.fromisoformat, "adapt_timefield_value", "time such as 18:00:00"),
    models.DecimalField: _decimals,
    models.IntegerField: _integer,
    models.UUIDField: _uuid,
    models.JSONField: lambda field: json_reader(field, lambda value: value),
}


def _no_constant(text: str) -> Any:
    raise ValueError(text)
