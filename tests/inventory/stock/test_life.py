"""A life with passes, storage and acceptances."""

from datetime import date, timedelta
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from buildplan.shortfall.calc import Stock, Supply
from inventory.shelflife.calc import StatedDate
from inventory.stock.calc import LifeRule, life, why_not

DAYS = st.dates(date(2020, 1, 1), date(2035, 1, 1))
MAYBE = st.none() | DAYS
RULES = st.builds(
    LifeRule,
    life_months=st.none() | st.integers(1, 60),
    open_life_days=st.none() | st.integers(0, 90),
    min_life_days=st.integers(0, 60),
    timed=st.booleans(),
    extend_part=st.none() | st.sampled_from([Fraction(1, 2), Fraction(1, 3), Fraction(1)]),
)


def stated(day):
    return None if day is None else StatedDate(day)


def last(found):
    return found.last_day or date.max


@given(RULES, MAYBE, st.none() | st.integers(0, 2000), MAYBE, st.integers(0, 4), MAYBE, MAYBE)
def test_limit_added_never_makes_the_last_usable_day_later(rule, made, keeps, opened, passes, storage, accepted):
    made_on = made or date(2020, 1, 1)
    expires = None if keeps is None else made_on + timedelta(days=keeps)
    said = {"made": stated(made), "expires": stated(expires), "opened": opened, "storage": storage}
    every = life(rule, passes=passes, accepted=accepted, **said)
    for left_out in said:
        fewer = life(rule, passes=passes, accepted=accepted, **{**said, left_out: None})
        if fewer.known and every.accepted == fewer.accepted:
            assert last(every) <= last(fewer)


@given(RULES, MAYBE, MAYBE, MAYBE, DAYS)
def test_acceptance_lifts_through_its_day_and_never_shortens(rule, expires, opened, storage, until):
    said = {"made": None, "expires": stated(expires), "opened": opened, "storage": storage}
    without, accepted = life(rule, **said), life(rule, accepted=until, **said)
    assert why_not(rule, accepted, until) is None
    for day in (until - timedelta(days=1), until + timedelta(days=1), until + timedelta(days=40)):
        if why_not(rule, without, day) is None:
            assert why_not(rule, accepted, day) is None


@given(RULES, MAYBE, MAYBE, MAYBE, DAYS)
def test_netting_serves_just_the_days_on_which_a_use_is_allowed(rule, expires, storage, accepted, on):
    found = life(rule, None, stated(expires), None, 0, storage, "", accepted)
    if not found.known:
        return
    supply = Supply(1, "L", 1, None, found.limit, None, (), "", "Shelf")
    assert Stock(supply, rule.min_life_days).serves(on) == (why_not(rule, found, on) is None)


@given(st.integers(1, 60), st.integers(0, 6), DAYS)
def test_passes_lengthen_made_and_printed_dates_alone(months, passes, day):
    rule = LifeRule(months, 10, 0, timed=True, extend_part=Fraction(1, 2))
    found = life(rule, StatedDate(day), None, day, passes, day + timedelta(days=3))
    by_rule = {limit.rule: limit.last_day for limit in found.limits}
    assert by_rule["life"] == StatedDate(day).plus_months(months + passes * (months // 2))
    assert (by_rule["opened"], by_rule["storage"]) == (day + timedelta(days=10), day + timedelta(days=3))
