"""What may serve for a rivet, beyond the published rows: head, length, twins."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.hardware.calc import may_serve, parse_rivet
from inventory.catalogue.rivets import ALLOYS, HEADS, TWINS, Rivet

rivets = st.builds(
    lambda standard, alloy, diameter, length: Rivet(standard, HEADS[standard], alloy, Fraction(diameter, 32), Fraction(length, 32)),
    st.sampled_from(sorted(HEADS)),
    st.sampled_from(sorted(ALLOYS)),
    st.integers(2, 9),
    st.integers(4, 20),
)


@pytest.mark.parametrize(("length", "serves"), [("5.5", False), ("6", True), ("6.5", True), ("7", True), ("7.5", False)])
def test_thicker_rivet_may_be_a_size_longer_and_never_shorter(length, serves):
    """3/64 in more by grip + 1.5 D: half a size and a size longer are the lengths that are made."""
    reason = may_serve(parse_rivet("MS20470D4-6"), parse_rivet(f"MS20470AD5-{length}"))
    assert (reason is not None) == serves


@pytest.mark.parametrize(
    ("wanted", "offered"),
    [
        ("MS20470D4-6", "MS20426AD5-6"),
        ("MS20426D4-6", "NAS1097AD5-6"),  # both countersunk, but its head is smaller
        ("MS20426AD3-3.5", "NAS1097AD3-3.5"),
        ("MS20470AD4-6", "MS20470AD4-6.5"),
        ("MS20470AD4-6", "MS20470DD4-6"),  # stronger, and yet no rule known here says so
    ],
)
def test_other_head_length_or_stronger_alloy_is_not_offered(wanted, offered):
    assert may_serve(parse_rivet(wanted), parse_rivet(offered)) is None


@given(rivets, rivets)
def test_what_may_serve_has_the_same_head_and_is_2117_or_the_same_rivet(wanted, offered):
    if may_serve(wanted, offered) is None:
        return
    assert offered.head == wanted.head
    assert offered.standard in (wanted.standard, TWINS.get(wanted.standard))
    if replace(offered, standard=wanted.standard) != wanted:
        assert (offered.alloy, offered.diameter - wanted.diameter) == ("AD", Fraction(1, 32))
        assert may_serve(offered, wanted) is None
