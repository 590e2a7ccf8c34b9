"""Which share of a mix uses up which lot: all of both, and first what is held."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.sealing.calc import Portion, portions

GRAMS = st.integers(1, 60)


def told(*given):
    return [(one.lot, one.share, one.grams) for one in portions(*given)]


def test_portions_run_through_lots_and_shares_in_order():
    assert told([30, 20], [25, 25], {}) == [(0, 0, 25), (0, 1, 5), (1, 1, 20)]


def test_portions_give_each_share_first_what_is_held_for_it():
    assert told([30, 20], [25, 25], {(0, 0): 10, (0, 1): 20, (1, 0): 15}) == [(0, 0, 10), (0, 1, 20), (1, 0, 15), (1, 1, 5)]


def test_portions_give_no_share_more_than_its_own_although_more_is_held():
    assert told([40], [10, 30], {(0, 0): 40}) == [(0, 0, 10), (0, 1, 30)]


@pytest.mark.parametrize(
    ("given", "name"),
    [(([10], [9], {}), "shares"), (([0], [0], {}), "lots"), (([10], [10, 0], {}), "shares"), (([10], [10], {(0, 0): -1}), "held")],
)
def test_portions_refuse_by_name_what_makes_no_sense(given, name):
    with pytest.raises(ValueError, match=rf"^{name}:"):
        portions(*given)


@given(st.data())
def test_portions_use_up_all_lots_and_all_shares(data):
    lots = data.draw(st.lists(GRAMS, min_size=1, max_size=4))
    cuts = sorted(data.draw(st.sets(st.integers(1, max(1, sum(lots) - 1)), max_size=3)) if sum(lots) > 1 else set())
    shares = [end - start for start, end in zip([0, *cuts], [*cuts, sum(lots)], strict=True)]
    pairs = st.tuples(st.integers(0, len(lots) - 1), st.integers(0, len(shares) - 1))
    found = portions(lots, shares, data.draw(st.dictionaries(pairs, st.integers(0, 80))))

    assert all(one.grams > 0 for one in found)
    assert len({(one.lot, one.share) for one in found}) == len(found)
    assert [sum(one.grams for one in found if one.lot == at) for at in range(len(lots))] == lots
    assert [sum(one.grams for one in found if one.share == at) for at in range(len(shares))] == shares
    assert all(isinstance(one, Portion) and isinstance(one.grams, Fraction) for one in found)
