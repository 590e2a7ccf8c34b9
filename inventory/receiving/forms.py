"""What receiving asks."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.common.forms import DayInput, QuantityInput, StatedDateInput, not_after
from inventory.receiving.queries import InTransit

PLACE_HELP = _("a place, nested by /: Hangar/Rack 2/Drawer 7")


def place_input() -> forms.CharField:
    """A place by its path; the page's list `places` offers the known ones."""
    return forms.CharField(
        label=_("Into place"),
        max_length=400,
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
        help_text=PLACE_HELP,
    )


class ArrivedForm(forms.Form):
    """That some of a line arrived, with what its label says. `seen` is what was open when the form was made."""

    quantity = QuantityInput(label=_("Arrived"))
    place = place_input()
    on = DayInput(label=_("On"))
    lot_code = forms.CharField(label=_("Lot code on the label"), max_length=80, required=False)
    made = StatedDateInput(label=_("Made"))
    expires = StatedDateInput(label=_("Expires"))
    close_rest = forms.BooleanField(label=_("the rest won't come"), required=False)
    seen = QuantityInput(zero=True, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, line: InTransit, today: date, **kwargs: Any) -> None:
        """Proposes all that is open, with what the packing list says of it."""
        listed = {"lot_code": line.lot, "made": line.made, "expires": line.expires}
        initial = {"quantity": line.still_open, "seen": line.still_open, "on": today, **listed}
        super().__init__(data, initial=initial, auto_id=f"line-{line.line_id}-%s", **kwargs)
        self.fields["on"].validators.append(not_after(today))


class ArrivedAsListedForm(forms.Form):
    """That a whole crate or bag arrived as its packing list says."""

    place = place_input()
    on = DayInput(label=_("On"))

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """Today unless said otherwise."""
        super().__init__(data, initial={"on": today}, **kwargs)
        self.fields["on"].validators.append(not_after(today))


class DueForm(forms.Form):
    """When a crate is due; blank where nobody knows."""

    due_on = DayInput(label=_("Due"), required=False, help_text=_("blank: not known"))
