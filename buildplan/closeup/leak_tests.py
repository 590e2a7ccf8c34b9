"""Writing leak tests and their readings. Nothing is proposed: every figure is what somebody entered."""

from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db import transaction

from buildplan.closeup import calc
from buildplan.closeup.leaks import leak_tests
from buildplan.closeup.models import LeakReading, LeakTest
from buildplan.closeup.problems import KeyUsed, StruckAlready
from buildplan.closeup.units import PRESSURES, SCALES, unit
from buildplan.plan.models import Section
from buildplan.plan.services import SectionClosed
from inventory.common.exact import decimal_text
from inventory.common.history import assign, changed_by
from inventory.common.problems import FieldProblem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Member
from inventory.workshop import policy

MOST_NAME = 120
MOST_SOURCE = 200
MOST_WHY = 200
MOST_READINGS = 100  # of one test: a figure of ours
MOST_MINUTES = 60 * 24 * 60  # sixty days: a figure of ours
MOST_DIGITS = 31  # characters of a fraction: the column's
# What no thermometer or barometer of a workshop shows: a figure of ours, that catches a wrong unit.
COLDEST, HOTTEST = calc.kelvin(-60, "C"), calc.kelvin(80, "C")
EARLIEST = datetime(1970, 1, 1, tzinfo=UTC)
LOWEST, HIGHEST = Fraction(40_000), Fraction(115_000)  # pascals


@dataclass(frozen=True, slots=True)
class Measured:
    """A figure as written, and its unit."""

    value: Fraction
    unit: str


@dataclass(frozen=True, slots=True)
class Stated:
    """What is tested, and what its kit maker allows, as somebody reads it there. None and blank where nothing is stated."""

    name: str
    pressure: Measured | None = None
    drop: Measured | None = None
    minutes: int | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class Read:
    """What was read at one moment."""

    at: datetime
    pressure: Measured
    temperature: Measured
    barometer: Measured
    note: str = ""


@transaction.atomic
def make_leak_test(*, section: Section, stated: Stated, key: UUID, by: Member) -> LeakTest:
    """Begin a leak test of a section's tank. The same `key` again gives the first one."""
    policy.require(by, "write_log", section.project.bench)
    policy.own(by, section)
    fields = _fields(stated)

    def make() -> LeakTest:
        row = changed_by(LeakTest(workshop_id=section.workshop_id, section=section, key=key, by=by, **fields), by)
        row.save(force_insert=True)
        return row

    found, _ = find_or_make(lambda: LeakTest.objects.filter(key=key).first(), make)
    if found.section_id != section.pk:
        raise KeyUsed("this form began a test of another section before: open it anew")
    return found


@transaction.atomic
def change_leak_test(*, test: LeakTest, stated: Stated, by: Member) -> LeakTest:
    """Correct what is tested, or the kit maker's limit; its history keeps what was entered before.

    Refused for a test that was there when its section was closed up.
    """
    policy.require(by, "write_log", test.section.project.bench)
    _refuse_closed(test, test.at, "begin a new test")
    row = _locked(test)
    if assign(row, _fields(stated)):
        changed_by(row, by).save()
    return row


def _fields(stated: Stated) -> dict[str, Any]:
    minutes, source = stated.minutes, optional("source", stated.source, MOST_SOURCE)
    if minutes is not None and not 0 < minutes <= MOST_MINUTES:
        raise FieldProblem("minutes", f"{minutes} minutes are no time of a test: give 1 to {MOST_MINUTES}")
    if (stated.pressure or stated.drop or minutes) and not source:
        raise FieldProblem("source", "say where the kit maker states this, such as the page of the manual")
    return {
        "name": filled("name", stated.name, MOST_NAME),
        **_figure("pressure", stated.pressure),
        **_figure("drop", stated.drop),
        "minutes": minutes,
        "source": source,
    }


def _figure(name: str, found: Measured | None) -> dict[str, Any]:
    if found is None:
        return {name: None, f"{name}_unit": ""}
    if found.value < 0:
        raise FieldProblem(name, f"{decimal_text(found.value)} {found.unit} is below 0")
    return {name: _short(name, found.value), f"{name}_unit": _pressure_unit(f"{name}_unit", found.unit)}


