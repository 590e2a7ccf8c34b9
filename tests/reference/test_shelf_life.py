"""Shelf life: dates, passed tests, and the mean kinetic temperature."""

from datetime import date
from fractions import Fraction

import pytest

from inventory.shelflife.calc import StatedDate, last_usable_day, limits, mean_kinetic_temperature


@pytest.mark.parametrize(
    ("made", "months", "last"),
    [  # [calc]; a month means its last day: Navy shelf-life code, NAVEDTRA 14015 table 5-5; a quarter too: MIL-HDBK-695E
        ("2024-02", 9, date(2024, 11, 30)),
        ("2023-08", 6, date(2024, 2, 29)),
        ("2Q18", 15 * 12, date(2033, 6, 30)),
        ("2013-10", 36, date(2016, 10, 31)),  # both dates on a label maker's MIL-STD-129R help page; the 36 is their difference
    ],
)
def test_end_of_life(made, months, last):
    assert last_usable_day(limits(made=made, life_months=months)).last_day == last


@pytest.mark.parametrize(
    ("passes", "last"),
    [  # T.O. 1-1-700 par. 12.8: each pass adds half the original life
        (0, date(2024, 11, 30)),
        (1, date(2025, 3, 31)),
        (2, date(2025, 7, 31)),
    ],
)
def test_a_pass_adds_half_the_life(passes, last):
    found = limits(made="2024-02", life_months=9, passes=passes, extend_part=Fraction(1, 2))

    assert last_usable_day(found).last_day == last


@pytest.mark.parametrize(
    ("cure", "last"),
    [("2Q18", date(2018, 6, 30)), ("4Q2018", date(2018, 12, 31)), ("2018-02", date(2018, 2, 28))],
)
def test_quarters_and_months_end_on_their_last_day(cure, last):
    """MIL-HDBK-695E counts from the quarter's last day; one supplier says the next day, we take the earlier."""
    assert StatedDate.parse(cure).last_day == last


@pytest.mark.parametrize(
    ("spans", "celsius", "tolerance"),
    [
        ([(2, 20), (4, 2), (1, 25)], 15.7, 0.05),  # published: Isopharm, "What is Mean Kinetic Temperature?"
        ([(2, 20), (4, 2), (1, 25)], 15.6776, 5e-5),  # computed
        ([(12, 20), (12, 30)], 26.2599, 5e-5),  # computed
        ([(100, 25)], 25, 0),  # computed: constant stays
    ],
)
def test_mean_kinetic_temperature(spans, celsius, tolerance):
    """dH/R = 10,000 K: 83.144 kJ/mol, USP 29 chapter 1160."""
    assert abs(mean_kinetic_temperature(spans) - celsius) <= tolerance
