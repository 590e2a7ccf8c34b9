from datetime import date, datetime
from fractions import Fraction
from time import perf_counter

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from buildplan.hardware.calc import cleco_colour, cleco_every, clecos_for_row, pin_peak

SPANS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 6), st.integers(0, 9)).map(lambda s: (s[0], s[0] + s[1], s[2])), max_size=12)


@given(st.integers(1, 300), st.integers(1, 320))
def test_row_by_filling_holes_one_by_one(holes, every):
    filled = {hole for hole in range(holes) if hole % every == 0} | {0, holes - 1}

    assert clecos_for_row(holes, every) == len(filled)


@pytest.mark.parametrize("bad", [0, -1, True, 2.0, "3", None, Fraction(3)])
def test_row_refuses_by_name(bad):
    with pytest.raises(ValueError, match="holes"):
        clecos_for_row(bad, 3)
    with pytest.raises(ValueError, match="every"):
        clecos_for_row(10, bad)


@given(SPANS)
@example([(1, 1, 5)])
@example([(3, 5, 0), (1, 2, 0)])
@example([(1, 5, 3), (2, 2, 7)])
def test_peak_by_looking_at_every_start(spans):
    held = {at: sum(count for start, end, count in spans if start <= at < end) for at, _, _ in spans}
    peak = max(held.values(), default=0)

    assert pin_peak(spans) == (peak, min((at for at, count in held.items() if count == peak), default=None))


@given(SPANS)
def test_peak_takes_days_as_it_takes_numbers(spans):
    days = [(date(2027, 1, 1 + start), date(2027, 1, 1 + end), count) for start, end, count in spans]
    peak, when = pin_peak(spans)

    assert pin_peak(days) == (peak, None if when is None else date(2027, 1, 1 + when))


def test_no_spans_have_no_peak():
    assert pin_peak([]) == (0, None)


def test_what_ends_is_free_for_what_starts():
    assert pin_peak([(1, 3, 40), (3, 5, 40)]) == (40, 1)


def test_the_earliest_start_at_the_peak_is_named():
    assert pin_peak([(5, 6, 7), (1, 2, 7)]) == (7, 1)


@pytest.mark.parametrize(
    "spans",
    [
        [(3, 2, 1)],
        [(1, 2, -1)],
        [(1, 2, 1.0)],
        [(1, 2, True)],
        [(1, 2)],
        [1],
        [(1, "2", 1)],
        [(1, 2, 1), ("a", "b", 1)],
        [(date(2027, 1, 1), datetime(2027, 1, 2), 1)],  # noqa: DTZ001 - the mixture is the point
        [(float("nan"), 1, 1)],
        [(1, float("nan"), 1)],
        [(None, None, 1)],
    ],
)
def test_peak_refuses_by_name(spans):
    with pytest.raises(ValueError, match="spans"):
        pin_peak(spans)


def test_peak_of_many_spans_is_quick():
    begun = perf_counter()

    assert pin_peak((at, at + 100_000, 1) for at in range(100_000)) == (100_000, 99_999)
    assert perf_counter() - begun < 5  # a sweep; comparing each with each would take minutes


def test_an_unknown_stage_is_refused_by_name():
    with pytest.raises(ValueError, match="stage: none of fit_up"):
        cleco_every("paint")


def test_a_size_without_a_usual_colour_has_none():
    assert cleco_colour(Fraction(1, 4)) is None
    with pytest.raises(ValueError, match="diameter"):
        cleco_colour(0.125)
