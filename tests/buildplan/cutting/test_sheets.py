"""Sheets: cuts from edge to edge, grain kept, nothing over the edge, nothing twice."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.cutting.sheets import Rectangle, Sheet, cut_sheets, uncut_rectangles

F = Fraction
GRAIN = st.sampled_from(["", "length", "width"])
PIECES = st.lists(
    st.builds(Rectangle, st.integers(5, 40).map(F), st.integers(5, 30).map(F), st.integers(1, 4), st.just("W"), GRAIN),
    min_size=1,
    max_size=6,
)


def by_one_cut(areas, kerf):
    """Whether cuts from edge to edge part all of these, each cut as wide as the kerf: what guillotine means."""
    if len(areas) < 2:
        return True
    for low, high in ((lambda one: one.x, lambda one: one.x + one.length), (lambda one: one.y, lambda one: one.y + one.width)):
        for edge in {high(one) for one in areas}:
            before = [one for one in areas if high(one) <= edge]
            after = [one for one in areas if low(one) >= edge + kerf]
            if before and after and len(before) + len(after) == len(areas):
                return by_one_cut(before, kerf) and by_one_cut(after, kerf)
    return False


@settings(max_examples=40)
@given(pieces=PIECES, kerf=st.sampled_from([0, 1, F(1, 2)]), trim=st.sampled_from([0, 2]), count=st.sampled_from([None, 1, 2]))
def test_plan_holds_to_edges_kerf_grain_and_stock(pieces, kerf, trim, count):
    plan = cut_sheets(pieces, [Sheet(F(60), F(45), count, "", "length")], kerf, end_trim=trim)
    assert count is None or plan.count <= count
    for one in plan.sheets:
        for laid in one.pieces:
            area = laid.area
            assert trim <= area.x
            assert area.x + area.length <= 60
            assert trim <= area.y
            assert area.y + area.width <= 45
            assert {area.length, area.width} == {laid.piece.length, laid.piece.width}
            if laid.piece.grain:
                assert laid.turned == (laid.piece.grain == "width")
        assert by_one_cut([laid.area for laid in one.pieces], kerf)
        assert by_one_cut([*(laid.area for laid in one.pieces), *one.offcuts], 0)
        assert one.waste >= 0
    made = sum(len(one.pieces) for one in plan.sheets)
    assert made + sum(one.count for one in plan.short) == sum(one.count for one in pieces)
    assert plan.short or plan.bound <= plan.count
    assert count is not None or not plan.short


def test_bound_counts_pieces_of_which_no_two_share_a_sheet():
    plan = cut_sheets([Rectangle(F(35), F(31), 3)], [Sheet(F(60), F(45))], 0)
    assert (plan.count, plan.bound, plan.proven) == (3, 3, True)


def test_four_of_a_quarter_fit_one_sheet_and_with_a_kerf_do_not():
    quarter = Rectangle(F(300), F(200), 4)
    assert cut_sheets([quarter], [Sheet(F(600), F(400))], 0).proven
    assert cut_sheets([quarter], [Sheet(F(600), F(400))], 1).count == 2
    assert cut_sheets([quarter], [Sheet(F(601), F(401))], 1).count == 1


def test_grain_forbids_a_turn_that_would_fit():
    long = Rectangle(F(80), F(30), 1, "W-31", "length")
    assert uncut_rectangles([long], [Sheet(F(60), F(90), 1, "", "length")], 0) == (long,)
    assert not uncut_rectangles([long], [Sheet(F(60), F(90), 1, "", "width")], 0)


@pytest.mark.parametrize(
    ("pieces", "stock", "kerf", "text"),
    [
        ([], [Sheet(F(1), F(1))], 0, "pieces: there are none"),
        ([Rectangle(F(1), F(1), 1)], [], 0, "stock: there is none"),
        ([Rectangle(F(70), F(50), 1, "W-31")], [Sheet(F(60), F(45))], 0, "W-31, 70 x 50, fits no stock: the largest sheet is 60 x 45"),
        ([Rectangle(F(9), F(9), 1, "", "length")], [Sheet(F(60), F(45))], 0, "the grain of the stock isn't known"),
        ([Rectangle(F(9), F(9), 1, "", "across")], [Sheet(F(60), F(45))], 0, "grain 'across': write length, width"),
        ([Rectangle(F(9), F(2), 1)], [Sheet(F(60), F(45))], 2, "kerf: 2 is not less than the piece of 2"),
        ([Rectangle(F(9), F(2), 1001)], [Sheet(F(60), F(45))], 0, "at most 1000 rectangles"),
    ],
)
def test_what_makes_no_sense_is_named(pieces, stock, kerf, text):
    with pytest.raises(ValueError, match=text):
        cut_sheets(pieces, stock, kerf)
