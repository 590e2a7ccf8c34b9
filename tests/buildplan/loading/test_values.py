from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.loading import values
from buildplan.loading.values import BadValue
from inventory.shelflife.calc import StatedDate

TODAY = date(2027, 2, 20)
# Digits of other scripts, raised ones, and a look-alike: Python's own number types take some of them.
FOREIGN_DIGITS = ["\u0663", "\uff15", "\u00b2", "\u0967", "1\u0663", "\u00bd"]
PARSERS = [
    lambda text: values.stated_date(text, today=TODAY),
    lambda text: values.plain_date(text, today=TODAY),
    lambda text: values.done(text, today=TODAY),
    values.quantity,
    lambda text: values.quantity(text, decimal_comma=True),
    values.decimal_positive,
    values.decimal_not_negative,
    lambda text: values.whole(text, least=0, most=100),
    values.fraction,
    values.filled,
    values.codes,
]


class TestFilled:
    def test_is_trimmed(self):
        assert values.filled(" A ") == "A"

    @pytest.mark.parametrize("text", ["", " ", "\t\u00a0"])
    def test_refuses_a_blank(self, text):
        with pytest.raises(BadValue, match="blank: this column needs a value"):
            values.filled(text)


class TestDates:
    @pytest.mark.parametrize(
        ("text", "last_day", "precision"),
        [
            ("2027-03-14", date(2027, 3, 14), "day"),
            (" 2027-03-14 ", date(2027, 3, 14), "day"),
            ("2027-02", date(2027, 2, 28), "month"),
            ("2028-02", date(2028, 2, 29), "month"),
            ("2Q27", date(2027, 6, 30), "quarter"),
            ("2q2027", date(2027, 6, 30), "quarter"),
            ("today", TODAY, "day"),
            ("TODAY", TODAY, "day"),
            ("today+21", date(2027, 3, 13), "day"),
            ("today-40", date(2027, 1, 11), "day"),
            ("Today + 21", date(2027, 3, 13), "day"),
            ("today-0", TODAY, "day"),
        ],
    )
    def test_stated(self, text, last_day, precision):
        assert values.stated_date(text, today=TODAY) == StatedDate(last_day, precision)

    @pytest.mark.parametrize(
        "text",
        ["30 Feb", "14/03/2027", "14.03.2027", "20270314", "2027-3-14", "5Q27", "2027-13", "tomorrow", "today+", "today+1.5", "+21", "yes"],
    )
    def test_refused(self, text):
        with pytest.raises(BadValue) as caught:
            values.stated_date(text, today=TODAY)

        assert str(caught.value) == f"'{text}' is no date: write 2027-03-14, 2027-03, 2Q27, today or today+21"

    @pytest.mark.parametrize("text", ["2027-02-30", "2027-00-10", "0000-01-01"])
    def test_no_day_of_the_calendar(self, text):
        with pytest.raises(BadValue, match=f"'{text}' is no day of the calendar: write 2027-03-14"):
            values.stated_date(text, today=TODAY)

    @pytest.mark.parametrize("text", ["today-999999", "today-800000"])
    def test_before_the_calendar(self, text):
        with pytest.raises(BadValue, match="past the calendar"):
            values.stated_date(text, today=TODAY)

    def test_blank(self):
        with pytest.raises(BadValue, match="blank"):
            values.stated_date(" ", today=TODAY)

    def test_plain_date_of_a_month_is_its_last_day(self):
        assert values.plain_date("2027-03", today=TODAY) == date(2027, 3, 31)


