"""Reads of leak tests, each with its readings corrected for temperature and barometer."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

from django.db.models import QuerySet

from buildplan.closeup.calc import Corrected, Judged, Limit, Reading, Unit, Verdict, judge, kelvin
from buildplan.closeup.models import LeakReading, LeakTest
from buildplan.closeup.units import unit
from buildplan.plan.models import Section
from inventory.common.exact import decimal_text

USUAL_UNIT = "hPa"  # in which nothing is shown but a test without figures


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """A reading as entered, and beside it what was expected; `found` is None for one that was struck out."""

    row: LeakReading
    found: Corrected | None
    unit: Unit

    @property
    def read(self) -> str:
        """The gauge pressure as entered."""
        return f"{decimal_text(self.row.pressure)} {self.row.pressure_unit}"

    @property
    def warmth(self) -> str:
        """The temperature as entered."""
        return f"{decimal_text(self.row.temperature)} {self.row.temperature_unit}"

    @property
    def weather(self) -> str:
        """The barometer as entered."""
        return f"{decimal_text(self.row.barometer)} {self.row.barometer_unit}"

    @property
    def expected(self) -> str:
        """What it would be without a leak, in the test's unit."""
        return self.unit.of(self.found.expected) if self.found else ""

    @property
    def drop(self) -> str:
        """What is missing, in the test's unit."""
        return self.unit.of(self.found.drop) if self.found else ""

    @property
    def by_warmth(self) -> str:
        """What temperature made of it."""
        return signed(self.found.by_warmth, self.unit) if self.found else ""

    @property
    def by_weather(self) -> str:
        """What the barometer made of it."""
        return signed(self.found.by_weather, self.unit) if self.found else ""


@dataclass(frozen=True, slots=True)
class LeakRow:
    """A leak test with all its readings in the order of time, those struck out among them."""

    test: LeakTest
    unit: Unit
    readings: tuple[ReadingRow, ...]
    judged: Judged

    @property
    def name(self) -> str:
        """What is tested."""
        return self.test.name

    @property
    def kept(self) -> tuple[ReadingRow, ...]:
        """The readings that count."""
        return tuple(row for row in self.readings if row.found is not None)

    @property
    def verdict(self) -> Verdict:
        """How it stands against the limit."""
        return self.judged.verdict

    @property
    def last_drop(self) -> str:
        """What was missing at the last reading."""
        return self.unit.of(self.judged.last.drop) if self.judged.last else ""

    @property
    def pressure(self) -> str:
        """The kit maker's test pressure, as entered."""
        return _with(self.test.pressure, self.test.pressure_unit)

    @property
    def allowed(self) -> str:
        """The kit maker's allowed drop, as entered."""
        return _with(self.test.drop, self.test.drop_unit)


def _with(value: Fraction | None, name: str) -> str:
    return "" if value is None else f"{decimal_text(value)} {name}"


def signed(pressure: Fraction, unit: Unit) -> str:
    """A difference with its sign."""
    return f"{'+' if pressure > 0 else ''}{unit.of(pressure)}"


def leak_tests() -> QuerySet[LeakTest]:
    """All of the workshop, with the section and its project."""
    return LeakTest.objects.select_related("section__project__bench__workshop", "by")


def leaks_of(section: Section) -> tuple[LeakRow, ...]:
    """The leak tests of a section, the first one first. Two queries."""
    return with_readings(list(LeakTest.objects.filter(section=section).select_related("by").order_by("pk")))


def with_readings(tests: Sequence[LeakTest]) -> tuple[LeakRow, ...]:
    """Leak tests with their readings, in their order. One query."""
    found: dict[int, list[LeakReading]] = defaultdict(list)
    ids = [test.pk for test in tests]
    for row in LeakReading.objects.filter(test__in=ids).select_related("by", "struck_by").order_by("at", "pk"):
        found[row.test_id].append(row)
    return tuple(_leak(test, found[test.pk]) for test in tests)


def _leak(test: LeakTest, rows: Sequence[LeakReading]) -> LeakRow:
    shown = _unit_of(test, rows)
    readings = {row.pk: as_reading(row) for row in rows if row.struck_at is None}
    judged = judge(list(readings.values()), limit_of(test), shown)
    by_row = dict(zip(_in_order(readings), judged.rows, strict=True))
    return LeakRow(test, shown, tuple(ReadingRow(row, by_row.get(row.pk), shown) for row in rows), judged)


def _in_order(readings: Mapping[int, Reading]) -> Iterable[int]:
    """The rows as `judge` sorts them: by their instants, of one instant as they come."""
    return sorted(readings, key=lambda pk: readings[pk].at)


def _unit_of(test: LeakTest, rows: Sequence[LeakReading]) -> Unit:
    """The unit that differences are shown in: the limit's, else that of the first reading."""
    first = next((row.pressure_unit for row in rows if row.struck_at is None), USUAL_UNIT)
    return unit(test.drop_unit or test.pressure_unit or first)


def as_reading(row: LeakReading) -> Reading:
    """A reading in pascals and kelvin."""
    gauge, barometer = row.pressure * unit(row.pressure_unit).pascals, row.barometer * unit(row.barometer_unit).pascals
    return Reading(row.at, gauge, barometer, kelvin(row.temperature, row.temperature_unit))


def limit_of(test: LeakTest) -> Limit:
    """What the kit maker allows, as entered."""
    drop = None if test.drop is None else test.drop * unit(test.drop_unit).pascals
    return Limit(drop, None if test.minutes is None else timedelta(minutes=test.minutes))