@transaction.atomic
def add_reading(*, test: LeakTest, read: Read, key: UUID, by: Member, now: datetime) -> LeakReading:
    """Write down what gauge, thermometer and barometer showed at one moment. The same `key` again gives the first one.

    Possible where the section is closed up too: the list that was kept says what was known then.
    """
    policy.require(by, "write_log", test.section.project.bench)
    policy.own(by, test)
    test = _locked(test)
    if (found := LeakReading.objects.filter(key=key).first()) is not None:
        if found.test_id != test.pk:
            raise KeyUsed("this form wrote a reading of another test before: open it anew")
        return found
    row = LeakReading(workshop_id=test.workshop_id, test=test, key=key, by=by, **_read(read, now))
    if LeakReading.objects.filter(test=test).count() >= MOST_READINGS:
        raise FieldProblem("at", f"a test has {MOST_READINGS} readings at most: begin another one")
    row.save(force_insert=True)
    return row


def _read(read: Read, now: datetime) -> dict[str, Any]:
    if read.at > now:
        raise FieldProblem("at", f"{read.at:%Y-%m-%d %H:%M} is still to come")
    if read.at < EARLIEST:
        raise FieldProblem("at", f"{read.at:%Y-%m-%d} is too long ago: give the moment of the reading")
    _refuse_wild(read)
    return {
        "at": read.at,
        "pressure": _short("pressure", read.pressure.value),
        "pressure_unit": read.pressure.unit,
        "temperature": _short("temperature", read.temperature.value),
        "temperature_unit": read.temperature.unit,
        "barometer": _short("barometer", read.barometer.value),
        "barometer_unit": read.barometer.unit,
        "note": optional("note", read.note, MOST_WHY),
    }


def _refuse_wild(read: Read) -> None:
    """Refuse what no instrument shows, which is mostly a wrong unit."""
    barometer = read.barometer.value * unit(_pressure_unit("barometer_unit", read.barometer.unit)).pascals
    if not LOWEST <= barometer <= HIGHEST:
        text = f"{_told(read.barometer)} is no air pressure: look at the unit, and read the barometer itself"
        raise FieldProblem("barometer", text)
    gauge = read.pressure.value * unit(_pressure_unit("pressure_unit", read.pressure.unit)).pascals
    if gauge + barometer <= 0:
        raise FieldProblem("pressure", f"{_told(read.pressure)} above that barometer is less than nothing: look at the sign and the unit")
    if read.temperature.unit not in SCALES:
        raise FieldProblem("temperature_unit", f"{read.temperature.unit!r} is no scale: give C or F")
    if not _plausible(read.temperature):
        raise FieldProblem("temperature", f"{_told(read.temperature)} is no temperature of a workshop: look at the scale")


def _plausible(found: Measured) -> bool:
    try:
        return COLDEST <= calc.kelvin(found.value, found.unit) <= HOTTEST
    except ValueError:
        return False


def _told(found: Measured) -> str:
    return f"{decimal_text(found.value)} {found.unit}"


def _pressure_unit(field: str, name: str) -> str:
    if name not in PRESSURES:
        raise FieldProblem(field, f"{name!r} is no unit of pressure here: give one of {', '.join(PRESSURES)}")
    return name


def _short(field: str, value: Fraction) -> Fraction:
    if len(str(value)) > MOST_DIGITS:
        raise FieldProblem(field, "write it with fewer digits")
    return value


@transaction.atomic
def strike_reading(*, reading: LeakReading, why: str, by: Member, now: datetime) -> LeakReading:
    """Strike a mistaken reading out: it stays and can be read, and counts no more. Refused for one that a section was closed up with."""
    policy.require(by, "write_log", reading.test.section.project.bench)
    _refuse_closed(reading.test, reading.at, "write down a new reading")
    _locked(reading.test)
    row = LeakReading.objects.select_related("struck_by").get(pk=reading.pk)
    if row.struck_by is not None:
        raise StruckAlready(f"{row.struck_by.name} struck this reading out already: {row.struck_why}")
    row.struck_at, row.struck_by, row.struck_why = now, by, filled("reason", why, MOST_WHY)
    row.save(update_fields=["struck_at", "struck_by", "struck_why"])
    return row


def _refuse_closed(test: LeakTest, at: datetime, instead: str) -> None:
    """Refuse to alter what was there, since `at`, when the section of a test was closed up. Who closes it meanwhile is waited for."""
    section = Section.objects.select_for_update(no_key=True).get(pk=test.section_id)
    if section.closed_at is not None and at <= section.closed_at:
        day = f"{section.closed_at:%Y-%m-%d}"
        raise SectionClosed(
            f"{section.name} was closed up on {day}, and this was there by then, so it stays as it is: {instead}, "
            "or open the section again first, with the reason"
        )


def _locked(test: LeakTest) -> LeakTest:
    """The test, held until the transaction ends: of two readings of one key the later finds the first."""
    return leak_tests().select_for_update(no_key=True, of=("self",)).get(pk=test.pk)