class TestDone:
    @pytest.mark.parametrize(
        ("text", "answer"),
        [
            ("yes", (True, None)),
            ("YES", (True, None)),
            ("1", (True, None)),
            ("no", (False, None)),
            (" No ", (False, None)),
            ("0", (False, None)),
            ("", (False, None)),
            (" ", (False, None)),
            ("2027-02-01", (True, date(2027, 2, 1))),
            ("today-12", (True, date(2027, 2, 8))),
            ("2027-05-01", (True, date(2027, 5, 1))),
        ],
    )
    def test_read(self, text, answer):
        assert values.done(text, today=TODAY) == answer

    @pytest.mark.parametrize("text", ["true", "y", "2", "x", "2027-02-30"])
    def test_refused(self, text):
        with pytest.raises(BadValue, match=f"'{text}' is neither yes, no, nor a day: write yes, no, or the day as 2027-03-14"):
            values.done(text, today=TODAY)

    @pytest.mark.parametrize("text", ["2027-02", "1Q27"])
    def test_month_is_no_single_day(self, text):
        with pytest.raises(BadValue, match=f"'{text}' is no single day"):
            values.done(text, today=TODAY)


class TestQuantity:
    @pytest.mark.parametrize(
        ("text", "number"),
        [
            ("12", "12"),
            (" 12.5 ", "12.5"),
            ("0.0001", "0.0001"),
            (".5", "0.5"),
            ("007", "7"),
            ("1000000000000", "1000000000000"),
            ("1000000000000.000", "1000000000000"),
            ("0.30000000000000004", "0.30000000000000004"),
        ],
    )
    def test_exact(self, text, number):
        assert values.quantity(text) == Decimal(number)

    @pytest.mark.parametrize(
        ("text", "reason"),
        [
            ("", "blank"),
            ("0", "is zero: write a number over 0"),
            ("0.000", "is zero"),
            ("-0", "is negative"),
            ("-5", "is negative: write a number over 0"),
            ("NaN", "is no number: write digits alone"),
            ("sNaN", "is no number"),
            ("inf", "is no number"),
            ("Infinity", "is no number"),
            ("-inf", "is no number"),
            ("1000000000000.001", r"is past 10\^12"),
            ("1" + "0" * 5000, r"is past 10\^12"),
            ("0." + "0" * 5000 + "1", "has over 28 digits"),
            ("1e3", "has an exponent: write all its digits"),
            ("1.5E-3", "has an exponent"),
            ("1,000", "has a comma: write 1000 without separators"),
            ("1,5", "has a comma: .* decimals with a point, such as 1.5"),
            ("1 000", "is no number"),
            ("1_000", "is no number"),
            ("1/2", "is no number"),
            ("0x10", "is no number"),
            ("5 oz", "a unit has its own column"),
            ("+5", "is no number"),
            (".", "is no number"),
            ("five", "is no number"),
            ("#N/A", "is no number"),
        ],
    )
    def test_refused(self, text, reason):
        with pytest.raises(BadValue, match=reason):
            values.quantity(text)

    @pytest.mark.parametrize("text", FOREIGN_DIGITS)
    def test_digits_of_other_scripts(self, text):
        with pytest.raises(BadValue, match="is no number: write it in the digits 0 to 9"):
            values.quantity(text)

    @pytest.mark.parametrize(
        ("text", "number"), [("1,5", "1.5"), ("1,500", "1.5"), ("1.5", "1.5"), ("0.125", "0.125"), (",5", "0.5"), ("12", "12")]
    )
    def test_decimal_comma(self, text, number):
        assert values.quantity(text, decimal_comma=True) == Decimal(number)

    @pytest.mark.parametrize("text", ["1.234,5", "1,234.5", "1,2,3", "1,000,000", ","])
    def test_more_than_one_mark_beside_a_decimal_comma(self, text):
        with pytest.raises(BadValue, match="is no number"):
            values.quantity(text, decimal_comma=True)

    def test_point_that_may_part_thousands_is_refused_beside_a_decimal_comma(self):
        with pytest.raises(BadValue) as caught:
            values.quantity("1.500", decimal_comma=True)

        assert str(caught.value) == ("'1.500' can be read two ways in a file with semicolons: write 1500, or 1,500 with a decimal comma")

    @given(st.decimals(min_value="0.000001", max_value=10**12, places=6))
    def test_whatever_is_in_range_comes_back_exactly(self, number):
        assert values.quantity(f"{number:f}") == number
        assert values.quantity(f"{number:f}".replace(".", ","), decimal_comma=True) == number


