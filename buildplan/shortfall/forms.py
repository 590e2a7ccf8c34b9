"""What the order sheet asks."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.plan.models import Project
from inventory.common.forms import DayInput, QuantityInput


class DemandForm(forms.Form):
    """Which steps count."""

    before = DayInput(label=_("Steps planned up to"), required=False, help_text=_("blank: all the plan"))
    also = forms.MultipleChoiceField(label=_("Net together with"), required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, data: Any, *, siblings: list[Project]) -> None:
        """`siblings` are the other projects of the bench."""
        super().__init__(data)
        self.fields["also"].choices = [(project.code, project.code) for project in siblings]  # type: ignore[attr-defined]


class AskForm(DemandForm):
    """Which part of the sheet to show."""

    section = forms.TypedChoiceField(label=_("Show only what this section needs"), required=False, coerce=int, empty_value=None)
    every = forms.BooleanField(label=_("also what is met"), required=False)

    def __init__(self, data: Any, *, sections: list[tuple[int, str]], siblings: list[Project]) -> None:
        """`sections` are those of the plan, `siblings` the other projects of the bench."""
        super().__init__(data, siblings=siblings)
        self.fields["section"].choices = [("", _("all sections")), *sections]  # type: ignore[attr-defined]


class AcceptForm(forms.Form):
    """That one rivet may serve for another in a step, and on whose word."""

    wanted = forms.IntegerField(widget=forms.HiddenInput)
    served_by = forms.IntegerField(widget=forms.HiddenInput)
    note = forms.CharField(label=_("What the plans or the maker said"), max_length=300)


class OrderedForm(forms.Form):
    """That something was ordered. `request_key` is the form's own: sent twice, it makes one order."""

    quantity = QuantityInput(label=_("Ordered"))
    due_on = DayInput(label=_("Due"), required=False, help_text=_("blank: not known yet, and it doesn't count until it is"))
    request_key = forms.UUIDField(widget=forms.HiddenInput)
