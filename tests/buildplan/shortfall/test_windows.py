from datetime import date, timedelta
from fractions import Fraction
from itertools import combinations

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from buildplan.shortfall.windows import FRESH, Window, not_before, purchases

DAY = date(2027, 3, 13)


def test_fresh_on_receipt_is_the_published_part():
    """MIL-DTL-5516D par. 6.5: at least 85 % of the life left on receipt."""
    assert Fraction(85, 100) == FRESH


def test_not_before_by_hand():
    """Computed by hand: D = 13 March + 2 days; 9 months back is 15 June 2026, 273 days; floor(0.85 x 273) = 232; less 14 days."""
    found = not_before(DAY, life_months=9, min_life_days=2, lead_days=14)

    assert found == date(2027, 3, 15) - timedelta(days=232) - timedelta(days=14)


def test_not_before_of_a_life_that_reaches_before_the_calendar_is_none():
    assert not_before(date(5, 1, 1), life_months=120, min_life_days=0, lead_days=0) is None
    assert not_before(date(9999, 12, 31), life_months=1, min_life_days=1, lead_days=0) is None


@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(1, 240), st.integers(0, 400), st.integers(0, 400))
def test_not_before_agrees_with_dateutil(last_short, life, least, lead):
    end = last_short + timedelta(days=least)
    days = (end - (end - relativedelta(months=life))).days

    found = not_before(last_short, life_months=life, min_life_days=least, lead_days=lead)

    assert found == end - timedelta(days=int(Fraction(85 * days, 100))) - timedelta(days=lead)


@pytest.mark.parametrize(
    ("windows", "count"),
    [
        ([], 0),
        ([Window(DAY, DAY)], 1),
        ([Window(DAY, DAY + timedelta(days=9)), Window(DAY + timedelta(days=9), DAY + timedelta(days=30))], 1),
        ([Window(DAY, DAY + timedelta(days=9)), Window(DAY + timedelta(days=10), DAY + timedelta(days=30))], 2),
        ([Window(None, DAY), Window(None, None)], 1),
        ([Window(DAY, DAY - timedelta(days=1))], 0),
    ],
)
def test_purchases_join_where_one_day_does_for_all(windows, count):
    assert len(purchases(windows)) == count


OFFSETS = st.integers(0, 12)


@given(st.lists(st.tuples(OFFSETS, OFFSETS).map(sorted), max_size=6))
def test_purchases_are_the_fewest_that_serve_all(spans):
    """By trying every set of days."""
    windows = [Window(DAY + timedelta(days=first), DAY + timedelta(days=last)) for first, last in spans]

    found = purchases(windows)

    days = range(13)
    fewest = next(
        size for size in range(14) if any(all(any(a <= d <= b for d in chosen) for a, b in spans) for chosen in combinations(days, size))
    )
    assert len(found) == fewest
    chosen = [window.last for window in found]
    assert all(any(window.first <= day <= window.last for day in chosen) for window in windows)
