from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.common.exact import decimal_text, exact, finite, half_up, not_negative, positive, thousandths, whole


@pytest.mark.parametrize("value", [1, Fraction(1, 3), Decimal("0.064"), 10**9])
def test_exact_keeps_the_value(value):
    assert exact("grip", value) == Fraction(value)


@pytest.mark.parametrize(
    "value",
    [
        True,
        0.5,
        "1",
        None,
        Decimal("NaN"),
        Decimal("sNaN"),
        Decimal("Infinity"),
        Decimal("1E+999999999"),
        Decimal("1E-999999999"),
        10**400,
    ],
)
def test_exact_refuses_and_names_the_argument(value):
    with pytest.raises(ValueError, match=r"^grip: "):
        exact("grip", value)


def test_exact_takes_a_zero_of_any_exponent():
    assert exact("grip", Decimal("0E+999999")) == 0


@pytest.mark.parametrize(("check", "value"), [(positive, 0), (positive, Fraction(-1, 9)), (not_negative, Decimal("-0.001"))])
def test_bounds_are_refused_by_name(check, value):
    with pytest.raises(ValueError, match=r"^tare: must"):
        check("tare", value)


@pytest.mark.parametrize("value", [True, 2.0, Decimal(2), Fraction(2), "2", None, 0])
def test_whole_takes_ints_from_its_least_alone(value):
    with pytest.raises(ValueError, match=r"^holes: "):
        whole("holes", value, least=1)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 10**400, Decimal("sNaN"), True, "20", None])
def test_finite_refuses(value):
    with pytest.raises(ValueError, match=r"^hours: "):
        finite("hours", value)


def test_thousandths_do_not_depend_on_the_context():
    assert str(thousandths(10**40 + 1)) == "1" + "0" * 36 + "0.001"[-5:]


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [
        (Fraction(1, 8), 4, "0.125"),
        (Fraction(3, 32), 5, "0.09375"),
        (3, 4, "3"),
        (Fraction(1, 3), 4, "0.3333"),
        (Fraction(-1, 2), 1, "-0.5"),
    ],
)
def test_decimal_text(value, places, text):
    assert decimal_text(Fraction(value), places) == text


@given(st.fractions(min_value=-(10**6), max_value=10**6))
def test_half_up_is_the_nearest_and_a_tie_goes_up(value):
    assert Fraction(-1, 2) < half_up(value) - value <= Fraction(1, 2)


@given(st.integers(-(10**12), 10**12))
def test_decimal_text_says_thousandths_exactly(count):
    assert Decimal(decimal_text(Fraction(count, 1000), 3)) == Decimal(count) / 1000
