"""What the shelves ask."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.catalogue.models import Kind
from inventory.common.forms import DayInput, QuantityInput, StatedDateInput
from inventory.stock.models import Lot, State
from inventory.workshop.models import Bench

MOST_NOTE = 200
MOST_REASON = 100


class ShelvesForm(forms.Form):
    """Which holdings to show."""

    text = forms.CharField(label=_("Item, code, name or lot"), required=False, max_length=80)
    place = forms.CharField(
        label=_("In place"),
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
    )
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[("", _("every kind")), *Kind.choices])
    bench = forms.ChoiceField(label=_("Bench"), required=False)

    def __init__(self, data: Any, *, benches: list[Bench]) -> None:
        """Offer the benches of the workshop."""
        super().__init__(data)
        offered = [(bench.code, _("%(bench)s (shared)") % {"bench": bench.name} if bench.shared else bench.name) for bench in benches]
        self.fields["bench"].choices = [("", _("every bench")), *offered]  # type: ignore[attr-defined]


class CountForm(forms.Form):
    """What was counted in a place."""

    counted = QuantityInput(label=_("Counted"), zero=True)
    note = forms.CharField(label=_("Note"), required=False, max_length=MOST_NOTE)


class ReverseForm(forms.Form):
    """Why a movement is undone."""

    note = forms.CharField(label=_("Why"), required=False, max_length=MOST_NOTE)


class StateForm(forms.Form):
    """A judgement of a lot."""

    state = forms.ChoiceField(label=_("State"), choices=State.choices)
    note = forms.CharField(label=_("Reason"), required=False, max_length=MOST_REASON)


class DatesForm(forms.Form):
    """What the label says."""

    made = StatedDateInput(label=_("Made"))
    expires = StatedDateInput(label=_("Expires"))
    note = forms.CharField(label=_("Reason"), required=False, max_length=MOST_REASON)

    def __init__(self, data: Any = None, *, lot: Lot) -> None:
        """The dates there are."""
        super().__init__(data, initial={"made": lot.made, "expires": lot.expires})


class OpenedForm(forms.Form):
    """When a lot was really opened."""

    opened = DayInput(label=_("Opened on"), required=False, help_text=_("blank: it isn't open"))
    note = forms.CharField(label=_("Reason"), max_length=MOST_REASON, help_text=_("stays in its history"))

    def __init__(self, data: Any = None, *, lot: Lot) -> None:
        """The day there is."""
        super().__init__(data, initial={"opened": lot.opened_on})
