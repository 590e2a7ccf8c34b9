"""Sealant: seams, mixes, work life."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.sealing.calc import (
    LotLeft,
    Need,
    Seam,
    assign_lots,
    concave_area,
    dome_volume,
    life_at,
    quarter_round_area,
    scale_error_percent,
    seam_grams,
    split,
    triangle_area,
    work_life,
)


@pytest.mark.parametrize(
    ("total", "base", "accelerator", "parts"),
    [  # ratios: PPG technical data sheets P/S 890 Class B and PR-1440 Class B (100:10), P/S 860 Class B-1/6 (100:17); grams [calc]
        (55, 100, 10, ("50.000", "5.000")),
        (40, 100, 10, ("36.364", "3.636")),
        (50, 100, 17, ("42.735", "7.265")),
    ],
)
def test_split(total, base, accelerator, parts):
    assert tuple(map(str, split(total, base, accelerator))) == parts


@pytest.mark.parametrize(
    ("division", "part", "percent"),
    [("0.1", 5, "1.0"), ("0.1", 3, "1.7"), ("1", 3, "16.7")],  # [calc]
)
def test_weighing_error_of_half_a_division(division, part, percent):
    assert abs(scale_error_percent(part, Decimal(division)) - Fraction(percent)) <= Fraction(1, 20)


@pytest.mark.parametrize(
    ("fahrenheit", "fast", "slow"),
    [  # both rules [memory], makers' sheets differ; figures [calc] from 2 h at 77 F
        (87, 1.000, 1.361),
        (95, 0.574, 1.000),
        (67, 4.000, 2.939),
    ],
)
def test_life_at_a_temperature(fahrenheit, fast, slow):
    assert life_at(2, fahrenheit, 10) == pytest.approx(fast, abs=5e-4)
    assert life_at(2, fahrenheit, 18) == pytest.approx(slow, abs=5e-4)


def test_plan_with_the_shorter_above_77_and_no_more_below():
    assert work_life(2, 95).hours == pytest.approx(0.574, abs=5e-4)
    assert work_life(2, 72).hours == 2


@pytest.mark.parametrize(
    ("fahrenheit", "lowest", "stopped"),
    [
        (60, 60, False),  # Cirrus SR22 Airplane Maintenance Manual 13773-001, 20-10: not under 60 F
        (59.9, 60, True),
        (70, 70, False),  # NAVEDTRA 14315: not under 70 F, the safer default
        (69.9, 70, True),
        (99.9, 70, False),
        (100, 70, True),  # T.O. 1-1-700 par. 12.5.1.3: metal at or over 100 F bubbles
    ],
)
def test_limits_of_the_metals_temperature(fahrenheit, lowest, stopped):
    assert (work_life(2, fahrenheit, lowest_f=lowest).hours is None) is stopped


@pytest.mark.parametrize(
    ("found", "printed"),
    [  # [calc], as printed to the last digit
        (concave_area(6), "7.7257"),  # mm2
        (concave_area(Fraction(1, 4)), "0.0134126"),  # in2
        (triangle_area(6, 6), "18"),
        (quarter_round_area(6), "28.2743"),
        (dome_volume(5, 3), "131.9469"),  # mm3
    ],
)
def test_geometry(found, printed):
    places = Decimal(printed).as_tuple().exponent
    assert abs(found - Fraction(printed)) <= Fraction(10) ** places / 2


@pytest.mark.parametrize(
    ("seam", "grams"),
    [  # [calc]: mass of a metre = area in mm2 x specific gravity; 1.55 from a PPG technical data sheet
        (Seam("triangle", length=1, unit="m", leg_a=6, leg_b=6, size_unit="mm"), "27.900"),
        (Seam("film", length=1, unit="m", leg_a=16, thickness=Decimal("0.25"), size_unit="mm"), "6.200"),
    ],
)
def test_mass_of_a_metre(seam, grams):
    assert str(seam_grams(seam, Decimal("1.55")).grams) == grams


def test_concave_and_triangular_fillets_of_one_leg_differ_by_2_33():  # [calc]
    assert round(triangle_area(6, 6) / concave_area(6), 2) == Fraction("2.33")


def test_need_that_takes_one_lot_only():
    """[calc]: first expired, first out meets 1 of 3 here; all 3 can be met."""
    start = date(2027, 3, 1)
    day = [start + timedelta(days=number) for number in range(10)]
    lots = [LotLeft("A", 2, day[5], day[0]), LotLeft("B", 1, day[9], day[0])]

    found = assign_lots([Need(1, day[1]), Need(2, day[2])], lots)

    assert found.lots == ("B", "A")
    assert (found.met, found.exact) == (3, True)
