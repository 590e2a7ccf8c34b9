"""The window in which to buy what dies: not before, order by, one purchase or several. Every date is worked out by hand."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.shortfall.buying import buying
from buildplan.shortfall.calc import ItemFacts, Need, Supply, net
from buildplan.shortfall.trace import why
from buildplan.shortfall.windows import Window
from inventory.shelflife.calc import Limit
from inventory.stock.calc import LifeRule

AS_OF = date(2027, 2, 20)
FIRST = date(2027, 3, 6)
SECOND = date(2027, 6, 12)


def item(*, life_months=9, min_life_days=0, **changes):
    facts = ItemFacts(1, "SEAL-B2", "sealant", "g", False, None, 10, LifeRule(life_months, None, min_life_days, timed=True))
    return facts._replace(**changes)


def need(day, quantity=5, until=None):
    return Need(day, (0, day.toordinal()), day.toordinal(), f"S{day:%m%d}", Decimal(quantity), "as planned", "", "call-out", until)


def line(*days, supplies=(), as_of=AS_OF, **changes):
    return net(item(**changes), [need(day) for day in days], supplies, as_of=as_of, receiving_days=3)


def texts(found):
    return [reason.text for reason in why(found)]


def test_not_before_by_hand():
    """D = 13 March + 2 days; 9 months back is 15 June 2026, 273 days; floor(0.85 x 273) = 232; 15 March - 232 = 26 July; less 14 days."""
    found = line(date(2027, 3, 13), min_life_days=2, lead_days=14)

    assert found.not_before == date(2026, 7, 12)
    assert found.order_by == date(2027, 2, 24)
    assert not buying(found).window.empty


def test_trace_of_not_before_says_rule_source_and_arithmetic():
    found = line(date(2027, 3, 13), min_life_days=2, lead_days=14)
    (reason,) = [reason for reason in why(found) if reason.text.startswith("not before")]

    assert reason.text == (
        "not before 2026-07-12 = 2027-03-15 - 232 days - 14 days lead time: 2027-03-13 (the last short day) + 2 days of life that "
        "must be left = 2027-03-15; a life of 9 months to then, from 2026-06-15, is 273 days; 85 % of them, rounded down, are 232"
    )
    assert "MIL-DTL-5516D par. 6.5: at least 85 % of the life is left on receipt" in reason.source


def test_not_before_counts_from_the_last_short_day_not_the_first():
    """D = 12 June, from 12 September 2026: 273 days, 232 left; 12 June - 232 = 23 October; less 10 days."""
    assert line(FIRST, SECOND).not_before == date(2026, 10, 13)


def test_not_before_looks_past_a_last_need_that_is_met():
    lot = Supply(-1, "", Decimal(5), SECOND, Limit("expires", SECOND, "printed"), crate="C1")
    found = line(FIRST, SECOND, supplies=[lot])

    assert found.last_short == FIRST
    assert found.not_before == line(FIRST).not_before


@pytest.mark.parametrize("changes", [{"life_months": None}, {"lead_days": None}])
def test_not_before_is_unknown_without_a_life_or_a_lead_time(changes):
    found = line(FIRST, **changes)

    assert found.not_before is None
    assert buying(found) is None


def test_no_lead_time_is_said_where_there_is_a_life():
    assert "no not-before day: no lead time is known" in texts(line(FIRST, lead_days=None))
    assert not any("not-before" in text for text in texts(line(FIRST, lead_days=None, life_months=None)))


def test_not_before_is_for_what_is_short_alone():
    found = line(FIRST, supplies=[Supply(1, "L1", Decimal(5), None, None)])

    assert (found.short, found.not_before, found.last_short, found.missing) == (0, None, None, ())


def test_life_that_reaches_before_the_calendar_makes_nothing_too_early():
    found = line(date(5, 1, 1), life_months=120, as_of=date(4, 1, 1))

    assert found.not_before is None
    assert any(text.startswith("no day is too early: 120 months before") for text in texts(found))


def test_one_purchase_serves_two_weekends_where_one_day_does():
    found = buying(line(FIRST, date(2027, 3, 13)))

    (bought,) = found.purchases
    assert bought.window == Window(AS_OF, date(2027, 2, 21))  # 6 March - 10 - 3
    assert (bought.quantity, len(bought.needs)) == (10, 2)
    assert found.words == "one purchase serves them all"


def test_two_purchases_where_the_life_does_not_reach_from_one_weekend_to_the_other():
    """3 months. To 12 June: 92 days, 78 left, so 26 March less 10 days. To 6 March: order by 21 February."""
    found = line(FIRST, SECOND, life_months=3, pack=Decimal(4))
    bought = buying(found)

    assert (found.not_before, found.order_by) == (date(2027, 3, 16), date(2027, 2, 21))
    assert bought.window.empty
    assert [one.window for one in bought.purchases] == [
        Window(AS_OF, date(2027, 2, 21)),
        Window(date(2027, 3, 16), date(2027, 5, 30)),
    ]
    assert [(one.quantity, one.buy) for one in bought.purchases] == [(5, 8), (5, 8)]
    assert bought.words == "2 purchases are needed"


def test_empty_window_says_both_dates_and_which_date_moves_it():
    """23 days lie between. 17 May: from 17 February 89 days, 75 left: 3 March less 10 days is 21 February; 18 May would be a day late."""
    (text,) = [text for text in texts(line(FIRST, SECOND, life_months=3)) if text.startswith("no day to buy")]

    assert "not before 2027-03-16 is after order by 2027-02-21" in text
    assert "it opens if S0612 on 2027-06-12 comes on 2027-05-17 or before, or S0306 on 2027-03-06 on 2027-03-29 or later" in text
    assert line(FIRST, date(2027, 5, 17), life_months=3).not_before == date(2027, 2, 21)
    assert line(FIRST, date(2027, 5, 18), life_months=3).not_before == date(2027, 2, 22)


def test_empty_window_of_one_day_is_moved_by_no_step():
    """D = 31 March, from 28 February 31 days, 26 left: 5 March less 10 days is 23 February, 2 days after order by."""
    found = line(FIRST, life_months=1, min_life_days=25)
    bought = buying(found)

    assert (found.not_before, found.order_by) == (date(2027, 2, 23), date(2027, 2, 21))
    assert "no date of a step moves it: what comes has 2 days of life too few" in bought.moved_by
    assert bought.purchases == ()
    assert bought.unserved == found.needs
    assert bought.words == "no purchase comes in time and fresh enough"


def test_what_should_have_been_ordered_is_ordered_today():
    found = buying(line(FIRST, date(2027, 4, 10), as_of=date(2027, 3, 1)))

    (bought,) = found.purchases
    assert bought.window == Window(date(2027, 3, 1), date(2027, 3, 1))


def test_returned_thing_with_a_life_counts_its_last_short_day():
    """Held from 6 through 12 June by a step: D = 12 June."""
    needs = [need(date(2027, 6, 6), until=SECOND)]
    found = net(item(returned=True), needs, (), as_of=AS_OF, receiving_days=3)

    assert found.last_short == SECOND
    assert found.not_before == date(2026, 10, 13)
    assert texts(found)


DAYS = st.lists(st.integers(0, 900).map(lambda days: AS_OF + timedelta(days=days)), min_size=1, max_size=6, unique=True)


@given(DAYS, st.integers(1, 24), st.integers(0, 40), st.integers(0, 90))
def test_purchases_serve_each_short_need_once_or_say_that_none_does(days, life, least, lead):
    found = line(*days, life_months=life, min_life_days=least, lead_days=lead)
    bought = buying(found)

    served = [need for one in bought.purchases for need in one.needs]
    assert sorted([*served, *bought.unserved]) == sorted(found.needs)
    assert sum(one.quantity for one in bought.purchases) + 5 * len(bought.unserved) == found.short
    for one in bought.purchases:
        for each in one.needs:
            alone = line(each.day, life_months=life, min_life_days=least, lead_days=lead)
            assert alone.not_before <= max(one.window.first, AS_OF)
            assert one.window.last <= max(alone.order_by, AS_OF)
    assert texts(found)


@given(DAYS, st.integers(1, 24), st.integers(0, 40), st.integers(0, 90))
def test_a_window_that_is_not_empty_takes_one_purchase(days, life, least, lead):
    found = line(*days, life_months=life, min_life_days=least, lead_days=lead)
    bought = buying(found)

    if not bought.window.empty and not any(_alone_is_empty(day, life, least, lead) for day in days):
        assert len(bought.purchases) <= 2  # one, save where a month's end makes an earlier day's window start later than the last one's
        assert not bought.unserved


def _alone_is_empty(day, life, least, lead):
    return buying(line(day, life_months=life, min_life_days=least, lead_days=lead)).window.empty
