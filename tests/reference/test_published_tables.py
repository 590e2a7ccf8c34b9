"""Rows of AC 43.13-1B, Acceptable Methods, Techniques, and Practices."""

from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.hardware.published import bolt_torque, rivets_per_inch


@pytest.mark.parametrize(
    ("thickness", "diameter", "count"),
    [
        (".020", "1/8", "4.9"),
        (".040", "1/8", "6.2"),
        (".040", "5/32", "4.0"),
        (".040", "3/16", "3.3"),
        (".064", "1/8", "9.9"),
        (".064", "5/32", "6.5"),
    ],
)
def test_rivets_per_inch(thickness, diameter, count):
    """Table 4-10: 2024-T3 clad, AD rivets."""
    found, reason = rivets_per_inch(Fraction(thickness), Fraction(diameter))
    assert found == Decimal(count)
    assert reason.source == "AC 43.13-1B table 4-10"


@pytest.mark.parametrize(
    ("thread", "tension", "shear"),
    [("10-32", (20, 25), (12, 15)), ("1/4-28", (50, 70), (30, 40)), ("5/16-24", (100, 140), (60, 85))],
)
def test_bolt_torque(thread, tension, shear):
    """Table 7-1: inch-pounds, tension nut and shear nut."""
    *found, reason = bolt_torque(thread)
    assert found == [tension, shear]
    assert reason.source == "AC 43.13-1B table 7-1"


def test_rows_between_the_printed_ones_are_refused():
    with pytest.raises(ValueError, match=r"thickness: no row for 0\.05 in"):
        rivets_per_inch(Fraction("0.05"), Fraction(1, 8))
    with pytest.raises(ValueError, match="thread: no row"):
        bolt_torque("3/8-24")
