from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.shelflife.calc import mean_kinetic_temperature
from inventory.shelflife.storage import COLDEST, HOTTEST, Gap, Reading, Stay, StorageRule, check_readings, storage

START = datetime(2027, 2, 20, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)
# T.O. 1-1-700 par. 12.8: at or under 80 F (26.7 C). Cirrus SR22 maintenance manual 13773-001, 20-10: over 80 F use within 5 weeks,
# never store over 95 F (35 C) or under 40 F (4.4 C).
RULE = StorageRule("the data sheet", high=26.7, use_within_days=35, never_below=4.4, never_above=35.0)


def at(hours):
    return START + hours * HOUR


def fridge(*celsius):
    return {"Fridge": [Reading(at(hour), value) for hour, value in enumerate(celsius)]}


def lay(*celsius, rule=RULE, until=None, stays=None):
    return storage(stays or [Stay("Fridge", START)], fridge(*celsius), rule, until=until or at(len(celsius)))


def test_nothing_happens_within_the_rule():
    found = lay(20, 26.7, 4.4)

    assert (found.excursions, found.gaps, found.limits) == ((), (), ())


def test_too_warm_is_used_within_five_weeks_of_its_start():
    found = lay(20, 27, 28, 20)

    assert [(one.start, one.end, one.worst, one.stop) for one in found.excursions] == [(at(1), at(3), 28, False)]
    assert [(limit.rule, limit.last_day) for limit in found.limits] == [("storage", date(2027, 3, 27))]
    assert "28 C in Fridge from 2027-02-20 09:00: use within 35 days (the data sheet)" in found.limits[0].source


@pytest.mark.parametrize("celsius", [35.1, 4.3])
def test_what_is_never_allowed_ends_it_that_day(celsius):
    found = lay(20, celsius, 20)

    assert [(one.start, one.stop) for one in found.excursions] == [(at(1), True)]
    assert [limit.last_day for limit in found.limits] == [date(2027, 2, 20)]


def test_a_hot_reading_before_a_gap_still_counts():
    readings = {"Fridge": [Reading(START, 30), Reading(at(24), 20)]}

    found = storage([Stay("Fridge", START)], readings, RULE, until=at(25))

    assert [(one.start, one.end) for one in found.excursions] == [(START, at(6))]
    assert found.gaps == (Gap("Fridge", at(6), at(24)),)


def test_only_where_the_lot_really_was_counts():
    readings = {"Van": [Reading(at(hour), 40) for hour in range(10)], "Fridge": [Reading(at(hour), 10) for hour in range(10)]}
    stays = [Stay("Fridge", START, at(4)), Stay("Van", at(4), at(5)), Stay("Fridge", at(5))]

    found = storage(stays, readings, RULE, until=at(10))

    assert [(one.place, one.start, one.end) for one in found.excursions] == [("Van", at(4), at(5))]


def test_of_places_at_one_time_the_worst_counts_for_all_of_it_and_says_so():
    readings = {"Van": [Reading(at(hour), 30) for hour in range(24)], "Fridge": [Reading(at(hour), 10) for hour in range(24)]}
    split = storage([Stay("Fridge", START), Stay("Van", START)], readings, RULE, until=at(24))
    alone = storage([Stay("Van", START)], readings, RULE, until=at(24))

    assert split.mean == alone.mean == pytest.approx(30)
    assert [limit.last_day for limit in split.limits] == [limit.last_day for limit in alone.limits]
    assert "30 C in Van from 2027-02-20 08:00, the worst of the places it lay in then" in split.limits[0].source
    assert "worst" not in alone.limits[0].source


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 12)), min_size=1, max_size=4))
def test_mean_of_places_is_that_of_the_warmest_hour_by_hour(stays):
    """A second way: ask of each hour by itself which of the places where it lay was the warmest."""
    places = {f"P{number}": [Reading(at(hour), 5 * number + hour % 4) for hour in range(40)] for number in range(len(stays))}
    found = storage([Stay(f"P{n}", at(first), at(first + hours)) for n, (first, hours) in enumerate(stays)], places, RULE, until=at(40))

    hours = [
        max((5 * n + hour % 4 for n, (first, long) in enumerate(stays) if first <= hour < first + long), default=None) for hour in range(40)
    ]
    known = [(1, celsius) for celsius in hours if celsius is not None]
    assert found.mean == pytest.approx(mean_kinetic_temperature(known))


def test_a_place_without_a_thermometer_is_a_gap():
    found = storage([Stay("Shelf", START, at(3))], {}, RULE, until=at(9))

    assert (found.gaps, found.mean, found.limits) == ((Gap("Shelf", START, at(3)),), None, ())


def test_an_excursion_without_a_stated_consequence_sets_no_limit():
    found = lay(20, 30, rule=StorageRule("the data sheet", high=25))

    assert len(found.excursions) == 1
    assert found.limits == ()


def test_mean_kinetic_temperature_stands_beside_it():
    found = lay(*[20] * 12, *[30] * 12)

    assert found.mean == pytest.approx(26.2599, abs=5e-5)  # computed with dH/R = 10,000 K (USP 29 chapter 1160)


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        ([Reading(datetime(2027, 2, 20, 8), 20)], "reading 1: .* has no time zone"),  # noqa: DTZ001 - what is refused
        ([Reading(at(1), 20), Reading(at(0), 20)], "reading 2: .* is not after the one before it"),
        ([Reading(at(1), 20), Reading(at(1), 21)], "reading 2: .* is not after"),
        ([Reading(at(1), 900)], "reading 1: 900 C is no temperature of a store"),
        ([Reading(at(1), float("nan"))], "reading 1: nan C is no temperature"),
    ],
)
def test_readings_no_thermometer_gives_are_refused(readings, why):
    with pytest.raises(ValueError, match=why):
        check_readings(readings)


CELSIUS = st.floats(COLDEST, HOTTEST)


@given(st.lists(st.tuples(st.integers(1, 20), CELSIUS), max_size=12), st.integers(0, 60), st.integers(1, 80))
def test_hours_of_excursions_and_gaps_are_those_counted_hour_by_hour(steps, enter, hours):
    """A second way: ask of each hour by itself which reading holds then."""
    readings, now = [], 0
    for wait, celsius in steps:
        now += wait
        readings.append(Reading(at(now), celsius))
    check_readings(readings)
    leave = enter + hours

    found = storage([Stay("Fridge", at(enter), at(leave))], {"Fridge": readings}, RULE, until=at(1000))

    held = [next((one for one in reversed(readings) if one.at <= at(hour)), None) for hour in range(enter, leave)]
    known = [one if one and at(hour) < one.at + 6 * HOUR else None for hour, one in zip(range(enter, leave), held, strict=True)]
    out = sum(one is not None and not 4.4 <= one.celsius <= 26.7 for one in known)
    assert sum((one.end - one.start for one in found.excursions), timedelta()) == out * HOUR
    assert sum((gap.end - gap.start for gap in found.gaps), timedelta()) == known.count(None) * HOUR
