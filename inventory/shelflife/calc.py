"""How long a lot lives. Pure: no Django, no clock.

Month and quarter arithmetic follows the Navy shelf-life manual (NAVEDTRA 14015, table 5-5): a date given as a month means that
month's last day. A quarter means its last day (MIL-HDBK-695E; one supplier reads the next day, we take the earlier).
"""

import re
from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Literal, Self

Precision = Literal["day", "month", "quarter"]

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
            quarter, year = int(found[1]), int(found[2])
            return cls(_month_end(text, year + 2000 if year < 100 else year, quarter * 3), "quarter")  # noqa: PLR2004
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
    extend_part: Fraction | None = None,
    storage: Sequence[date] = (),
) -> tuple[Limit, ...]:
    """Every limit that is known, each with its rule and source: they are the trace of a last usable day.

    `made` and `expires` are dates or texts (`2027-03`, `2Q27`); `storage` holds the days that storage excursions set.
    Each passed update test adds floor(life_months x extend_part) months to the printed date and to made + life, never to an
    opened life or a storage limit (T.O. 1-1-700 par. 12.8: half the original life a pass).
    Raises `ValueError` that names the argument where something makes no sense.
    """
    start, printed = _stated("made", made), _stated("expires", expires)
    _refuse_nonsense(start, printed, life_months, open_life_days, passes, extend_part)
    extension = passes * int((life_months or 0) * Fraction(extend_part or 0))
    found = []
    if printed is not None:
        found.append(_printed(printed, extension, passes))
    if start is not None and life_months is not None:
        found.append(_life(start, life_months, extension, passes))
    if opened is not None and open_life_days is not None:
        day = opened + timedelta(days=open_life_days)
        found.append(Limit("opened", day, f"opened {opened} + {open_life_days} days of opened life"))
    found.extend(Limit("storage", day, "a storage excursion") for day in storage)
    return tuple(found)


def last_usable_day(limits: Iterable[Limit]) -> Limit | None:
    """The limit that ends first; None where nothing is known, which is not the same as "never"."""
    return min(limits, key=lambda limit: limit.last_day, default=None)


def _stated(name: str, value: date | str | StatedDate | None) -> StatedDate | None:
    if value is None or isinstance(value, StatedDate):
        return value
    if isinstance(value, date):
        return StatedDate(value)
    try:
        return StatedDate.parse(value)
    except ValueError as error:
        message = f"{name}: {error}"
        raise ValueError(message) from error


def _refuse_nonsense(  # noqa: PLR0913 - the arguments of `limits`
    made: StatedDate | None,
    expires: StatedDate | None,
    life_months: int | None,
    open_life_days: int | None,
    passes: int,
    extend_part: Fraction | None,
) -> None:
    if life_months is not None and life_months < 1:
        _refuse("life_months", f"{life_months} is no life: leave it out where it is not known")
    if open_life_days is not None and open_life_days < 0:
        _refuse("open_life_days", f"{open_life_days} is below 0")
    if passes < 0:
        _refuse("passes", f"{passes} is below 0")
    if passes and extend_part is None:
        _refuse("extend_part", "a passed test needs the part of the life that it adds")
    if extend_part is not None and extend_part < 0:
        _refuse("extend_part", f"{extend_part} is below 0")
    if made is not None and expires is not None and expires.last_day < _first_day(made):
        _refuse("expires", f"{expires} is before it was made ({made})")


def _first_day(stated: StatedDate) -> date:
    """The earliest day a stated date can mean: a part made in 2024-02 may expire on any day of that month."""
    if stated.precision == "day":
        return stated.last_day
    back = 2 if stated.precision == "quarter" else 0
    return stated.last_day.replace(month=stated.last_day.month - back, day=1)


def _refuse(name: str, text: str) -> None:
    message = f"{name}: {text}"
    raise ValueError(message)


def _printed(expires: StatedDate, extension: int, passes: int) -> Limit:
    source = f"expires {expires}, as printed"
    if not extension:
        return Limit("expires", expires.last_day, source)
    return Limit("expires", expires.plus_months(extension), f"{source} + {extension} months for {passes} passed tests")


def _life(made: StatedDate, life_months: int, extension: int, passes: int) -> Limit:
    source = f"made {made} + {life_months} months of life"
    if extension:
        source += f" + {extension} months for {passes} passed tests"
    return Limit("life", made.plus_months(life_months + extension), source)
