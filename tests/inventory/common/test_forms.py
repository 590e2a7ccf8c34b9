"""Fields that pages ask by."""

from datetime import date
from decimal import Decimal

import pytest
from django import forms
from django.core.exceptions import ValidationError

from inventory.common.forms import DayInput, QuantityInput, StatedDateInput, attempt, not_after
from inventory.common.problems import Problem
from inventory.shelflife.calc import StatedDate
from inventory.workshop.policy import NotAllowed


@pytest.mark.parametrize(("text", "quantity"), [("12", "12"), (" 0.125 ", "0.125"), ("1000000000000", "1000000000000")])
def test_quantity_reads(text, quantity):
    assert QuantityInput().clean(text) == Decimal(quantity)


@pytest.mark.parametrize("text", ["", "0", "-1", "0.0001", "1000000000001", "NaN", "inf", "1,5", "twelve", "1e99"])
def test_quantity_refuses(text):
    with pytest.raises(ValidationError):
        QuantityInput().clean(text)


def test_quantity_may_be_nothing_where_a_count_is_asked():
    assert QuantityInput(zero=True).clean("0") == 0
    with pytest.raises(ValidationError):
        QuantityInput(zero=True).clean("-0.001")


def test_quantity_shows_a_figure_plainly_and_keeps_what_was_typed():
    field = QuantityInput()
    assert [field.prepare_value(value) for value in (Decimal("12.500"), "1,5", None)] == ["12.5", "1,5", None]


def test_day_is_iso():
    assert DayInput().clean("2027-03-06") == date(2027, 3, 6)
    for text in ("03/06/2027", "2027-02-30", "soon"):
        with pytest.raises(ValidationError):
            DayInput().clean(text)


@pytest.mark.parametrize(
    ("text", "stated"),
    [
        ("2027-03-14", StatedDate(date(2027, 3, 14))),
        ("2027-03", StatedDate(date(2027, 3, 31), "month")),
        ("2Q27", StatedDate(date(2027, 6, 30), "quarter")),
        (" ", None),
    ],
)
def test_stated_date_keeps_its_precision(text, stated):
    assert StatedDateInput().clean(text) == stated


@pytest.mark.parametrize("text", ["2027-13", "5Q27", "soon", "2027-02-30"])
def test_stated_date_refuses(text):
    with pytest.raises(ValidationError, match="write 2027-03-14, 2027-03 or 2Q27"):
        StatedDateInput().clean(text)


def test_day_to_come_is_refused():
    check = not_after(date(2027, 2, 20))
    check(date(2027, 2, 20))
    with pytest.raises(ValidationError, match="2027-02-21 is still to come"):
        check(date(2027, 2, 21))


class OneForm(forms.Form):
    quantity = QuantityInput()


def failing(problem):
    def write():
        raise problem

    return write


def test_attempt_calls_only_what_the_form_allows(db):
    called = []
    assert not attempt(OneForm({"quantity": "x"}), lambda: called.append(1))
    assert attempt(OneForm({"quantity": "1"}), lambda: called.append(2))
    assert called == [2]


def test_attempt_makes_a_problem_the_form_s_own(db):
    form = OneForm({"quantity": "1"})
    assert not attempt(form, failing(Problem("not enough there")))
    assert form.non_field_errors() == ["not enough there"]


def test_attempt_leaves_what_a_form_cannot_mend(db):
    with pytest.raises(NotAllowed):
        attempt(OneForm({"quantity": "1"}), failing(NotAllowed("a reader")))
