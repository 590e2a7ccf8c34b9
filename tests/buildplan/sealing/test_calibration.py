"""The workshop's own figure: used against formula, exact, with its spread."""

import statistics
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.sealing.calc import Sample, calibrate, calibration_reasons, calibration_text

GRAMS = st.decimals("0.001", "5000", places=3)
SAMPLES = st.lists(st.builds(Sample, st.just("P:S"), GRAMS, GRAMS), min_size=1, max_size=12)


def samples(*pairs):
    return [Sample(f"P:S{at}", Decimal(formula), Decimal(used)) for at, (formula, used) in enumerate(pairs, start=1)]


FIVE = samples((100, 102), (100, 130), (50, "54"), (10, "11.2"), (200, 216))


def test_calibrate_without_a_step_gives_nothing():
    assert calibrate([]) is None


def test_calibrate_takes_the_mean_of_the_ratios_not_the_ratio_of_the_sums():
    found = calibrate(samples((10, 20), (1000, 1000)))

    assert (found.n, found.mean, found.least, found.most) == (2, Fraction(3, 2), 1, 2)


def test_calibrate_gives_one_step_no_deviation():
    found = calibrate(samples((40, 50)))

    assert (found.mean, found.deviation) == (Fraction(5, 4), None)


def test_calibrate_rounds_the_deviation_once():
    # ratios 1 and 2: the root of 1/2 is 0.70710678...
    assert calibrate(samples((1, 1), (1, 2))).deviation == Decimal("0.7071")


@pytest.mark.parametrize(("formula", "used", "name"), [(0, 1, "formula"), (1, 0, "used"), (-1, 1, "formula"), (1, Decimal("NaN"), "used")])
def test_calibrate_refuses_what_is_no_quantity(formula, used, name):
    with pytest.raises(ValueError, match=f"^{name}:"):
        calibrate([Sample("P:S", formula, used)])


def test_grams_round_half_up_to_a_thousandth():
    assert calibrate(samples((2, 1))).grams(Decimal("0.001")) == Decimal("0.001")


def test_text_shows_formula_and_own_figure_with_spread():
    assert calibration_text(Decimal(40), calibrate(FIVE)) == "formula 40.0 g; your own 5 steps used 1.12 times that (1.02-1.30): 44.8 g"


def test_text_of_one_step_has_no_spread():
    assert calibration_text(Decimal(40), calibrate(FIVE[:1])) == "formula 40.0 g; your own step used 1.02 times that: 40.8 g"


def test_reasons_name_each_step_and_say_that_it_is_never_applied():
    reasons = calibration_reasons(Decimal(40), calibrate(FIVE))

    assert [reason.text.split()[0] for reason in reasons[:5]] == ["P:S1", "P:S2", "P:S3", "P:S4", "P:S5"]
    assert "from 1.02 to 1.3, standard deviation 0.1068" in reasons[5].text
    assert reasons[6].text == "40 g x 1.12 = 44.800 g, shown and never applied"


@given(SAMPLES)
def test_mean_lies_in_the_spread_and_agrees_with_statistics(found):
    calibration = calibrate(found)
    ratios = [sample.ratio for sample in found]

    assert calibration.least <= calibration.mean <= calibration.most
    assert calibration.mean == statistics.mean(ratios)
    if len(ratios) > 1:
        assert abs(float(calibration.deviation) - statistics.stdev(ratios)) <= 0.000051 + 1e-9 * statistics.stdev(ratios)


@given(SAMPLES, GRAMS)
def test_grams_are_within_half_a_thousandth(found, formula):
    calibration = calibrate(found)

    assert abs(Fraction(calibration.grams(formula)) - Fraction(formula) * calibration.mean) <= Fraction(1, 2000)
