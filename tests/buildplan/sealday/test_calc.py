"""Hours, shares and cures against brute force and by hand."""

from datetime import datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.sealday.calc import cured, presence, reachable, share_out

MINUTES = st.integers(0, 24 * 60 - 1)
SPANS = st.lists(st.tuples(MINUTES, MINUTES).filter(lambda span: span[0] < span[1]), max_size=5)
GRAMS = st.integers(1, 200_000).map(lambda count: Decimal(count).scaleb(-3))


def at(minute):
    return time(*divmod(minute, 60))


@given(SPANS)
def test_presence_is_what_counting_every_minute_gives(spans):
    there = [sum(comes <= minute < goes for comes, goes in spans) for minute in range(24 * 60)]
    manned = [count for count in there if count]

    found = presence((at(comes), at(goes)) for comes, goes in spans)

    assert found.hands == min(manned, default=0)
    assert found.hours == Fraction(len(manned), 60)
    assert found.together == Fraction(sum(there), 60)
    inside = there[min((span[0] for span in spans), default=0) : max((span[1] for span in spans), default=0)]
    assert sum((end.hour - start.hour) * 60 + end.minute - start.minute for start, end in found.gaps) == inside.count(0)


def test_presence_of_a_morning_a_gap_and_an_afternoon():
    found = presence([(time(9), time(12)), (time(10), time(12)), (time(13), time(17, 30))])

    assert (found.hands, found.hours, found.together) == (1, Fraction(15, 2), Fraction(19, 2))
    assert (found.gaps, found.first, found.last) == (((time(12), time(13)),), time(9), time(17, 30))


def test_presence_refuses_a_person_who_goes_before_they_come():
    with pytest.raises(ValueError, match="goes: must be after they come"):
        presence([(time(17), time(9))])


@given(st.lists(st.tuples(st.integers(1, 9), GRAMS), min_size=1, max_size=8, unique_by=lambda need: need[0]), st.data())
def test_shares_add_up_to_each_batch_and_to_each_need(needs, data):
    """Cut the needs' total anywhere: nothing is lost, nothing is given twice, needs are served in order."""
    total = sum(int(grams * 1000) for _, grams in needs)
    cuts = sorted(data.draw(st.sets(st.integers(1, total), max_size=6)))
    sizes = [Decimal(end - start).scaleb(-3) for start, end in zip([0, *cuts], cuts, strict=False)]

    shares = share_out(sizes, needs)

    assert [sum(grams for _, grams in batch) for batch in shares] == sizes
    given_to = [(key, grams) for batch in shares for key, grams in batch]
    assert all(grams > 0 for _, grams in given_to)
    left = sum(sizes, Decimal(0))
    for key, grams in needs:
        served = sum((part for to, part in given_to if to == key), Decimal(0))
        assert served == min(grams, left)
        left -= served


def test_shares_refuse_batches_of_more_than_is_needed():
    with pytest.raises(ValueError, match="sizes: more than is needed"):
        share_out([Decimal(11)], [(1, Decimal(10))])


def test_reachable_goes_through_others_and_around_a_ring():
    links = {1: [2, 3], 3: [4], 4: [3]}

    assert reachable([1], links) == {2, 3, 4}
    assert reachable([4], links) == {3, 4}
    assert reachable([2], links) == frozenset()


def test_cure_is_rounded_up_to_a_minute():
    last = datetime(2027, 3, 13, 17, 0, 0)  # noqa: DTZ001 - arithmetic alone

    assert cured(last, Fraction(72)) == last + timedelta(days=3)
    assert cured(last, Fraction(1, 7)) == last + timedelta(minutes=9)  # 8.57 minutes
