"""Leak tests: what is entered, what is refused, and what stands beside the limit."""

from datetime import timedelta
from fractions import Fraction
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from buildplan.closeup import services
from buildplan.closeup.calc import Verdict
from buildplan.closeup.leaks import leaks_of
from buildplan.closeup.models import LeakReading, LeakTest
from buildplan.closeup.problems import KeyUsed, StruckAlready
from buildplan.closeup.services import Measured, Read, Stated
from inventory.common.problems import FieldProblem
from tests.buildplan.closeup.conftest import LIMIT, NOW


def of(section):
    (leak,) = leaks_of(section)
    return leak


def test_nothing_is_filled_in_before_somebody_enters_it(section, builder):
    test = services.make_leak_test(section=section, stated=Stated("Left tank"), key=uuid4(), by=builder)

    assert (test.pressure, test.drop, test.minutes, test.source) == (None, None, None, "")
    assert not any(field.has_default() for field in LeakTest._meta.concrete_fields if field.name in {"pressure", "drop", "minutes"})
    assert of(section).verdict == Verdict.EMPTY


def test_readings_are_corrected_and_stand_beside_the_limit(section, leak, read):
    read(0, 27)
    read(10, "28.4", celsius=21)
    assert of(section).verdict == Verdict.RUNNING

    read(15, "26", barometer="1016")
    leak = of(section)
    assert leak.verdict == Verdict.WITHIN
    assert [row.drop for row in leak.readings] == ["0 inH2O", "0.0794 inH2O", "-0.2044 inH2O"]
    assert (leak.readings[1].by_warmth, leak.readings[2].by_weather) == ("+1.4794 inH2O", "-1.2044 inH2O")
    read(14, "25")
    assert of(section).verdict == Verdict.BEYOND


def test_units_may_differ_from_reading_to_reading(section, leak, read, builder):
    read(0, 27)
    psi = Read(
        NOW.replace(hour=9, minute=15),
        Measured(Fraction("0.9754"), "psi"),
        Measured(Fraction(68), "F"),
        Measured(Fraction("29.9138"), "inHg"),
    )
    services.add_reading(test=leak, read=psi, key=uuid4(), by=builder, now=NOW)

    assert abs(float(of(section).judged.last.drop / of(section).unit.pascals)) < 0.01


def test_same_key_makes_one_test_and_one_reading(section, leak, read, builder):
    key = uuid4()
    assert read(0, 27, key=key) == read(5, 99, key=key)
    again = services.make_leak_test(section=section, stated=Stated("Another"), key=leak.key, by=builder)
    assert again == leak
    second = services.make_leak_test(section=section, stated=Stated("Another"), key=uuid4(), by=builder)
    with pytest.raises(KeyUsed):
        read(0, 27, test=second, key=key)


def test_mistaken_reading_is_struck_out_and_stays(section, read, builder):
    read(0, 27)
    wrong = read(10, 2)
    assert of(section).verdict == Verdict.BEYOND

    services.strike_reading(reading=wrong, why="read the other gauge", by=builder, now=NOW)
    leak = of(section)
    assert (leak.verdict, len(leak.readings), len(leak.kept)) == (Verdict.EMPTY, 2, 1)
    with pytest.raises(StruckAlready, match="read the other gauge"):
        services.strike_reading(reading=wrong, why="again", by=builder, now=NOW)


def test_limit_is_corrected_and_its_history_kept(leak, builder):
    services.change_leak_test(test=leak, stated=Stated("Left tank", **{**LIMIT, "minutes": 20}), by=builder)
    services.change_leak_test(test=leak, stated=Stated("Left tank", **{**LIMIT, "minutes": 20}), by=builder)

    assert list(leak.history.order_by("history_id").values_list("minutes", flat=True)) == [15, 20]


SENSELESS: tuple[tuple[dict[str, Any], str, str], ...] = (
    ({"drop": Measured(Fraction(1), "psi")}, "source", "say where the kit maker states this"),
    ({"drop": Measured(Fraction(-1), "psi"), "source": "x"}, "drop", "-1 psi is below 0"),
    ({"drop": Measured(Fraction(1), "bar"), "source": "x"}, "drop_unit", "'bar' is no unit of pressure here"),
    ({"minutes": 0, "source": "x"}, "minutes", "0 minutes are no time of a test"),
    ({"pressure": Measured(Fraction(1, 10**30 + 1), "psi"), "source": "x"}, "pressure", "fewer digits"),
)


def test_limit_that_makes_no_sense_is_refused_at_its_field(section, builder):
    for stated, field, told in SENSELESS:
        with pytest.raises(FieldProblem, match=told) as refused:
            services.make_leak_test(section=section, stated=Stated("Left tank", **stated), key=uuid4(), by=builder)
        assert refused.value.field == field


WILD = (
    ((1, "psi"), (20, "C"), (30, "psi"), "barometer", "30 psi is no air pressure"),
    ((1, "psi"), (20, "C"), (101, "hPa"), "barometer", "101 hPa is no air pressure"),
    ((1, "psi"), (200, "C"), (1013, "hPa"), "temperature", "200 C is no temperature of a workshop"),
    ((1, "psi"), (-500, "F"), (1013, "hPa"), "temperature", "-500 F is no temperature"),
    ((1, "psi"), (20, "K"), (1013, "hPa"), "temperature_unit", "'K' is no scale"),
    ((-15, "psi"), (20, "C"), (1013, "hPa"), "pressure", "-15 psi above that barometer is less than nothing"),
    ((1, "atm"), (20, "C"), (1013, "hPa"), "pressure_unit", "'atm' is no unit"),
)


def test_reading_that_no_instrument_shows_is_refused_at_its_field(leak, builder):
    for *figures, field, told in WILD:
        read = Read(NOW, *(Measured(Fraction(value), unit) for value, unit in figures))
        with pytest.raises(FieldProblem, match=told) as refused:
            services.add_reading(test=leak, read=read, key=uuid4(), by=builder, now=NOW)
        assert refused.value.field == field


def test_reading_still_to_come_or_of_long_ago_is_refused(leak, builder):
    figures = (Measured(Fraction(1), "psi"), Measured(Fraction(20), "C"), Measured(Fraction(1013), "hPa"))
    for at, told in ((NOW + timedelta(minutes=1), "still to come"), (NOW.replace(year=1), "too long ago")):
        with pytest.raises(FieldProblem, match=told):
            services.add_reading(test=leak, read=Read(at, *figures), key=uuid4(), by=builder, now=NOW)


def test_database_refuses_a_figure_without_its_unit_or_source(leak, read):
    read(0, 27)
    for wrong in ({"drop_unit": ""}, {"source": ""}, {"minutes": 0}, {"pressure": Fraction(1)}):
        with pytest.raises(IntegrityError), transaction.atomic():
            LeakTest.objects.update(**wrong)
    for wrong in ({"temperature_unit": "K"}, {"pressure_unit": "bar"}, {"struck_at": NOW}):
        with pytest.raises(IntegrityError), transaction.atomic():
            LeakReading.objects.update(**wrong)


def test_leak_tests_of_a_section_take_two_queries_for_one_and_for_many(section, leak, read, builder):
    read(0, 27)
    for count in (1, 4):
        while LeakTest.objects.count() < count:
            test = services.make_leak_test(section=section, stated=Stated("Another"), key=uuid4(), by=builder)
            for minute in range(3):
                read(minute, 27, test=test)
        with CaptureQueriesContext(connection) as asked:
            assert len(leaks_of(section)) == count
        assert len(asked) == 2
