from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.hardware.calc import (
    Policy,
    call_out_question,
    check_figures,
    exact_length,
    length_reasons,
    long_grip_addition,
    parse_rivet,
    pick_stocked,
    rivet_length,
    thinnest_countersunk_sheet,
)

GRIPS = st.decimals("0.001", "12", places=4)
DIAMETERS = st.sampled_from([Fraction(n, 32) for n in (2, 3, 4, 5, 6, 8, 10)])
POLICIES = st.sampled_from(list(Policy))
EIGHTH = Fraction(1, 8)


@given(GRIPS, GRIPS, DIAMETERS, POLICIES, st.booleans())
def test_length_never_falls_as_grip_grows(one, other, diameter, policy, long_grip):
    low, high = sorted([one, other])

    assert rivet_length(low, diameter, policy, long_grip=long_grip) <= rivet_length(high, diameter, policy, long_grip=long_grip)


@given(GRIPS, DIAMETERS)
def test_each_policy_rounds_as_far_as_it_says(grip, diameter):
    exact = exact_length(grip, diameter)

    assert 0 <= rivet_length(grip, diameter, "up_half") - exact < Fraction(1, 32)
    assert 0 <= rivet_length(grip, diameter, "up_whole") - exact < Fraction(1, 16)
    assert Fraction(-1, 64) < rivet_length(grip, diameter, "nearest_half") - exact <= Fraction(1, 64)


def test_a_tie_goes_up():
    grip = 5 * Fraction(1, 16) - EIGHTH * 3 / 2 + Fraction(1, 64)  # 5.25 sixteenths in all

    assert rivet_length(grip, EIGHTH, "nearest_half") * 16 == Fraction("5.5")


def test_decimal_and_fraction_grips_give_one_answer():
    assert rivet_length(Decimal("0.25"), Decimal("0.125"), "up_half") == rivet_length(Fraction(1, 4), EIGHTH, "up_half")


def test_long_grip_is_off_unless_asked():
    assert rivet_length(5, EIGHTH, "up_half", long_grip=True) - rivet_length(5, EIGHTH, "up_half") == Fraction(2, 16)
    assert long_grip_addition(5, Fraction(5, 16)) == 0


@pytest.mark.parametrize("bad", [0, -1, Decimal("-0.064"), 0.064, True, "0.064", None, Decimal("NaN")])
def test_bad_sizes_are_refused_by_name(bad):
    with pytest.raises(ValueError, match="grip"):
        rivet_length(bad, EIGHTH, "up_half")
    with pytest.raises(ValueError, match="diameter"):
        rivet_length(EIGHTH, bad, "up_half")
    with pytest.raises(ValueError, match="diameter"):
        check_figures(bad)


@pytest.mark.parametrize("policy", ["up", "", None, 1])
def test_an_unknown_policy_is_refused_by_name(policy):
    with pytest.raises(ValueError, match="policy: none of up_half"):
        rivet_length(EIGHTH, EIGHTH, policy)


def test_trace_names_sum_addition_and_policy():
    reasons = length_reasons(Decimal("2.5"), EIGHTH, "up_half", long_grip=True)

    assert [reason.source for reason in reasons] == [
        "NAVEDTRA 14018 fig. 13-43",
        "TM 9-2320-303-24-2 table 5",
        "a policy of the workshop; manuals differ",
    ]
    assert "grip 2.5 + 1.5 x D 0.125 = 2.6875 in" in reasons[0].text
    assert len(length_reasons(Decimal("2.5"), EIGHTH, "up_half")) == 2


@given(GRIPS, DIAMETERS, POLICIES, st.sets(st.integers(1, 200)))
def test_pick_is_the_shortest_that_reaches(grip, diameter, policy, halves):
    stocked = {Fraction(half, 32) for half in halves}
    wanted = rivet_length(grip, diameter, policy)

    assert pick_stocked(grip, diameter, stocked, policy).length == min((size for size in stocked if size >= wanted), default=None)


def test_pick_says_where_it_is_longer_than_a_half_size():
    picked = pick_stocked(Decimal("0.064"), EIGHTH, [Fraction(4, 16), Fraction(6, 16)], "up_half")

    assert picked.length == Fraction(6, 16)
    assert "1.5/16 in longer than wanted: check the driven head" in picked.reasons[-1].text


def test_pick_says_that_nothing_reaches():
    picked = pick_stocked(1, EIGHTH, [EIGHTH], "up_half")

    assert picked.length is None
    assert "nothing stocked reaches" in picked.reasons[-1].text


def test_pick_refuses_a_stocked_length_of_nothing():
    with pytest.raises(ValueError, match="stocked"):
        pick_stocked(1, EIGHTH, [Fraction(0)], "up_half")


def test_no_question_where_the_call_out_agrees():
    assert call_out_question(parse_rivet("MS20470AD4-7"), Decimal("0.250"), "up_whole") is None


def test_question_says_that_the_call_out_wins():
    question = call_out_question(parse_rivet("MS20470AD4-6"), Decimal("0.064"), "up_half")

    assert "MS20470AD4-6, 6/16 in" in question
    assert "0.064 in gives 4.5/16 in (up_half)" in question
    assert "call-out on the plans wins" in question


def test_figures_leave_out_a_sheet_that_no_source_gives():
    names = [figure.name for figure in check_figures(Fraction(1, 4))]

    assert "edge_distance" in names
    assert "countersunk_sheet" not in names
    assert thinnest_countersunk_sheet(Fraction(1, 4)) is None