class TestOtherDecimals:
    def test_not_negative_takes_zero(self):
        assert values.decimal_not_negative("0") == 0

    def test_not_negative_refuses_less(self):
        with pytest.raises(BadValue, match="'-1' is negative"):
            values.decimal_not_negative("-1")

    def test_positive_refuses_zero(self):
        with pytest.raises(BadValue, match="'0' is zero"):
            values.decimal_positive("0")

    def test_positive_with_a_decimal_comma(self):
        assert values.decimal_positive("1,45", decimal_comma=True) == Decimal("1.45")


class TestWhole:
    @pytest.mark.parametrize(("text", "number"), [("0", 0), ("12", 12), (" 100 ", 100), ("007", 7)])
    def test_read(self, text, number):
        assert values.whole(text, least=0, most=100) == number

    @pytest.mark.parametrize("text", ["-1", "101", "9" * 5000])
    def test_out_of_range(self, text):
        with pytest.raises(BadValue, match="is not from 0 to 100: write a number in that range"):
            values.whole(text, least=0, most=100)

    @pytest.mark.parametrize("text", ["1.5", "12.0", "1,000", "1e2", "many", "+1", *FOREIGN_DIGITS])
    def test_no_whole_number(self, text):
        with pytest.raises(BadValue, match="is no whole number: write digits alone, 0 to 100"):
            values.whole(text, least=0, most=100)

    def test_blank(self):
        with pytest.raises(BadValue, match="blank"):
            values.whole("", least=0, most=100)


class TestFraction:
    @pytest.mark.parametrize(
        ("text", "size"),
        [("1/8", Fraction(1, 8)), (" 3 / 32 ", Fraction(3, 32)), ("0.125", Fraction(1, 8)), ("1", Fraction(1)), ("5/4", Fraction(5, 4))],
    )
    def test_exact(self, text, size):
        assert values.fraction(text) == size

    def test_decimal_comma(self):
        assert values.fraction("0,125", decimal_comma=True) == Fraction(1, 8)

    @pytest.mark.parametrize("text", ["1/0", "0/8", "-1/8", "1/8/2", "1//8", "1 1/8", '1/8"', "a/b", "1/\u0668"])
    def test_no_fraction(self, text):
        with pytest.raises(BadValue, match=r"is no fraction over 0: write 1/8 or 0\.125"):
            values.fraction(text)

    @pytest.mark.parametrize("text", ["", "0", "-0.125", "nan", "\u00bd"])
    def test_no_size(self, text):
        with pytest.raises(BadValue):
            values.fraction(text)

    def test_date_made_by_a_spreadsheet(self):
        with pytest.raises(BadValue, match="'2027-01-08' is a date, which spreadsheets make of 1/8: format the cell as text"):
            values.fraction("2027-01-08")


class TestCodes:
    @pytest.mark.parametrize(
        ("text", "codes"),
        [
            ("", ()),
            (" ; ;", ()),
            ("A", ("A",)),
            ("A;B", ("A", "B")),
            (" B ; A ;; C ;", ("B", "A", "C")),
            ("A;B;A", ("A", "B")),
            ("a;A", ("a", "A")),
        ],
    )
    def test_split(self, text, codes):
        assert values.codes(text) == codes


@pytest.mark.parametrize("parse", PARSERS)
@given(text=st.one_of(st.text(max_size=20), st.text(alphabet="0123456789.,-+/eEtodayQ \u0663", max_size=12)))
def test_any_text_gives_a_value_or_a_message_on_one_line(parse, text):
    try:
        parse(text)
    except BadValue as error:
        assert str(error).isprintable()  # noqa: PT017 - most texts raise, some do not
