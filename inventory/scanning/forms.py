"""What the scan page asks."""

from typing import Any
from uuid import uuid4

from django import forms

from inventory.common.forms import QuantityInput
from inventory.common.pictures import FORMATS

MOST_CODE = 4000
ACTIONS = (
    ("find", "Find"),
    ("tally", "Tally a bag"),
    ("put", "Put away"),
    ("take", "Take"),
    ("count", "Count a place"),
    ("open", "Open"),
    ("lend", "Lend to me"),
    ("return", "Return"),
)


class ScanForm(forms.Form):
    """One scan. Its `uuid` makes it count once, however often it is sent."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    action = forms.ChoiceField(choices=ACTIONS, widget=forms.RadioSelect, label="What a scan does")
    code = forms.CharField(
        max_length=MOST_CODE,
        strip=False,  # separators at its ends belong to a code
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    quantity = QuantityInput(label="Quantity", required=False, zero=True)
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
        label="Photo",
        widget=forms.FileInput(attrs={"form": "act", "accept": ",".join(f"image/{name.lower()}" for name in FORMATS)}),
        help_text="JPEG, PNG or WebP, at most 15 MB; it is read and not kept",
    )
