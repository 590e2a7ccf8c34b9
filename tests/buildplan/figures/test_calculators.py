"""Asking a calculator, without page or API: texts that nobody thought of, exact texts, what is declared once."""

import string
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.figures.calculator import InputError, ask, exact_text, figure, length, tidy
from buildplan.figures.calculators import CALCULATORS, GROUPS
from buildplan.figures.reading import Lines, Measure, Temperature, moment, number

NAMES = sorted(CALCULATORS)
LENGTH = Measure("in", "length")
DIGITS = st.text(alphabet=string.digits, min_size=1, max_size=13)
NUMBERS = st.one_of(
    DIGITS,
    st.builds("{}.{}".format, DIGITS, DIGITS),
    st.builds("-{}".format, DIGITS),
    st.builds("{}/{}".format, DIGITS, DIGITS),
    st.builds("{} {}/{}".format, DIGITS, DIGITS, DIGITS),
    st.sampled_from(["0", "0.0", "1e400", "nan", "-inf", "0x10", "1_000", "\N{SUPERSCRIPT TWO}", "\N{FULLWIDTH DIGIT ONE}", "9" * 500]),
)
UNITS = st.sampled_from(
    ["", " in", " mm", '"', " m", " parsec", " g", " kg", " h", " min", " F", " C", " degC", " %", " ea", " planck_length"]
)
DAYS = st.sampled_from(["2027-03-01", "2027-03", "2Q27", "0001-01-01", "9999-12-31", "2027-02-30", "0000-00-00", "today"])
CODES = st.sampled_from(
    ["MS20470AD4-6", "NAS1097AD3-3.5", "AN3-5A", "#30", "F", "1/64", "#69", "up_half", "triangle", "each", "fit_up", "yes"]
)
VALUES = st.one_of(st.text(), NUMBERS, st.builds("{}{}".format, NUMBERS, UNITS), DAYS, CODES)
LINES = st.lists(st.lists(VALUES, min_size=1, max_size=5).map(",".join), max_size=5)


def asked(calculator, texts):
    """Which inputs are refused, and the rows found where none is."""
    try:
        return set(), ask(calculator, texts).found.rows
    except InputError as error:
        return set(error.errors), ()


@pytest.mark.parametrize("name", NAMES)
@given(data=st.data())
def test_anything_is_reckoned_or_refused_by_input(name, data):
    calculator = CALCULATORS[name]
    inputs = {one.name: LINES if one.lines else VALUES.map(lambda text: [text]) for one in calculator.inputs}
    changed = data.draw(st.fixed_dictionaries({}, optional=inputs))

    refused, rows = asked(calculator, {**calculator.example, **changed})
    assert refused <= set(inputs)
    assert {row.name for row in rows} <= set(calculator.results)
    assert all(row.value for row in rows)


@pytest.mark.parametrize("name", NAMES)
def test_example_is_reckoned(name):
    calculator = CALCULATORS[name]

    assert ask(calculator, calculator.example).found.rows


def test_calculators_are_sixteen_of_different_names():
    assert sum(map(len, GROUPS.values())) == len(CALCULATORS) == 16


@pytest.mark.parametrize("name", NAMES)
def test_input_s_own_example_is_read(name):
    """Where it names several, the first is."""
    for one in CALCULATORS[name].inputs:
        text = one.example if one.lines or one.choices else one.example.split(",")[0].split(" or ")[0]
        one.read(text)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("1/8", "1/8"),
        ("0.125", "1/8"),
        (".064 in", "8/125"),
        (".064in", "8/125"),
        ("3.2 mm", "16/127"),
        ("3.2mm", "16/127"),
        ('1 1/2"', "3/2"),
        ("1-1/2", "3/2"),
        ("2 ft", "24"),
        ("2'", "24"),
        ("+1.", "1"),
        ("-1/8 in", "-1/8"),
    ],
)
def test_length_is_read_exactly(text, inches):
    assert LENGTH(text) == Fraction(inches)


@pytest.mark.parametrize(
    "text", ["in", "1/8/2", "1/8 in 3 mm", "3 mm mm", "1.2.3", "--1", "1e3", "nan", "1/0", "0x1f", "٣ mm", "1,5", "5 %", "1_0", "1 2"]
)
def test_what_is_no_length_is_refused(text):
    with pytest.raises(ValueError, match=r"is no length|no known unit|over 0|number without a dimension"):
        LENGTH(text)


@pytest.mark.parametrize(
    ("text", "fahrenheit"),
    [("95 F", 95), ("35 C", 95), ("35c", 95), ("95 \N{DEGREE SIGN}F", 95), ("-40 degC", -40), ("25.5 C", Fraction("77.9"))],
)
def test_temperature_is_read_exactly(text, fahrenheit):
    assert Temperature("F")(text) == fahrenheit


def test_temperature_without_a_letter_is_asked_for():
    with pytest.raises(ValueError, match="is it F or C"):
        Temperature("F")("25")
    assert Temperature("C", bare=True)("25") == 25


def test_percent_sign_does_no_harm():
    assert number("15 %") == 15


def test_moments_are_days_or_numbers():
    assert moment("2027-03-01") == date(2027, 3, 1)
    assert moment("7.5") == Fraction(15, 2)


def test_lines_name_the_line_that_is_wrong():
    with pytest.raises(ValueError, match="line 3: 'x' is no number"):
        Lines((number,))("1\n2\nx")


@given(st.fractions(max_denominator=10**6))
def test_exact_text_reads_back_equal(value):
    assert Fraction(exact_text(value)) == value


@given(st.fractions(max_denominator=10**6))
def test_tidy_changes_no_value(value):
    assert Fraction(tidy(value)) == value


@pytest.mark.parametrize(
    ("value", "text"),
    [(Fraction(1, 8), "0.125"), (Fraction(5), "5"), (Fraction(1, 3), "1/3"), (Fraction(-1, 2), "-0.5"), (Fraction(0), "0")],
)
def test_exact_text(value, text):
    assert exact_text(value) == text


@pytest.mark.parametrize(
    ("inches", "shown"),
    [
        (Fraction(9, 32), ("9/32 in = 0.28125", "7.14375")),
        (Fraction(27, 16), ("1 11/16 in = 1.6875", "42.8625")),
        (Fraction(1, 64), ("1/64 in = 0.015625", "0.396875")),
        (Fraction(1, 3), ("about 0.333333", "about 8.466667")),
        (Fraction(2), ("2", "50.8")),
        (Decimal("0.1285"), ("0.1285", "3.2639")),
    ],
)
def test_length_is_shown_as_a_ruler_has_it(inches, shown):
    assert tuple(row.shown for row in length("size", inches)) == shown


def test_figure_of_a_decimal_drops_what_says_nothing():
    assert figure("grams", Decimal("50.000")).value == "50"
