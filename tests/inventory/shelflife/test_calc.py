import math
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from inventory.shelflife.calc import Limit, StatedDate, last_usable_day, limits, mean_kinetic_temperature, month_end

DAYS = st.dates(date(1990, 1, 1), date(2090, 12, 31))
MONTHS = st.integers(1, 240)
WARM = st.floats(-40, 60)
HOURS = st.floats(0.01, 1000)
MADE = date(2027, 1, 31)


@given(DAYS, MONTHS)
def test_months_from_a_full_date_as_dateutil_adds_them(made, months):
    (life,) = limits(made=made, life_months=months)

    assert life.last_day == made + relativedelta(months=months)


@given(DAYS, MONTHS)
def test_months_from_a_month_end_on_the_last_day_as_dateutil_says(made, months):
    (life,) = limits(made=f"{made:%Y-%m}", life_months=months)

    assert life.last_day == made + relativedelta(months=months, day=31)


@given(DAYS, MONTHS, st.integers(0, 4), st.fractions(0, 2))
def test_passes_are_added_in_one_step_from_the_start(day, months, passes, part):
    extension = passes * math.floor(months * part)
    printed, life = limits(made=day, expires=day, life_months=months, passes=passes, extend_part=part)

    assert printed.last_day == day + relativedelta(months=extension)
    assert life.last_day == day + relativedelta(months=months + extension)


@given(
    st.fixed_dictionaries(
        {},
        optional={
            "made": st.dates(date(2026, 1, 1), date(2026, 12, 31)),
            "expires": st.dates(date(2027, 1, 1), date(2028, 1, 1)),
            "opened": DAYS,
            "open_life_days": st.integers(0, 400),
            "life_months": MONTHS,
            "storage": st.lists(DAYS, max_size=3),
        },
    )
)
def test_last_usable_day_is_the_least_of_its_parts(known):
    parts = {
        "expires": known.get("expires"),
        "life": known["made"] + relativedelta(months=known["life_months"]) if {"made", "life_months"} <= set(known) else None,
        "opened": known["opened"] + relativedelta(days=known["open_life_days"]) if {"opened", "open_life_days"} <= set(known) else None,
        "storage": min(known.get("storage", []), default=None),
    }
    found = last_usable_day(limits(**known))

    assert (found and found.last_day) == min((part for part in parts.values() if part), default=None)
    assert found is None or parts[found.rule] == found.last_day


def test_nothing_known_is_no_limit():
    assert limits() == ()
    assert last_usable_day([]) is None


def test_of_two_limits_on_one_day_the_first_is_named():
    day = date(2027, 3, 1)

    assert last_usable_day([Limit("expires", day, ""), Limit("life", day, "")]).rule == "expires"


@pytest.mark.parametrize(
    ("text", "day", "precision"),
    [
        ("2027-03-14", date(2027, 3, 14), "day"),
        (" 2027-02 ", date(2027, 2, 28), "month"),
        ("2Q27", date(2027, 6, 30), "quarter"),
        ("4q2027", date(2027, 12, 31), "quarter"),
        ("0027-02", date(27, 2, 28), "month"),
    ],
)
def test_a_stated_date_is_the_last_day_it_can_mean(text, day, precision):
    assert StatedDate.parse(text) == StatedDate(day, precision)


