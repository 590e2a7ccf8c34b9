"""One row read cell by cell: what a cell does not say properly is noted, and reading goes on."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import TypeVar, cast

from buildplan.loading import values
from buildplan.loading.columns import near
from buildplan.loading.problems import Problems
from buildplan.loading.records import shown
from buildplan.loading.tables import Progress, Row
from buildplan.loading.values import BadValue
from inventory.shelflife.calc import StatedDate, limits

T = TypeVar("T")
FRACTION_LENGTH = 31  # what a column for a fraction holds
ENDS = {"life_months": "made", "open_life_days": "opened"}  # which date of a lot an item's life counts from


@dataclass(frozen=True, slots=True)
class Reading:
    """How a file is read: which day is today, where problems go, and who is told how far it is."""

    today: date
    problems: Problems
    progress: Progress | None = None


@dataclass(slots=True)
class Cells:
    """The cells of one row. Once `faulty`, what was read is not to be used: it has gaps where a cell was wrong."""

    row: Row
    reading: Reading
    faulty: bool = False

    def fault(self, column: str, text: str) -> None:
        """Note what is wrong with a cell."""
        self.faulty = True
        self.reading.problems.add_error(self.row.error(column, text))

    def need(self, column: str, read: Callable[[str], T]) -> T:
        """The value of a cell that must be filled."""
        try:
            return read(self.row[column])
        except BadValue as error:
            self.fault(column, str(error))
            return cast("T", None)

    def may(self, column: str, read: Callable[[str], T]) -> T | None:
        """The value of a cell, or None where it is blank."""
        return self.need(column, read) if self.row[column] else None

    def text(self, column: str, most: int) -> str:
        """The text of a cell that must be filled, of `most` characters at most."""
        return self.need(column, partial(fitting, most=most))

    def text_if_any(self, column: str, most: int) -> str:
        """The text of a cell of `most` characters at most, perhaps none."""
        return self.text(column, most) if self.row[column] else ""

    def day(self, column: str) -> date | None:
        """The day of a cell, or None."""
        return self.may(column, partial(values.plain_date, today=self.reading.today))

    def stated(self, column: str) -> StatedDate | None:
        """The date of a cell as precisely as it is stated, or None."""
        return self.may(column, partial(values.stated_date, today=self.reading.today))

    def decimal(self, column: str, before_point: int, after_point: int) -> Decimal | None:
        """A number over 0 that a column of the database holds exactly, or None."""
        return self.may(column, partial(_decimal, comma=self.row.decimal_comma, before_point=before_point, after_point=after_point))

    def ratio(self, column: str, most: int | None = None) -> Fraction | None:
        """An exact size over 0 (`1/8` or `0.125`), of `most` at most, or None."""
        return self.may(column, partial(_ratio, comma=self.row.decimal_comma, most=most))

    def whole(self, column: str, least: int, most: int) -> int | None:
        """A whole number within bounds, or None."""
        return self.may(column, partial(values.whole, least=least, most=most))

    def choice(self, column: str, choices: Iterable[str]) -> str:
        """One of `choices`, in any case."""
        return self.need(column, partial(_choice, choices=tuple(choices)))


def fitting(text: str, *, most: int) -> str:
    """The text, refused where it is blank, longer than `most`, or holds what nobody can see or type."""
    text = values.filled(text).replace("\u00a0", " ")  # spreadsheets and web pages leave these between words
    if len(text) > most:
        raise BadValue(f"{shown(text)} is {len(text)} characters long: write at most {most}")
    if not text.isprintable():
        raise BadValue(f"{shown(text)} holds a line break or an invisible character: type it again")
    return text


def check_life(  # noqa: PLR0913 - what a label and a data sheet state
    cells: Cells,
    made: StatedDate | None,
    expires: StatedDate | None,
    opened: date | None,
    life_months: int | None,
    open_life_days: int | None,
) -> None:
    """Refuse dates that make no sense together, by the same arithmetic that will tell the last usable day."""
    try:
        limits(made=made, expires=expires, opened=opened, life_months=life_months, open_life_days=open_life_days)
    except ValueError as error:
        name, _, text = str(error).partition(": ")
        cells.fault(ENDS.get(name, name), f"{text}: check the date")


def _decimal(text: str, *, comma: bool, before_point: int, after_point: int) -> Decimal:
    number = values.decimal_positive(text, decimal_comma=comma)
    if number >= 10**before_point:
        raise BadValue(f"{shown(text)} is too large: write a number under {10**before_point}")
    if number != round(number, after_point):
        raise BadValue(f"{shown(text)} is too fine: write at most {after_point} decimals")
    return number


def _ratio(text: str, *, comma: bool, most: int | None) -> Fraction:
    size = values.fraction(text, decimal_comma=comma)
    if len(str(size)) > FRACTION_LENGTH:
        raise BadValue(f"{shown(text)} has too many digits: write fewer decimals")
    if most is not None and size > most:
        raise BadValue(f"{shown(text)} is past {most}: check its unit")
    return size


def _choice(text: str, *, choices: tuple[str, ...]) -> str:
    text = values.filled(text)
    if text.lower() in choices:
        return text.lower()
    match = near(text, choices)
    raise BadValue(f"{shown(text)} is unknown: " + (f"did you mean {match}?" if match else f"write one of {', '.join(choices)}"))
