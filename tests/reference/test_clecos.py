"""Temporary fasteners, and the most held at once."""

from fractions import Fraction

import pytest

from buildplan.hardware.calc import HOLES, cleco_colour, cleco_every, clecos_for_row, pin_peak


@pytest.mark.parametrize(
    ("diameter", "colour", "drill"),
    [  # [practice]; NAVEDTRA 14315 ch. 4 too, which gives black to 1/16 as well
        (Fraction(3, 32), "silver", "#40"),
        (Fraction(1, 8), "copper", "#30"),
        (Fraction(5, 32), "black", "#21"),
        (Fraction(3, 16), "gold", "#11"),  # #10 to #12
    ],
)
def test_colour_of_a_size(diameter, colour, drill):
    assert cleco_colour(diameter) == colour
    assert HOLES[diameter].usual == drill


@pytest.mark.parametrize(("stage", "every"), [("fit_up", 3), ("match_drill", 2), ("final", 1), ("curing", 1)])
def test_spacing_is_said_to_be_practice(stage, every):  # [practice]
    spacing, reason = cleco_every(stage)

    assert spacing == every
    assert "practice" in reason.source


@pytest.mark.parametrize(
    ("holes", "every", "clecos"),
    [  # [calc]: floor((n - 1) / k) + 1, one more where the last hole is not a k-th
        (1, 3, 1),
        (10, 1, 10),
        (10, 3, 4),
        (11, 3, 5),
        (5, 10, 2),
        (10**9, 3, 333_333_334),
    ],
)
def test_row_with_its_ends(holes, every, clecos):
    assert clecos_for_row(holes, every) == clecos


def test_peak_of_a_room_allocation():
    """[calc] on a textbook instance of room allocation."""
    text = "13-15 17-22 12-17 9-10 12-15 9-11 11-14 10-15 16-19 12-14 18-23 8-11"
    spans = [(*map(int, span.split("-")), 1) for span in text.split()]

    assert pin_peak(spans) == (6, 13)