@given(DAYS, st.sampled_from(["day", "month", "quarter"]))
def test_a_stated_date_reads_back(day, precision):
    if precision != "day":
        day = month_end(day.year, day.month if precision == "month" else (day.month + 2) // 3 * 3)
    stated = StatedDate(day, precision)

    assert StatedDate.parse(str(stated)) == stated


@pytest.mark.parametrize(
    "text", ["", "2027", "2027-13", "2027-00", "2027-02-30", "0000-05", "5Q27", "0Q27", "2Q0000", "14.03.2027", "2027-3", "today"]
)
@pytest.mark.parametrize("name", ["made", "expires"])
def test_a_text_that_is_no_date_is_refused_by_name(name, text):
    with pytest.raises(ValueError, match=f"^{name}: "):
        limits(**{name: text})


def test_opened_life_and_storage_are_not_extended():
    found = limits(
        made=MADE, life_months=12, opened=MADE, open_life_days=90, storage=[date(2027, 4, 1)], passes=2, extend_part=Fraction(1, 2)
    )

    assert [(limit.rule, limit.last_day) for limit in found] == [
        ("life", date(2029, 1, 31)),
        ("opened", date(2027, 5, 1)),
        ("storage", date(2027, 4, 1)),
    ]


def test_a_pass_without_a_known_life_adds_nothing():
    (printed,) = limits(expires=MADE, passes=1, extend_part=Fraction(1, 2))

    assert printed == Limit("expires", MADE, "expires 2027-01-31, as printed")


def test_an_opened_life_of_no_days_ends_on_the_day_of_opening():
    (opened,) = limits(opened=MADE, open_life_days=0)

    assert opened.last_day == MADE


def test_an_opening_after_another_limit_is_kept():
    assert len(limits(expires=MADE, opened=date(2028, 1, 1), open_life_days=10)) == 2


def test_an_expiry_within_the_month_it_was_made_is_kept():
    assert len(limits(made="2027-02", expires=date(2027, 2, 10))) == 1
    assert len(limits(made=date(2027, 2, 20), expires="2027-02")) == 1


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"life_months": 0}, "life_months"),
        ({"life_months": -1}, "life_months"),
        ({"life_months": 9.0}, "life_months"),
        ({"life_months": True}, "life_months"),
        ({"life_months": 10**9}, "life_months"),
        ({"open_life_days": -1}, "open_life_days"),
        ({"open_life_days": 1.5}, "open_life_days"),
        ({"opened": MADE, "open_life_days": 10**12}, "open_life_days"),
        ({"passes": -1}, "passes"),
        ({"passes": True}, "passes"),
        ({"passes": 1}, "extend_part"),
        ({"passes": 1, "extend_part": 0.5}, "extend_part"),
        ({"passes": 1, "extend_part": Fraction(-1, 2)}, "extend_part"),
        ({"expires": date(2027, 1, 30)}, "expires"),
        ({"expires": "2026-12"}, "expires"),
        ({"expires": "2027-06", "life_months": 12, "passes": 10**6, "extend_part": Fraction(1)}, "expires"),
        ({"expires": 5}, "expires"),
        ({"opened": "2027-03-01"}, "opened"),
        ({"opened": datetime(2027, 3, 1, tzinfo=UTC)}, "opened"),
        ({"storage": ["2027-03-01"]}, "storage"),
    ],
)
def test_limits_refuse_by_name(arguments, name):
    with pytest.raises(ValueError, match=f"^{name}: "):
        limits(**{"made": MADE, **arguments})


def test_an_instant_is_no_date_of_making():
    with pytest.raises(ValueError, match=r"^made: give a date, not datetime"):
        limits(made=datetime(2027, 3, 1, tzinfo=UTC))


@given(st.lists(st.tuples(HOURS, WARM), min_size=1, max_size=8))
def test_kinetic_mean_lies_between_the_plain_mean_and_the_warmest(spans):
    plain = sum(hours * celsius for hours, celsius in spans) / sum(hours for hours, _ in spans)

    assert plain - 1e-6 <= mean_kinetic_temperature(spans) <= max(celsius for _, celsius in spans)


@given(HOURS, WARM)
def test_a_constant_temperature_is_its_own_mean(hours, celsius):
    assert mean_kinetic_temperature([(hours, celsius), (2 * hours, celsius)]) == celsius


@given(st.lists(st.tuples(HOURS, WARM), min_size=1, max_size=6), st.floats(0.001, 1000))
def test_only_the_share_of_the_hours_counts(spans, factor):
    scaled = [(hours * factor, celsius) for hours, celsius in spans]

    assert mean_kinetic_temperature(scaled) == pytest.approx(mean_kinetic_temperature(spans), abs=1e-9)


def test_a_span_of_no_hours_counts_for_nothing():
    assert mean_kinetic_temperature([(0, 500), (1, 20)]) == 20


def test_no_energy_to_speak_of_gives_the_harmonic_mean():
    harmonic = 2 / (1 / 293.15 + 1 / 303.15) - 273.15

    assert mean_kinetic_temperature([(1, 20), (1, 30)], dh_over_r=1e-6) == pytest.approx(harmonic, abs=1e-6)


@pytest.mark.parametrize("spans", [[(1e-300, 40), (1e300, 10)], [(1, -273.149), (1, 5000)], [(1e308, 10), (1e308, 20)]])
def test_far_apart_spans_still_give_a_number_between_them(spans):
    warm = [celsius for _, celsius in spans]

    assert min(warm) <= mean_kinetic_temperature(spans) <= max(warm)


def test_any_number_will_do_for_hours_and_temperature():
    assert mean_kinetic_temperature([(Decimal(12), 20), (Fraction(12), Decimal(30))]) == pytest.approx(26.2599, abs=5e-5)


@pytest.mark.parametrize(
    "spans",
    [
        [],
        [(0, 20)],
        [(-1, 20), (2, 20)],
        [(1, -273.15)],
        [(1, -300)],
        [(0, -300), (1, 20)],
        [(math.nan, 20)],
        [(1, math.inf)],
        [(True, 20)],
        [(1,)],
        [5],
    ],
)
def test_kinetic_mean_refuses_by_name(spans):
    with pytest.raises(ValueError, match=r"^spans"):
        mean_kinetic_temperature(spans)


@pytest.mark.parametrize("energy", [0, -1, math.nan, math.inf, True])
def test_kinetic_mean_refuses_an_energy_that_makes_no_sense(energy):
    with pytest.raises(ValueError, match=r"^dh_over_r: "):
        mean_kinetic_temperature([(1, 20)], dh_over_r=energy)
