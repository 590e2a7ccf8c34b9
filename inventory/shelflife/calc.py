"""How long a lot lives, and how warm it lay. Pure: no Django, no clock.

Month and quarter arithmetic follows the Navy shelf-life manual (NAVEDTRA 14015, table 5-5): a date given as a month means that
month's last day. A quarter means its last day (MIL-HDBK-695E; one supplier reads the next day, we take the earlier).
"""

import math
import re
from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal, NoReturn, Self

from inventory.common.exact import Exact, finite, not_negative, whole

Precision = Literal["day", "month", "quarter"]

_ZERO_C = 273.15
_NEAR = -0.5
_DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_MONTH = re.compile(r"(\d{4})-(\d{2})", re.ASCII)
_QUARTER = re.compile(r"([1-4])[qQ](\d{4}|\d{2})", re.ASCII)


def month_end(year: int, month: int) -> date:
    """The last day of a month."""
    return date(year, month, monthrange(year, month)[1])


@dataclass(frozen=True, slots=True)
class StatedDate:
    """A date as precisely as somebody printed it: a day, a month or a quarter. `last_day` is the day it means."""

    last_day: date
    precision: Precision = "day"

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read `2027-03-14`, `2027-03` or `2Q27` (`2Q2027`). `ValueError` where it is none, or no day of the calendar."""
        text = text.strip()
        if found := _DAY.fullmatch(text):
            return cls(date(*map(int, found.groups())))
        if found := _MONTH.fullmatch(text):
            year, month = map(int, found.groups())
            return cls(_month_end(text, year, month), "month")
        if found := _QUARTER.fullmatch(text):
            year = int(f"20{found[2]}"[-4:])  # two digits are of this century
            return cls(_month_end(text, year, int(found[1]) * 3), "quarter")
        message = f"{text!r} is no date"
        raise ValueError(message)

    def __str__(self) -> str:
        """The text as `parse` reads it."""
        if self.precision == "month":
            return self.last_day.isoformat()[:7]
        if self.precision == "quarter":
            return f"{self.last_day.month // 3}Q{self.last_day.isoformat()[:4]}"
        return self.last_day.isoformat()

    def plus_months(self, months: int) -> date:
        """The last day of a life of `months` from here, added in one step.

        A full date keeps its day number, clamped to the month; a month or a quarter ends on a month's last day.
        """
        year, month0 = divmod(self.last_day.year * 12 + self.last_day.month - 1 + months, 12)
        end = _month_end(f"{self} + {months} months", year, month0 + 1)
        return end if self.precision != "day" else end.replace(day=min(self.last_day.day, end.day))


def _month_end(text: str, year: int, month: int) -> date:
    if not (1 <= year <= 9999 and 1 <= month <= 12):  # noqa: PLR2004
        message = f"{text!r} is no date of the calendar"
        raise ValueError(message)
    return month_end(year, month)


def of_columns(day: date | None, precision: str) -> StatedDate | None:
    """A stated date as a table keeps it: its last day, and how precisely it was printed; None where there is none."""
    return None if day is None else StatedDate(day, precision)  # type: ignore[arg-type] # the column's choices are the precisions


@dataclass(frozen=True, slots=True)
class Limit:
    """One thing that ends a lot's life. `source` is what a person can look up."""

    rule: str
    last_day: date
    source: str


def limits(  # noqa: PLR0913 - pinned: each is one thing a label or a data sheet states
    *,
    made: date | str | StatedDate | None = None,
    life_months: int | None = None,
    expires: date | str | StatedDate | None = None,
    opened: date | None = None,
    open_life_days: int | None = None,
    passes: int = 0,
    extend_part: Exact | None = None,
    storage: Sequence[date] = (),
) -> tuple[Limit, ...]:
    """Every limit that is known, each with its rule and source: they are the trace of a last usable day.

    `made` and `expires` are dates or texts (`2027-03`, `2Q27`); `storage` holds the days that storage excursions set.
    Each passed update test adds floor(life_months x extend_part) months to the printed date and to made + life, never to an
    opened life or a storage limit (T.O. 1-1-700 par. 12.8: half the original life a pass).
    Raises `ValueError` that names the argument where something makes no sense.
    """
    start, printed = _stated("made", made), _stated("expires", expires)
    if start is not None and printed is not None and printed.last_day < first_day(start):
        _refuse("expires", f"{printed} is before it was made ({start})")
    extension = _extension(_life_months(life_months), passes, extend_part)
    found = []
    if printed is not None:
        found.append(_printed(printed, extension, passes))
    if start is not None and life_months is not None:
        found.append(_life(start, life_months, extension, passes))
    found.extend(_opened(opened, open_life_days))
    found.extend(Limit("storage", _day("storage", day), "a storage excursion") for day in storage)
    return tuple(found)


def last_usable_day(limits: Iterable[Limit]) -> Limit | None:
    """The limit that ends first; None where nothing is known, which is not the same as "never"."""
    return min(limits, key=lambda limit: limit.last_day, default=None)


