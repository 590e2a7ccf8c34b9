"""What a closed tank would show, and how readings stand against a limit."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pint import UnitRegistry

from buildplan.closeup.calc import Limit, Reading, Unit, Verdict, corrected, expected_gauge, judge, kelvin, minutes
from buildplan.closeup.chart import BOTTOM, TOP, chart
from buildplan.closeup.units import PRESSURES, SCALES, unit

START = datetime(2027, 2, 20, 9, tzinfo=UTC)
PA = Unit("Pa", Fraction(1))
few = settings(max_examples=50)
pressures = st.fractions(min_value=1, max_value=50_000, max_denominator=100)
barometers = st.fractions(min_value=80_000, max_value=108_000, max_denominator=10)
degrees = st.fractions(min_value=-30, max_value=50, max_denominator=10)


def reading(minute, gauge, *, barometer=101_325, celsius=20):
    at = START + timedelta(minutes=minute)
    return Reading(at, Fraction(gauge), Fraction(barometer), kelvin(Fraction(celsius), "C"))


def gauge_of(moles, barometer, celsius):
    """What a gauge on a rigid tank shows by p V = n R T: the oracle. `moles` is n R / V in pascals a kelvin."""
    return moles * kelvin(celsius, "C") - barometer


@few
@given(st.fractions(min_value=300, max_value=500, max_denominator=100), st.lists(st.tuples(barometers, degrees), min_size=2, max_size=5))
def test_constant_amount_of_gas_shows_no_drop_at_any_temperature_and_barometer(moles, weather):
    readings = [
        reading(at, gauge_of(moles, barometer, celsius), barometer=barometer, celsius=celsius)
        for at, (barometer, celsius) in enumerate(weather)
    ]

    judged = judge(readings, Limit(Fraction(0), timedelta(minutes=len(readings) - 1)), PA)
    assert [row.drop for row in judged.rows] == [0] * len(readings)
    assert judged.verdict == Verdict.WITHIN


@few
@given(pressures, barometers, degrees, barometers, degrees, st.fractions(min_value=0, max_value=20_000, max_denominator=100))
def test_what_is_let_out_is_what_is_missing_and_warmth_and_weather_add_up(gauge, barometer, celsius, later, warmer, lost):
    first = reading(0, gauge, barometer=barometer, celsius=celsius)
    left = expected_gauge(first, barometer=later, kelvin=kelvin(warmer, "C")) - lost
    found = corrected(first, reading(5, left, barometer=later, celsius=warmer), PA)

    assert found.drop == lost
    assert first.gauge + found.by_warmth + found.by_weather == found.expected


@few
@given(
    st.lists(st.tuples(st.integers(1, 60), st.integers(0, 2000)), min_size=1, max_size=6, unique_by=lambda row: row[0]),
    st.integers(0, 1500),
    st.integers(1, 60),
)
def test_verdict_is_what_its_readings_say_one_by_one(later, allowed, lasts):
    drops = dict(later)
    judged = judge([reading(0, 7000), *(reading(at, 7000 - drop) for at, drop in later)], Limit(Fraction(allowed), minutes_of(lasts)), PA)

    over = any(drop > allowed for at, drop in drops.items() if at <= lasts)
    held = any(drop <= allowed for at, drop in drops.items() if at >= lasts)
    assert judged.verdict == (Verdict.BEYOND if over else Verdict.WITHIN if held else Verdict.RUNNING)


def minutes_of(number):
    return timedelta(minutes=number)


def test_one_half_of_a_limit_is_none_and_no_reading_says_so():
    both = [reading(0, 7000), reading(15, 6000)]
    for limit, lacking in (
        (Limit(), "no allowed drop and no time"),
        (Limit(Fraction(10)), "no time"),
        (Limit(None, minutes_of(15)), "no allowed drop"),
    ):
        judged = judge(both, limit, PA)
        assert judged.verdict == Verdict.NO_LIMIT
        assert judged.trace[0].text.startswith(f"{lacking} of the kit maker's is entered")
    for readings in ([], both[:1]):
        assert judge(readings, Limit(Fraction(10), minutes_of(15)), PA).verdict == Verdict.EMPTY


def test_drop_past_the_limit_after_its_time_says_nothing_of_the_time():
    judged = judge([reading(0, 7000), reading(30, 6000)], Limit(Fraction(500), minutes_of(15)), PA)

    assert judged.verdict == Verdict.RUNNING
    assert "no reading was made by 15 min, and later 1000 Pa were missing" in judged.trace[0].text


def test_readings_are_taken_by_their_instants_and_the_trace_reckons_aloud():
    judged = judge([reading(15, "1100", celsius=21), reading(0, "1000")], Limit(Fraction(0), minutes_of(15)), PA)

    assert judged.last.elapsed == minutes_of(15)
    assert [reason.text for reason in judged.last.trace] == [
        "at first 1000 Pa above a barometer of 101325 Pa: 102325 Pa absolute",
        "102325 Pa x 294.15 K / 293.15 K - 101325 Pa = 1349.0534 Pa expected now, were nothing lost",
        "1349.0534 Pa - 1100 Pa read: 249.0534 Pa are missing",
    ]
    assert judged.trace[-1].text == "this decides nothing"


def test_rise_is_told_as_one():
    found = corrected(reading(0, 1000), reading(5, 1200), PA)
    assert found.trace[-1].text == "1000 Pa - 1200 Pa read: 200 Pa more than expected"


def test_scales_meet_where_they_do():
    assert kelvin(0, "C") == kelvin(32, "F") == Fraction("273.15")
    assert kelvin(-40, "C") == kelvin(-40, "F") == Fraction("233.15")
    pint = UnitRegistry(non_int_type=Fraction, cache_folder=None)  # the oracle
    for value in (Fraction("18.5"), Fraction(-7), Fraction("71.3")):
        for scale in SCALES:
            assert kelvin(value, scale) == pint.Quantity(value, f"deg{scale}").to("kelvin").magnitude


def test_what_no_gas_does_is_refused_and_the_argument_named():
    for value, scale in ((Fraction(-27315, 100), "C"), (-460, "F")):
        with pytest.raises(ValueError, match=r"^degrees: .*absolute zero"):
            kelvin(value, scale)
    with pytest.raises(ValueError, match="absolute pressure: must be over 0"):
        expected_gauge(reading(0, -101_325), barometer=Fraction(100_000), kelvin=Fraction(300))


def test_units_are_exact_and_an_unknown_one_is_refused():
    assert [unit(name).pascals for name in ("hPa", "kPa", "mbar")] == [100, 1000, 100]
    assert all(isinstance(unit(name).pascals, Fraction) for name in PRESSURES)
    with pytest.raises(ValueError, match="'bar' is none of psi"):
        unit("bar")


def test_times_are_told_in_minutes_then_in_hours():
    assert [minutes(timedelta(minutes=many)) for many in (0, 15, 119, 120, 135)] == ["0 min", "15 min", "119 min", "2 h", "2 h 15 min"]


def test_picture_places_every_reading_between_its_edges_and_is_none_of_one():
    rows = judge([reading(0, 7000), reading(5, 6900, celsius=21), reading(15, 6000)], Limit(Fraction(500)), PA).rows
    picture = chart(rows, Limit(Fraction(500)), PA)

    assert [dot.x for dot in picture.read.dots] == ["0%", "33.333%", "100%"]
    dots = [*picture.read.dots, *picture.expected.dots, *picture.floor.dots]
    assert {min(dot.y for dot in dots), max(dot.y for dot in dots)} == {TOP, BOTTOM}
    assert (picture.lasts, len(picture.read.pieces)) == ("15 min", 2)
    assert chart(rows, Limit(), PA).floor is None
    assert chart(rows[:1], Limit(), PA) is None
    flat = chart(judge([reading(0, 7000), reading(5, 7000)], Limit(), PA).rows, Limit(), PA)
    assert {dot.y for dot in flat.read.dots} == {(TOP + BOTTOM) // 2}
