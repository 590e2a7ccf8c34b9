"""Leak tests: what a closed tank would show now if nothing had leaked. Pure: no Django, no clock.

Pressures are pascals, temperatures kelvin, all of them exact. What is said of them is said in a unit of the reader's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from fractions import Fraction

from inventory.common.exact import Exact, decimal_text, exact, positive
from inventory.common.reasons import ARITHMETIC, Reason

ZERO_C = Fraction(27315, 100)  # kelvin
ZERO_F = Fraction(45967, 100)  # degrees of Fahrenheit above absolute zero
GAS = "ideal gas in a closed rigid tank: its absolute pressure goes with its absolute temperature"
READ = "as read and entered"
LIMIT = "the kit maker's limit, as entered"
DECIDES = "the kit maker's instructions and who signs for the tank"
MINUTE = timedelta(minutes=1)


class Scale(StrEnum):
    """What a thermometer counts in."""

    CELSIUS = "C"
    FAHRENHEIT = "F"


class Verdict(StrEnum):
    """How a leak test stands against the limit that was entered. It decides nothing."""

    EMPTY = "empty"
    NO_LIMIT = "no_limit"
    RUNNING = "running"
    WITHIN = "within"
    BEYOND = "beyond"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of pressure, and how many pascals one of it is."""

    name: str
    pascals: Fraction

    def of(self, pressure: Fraction) -> str:
        """A pressure in this unit, in words."""
        return f"{decimal_text(pressure / self.pascals)} {self.name}"


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read at one moment: the pressure above the air outside, the barometer beside it, how warm the air inside is."""

    at: datetime
    gauge: Fraction
    barometer: Fraction
    kelvin: Fraction

    @property
    def absolute(self) -> Fraction:
        """The pressure inside."""
        return self.gauge + self.barometer


@dataclass(frozen=True, slots=True)
class Limit:
    """What the kit maker allows: a drop within a time. None where it isn't entered."""

    drop: Fraction | None = None
    lasts: timedelta | None = None

    @property
    def given(self) -> bool:
        """Both are there: one of them alone is no limit."""
        return self.drop is not None and self.lasts is not None


@dataclass(frozen=True, slots=True)
class Corrected:
    """A reading beside what it would be without a leak. `by_warmth` and `by_weather` are what temperature and barometer make of it."""

    reading: Reading
    elapsed: timedelta
    expected: Fraction
    by_warmth: Fraction
    by_weather: Fraction
    trace: tuple[Reason, ...]

    @property
    def drop(self) -> Fraction:
        """How much is missing; below 0 there is more than there should be."""
        return self.expected - self.reading.gauge


@dataclass(frozen=True, slots=True)
class Judged:
    """All readings of a test, and how the last one that counts stands against the limit."""

    rows: tuple[Corrected, ...]
    verdict: Verdict
    trace: tuple[Reason, ...]

    @property
    def last(self) -> Corrected | None:
        """The last reading."""
        return self.rows[-1] if self.rows else None


def kelvin(degrees: Exact, scale: str) -> Fraction:
    """Degrees of Celsius or Fahrenheit as kelvin, exact. Refuses what is at or below absolute zero."""
    value = exact("degrees", degrees)
    found = value + ZERO_C if Scale(scale) == Scale.CELSIUS else (value + ZERO_F) * 5 / 9
    if found <= 0:
        raise ValueError(f"degrees: {decimal_text(value)} {scale} is at or below absolute zero")
    return found


def expected_gauge(first: Reading, *, barometer: Fraction, kelvin: Fraction) -> Fraction:
    """The gauge pressure of a tank that lost nothing since its first reading."""
    start = positive("the first reading's absolute pressure", first.absolute)
    return start * positive("kelvin", kelvin) / positive("the first reading's kelvin", first.kelvin) - barometer


