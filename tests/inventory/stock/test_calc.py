"""Until when a lot serves: the rule by itself."""

from datetime import date

import pytest

from inventory.shelflife.calc import StatedDate
from inventory.stock.calc import LifeRule, life, why_not

SEALANT = LifeRule(life_months=9, open_life_days=14, min_life_days=5, timed=True)
MADE = StatedDate(date(2027, 1, 31))


def test_life_is_what_ends_first():
    found = life(SEALANT, MADE, StatedDate(date(2027, 12, 31), "month"), None)

    assert found.last_day == date(2027, 10, 31)
    assert found.limit.rule == "life"
    assert len(found.limits) == 2


@pytest.mark.parametrize(
    ("rule", "made", "expires", "known"),
    [
        (SEALANT, None, None, False),
        (SEALANT, MADE, None, True),
        (SEALANT, None, MADE, True),
        (LifeRule(timed=True), MADE, None, False),  # made, but nobody says how long it lives
        (LifeRule(), None, None, True),
    ],
)
def test_life_is_known_or_not(rule, made, expires, known):
    assert life(rule, made, expires, None).known is known


def test_life_of_an_opened_lot_stays_unknown_without_the_label_dates():
    found = life(SEALANT, None, None, date(2027, 2, 1))

    assert not found.known
    assert found.last_day == date(2027, 2, 15)
    assert "no known end of life" in why_not(SEALANT, found, date(2027, 2, 2))


def test_life_past_the_calendar_is_refused():
    with pytest.raises(ValueError, match="past the calendar"):
        life(SEALANT, None, None, date(9999, 12, 30))


@pytest.mark.parametrize(
    ("on", "part"), [(date(2027, 10, 26), None), (date(2027, 10, 27), "the 5 days"), (date(2027, 11, 1), "before 2027-11-01")]
)
def test_why_not_counts_the_days_that_must_be_left(on, part):
    reason = why_not(SEALANT, life(SEALANT, MADE, None, None), on)

    assert reason is None if part is None else part in reason


def test_why_not_has_nothing_against_a_part():
    assert why_not(LifeRule(), life(LifeRule(), None, None, None), date(9999, 12, 31)) is None
