"""Length of a rivet, its driven head, and its row."""

from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.hardware.calc import check_figures, exact_length, rivet_length, thinnest_countersunk_sheet


@pytest.mark.parametrize(
    ("grip", "diameter", "length", "up_half", "nearest_half", "up_whole"),
    [  # L = grip + 1.5 D: NAVEDTRA 14018 fig. 13-43; roundings [calc]
        ("0.064", Fraction(1, 8), "0.2515", "4.5", "4", "5"),
        ("0.080", Fraction(1, 8), "0.2675", "4.5", "4.5", "5"),
        ("0.092", Fraction(3, 32), "0.232625", "4", "3.5", "4"),  # printed .2326
        ("0.250", Fraction(1, 8), "0.4375", "7", "7", "7"),  # where floats go wrong
    ],
)
def test_length_by_policy(grip, diameter, length, up_half, nearest_half, up_whole):
    grip = Decimal(grip)

    assert exact_length(grip, diameter) == Fraction(length)
    for policy, sixteenths in {"up_half": up_half, "nearest_half": nearest_half, "up_whole": up_whole}.items():
        assert rivet_length(grip, diameter, policy) * 16 == Fraction(sixteenths), policy


@pytest.mark.parametrize(
    ("grip", "diameter", "more"),
    [  # D up to 1/4, grip over 2 in: 1/16 per 2 in. TM 9-2320-303-24-2 table 5; we read "per 2 in" as each full 2 in
        ("2", Fraction(1, 8), 0),
        ("2.001", Fraction(1, 8), 1),
        ("4", Fraction(1, 4), 2),
        ("5.9", Fraction(1, 4), 2),
        ("3", Fraction(5, 16), 0),
    ],
)
def test_long_grip(grip, diameter, more):
    grip = Decimal(grip)

    assert exact_length(grip, diameter, long_grip=True) - exact_length(grip, diameter) == Fraction(more, 16)


@pytest.mark.parametrize(
    ("diameter", "width", "height"),
    [  # Curtiss P-40 structural repair manual par. 14-15, as printed
        (Fraction(1, 8), "0.188", "0.063"),
        (Fraction(5, 32), "0.234", "0.078"),
        (Fraction(3, 16), "0.281", "0.093"),  # .09375, cut off in print
    ],
)
def test_driven_head_by_the_rule_of_thumb(diameter, width, height):
    figures = {figure.name: figure for figure in check_figures(diameter)}

    assert abs(figures["driven_width"].value - Fraction(width)) < Fraction(1, 1000)
    assert abs(figures["driven_height"].value - Fraction(height)) < Fraction(1, 1000)
    assert figures["driven_width"].reason.source == "Curtiss P-40 structural repair manual par. 14-15"


@pytest.mark.parametrize(
    ("name", "times", "source"),
    [
        ("driven_width", "1.5", "Curtiss P-40 structural repair manual par. 14-15"),
        ("driven_height", "0.5", "Curtiss P-40 structural repair manual par. 14-15"),
        ("driven_width_floor", "1.3", "MIL-HDBK-5H p. 8-9"),
        ("driven_height_floor", "0.3", "MIL-HDBK-5H p. 8-9"),
        ("edge_distance", "2", "AC 43.13-1B"),
        ("pitch_floor", "3", "NAVEDTRA 14018"),
        ("pitch_low", "4", "NAVEDTRA 14018"),
        ("pitch_high", "8", "NAVEDTRA 14018"),
    ],
)
def test_figures_in_diameters(name, times, source):
    diameter = Fraction(5, 32)
    figure = next(figure for figure in check_figures(diameter) if figure.name == name)

    assert figure.value == Fraction(times) * diameter
    assert figure.reason.source == source


@pytest.mark.parametrize(
    ("diameter", "sheet"),
    [  # TM 9-2320-363-34-2 tables 3-4
        (Fraction(3, 32), "0.040"),
        (Fraction(1, 8), "0.050"),
        (Fraction(5, 32), "0.064"),
        (Fraction(3, 16), "0.072"),
    ],
)
def test_thinnest_sheet_for_a_countersink(diameter, sheet):
    figure = thinnest_countersunk_sheet(diameter)

    assert figure.value == Fraction(sheet)
    assert figure.reason.source == "TM 9-2320-363-34-2 tables 3-4"
    assert figure in check_figures(diameter)