def mean_kinetic_temperature(spans: Iterable[tuple[float, float]], *, dh_over_r: float = 10000.0) -> float:
    """The one temperature, in Celsius, that ages goods as the `spans` of (hours, Celsius) did. An advisory: it lengthens no life.

    `dh_over_r` is the activation energy over the gas constant, in kelvin; 10,000 K is 83.144 kJ/mol (USP 29 chapter 1160).
    Raises `ValueError` that names the argument: no hours in all, negative hours, absolute zero or below, anything not finite.
    """
    energy = finite("dh_over_r", dh_over_r)
    if energy <= 0:
        _refuse("dh_over_r", "must be over 0")
    kept = [_span(span) for span in spans]
    longest = max((hours for hours, _ in kept), default=0.0)
    if not longest:
        _refuse("spans", "no hours in all")
    counted = [(weight, celsius) for hours, celsius in kept if (weight := hours / longest)]
    mean = _kinetic_mean([(weight, celsius + _ZERO_C) for weight, celsius in counted], energy) - _ZERO_C
    coldest, hottest = min(celsius for _, celsius in counted), max(celsius for _, celsius in counted)
    return min(max(mean, coldest), hottest)  # rounding never leaves the range


def _kinetic_mean(weighed: list[tuple[float, float]], energy: float) -> float:
    """Kelvin in, kelvin out. The hottest span is taken out of the exponents, so that they do not all underflow to nothing."""
    hottest = max(kelvin for _, kelvin in weighed)
    total = math.fsum(weight for weight, _ in weighed)
    falls = [(weight, energy * (1 / hottest - 1 / kelvin)) for weight, kelvin in weighed]
    below = math.fsum(weight * math.expm1(fall) for weight, fall in falls) / total
    if below > _NEAR:  # all exponents are close: log1p keeps the digits that log would lose
        return energy / (energy / hottest - math.log1p(below))
    rate = math.log(math.fsum(weight * math.exp(fall) for weight, fall in falls)) - math.log(total)
    return energy / (energy / hottest - rate)


def _span(span: tuple[float, float]) -> tuple[float, float]:
    try:
        hours, celsius = span
    except (TypeError, ValueError) as error:
        raise ValueError("spans: each is (hours, Celsius)") from error
    hours, celsius = finite("spans: hours", hours), finite("spans: Celsius", celsius)
    if hours < 0:
        _refuse("spans", f"{hours} hours are below 0")
    if celsius + _ZERO_C <= 0:
        _refuse("spans", f"{celsius} C is at or below absolute zero")
    return hours, celsius


def _stated(name: str, value: date | str | StatedDate | None) -> StatedDate | None:
    if value is None or isinstance(value, StatedDate):
        return value
    if not isinstance(value, str):
        return StatedDate(_day(name, value))
    try:
        return StatedDate.parse(value)
    except ValueError as error:
        message = f"{name}: {error}"
        raise ValueError(message) from error


def _day(name: str, value: object) -> date:
    """`value` where it is a date. An instant is none: which zone's midnight would end it is not known."""
    if isinstance(value, datetime) or not isinstance(value, date):
        _refuse(name, f"give a date, not {type(value).__name__}")
    return value


def _life_months(life_months: int | None) -> int:
    if life_months is None:
        return 0
    if not whole("life_months", life_months, least=0):
        _refuse("life_months", "0 is no life: leave it out where it is not known")
    return life_months


def _extension(life_months: int, passes: int, extend_part: Exact | None) -> int:
    """The months that all passed tests add; none where the life is not known."""
    part = None if extend_part is None else not_negative("extend_part", extend_part)
    if not whole("passes", passes, least=0):
        return 0
    if part is None:
        _refuse("extend_part", "a passed test needs the part of the life that it adds")
    return passes * math.floor(life_months * part)


def _opened(opened: date | None, open_life_days: int | None) -> list[Limit]:
    day = None if opened is None else _day("opened", opened)
    days = None if open_life_days is None else whole("open_life_days", open_life_days, least=0)
    if day is None or days is None:
        return []
    try:
        last_day = day + timedelta(days=days)
    except OverflowError as error:
        raise ValueError("open_life_days: ends past the calendar") from error
    return [Limit("opened", last_day, f"opened {day} + {days} days of opened life")]


def first_day(stated: StatedDate) -> date:
    """The earliest day a stated date can mean: a part made in 2024-02 may expire on any day of that month."""
    if stated.precision == "day":
        return stated.last_day
    back = 2 if stated.precision == "quarter" else 0
    return stated.last_day.replace(month=stated.last_day.month - back, day=1)


def _refuse(name: str, text: str) -> NoReturn:
    raise ValueError(f"{name}: {text}")


def _printed(expires: StatedDate, extension: int, passes: int) -> Limit:
    source = f"expires {expires}, as printed"
    if not extension:
        return Limit("expires", expires.last_day, source)
    return Limit("expires", _later("expires", expires, extension), f"{source} + {extension} months for {passes} passed tests")


def _life(made: StatedDate, life_months: int, extension: int, passes: int) -> Limit:
    source = f"made {made} + {life_months} months of life"
    if extension:
        source += f" + {extension} months for {passes} passed tests"
    return Limit("life", _later("life_months", made, life_months + extension), source)


def _later(name: str, stated: StatedDate, months: int) -> date:
    try:
        return stated.plus_months(months)
    except ValueError as error:
        raise ValueError(f"{name}: {stated} and its months end past the calendar") from error
