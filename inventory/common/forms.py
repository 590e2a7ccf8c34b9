"""Form fields for what a workshop's pages ask again and again: quantities, sizes, days, dates as labels state them."""

import re
from collections.abc import Callable
from datetime import date
from fractions import Fraction
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from inventory.common.exact import decimal_text
from inventory.common.fields import LIMIT, PLACES, STEP, plain
from inventory.common.problems import FieldProblem, Problem
from inventory.shelflife.calc import StatedDate

_Form = TypeVar("_Form", bound=forms.BaseForm)

ELSEWHERE = frozenset({403, 404})  # who may not, or looks for what isn't there, doesn't put it right in a form
_SIZE = re.compile(r"(\d{1,29}) ?/ ?(\d{1,29})|\d{0,12}\.\d{1,18}|\d{1,12}\.?", re.ASCII)
_SHOWN_PLACES = 6


class QuantityInput(forms.DecimalField):
    """A quantity of an item's stock unit, at most three decimals and 10^12. A text box: a number box changes by a stray scroll."""

    def __init__(self, *, zero: bool = False, **kwargs: Any) -> None:
        """`zero` allows nothing at all, as a count may find."""
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 9}))
        super().__init__(max_digits=len(str(LIMIT)) + PLACES, decimal_places=PLACES, **kwargs)
        least = MinValueValidator(0, _("Give 0 or more.")) if zero else MinValueValidator(STEP, _("Give more than 0."))
        self.validators += [least, MaxValueValidator(LIMIT, _("That is past 10^12: check it."))]
        self.error_messages["invalid"] = _("Write the quantity in digits, such as 12 or 0.5.")

    def prepare_value(self, value: Any) -> Any:
        """A figure as people write it; what was typed stays as it was typed."""
        return value if value is None or isinstance(value, str) else plain(value)


class SizeInput(forms.CharField):
    """A size over 0, exact: a fraction or a decimal. None for a blank."""

    def __init__(self, **kwargs: Any) -> None:
        """A text box: phones offer no slash beside their digits."""
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off", "size": 9}))
        super().__init__(max_length=33, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """A decimal where that is exact, else the fraction; what was typed stays as it was typed."""
        if not isinstance(value, Fraction):
            return value
        text = decimal_text(value, _SHOWN_PLACES)
        return text if Fraction(text) == value else str(value)

    def clean(self, value: Any) -> Any:
        """The size as a `Fraction`."""
        text = super().clean(value)
        if not text:
            return None
        found = _SIZE.fullmatch(text)
        if found is None or (found[2] and not int(found[2])):
            message = _("Write the size as 1/8 or 0.125.")
            raise ValidationError(message)
        size = Fraction(int(found[1]), int(found[2])) if found[1] else Fraction(text)
        if not size:
            message = _("Give more than 0, or leave it blank.")
            raise ValidationError(message)
        return size


class DayInput(forms.DateField):
    """A day, ISO."""

    def __init__(self, **kwargs: Any) -> None:
        """The browser offers its calendar."""
        kwargs.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        super().__init__(input_formats=["%Y-%m-%d"], **kwargs)
        self.error_messages["invalid"] = _("Write the day as 2027-03-14.")


class StatedDateInput(forms.CharField):
    """A date as precisely as a label states it: a day, a month or a quarter."""

    def __init__(self, **kwargs: Any) -> None:
        """Blank where the label says nothing."""
        super().__init__(
            required=False,
            max_length=20,
            widget=forms.TextInput(attrs={"autocomplete": "off", "size": 12}),
            help_text=_("2027-03-14, 2027-03 or 2Q27"),
            **kwargs,
        )

    def clean(self, value: Any) -> Any:
        """The date, None for a blank."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return StatedDate.parse(text)
        except ValueError as error:
            message = _("%(error)s: write 2027-03-14, 2027-03 or 2Q27.") % {"error": error}
            raise ValidationError(message) from error


def not_after(today: date) -> Callable[[date], None]:
    """A validator that refuses a day to come."""

    def check(day: date) -> None:
        if day > today:
            message = _("%(day)s is still to come: give a day up to %(today)s.") % {"day": day, "today": today}
            raise ValidationError(message)

    return check


def apart(form: _Form, name: str) -> _Form:
    """The same form for a page that has several: its fields have ids of their own, so that each label finds its field."""
    form.auto_id = f"{name}-%s"
    return form


def attempt(form: forms.Form, write: Callable[[], object]) -> bool:
    """Call `write` if the form holds; whether both went well. A `Problem` becomes the form's own error, with everything typed kept.

    A `FieldProblem` stands at the field that it names.
    What `write` calls is done in one transaction: a place made for goods that are then refused is not made.
    """
    if not form.is_valid():
        return False
    try:
        with transaction.atomic():
            write()
    except Problem as problem:
        if problem.status in ELSEWHERE:
            raise
        field = problem.field if isinstance(problem, FieldProblem) and problem.field in form.fields else None
        form.add_error(field, str(problem))
        return False
    return True
