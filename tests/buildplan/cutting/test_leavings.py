"""What is left of a blank: nothing comes out of it that wasn't in it, and what a plan leaves is let through."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.cutting.leavings import overrun, shared
from buildplan.cutting.sheets import Rectangle, Sheet, cut_sheets
from buildplan.cutting.stranding import Material, Need, Saw

F = Fraction
LENGTHS = st.integers(1, 60).map(F)
KERFS = st.sampled_from([F(0), F(1, 2), F(2)])
COUNTED = st.lists(st.tuples(LENGTHS, st.integers(1, 3)), min_size=1, max_size=4)


def bar(length, key=0):
    return Material(key, "lot A", 1, whole=True, length=None if length is None else F(length))


def needs(*pairs):
    return [Need(at, f"R-{at}", count, length=F(length)) for at, (length, count) in enumerate(pairs)]


def sheet(length, width, key=0, grain=""):
    return Material(key, "lot S", 1, whole=True, length=F(length), width=F(width), grain=grain)


@settings(max_examples=60)
@given(length=st.integers(20, 200).map(F), pieces=COUNTED, kept=st.lists(LENGTHS, max_size=4), kerf=KERFS)
def test_bar_gives_no_more_than_it_has_and_all_that_it_has(length, pieces, kept, kerf):
    total = sum(size * count for size, count in pieces) + sum(kept)
    cuts = sum(count for _, count in pieces) + len(kept) - 1
    accepted = not overrun(bar(length), needs(*pieces), [bar(one, at) for at, one in enumerate(kept)], Saw("bar", kerf))
    assert accepted == (total + kerf * cuts <= length)


RECTANGLES = st.lists(
    st.builds(Rectangle, st.integers(5, 40).map(F), st.integers(5, 30).map(F), st.integers(1, 3), st.just("W"), st.just("")),
    min_size=1,
    max_size=4,
)


@settings(max_examples=40)
@given(pieces=RECTANGLES, kerf=KERFS)
def test_sheet_lets_through_what_a_plan_leaves_and_nothing_larger_than_itself(pieces, kerf):
    plan = cut_sheets(pieces, [Sheet(F(60), F(45), 1)], kerf)
    laid, left = plan.sheets[0].pieces, plan.sheets[0].offcuts
    sawn = [Need(at, "W", 1, length=one.piece.length, width=one.piece.width) for at, one in enumerate(laid)]
    kept = [sheet(one.length, one.width, at) for at, one in enumerate(left)]
    saw = Saw("sheet", kerf)
    assert not overrun(sheet(60, 45), sawn, kept, saw)
    area = sum(one.length * one.width for one in [*sawn, *kept])
    spare = 60 * 45 - area + 1
    assert overrun(sheet(60, 45), sawn, [*kept, sheet(spare, 1, 99)], saw)


@pytest.mark.parametrize(
    ("kept", "text"),
    [
        ([(50, 30), (50, 16)], "don't lie side by side"),
        ([(60, 20), (60, 20), (57, 5)], "take"),
        ([(60, 20), (60, 20)], ""),
    ],
)
def test_sheet_is_judged_by_two_at_a_time_and_by_area(kept, text):
    parts = [sheet(*size, at) for at, size in enumerate(kept)]
    found = overrun(sheet(60, 45), [Need(1, "W", 1, length=F(5), width=F(4))], parts, Saw("sheet", F(0)))
    assert text in found
    assert bool(found) == bool(text)


def test_pieces_by_yield_take_up_something():
    by_yield = [Need(1, "W", 1, per_blank=4)]
    assert overrun(bar(100), by_yield, [bar(100)], Saw("bar", F(0)))
    assert not overrun(bar(100), by_yield, [bar(99)], Saw("bar", F(0)))
    assert not overrun(bar(None), by_yield, [bar(99)], Saw("bar", F(0)))


@settings(max_examples=60)
@given(pieces=COUNTED, offcuts=st.lists(st.integers(1, 120).map(F), min_size=1, max_size=3), kerf=st.sampled_from([F(0), F(1, 2)]))
def test_what_is_shared_fits_each_offcut_and_is_all_of_it(pieces, offcuts, kerf):
    asked = needs(*pieces)
    found = shared(asked, [bar(one, at) for at, one in enumerate(offcuts)], Saw("bar", kerf))
    for length, counts in zip(offcuts, found.given, strict=True):
        assert sum((asked[key].length + kerf) * count for key, count in counts.items()) <= length + kerf or not counts
    given_of = {one.key: sum(counts.get(one.key, 0) for counts in found.given) for one in asked}
    assert given_of == ({one.key: 0 for one in asked} if found.missing else {one.key: one.count for one in asked})


def test_promise_goes_to_the_first_offcut_that_gives_all_else_is_shared():
    saw = Saw("bar", F(2))
    assert shared(needs((48, 2)), [bar(50, 0), bar(98, 1)], saw).given == ({}, {0: 2})
    assert shared(needs((48, 2)), [bar(50, 0), bar(48, 1)], saw).given == ({0: 1}, {0: 1})
    assert shared(needs((30, 1), (45, 1)), [bar(50, 0), bar(30, 1)], saw).given == ({1: 1}, {0: 1})
    assert shared(needs((48, 2)), [bar(97, 0)], saw).missing == {0: 1}


def test_promised_rectangles_keep_their_grain():
    long = [Need(0, "W", 1, length=F(40), width=F(10), grain="length")]
    assert shared(long, [sheet(10, 40, 0, "length")], Saw("sheet", F(0))).missing == {0: 1}
    assert shared(long, [sheet(10, 40, 0, "width")], Saw("sheet", F(0))).given == ({0: 1},)
