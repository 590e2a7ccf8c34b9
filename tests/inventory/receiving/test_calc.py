from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from inventory.receiving.calc import heap_error, sample_error, sample_for_certainty, weigh_count

DIVISIONS = st.sampled_from([Fraction(1, 100), Fraction(1, 10), Fraction(1)])
OFF = st.fractions(Fraction(-1, 2), Fraction(1, 2), max_denominator=1000)
UNITS = st.integers(20, 5000).map(lambda thousandths: Fraction(thousandths, 1000))


@given(st.integers(0, 3000), st.integers(1, 200), UNITS, DIVISIONS, st.booleans(), st.tuples(OFF, OFF, OFF))
def test_a_true_count_lies_within_the_error_band(pieces, sample_n, unit, division, tared, off):
    """The band is first order in the sample's reading: what is left of it is a factor of mass over (mass - half a division)."""
    empty = Fraction(50) if tared else Fraction(0)
    sample_mass = sample_n * unit + off[0] * division
    total = empty + pieces * unit + off[1] * division
    tare = empty + off[2] * division if tared else empty
    assume(sample_mass > division)
    assume(total >= tare > 0 or (total >= 0 and not tared))

    count, plus_minus, _ = weigh_count(total, tare, sample_n, sample_mass, division)

    second_order = sample_mass / (sample_mass - division / 2)
    rounding = Fraction(1, 2) * (1 + division / 2 / sample_mass)
    assert abs(count - pieces) <= Fraction(plus_minus) * second_order + rounding * second_order + Fraction(1, 10**9)


@given(st.integers(0, 3000), st.integers(1, 200), UNITS, DIVISIONS)
def test_exact_readings_give_the_count(pieces, sample_n, unit, division):
    count, plus_minus, _ = weigh_count(pieces * unit + 10, 10, sample_n, sample_n * unit, division)
    formula = pieces * (division / 2) / (sample_n * unit) + 2 * (division / 2) / unit

    assert count == pieces
    assert isinstance(plus_minus, Decimal)
    assert abs(Fraction(plus_minus) - formula) <= formula / 10**27


def test_a_tare_adds_its_own_reading():
    without = weigh_count(Decimal("40.5"), 0, 25, Decimal("2.025"), Decimal("0.1"))[1]
    tared = weigh_count(Decimal("50.5"), 10, 25, Decimal("2.025"), Decimal("0.1"))[1]

    assert tared - without == pytest.approx(Decimal("0.05") * 25 / Decimal("2.025"))


def test_half_a_piece_counts_up():
    assert weigh_count(Decimal("2.5"), 0, 1, 1, Decimal("0.1"))[0] == 3


def test_an_empty_pan_holds_none():
    assert weigh_count(10, 10, 1, 1, Decimal("0.1"))[0] == 0


@pytest.mark.parametrize(
    ("name", "bad"),
    [
        *((name, bad) for name in ("total", "tare", "sample_mass", "division") for bad in (-1, 1.5, True, "1", None, Decimal("NaN"))),
        *(("sample_n", bad) for bad in (0, -1, True, 2.0, Decimal(2), None)),
        ("sample_mass", 0),
        ("division", 0),
        ("total", 1),
    ],
)
def test_weighing_refuses_by_name(name, bad):
    good = {"total": 100, "tare": 10, "sample_n": 10, "sample_mass": 5, "division": Decimal("0.1")}

    with pytest.raises(ValueError, match=f"^{name}: "):
        weigh_count(**{**good, name: bad})


@given(st.integers(2, 3000), st.integers(1, 50), UNITS, DIVISIONS, st.sampled_from([0, 10]))
def test_the_sample_asked_for_is_the_smallest_that_is_certain(pieces, sample_n, unit, division, tare):
    mass = sample_n * unit
    needed, trace = sample_for_certainty(pieces * unit + tare, tare, sample_n, mass, division)
    heap = heap_error(sample_n, mass, division, tared=tare > 0)

    assert len(trace) == 3
    if needed is None:
        assert sample_error(pieces, (pieces - 1) * unit, division) + heap >= Fraction(1, 2)
    else:
        assert sample_error(pieces, needed * unit, division) + heap < Fraction(1, 2)
        assert needed == 1 or sample_error(pieces, (needed - 1) * unit, division) + heap >= Fraction(1, 2)


@pytest.mark.parametrize(
    ("division", "says"),
    [("0.01", "a sample of 8"), ("0.05", "count them"), ("0.1", "reading the heap alone")],
)
def test_certainty_says_what_would_help(division, says):
    _, trace = sample_for_certainty(Decimal("4.05"), 0, 25, Decimal("2.025"), Decimal(division))

    assert says in trace[-1].text
