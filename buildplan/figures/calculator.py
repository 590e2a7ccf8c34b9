"""What a calculator of the bench is, and how one is asked: the page, the API and its description all go by this.

Results are exact texts; a length comes in inches and in millimetres.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from buildplan.figures.reading import Lines, Measure, Read, Temperature
from inventory.common.exact import Exact, decimal_text
from inventory.common.fields import plain
from inventory.common.reasons import Reason

MM_PER_INCH = Fraction(254, 10)

_MOST_PLACES = 30  # of an exact decimal; past it a fraction is the shorter way to be exact
_SHOWN_PLACES = 6
_FINEST_RULE = 64  # rulers and drills go down to 64ths
_MOST_TEXT = 4000  # characters of one input


@dataclass(frozen=True, slots=True)
class Input:
    """One thing that a calculator asks for. `example` is a text that will do; it stands in the help and in each refusal.

    `arguments` are the names that the arithmetic's own refusals give it, where they differ. `lines` may be repeated.
    """

    name: str
    label: str
    read: Read
    example: str
    help: str = ""
    unit: str = ""
    required: bool = True
    choices: Mapping[str, str] = field(default_factory=dict)
    flag: bool = False
    arguments: tuple[str, ...] = ()

    @property
    def lines(self) -> bool:
        """Whether it takes several values, one a line."""
        return isinstance(self.read, Lines)


@dataclass(frozen=True, slots=True)
class Row:
    """One result. `value` is exact; `shown` is what a page prints, in ruler fractions or rounded; `note` says more."""

    name: str
    value: str
    unit: str = ""
    note: str = ""
    shown: str = ""


@dataclass(frozen=True, slots=True)
class Found:
    """What a calculator found. `cautions` are of this very answer."""

    rows: tuple[Row, ...]
    trace: tuple[Reason, ...]
    cautions: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Calculator:
    """One calculator. `reckon` takes the inputs' values by their names, None where one is blank; `results` label its rows."""

    name: str
    title: str
    about: str
    inputs: tuple[Input, ...]
    results: Mapping[str, str]
    reckon: Callable[..., Found]
    example: Mapping[str, Sequence[str]]
    cautions: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What was asked, as it was written, and what came out."""

    calculator: Calculator
    inputs: Mapping[str, Sequence[str]]
    found: Found

    @property
    def cautions(self) -> tuple[Reason, ...]:
        """Those of this answer, then those of the calculator."""
        return (*self.found.cautions, *self.calculator.cautions)


class InputError(ValueError):
    """Inputs that can't be reckoned with: for each its name, what is wrong, and what would do."""

    def __init__(self, errors: Mapping[str, str]) -> None:
        """Keep the messages by input."""
        super().__init__("; ".join(f"{name}: {text}" for name, text in errors.items()))
        self.errors = errors


def ask(calculator: Calculator, given: Mapping[str, Sequence[str]]) -> Answer:
    """Read the texts of `given`, reckon, and say why. `InputError` names each input that doesn't do."""
    texts = {name: kept for name, values in given.items() if (kept := [text.strip() for text in values if text.strip()])}
    values, errors = _read(calculator, texts)
    if errors:
        raise InputError(errors)
    try:
        found = calculator.reckon(**values)
    except ValueError as error:
        raise _refused(calculator, error) from error
    converted = tuple(_conversions(calculator, texts))
    return Answer(calculator, texts, Found(found.rows, (*converted, *found.trace), found.cautions))


def figure(name: str, value: Exact | str | date, unit: str = "", note: str = "") -> Row:
    """A row of any value: numbers become exact texts."""
    if isinstance(value, Decimal):
        return Row(name, plain(value), unit, note, _rounded(Fraction(value)))
    if isinstance(value, int | Fraction):
        return Row(name, exact_text(Fraction(value)), unit, note, _rounded(Fraction(value)))
    return Row(name, str(value), unit, note, str(value))


def length(name: str, inches: Exact, note: str = "") -> tuple[Row, Row]:
    """The two rows of a length: inches and millimetres."""
    size = Fraction(inches)
    ruler = f"{_mixed(size)} in = " if 1 < size.denominator <= _FINEST_RULE and _FINEST_RULE % size.denominator == 0 else ""
    in_inches = Row(name, exact_text(size), "in", note, ruler + _rounded(size))
    return in_inches, figure(name, size * MM_PER_INCH, "mm", note)


def exact_text(value: Fraction) -> str:
    """`value` as a plain decimal where that is exact, else as a fraction."""
    for places in range(1, _MOST_PLACES + 1):
        if (value * 10**places).denominator == 1:
            return decimal_text(value, places)
    return str(value)


def tidy(value: Fraction) -> Exact:
    """`value` as a Decimal where that is exact, since a trace reads better with 0.1 than with 1/10."""
    text = exact_text(value)
    return value if "/" in text else Decimal(text)


def _mixed(size: Fraction) -> str:
    whole, part = divmod(size, 1)
    return f"{whole} {part}" if whole else str(part)


def _rounded(value: Fraction) -> str:
    text = decimal_text(value, _SHOWN_PLACES)
    return text if Fraction(text) == value else f"about {text}"


def _read(calculator: Calculator, texts: Mapping[str, Sequence[str]]) -> tuple[dict[str, Any], dict[str, str]]:
    values: dict[str, Any] = {}
    errors = {name: _unknown(calculator) for name in texts if name not in {one.name for one in calculator.inputs}}
    for one in calculator.inputs:
        try:
            values[one.name] = _value(one, texts.get(one.name, ()))
        except ValueError as error:
            errors[one.name] = _would_do(one, str(error))
    return values, errors


def _value(one: Input, texts: Sequence[str]) -> Any:
    text = "\n".join(texts)
    if not text:
        if one.required:
            raise ValueError("needed")
        return False if one.flag else () if one.lines else None
    if len(texts) > 1 and not one.lines:
        raise ValueError(f"given {len(texts)} times")
    if len(text) > _MOST_TEXT:
        raise ValueError(f"{len(text)} characters: {_MOST_TEXT} are the most")
    return one.read(text)


def _unknown(calculator: Calculator) -> str:
    return f"no input of this figure: it takes {', '.join(one.name for one in calculator.inputs)}"


def _would_do(one: Input, fault: str) -> str:
    return f"{fault}. {one.example} would do."


def _refused(calculator: Calculator, error: ValueError) -> InputError:
    """The arithmetic names its argument before a colon."""
    name, _, fault = str(error).partition(": ")
    for one in calculator.inputs:
        if name == one.name or name in one.arguments:
            return InputError({one.name: _would_do(one, fault)})
    return InputError({calculator.inputs[0].name: str(error)})


def _conversions(calculator: Calculator, texts: Mapping[str, Sequence[str]]) -> Iterable[Reason]:
    for one in calculator.inputs:
        if one.name in texts and isinstance(one.read, Measure | Temperature) and (said := one.read.said(texts[one.name][0])):
            yield Reason(f"{one.name}: {said}", "as entered")
