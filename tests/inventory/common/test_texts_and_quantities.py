"""What a caller hands in, checked before any row is touched."""

from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.common.quantities import BadQuantity, not_negative, positive, whole_pieces
from inventory.common.rows import batches
from inventory.common.texts import BadText, filled, optional


def test_filled_drops_outer_blanks():
    assert filled("name", "  Rack 2 ", 6) == "Rack 2"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (" ", "the name is blank"),
        ("1234567", "has 7 characters: 6 are the most"),
        ("a\tb", r"'a\\tb' has control characters or line breaks"),
    ],
)
def test_filled_refuses(text, why):
    with pytest.raises(BadText, match=why):
        filled("name", text, 6)


def test_filled_keeps_what_a_spreadsheet_puts_between_words():
    assert filled("name", "Rack\u00a02", 6) == "Rack\u00a02"


@pytest.mark.parametrize("text", ["a\x00b", "a\nb", "a\u2028b", "a\ud800b"])
def test_filled_refuses_what_no_row_can_keep_on_one_line(text):
    with pytest.raises(BadText, match="control characters"):
        filled("name", text, 6)


def test_optional_takes_a_blank():
    assert optional("note", " ", 6) == ""


@pytest.mark.parametrize("value", [1, Decimal("0.001"), Decimal("1E+12"), Decimal("2.50")])
def test_positive_keeps_the_figure(value):
    assert positive(value) == value


def test_not_negative_takes_nothing():
    assert str(not_negative(Decimal("-0"))) == "0.000"


@pytest.mark.parametrize(
    "value", [Decimal("0.0001"), Decimal("1." + "0" * 40 + "1"), Decimal("NaN"), Decimal("sNaN"), Decimal("-Infinity"), -1, 10**12 + 1]
)
def test_not_negative_refuses(value):
    with pytest.raises(BadQuantity):
        not_negative(value)


@given(st.decimals(allow_nan=False, allow_infinity=False))
def test_a_quantity_is_kept_exactly_or_refused(value):
    with suppress(BadQuantity):
        assert positive(value) == value


def test_batches_cuts_and_keeps_the_order():
    assert list(batches(range(5), size=2)) == [[0, 1], [2, 3], [4]]
    assert list(batches([])) == []


@pytest.mark.parametrize(("quantity", "unit", "whole"), [("2.5", "ea", "3"), ("2", "ea", "2"), ("0.001", "ea", "1"), ("2.5", "g", "2.5")])
def test_half_a_piece_takes_a_whole_one(quantity, unit, whole):
    assert whole_pieces(Decimal(quantity), unit) == Decimal(whole)
