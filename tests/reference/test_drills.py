"""Drills and the holes that rivets want."""

from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.hardware.calc import drill_fits, drill_mm, drill_note, drill_size

# GNU units definitions 3.15 and a public drill chart, where both agree
AGREED = {
    1: "0.2280", 10: "0.1935", 11: "0.1910", 12: "0.1890", 19: "0.1660", 20: "0.1610", 21: "0.1590", 27: "0.1440", 28: "0.1405",
    30: "0.1285", 40: "0.0980", 41: "0.0960", 42: "0.0935", 51: "0.0670", 52: "0.0635", 60: "0.0400",
}  # fmt: skip
# YG-1, Tap Drill Sizes, unified thread: the drills it names, a maker's own table
MAKER = {
    "53": "0.0595", "50": "0.0700", "47": "0.0785", "45": "0.0820", "43": "0.0890", "42": "0.0935", "38": "0.1015", "37": "0.1040",
    "36": "0.1065", "33": "0.1130", "29": "0.1360", "25": "0.1495", "21": "0.1590", "16": "0.1770", "14": "0.1820", "7": "0.2010",
    "3": "0.2130", "F": "0.2570", "I": "0.2720", "Q": "0.3320", "U": "0.3680",
}  # fmt: skip
# Metric, Inch, & Fractional Inch: Drills, Sizes, Threads (CircuitousRoot, v.2, 2007, public domain), exact mm after ASME B94.11M
MILLIMETRES = {
    80: "0.34290", 79: "0.36830", 78: "0.40640", 77: "0.45720", 76: "0.50800", 75: "0.53340", 74: "0.57150", 73: "0.60960", 72: "0.63500",
    71: "0.66040", 70: "0.71120", 69: "0.74168", 68: "0.78740", 67: "0.81280", 66: "0.83820", 65: "0.88900", 64: "0.91440", 63: "0.93980",
    62: "0.96520", 61: "0.99060", 60: "1.01600", 59: "1.04140", 58: "1.06680", 57: "1.09220", 56: "1.18110", 55: "1.32080", 54: "1.39700",
    53: "1.51130",
}  # fmt: skip
# A chart of #1 to #80 in a public program for tapping holes, ten-thousandths of an inch, read independently of our table
CHART = """
    135 145 160 180 200 210 225 240 250 260 280 292 310 320 330 350 360 370 380 390 400 410 420 430 465 520 550 595 635 670
    700 730 760 785 810 820 860 890 935 960 980 995 1015 1040 1065 1100 1110 1130 1160 1200 1285 1360 1405 1440 1470 1495 1520
    1540 1570 1590 1610 1660 1695 1730 1770 1800 1820 1850 1890 1910 1935 1960 1990 2010 2040 2055 2090 2130 2210 2280
"""
# Letters, mm rounded to thousandths, as a public chart prints them (DeflateAwning/metric-imperial-drill-chart, after Wikipedia)
LETTERS_MM = (
    "A 5.944 B 6.045 C 6.147 D 6.248 E 6.350 F 6.528 G 6.629 H 6.756 I 6.909 J 7.036 K 7.137 L 7.366 M 7.493 N 7.671 O 8.026 P 8.204 "
    "Q 8.433 R 8.611 S 8.839 T 9.093 U 9.347 V 9.576 W 9.804 X 10.08 Y 10.26 Z 10.49"
)


@pytest.mark.parametrize(("number", "inches"), AGREED.items())
def test_number_drills_two_tables_agree_on(number, inches):
    assert drill_size(str(number)) == drill_size(f"#{number}") == Decimal(inches)


@pytest.mark.parametrize(("name", "inches"), MAKER.items())
def test_drills_of_a_makers_table(name, inches):
    assert drill_size(name) == Decimal(inches)


@pytest.mark.parametrize(("number", "mm"), MILLIMETRES.items())
def test_small_drills_in_millimetres(number, mm):
    assert drill_mm(f"#{number}") == Decimal(mm)


def test_all_number_drills_against_a_public_chart():
    assert [int(drill_size(f"#{number}") * 10000) for number in range(80, 0, -1)] == [int(size) for size in CHART.split()]


@pytest.mark.parametrize(
    ("letter", "inches"), [("A", "0.234"), ("E", "0.25"), ("F", "0.257"), ("O", "0.316"), ("V", "0.377"), ("Z", "0.413")]
)
def test_letter_drills_two_tables_agree_on(letter, inches):  # as for AGREED
    assert drill_size(letter) == Decimal(inches)


def test_all_letter_drills_against_a_public_chart():
    names = LETTERS_MM.split()
    printed = dict(zip(names[::2], names[1::2], strict=True))

    assert len(printed) == 26
    for letter, mm in printed.items():
        assert abs(drill_mm(letter) - Decimal(mm)) < Decimal("0.005"), letter  # the chart rounds X, Y and Z to hundredths


def test_letter_e_is_a_quarter():
    assert drill_size("E") == drill_size("1/4")


def test_no_42_is_under_and_no_41_over_3_32():
    assert drill_size("#42") < Decimal("0.09375") < drill_size("#41")


def test_no_69_differs_between_charts():
    assert ".0292 or .02925" in drill_note("69").text
    assert drill_note("70") is None


@pytest.mark.parametrize(
    ("diameter", "drill", "published"),
    [  # hole limits: MIL-R-47196A(MI) par. 3.2.1.3 table I as quoted, 3/32 alone; the others [memory] of it. Drills: ASME B94.11M chart
        (Fraction(3, 32), "#40", True),
        (Fraction(3, 32), "#41", True),  # older manuals
        (Fraction(1, 8), "#30", False),
        (Fraction(5, 32), "#21", False),
        (Fraction(5, 32), "#20", False),
        (Fraction(3, 16), "#11", False),
        (Fraction(3, 16), "#10", False),
        (Fraction(1, 4), "F", False),
    ],
)
def test_usual_drill_lies_within_the_hole_limits(diameter, drill, published):
    fits, reason = drill_fits(drill, diameter)

    assert fits
    assert "MIL-R-47196A(MI)" in reason
    assert ("memory" in reason) is not published


@pytest.mark.parametrize(
    ("diameter", "least", "most"),
    [  # as above
        (Fraction(3, 32), "0.093", "0.103"),
        (Fraction(1, 8), "0.125", "0.135"),
        (Fraction(5, 32), "0.156", "0.171"),
        (Fraction(3, 16), "0.187", "0.202"),
        (Fraction(1, 4), "0.250", "0.265"),
    ],
)
def test_every_drill_fits_exactly_within_the_limits(diameter, least, most):
    for name in [*map(str, range(1, 81)), *"ABCDEFGHIJKLMNOPQRSTUVWXYZ", *(f"{n}/64" for n in range(1, 64))]:
        assert drill_fits(name, diameter)[0] == (Decimal(least) <= drill_size(name) <= Decimal(most)), name
