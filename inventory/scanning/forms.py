"""What the scan page asks."""

from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.common.forms import QuantityInput
from inventory.common.pictures import FORMATS

MOST_CODE = 4000
ACTIONS = (
    ("find", _("Find")),
    ("tally", _("Tally a bag")),
    ("put", _("Put away")),
    ("take", _("Take")),
    ("count", _("Count a place")),
    ("open", pgettext_lazy("scan", "Open")),
    ("lend", _("Lend to me")),
    ("return", _("Return")),
)


class ScanForm(forms.Form):
    """One scan. Its `uuid` makes it count once, however often it is sent."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    action = forms.ChoiceField(choices=ACTIONS, widget=forms.RadioSelect, label=_("What a scan does"))
    code = forms.CharField(
        max_length=MOST_CODE,
        strip=False,  # separators at its ends belong to a code
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    quantity = QuantityInput(label=_("Quantity"), required=False, zero=True)
    place = forms.CharField(max_length=400, required=False)
    bag = forms.CharField(max_length=500, required=False)
    lot = forms.IntegerField(required=False, min_value=1, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        """A uuid of its own each time it is shown anew."""
        initial = {"uuid": uuid4(), "action": "find", **kwargs.pop("initial", {})}
        super().__init__(data, initial=initial, **kwargs)


class LastForm(forms.Form):
    """Which scan was sent last, as the page's address tells it."""

    last = forms.UUIDField()


class PhotoForm(forms.Form):
    """A photo of codes. It is a part of the page's one form, so that what was chosen there comes with it."""

    use_required_attribute = False  # a code may be typed instead

    photo = forms.FileField(
        label=_("Photo"),
        widget=forms.FileInput(attrs={"form": "act", "accept": ",".join(f"image/{name.lower()}" for name in FORMATS)}),
        help_text=_("JPEG, PNG or WebP, at most 15 MB; it is read and not kept"),
    )