def corrected(first: Reading, now: Reading, unit: Unit) -> Corrected:
    """A reading beside what is expected of it from the first one."""
    expected = expected_gauge(first, barometer=now.barometer, kelvin=now.kelvin)
    by_weather = first.barometer - now.barometer
    by_warmth = expected - first.gauge - by_weather
    return Corrected(now, now.at - first.at, expected, by_warmth, by_weather, tuple(_why(first, now, expected, unit)))


def _why(first: Reading, now: Reading, expected: Fraction, unit: Unit) -> Sequence[Reason]:
    start, ratio = unit.of(first.absolute), f"{decimal_text(now.kelvin, 2)} K / {decimal_text(first.kelvin, 2)} K"
    gone = expected - now.gauge
    missing = f"{unit.of(gone)} are missing" if gone > 0 else f"{unit.of(-gone)} more than expected" if gone else "nothing is missing"
    return (
        Reason(f"at first {unit.of(first.gauge)} above a barometer of {unit.of(first.barometer)}: {start} absolute", READ),
        Reason(f"{start} x {ratio} - {unit.of(now.barometer)} = {unit.of(expected)} expected now, were nothing lost", GAS),
        Reason(f"{unit.of(expected)} - {unit.of(now.gauge)} read: {missing}", ARITHMETIC),
    )


def judge(readings: Sequence[Reading], limit: Limit, unit: Unit) -> Judged:
    """Every reading beside what was expected, and how they stand against the limit.

    A drop past the limit within its time is beyond it. A reading at or after the end of that time with no larger drop is within it. One
    after the end with a larger drop says nothing: the maker allows a drop in a time, and by then more time is over.
    """
    kept = sorted(readings, key=lambda one: one.at)
    rows = tuple(corrected(kept[0], one, unit) for one in kept)
    if len(rows) < 2:  # noqa: PLR2004 - the first reading is what the others are measured by
        return Judged(rows, Verdict.EMPTY, (Reason("there are fewer than two readings: nothing to compare", READ),))
    if limit.drop is None or limit.lasts is None:
        return Judged(rows, Verdict.NO_LIMIT, tuple(_lacking(limit)))
    verdict, reason = _verdict(rows, limit.drop, limit.lasts, unit)
    return Judged(rows, verdict, (reason, Reason("this decides nothing", DECIDES)))


def _lacking(limit: Limit) -> Sequence[Reason]:
    lacking = [name for name, value in (("allowed drop", limit.drop), ("time", limit.lasts)) if value is None]
    return (Reason(f"no {' and no '.join(lacking)} of the kit maker's is entered: the readings stand beside nothing", LIMIT),)


def _verdict(rows: Sequence[Corrected], allowed: Fraction, lasts: timedelta, unit: Unit) -> tuple[Verdict, Reason]:
    limit = f"the limit is {unit.of(allowed)} in {minutes(lasts)}"
    over = next((row for row in rows if row.elapsed <= lasts and row.drop > allowed), None)
    if over is not None:
        return Verdict.BEYOND, Reason(f"after {minutes(over.elapsed)} {unit.of(over.drop)} were missing; {limit}", LIMIT)
    held = next((row for row in rows if row.elapsed >= lasts and row.drop <= allowed), None)
    if held is not None:
        gone = f"{unit.of(held.drop)} were missing" if held.drop > 0 else "nothing was missing"
        return Verdict.WITHIN, Reason(f"after {minutes(held.elapsed)} {gone}; {limit}", LIMIT)
    last = rows[-1]
    if last.elapsed > lasts:
        text = f"no reading was made by {minutes(lasts)}, and later {unit.of(last.drop)} were missing: which came when isn't known; {limit}"
        return Verdict.RUNNING, Reason(text, LIMIT)
    return Verdict.RUNNING, Reason(f"the last reading is of {minutes(last.elapsed)}, so the time isn't over; {limit}", LIMIT)


def minutes(span: timedelta) -> str:
    """A time in words: minutes, from two hours on hours and minutes."""
    whole = Fraction(span // timedelta(seconds=1), 60)
    if whole < 120:  # noqa: PLR2004 - two hours
        return f"{decimal_text(whole, 1)} min"
    hours, rest = divmod(int(whole), 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"
