from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.hardware.calc import HOLES, drill_fits, drill_mm, drill_note, drill_size, parse_rivet, tools_for


def test_a_higher_number_is_smaller_and_a_later_letter_larger():
    numbers = [drill_size(f"#{number}") for number in range(80, 0, -1)]
    letters = [drill_size(letter) for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"]

    assert numbers + letters == sorted(set(numbers + letters))


@given(st.integers(1, 63))
def test_64ths_are_exact_reduced_or_not(count):
    reduced = Fraction(count, 64)

    assert Fraction(drill_size(f"{count}/64")) == Fraction(drill_size(f"{reduced.numerator}/{reduced.denominator}")) == reduced


def test_sizes_are_exact_in_any_context():
    with localcontext(prec=2):
        assert drill_size("63/64") == Decimal("0.984375")


@pytest.mark.parametrize(("name", "same"), [("30", "#30"), (" #30 ", "30"), ("f", "F"), ("6/64", "3/32"), ("8/16", "1/2")])
def test_names_of_one_drill(name, same):
    assert drill_size(name) == drill_size(same)


@pytest.mark.parametrize("name", ["30", "F", "3/32", "69"])
def test_a_millimetre_is_an_inch_times_25_4(name):
    assert Fraction(drill_mm(name)) == Fraction(drill_size(name)) * Fraction(254, 10)


@pytest.mark.parametrize(
    "name",
    [
        "",
        "0",
        "#0",
        "81",
        "#81",
        "030",
        "# 30",
        "##30",
        "AA",
        "0/64",
        "64/64",
        "65/64",
        "1/1",
        "1/3",
        "1/128",
        "1.5",
        "-30",
        "\u0663",
        "\u00c5",
        "3 0",
    ],
)
def test_what_is_no_drill_is_refused_by_name(name):
    with pytest.raises(ValueError, match="name"):
        drill_size(name)


@pytest.mark.parametrize("name", [30, None, True, Decimal(30)])
def test_a_name_is_a_text(name):
    with pytest.raises(ValueError, match="name"):
        drill_size(name)


def test_fits_takes_decimal_and_fraction_alike():
    assert drill_fits("30", Decimal("0.125")) == drill_fits("30", Fraction(1, 8))


@pytest.mark.parametrize(("name", "where"), [("1/8", "within"), ("#31", "below"), ("#29", "above")])
def test_fits_says_where_the_drill_lies(name, where):
    fits, reason = drill_fits(name, Fraction(1, 8))

    assert fits is (where == "within")
    assert f"{where} 0.125 to 0.135" in reason  # 1/8 in is the lower limit itself
    assert "from memory" in reason


def test_fits_warns_of_a_drill_within_limits_but_under_the_rivet():
    fits, reason = drill_fits("#42", Fraction(3, 32))

    assert fits
    assert "smaller than the rivet" in reason


def test_no_limits_known_is_false_and_says_so():
    assert drill_fits("30", Fraction(7, 32)) == (False, "no hole limits are known for a rivet of 0.21875 in")


@pytest.mark.parametrize("diameter", [0.125, True, 0, -1, "1/8", None])
def test_fits_refuses_a_bad_diameter_by_name(diameter):
    with pytest.raises(ValueError, match="rivet_diameter"):
        drill_fits("30", diameter)


def test_note_is_for_the_disputed_drill_alone():
    assert drill_note("#69") is not None
    assert drill_note("#30") is None


def test_every_usual_drill_and_pilot_is_a_drill_smaller_before_larger():
    for limits in HOLES.values():
        assert drill_size(limits.pilot) < drill_size(limits.usual)


def test_tools_stand_in_the_order_used():
    rows = [
        (parse_rivet("MS20470AD4-6"), None),
        (parse_rivet("MS20426AD3-3.5"), Decimal("0.032")),
        (parse_rivet("MS20426AD4-4"), Decimal("0.050")),
        (parse_rivet("MS20426AD4-5"), Decimal("0.063")),
    ]

    assert [(tool.use, tool.name) for tool in tools_for(rows)] == [
        ("pilot", "1/16"),
        ("pilot", "#40"),
        ("final", "#40"),
        ("final", "#30"),
        ("deburr", "deburring tool"),
        ("countersink", "100 degrees, 1/8"),
        ("dimple", "100 degrees, 3/32"),
    ]


@pytest.mark.parametrize(("code", "why"), [("MS20426AD4-4", "thickness is not given"), ("MS20426AD8-9", "no thinnest sheet is known")])
def test_flush_tool_is_left_open_where_the_sheet_is_not_known(code, why):
    tool = tools_for([(parse_rivet(code), None)])[-1]

    assert tool.use == "countersink or dimple"
    assert why in tool.reason.text


def test_a_size_without_a_usual_drill_says_so():
    (final, _) = tools_for([(parse_rivet("MS20470AD10-9"), None)])

    assert (final.use, final.reason.source) == ("final", "no source")


def test_no_rows_need_no_tools():
    assert tools_for([]) == ()
