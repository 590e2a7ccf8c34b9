"""Cutting: published and computed cases."""

from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.cutting.calc import cut
from buildplan.cutting.wanted import Sizes, Uncut, blanks_by_step

# Cutting stock, the worked example used in textbooks, after Gilmore and Gomory: bars of 100.
TEXTBOOK = [(45, 97), (36, 610), (31, 395), (14, 211)]


@pytest.mark.parametrize("prove", [True, False])
def test_textbook_example_takes_453_bars(prove):
    plan = cut(TEXTBOOK, 100, 0, prove=prove)

    assert plan.count == 453
    assert plan.bound <= 453


def test_textbook_example_is_proven_by_the_linear_bound():
    plan = cut(TEXTBOOK, 100, 0)

    assert (plan.bound, plan.proven, plan.exact) == (453, True, True)  # the linear relaxation is 452.25


# Three of 1000 mm from 3000 mm: one bar by a shear, two by a saw of 3 mm. Computed: sum (w + k) <= L + k.
@pytest.mark.parametrize(
    ("kerf", "length", "bars"),
    [
        (0, 3000, 1),
        (3, 3000, 2),
        (3, 3006, 1),
        (3, 3005, 2),
        (Decimal("1.5"), 3003, 1),
        (Fraction(1, 8), Fraction(12001, 4), 1),
    ],
)
def test_kerf_stands_between_pieces_alone(kerf, length, bars):
    assert cut([(1000, 3)], length, kerf).count == bars


def test_end_trim_is_lost_once_a_bar():
    assert cut([(1000, 3)], 3016, 3, end_trim=10).count == 1
    assert cut([(1000, 3)], 3015, 3, end_trim=10).count == 2


def test_four_from_one_blank_common_practice():
    """Kits give one blank for four pieces: common practice of the trade, no published figure. Two now, two later: one blank, now."""
    unknown = Sizes("sheet", None, None, "", Fraction(0), Fraction(0))
    now, later = (Uncut(step, "W-31", 2, 4, "W-31") for step in (1, 2))

    assert [(takes.step, takes.blanks) for takes in blanks_by_step([now, later], unknown)] == [(1, 1)]
    assert [(takes.step, takes.blanks) for takes in blanks_by_step([now, later._replace(count=3)], unknown)] == [(1, 1), (2, 1)]
