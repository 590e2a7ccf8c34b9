"""Hours as people write them, and texts of several lines."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.logbook.calc import MOST_MINUTES, clock, prose, read_minutes, summed
from buildplan.logbook.chart import chart
from buildplan.logbook.files import guarded, unguarded

READ = {
    "1:30": 90,
    "0:05": 5,
    "24:00": 1440,
    "1.5": 90,
    "1,5 h": 90,
    "2h": 120,
    "2 hours": 120,
    "90 min": 90,
    "45m": 45,
    "1 h 30 min": 90,
    "1h5": 65,
}


def test_hours_are_read_as_people_write_them():
    assert {text: read_minutes(text) for text in READ} == READ


def test_part_of_a_minute_rounds_half_up():
    assert (read_minutes("0.025"), read_minutes("0.024"), read_minutes("0.333")) == (2, 1, 20)  # 1.5, 1.44 and 19.98 minutes


@pytest.mark.parametrize("text", ["", "soon", "1:60", "-1", "0", "0:00", "0.008", "24:01", "1441 min", "1:3", "1..5", "٣"])
def test_what_is_no_time_of_a_day_is_refused_with_what_would_do(text):
    with pytest.raises(ValueError, match=r"write hours|give more than nothing"):
        read_minutes(text)


@given(st.integers(1, MOST_MINUTES))
@settings(max_examples=40)
def test_clock_is_read_back(minutes):
    assert read_minutes(clock(minutes)) == minutes


@given(st.integers(0, 999), st.integers(0, 999))
@settings(max_examples=60)
def test_decimal_hours_are_the_nearest_minute(whole, thousandths):
    """Against plain fractions: twice the distance is at most one."""
    exact = Fraction(whole * 1000 + thousandths, 1000) * 60
    try:
        found = read_minutes(f"{whole}.{thousandths:03d}")
    except ValueError:
        assert exact < Fraction(1, 2) or exact >= MOST_MINUTES + Fraction(1, 2)
    else:
        assert -1 < 2 * (exact - found) < 1 or 2 * (found - exact) == 1


@given(st.text(max_size=60))
@settings(max_examples=60)
def test_prose_kept_once_is_kept_the_same(text):
    try:
        kept = prose(text, 60)
    except ValueError:
        return
    assert prose(kept, 60) == kept
    assert prose(f"\r\n {kept} \t\r\n\ufeff", 60) == kept


def test_prose_refuses_nothing_too_much_and_what_nobody_can_type():
    for text, told in ((" \n", "blank"), ("x" * 61, "61 characters"), ("a\x00b", "control characters"), ("a\u2028b", "control")):
        with pytest.raises(ValueError, match=told):
            prose(text, 60)


@given(st.text(alphabet="'=+-@\tax", max_size=8))
@settings(max_examples=60)
def test_guarded_cell_is_no_formula_and_reads_back(text):
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t"))
    assert unguarded(guarded(text)) == text


@given(st.lists(st.tuples(st.sampled_from("abc"), st.integers(1, 99)), max_size=9))
@settings(max_examples=40)
def test_sums_lose_no_minute(rows):
    found = summed(rows)
    assert sum(found.values()) == sum(minutes for _, minutes in rows)
    assert {key: sum(minutes for name, minutes in rows if name == key) for key in found} == found


def test_chart_is_as_wide_as_the_longest_bar_and_none_without_hours():
    picture = chart([("Tail", 30), ("Floats", 120), ("x" * 60, 60)])

    assert [bar.width for bar in picture.bars] == ["25.000%", "100.000%", "50.000%"]
    assert len(picture.bars[2].label) == 40
    assert chart([]) is chart([("Tail", 0)]) is None
