import math
from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.sealing.calc import forbidden, life_at, mix_reasons, ratio_off, scale_error_percent, smallest_batch, split, work_life

PARTS = st.decimals("0.1", "200", places=1) | st.integers(1, 200) | st.fractions(Fraction(1, 9), 200, max_denominator=50)
GRAMS = st.integers(1, 10**9).map(lambda count: Fraction(count, 1000))


@given(GRAMS, PARTS, PARTS)
def test_split_adds_up_and_rounds_the_accelerator_half_up(total, base, accelerator):
    base_g, accelerator_g = split(total, base, accelerator)
    exact = total * Fraction(accelerator) / (Fraction(base) + Fraction(accelerator))

    assert Fraction(base_g) + Fraction(accelerator_g) == total
    assert Fraction(-1, 2000) < Fraction(accelerator_g) - exact <= Fraction(1, 2000)
    assert (base_g.as_tuple().exponent, accelerator_g.as_tuple().exponent) == (-3, -3)


def test_split_is_exact_in_any_context():
    with localcontext(prec=3):
        base_g, accelerator_g = split(Decimal("123456.789"), 100, 10)

    assert base_g + accelerator_g == Decimal("123456.789")


@pytest.mark.parametrize("name", ["total", "base", "accelerator"])
@pytest.mark.parametrize("bad", [0, -1, 10.0, True, "10", None, Decimal("NaN")])
def test_split_refuses_by_name(name, bad):
    with pytest.raises(ValueError, match=name):
        split(**{"total": 55, "base": 100, "accelerator": 10, name: bad})


@pytest.mark.parametrize("total", [Decimal("0.0005"), Fraction(1, 3)])
def test_split_refuses_a_total_that_thousandths_cannot_add_to(total):
    with pytest.raises(ValueError, match="total: finer"):
        split(total, 100, 10)


@given(PARTS, PARTS, st.sampled_from([Decimal(1), Decimal("0.1"), Decimal("0.01")]), st.sampled_from([1, 2, Decimal("0.5")]))
def test_smallest_batch_is_weighed_within_the_limit(base, accelerator, division, limit):
    batch = smallest_batch(base, accelerator, division, limit)

    assert scale_error_percent(min(split(batch, base, accelerator)), division) <= limit
    shorter = Fraction(batch) * min(Fraction(base), Fraction(accelerator)) / (Fraction(base) + Fraction(accelerator)) - Fraction(2, 1000)
    if shorter > 0:
        assert scale_error_percent(shorter, division) > limit


def test_smallest_batch_of_a_common_product():
    assert smallest_batch(100, 10, Decimal("0.1"), 1) == 55  # 5 g of accelerator, off by 0.05 g


@pytest.mark.parametrize(("name", "bad"), [("division", 0), ("limit_percent", 0), ("limit_percent", 1.0), ("base", -1)])
def test_smallest_batch_refuses_by_name(name, bad):
    with pytest.raises(ValueError, match=name):
        smallest_batch(**{"base": 100, "accelerator": 10, "division": 1, "limit_percent": 1, name: bad})


@given(st.floats(0.1, 100), st.floats(70, 99.99), st.floats(70, 99.99))
def test_work_life_never_grows_with_warmth(hours, one, other):
    cool, warm = sorted([one, other])

    assert work_life(hours, warm).hours <= work_life(hours, cool).hours <= hours


def test_work_life_says_both_rules_and_that_they_are_from_memory():
    (reason,) = work_life(2, 87).reasons

    assert "1.000 h" in reason.text
    assert "1.361 h" in reason.text
    assert "memory" in reason.source


