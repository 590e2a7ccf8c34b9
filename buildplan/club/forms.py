"""What the pages of the club ask."""

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.club.services import MOST_AMOUNT
from buildplan.club.statements import Material
from inventory.common.forms import DayInput

PLACES = 6
MOST_ID = 2**63 - 1
MOST_TOKEN = 200


class DayForm(forms.Form):
    """Which day."""

    day = DayInput(label=_("Day"))


class ProposalForm(forms.Form):
    """A proposed change that is taken."""

    proposal = forms.CharField(max_length=MOST_TOKEN, widget=forms.HiddenInput)


class BookDayForm(forms.Form):
    """All that a bench's steps of a day take of the pool, booked in one press. Sent twice, it books once."""

    bench = forms.IntegerField(min_value=1, max_value=MOST_ID, widget=forms.HiddenInput)
    key = forms.UUIDField(widget=forms.HiddenInput)
    wait = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        """A key of its own each time it is shown anew."""
        super().__init__(data, initial={"key": uuid4(), **kwargs.pop("initial", {})}, **kwargs)


class PeriodForm(forms.Form):
    """The days that a statement covers, and whom it is about."""

    first = DayInput(label=_("From"))
    last = DayInput(label=_("Through"))
    bench = forms.TypedChoiceField(label=_("Bench"), required=False, coerce=int, empty_value=None)
    member = forms.TypedChoiceField(label=_("Member"), required=False, coerce=int, empty_value=None)

    def __init__(self, data: Any = None, *, benches: Sequence[tuple[int, str]], members: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        """The benches, and the members who hold one."""
        super().__init__(data, **kwargs)
        self.fields["bench"].choices = [("", _("all")), *((str(pk), name) for pk, name in benches)]  # type: ignore[attr-defined] # a choice field
        self.fields["member"].choices = [("", _("all")), *((str(pk), name) for pk, name in members)]  # type: ignore[attr-defined] # likewise


class CostForm(forms.Form):
    """What a stock unit of a material costs from a day on."""

    item = forms.TypedChoiceField(label=_("Material"), coerce=int)
    since = DayInput(label=_("From this day on"))
    amount = forms.DecimalField(
        label=_("One stock unit costs"),
        min_value=0,
        max_value=MOST_AMOUNT,
        max_digits=14,
        decimal_places=PLACES,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 9}),
    )

    def __init__(self, data: Any = None, *, materials: Sequence[Material], today: date, **kwargs: Any) -> None:
        """The club's materials, each with its unit."""
        super().__init__(data, initial={"since": today, **kwargs.pop("initial", {})}, **kwargs)
        choices = [
            (str(one.id), _("%(code)s %(name)s, one %(unit)s") % {"code": one.code, "name": one.name, "unit": one.unit})
            for one in materials
        ]
        self.fields["item"].choices = choices  # type: ignore[attr-defined] # a choice field