def test_work_life_stops_outside_the_products_limits_and_shows_that_sources_differ():
    life = work_life(2, 65)

    assert life.hours is None
    assert life.reasons[0].text == "stop: 65 F is outside 70 F to below 100 F"
    assert "60 F" in life.reasons[0].source


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ({"hours": 0}, "hours"),
        ({"hours": -2}, "hours"),
        ({"hours": True}, "hours"),
        ({"hours": math.nan}, "hours"),
        ({"temperature_f": math.inf}, "temperature_f"),
        ({"temperature_f": "77"}, "temperature_f"),
        ({"temperature_f": -460}, "temperature_f"),
        ({"lowest_f": 100}, "lowest_f"),
        ({"highest_f": math.nan}, "highest_f"),
    ],
)
def test_work_life_refuses_by_name(arguments, name):
    with pytest.raises(ValueError, match=name):
        work_life(**{"hours": 2, "temperature_f": 77, **arguments})


@pytest.mark.parametrize(("fahrenheit", "words"), [(50, "too cold to seal: 50 F"), (69.9, "too cold"), (100, "too hot"), (190, "too hot")])
def test_forbidden_says_too_cold_or_too_hot_by_the_rule_of_the_work_life(fahrenheit, words):
    reason, life = forbidden(fahrenheit), work_life(2, fahrenheit)

    assert reason.text.startswith(words)
    assert reason.text.endswith("F is outside 70 F to below 100 F")
    assert life.reasons[0].text.removeprefix("stop: ") in reason.text
    assert reason.source == life.reasons[0].source


@pytest.mark.parametrize("fahrenheit", [70, 77, 99.9])
def test_forbidden_is_nothing_where_may_be_sealed(fahrenheit):
    assert forbidden(fahrenheit) is None


def test_ratio_off_says_as_mixed_and_as_the_product_has_it():
    reasons = ratio_off(Decimal("126.523"), 63, (100, 10))

    assert reasons[0].text == "as mixed 100 : 49.8; the product's is 100 : 10, by weight"
    assert reasons[1].text == "126.523 g base ask for 12.652 g accelerator; 63 g is off by 397.9 %"
    assert (reasons[2].text, reasons[2].source) == ("over 2 %, what a part may be off by", "a starting value of ours")
    assert ratio_off(Decimal("126.523"), 0, (100, 10))[1].text.endswith("0 g is off by 100 %")


@pytest.mark.parametrize(
    ("base", "accelerator", "division", "off"),
    [
        ("100", "10.2", None, False),  # 2 % sharp
        ("100", "10.201", None, True),
        ("100", "9.799", None, True),
        ("13.6", "1.4", None, True),  # 2.9 %
        ("13.6", "1.4", Decimal("0.1"), False),  # half a division is 3.7 % of 1.36 g
        ("13.6", "1.5", Decimal("0.1"), True),
        ("100", "10.201", Decimal("0.01"), True),  # a fine scale explains less than the 2 %, which stay
    ],
)
def test_ratio_is_off_beyond_two_percent_or_what_the_scale_explains(base, accelerator, division, off):
    assert bool(ratio_off(Decimal(base), Decimal(accelerator), (100, 10), division=division)) == off


@given(GRAMS, PARTS, PARTS)
def test_what_split_gives_is_never_off(total, base, accelerator):
    base_g, accelerator_g = split(total, base, accelerator)
    if base_g and accelerator_g:
        assert ratio_off(base_g, accelerator_g, (base, accelerator), division=Fraction(1, 500)) == ()


def test_life_at_far_temperatures_stays_a_number():
    assert life_at(2, 1e300, 1e-9) == pytest.approx(0)
    assert math.isfinite(life_at(2, -400, 1e-9))
    with pytest.raises(ValueError, match="halving_f"):
        life_at(2, 77, 0)


def test_trace_of_a_mix_names_the_scales_error():
    ratio, scale = mix_reasons(55, 100, 10, Decimal("0.1"))

    assert ratio.text == "50.000 g base + 5.000 g accelerator, 100 : 10 by weight"
    assert mix_reasons(55, Decimal("100.000000"), Decimal("10.000000"), Decimal("0.1"))[0] == ratio
    assert scale.text == "a scale of 0.1 g is off by +-1.0 % on the 5.000 g"


def test_trace_of_a_mix_too_small_for_any_accelerator():
    assert "more than all of it" in mix_reasons(Decimal("0.001"), 100, 10, Decimal("0.1"))[1].text
