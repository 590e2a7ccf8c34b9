"""What the pages of traces and notices ask."""

from collections.abc import Iterable
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from buildplan.trace.services import MOST_MAKER, MOST_NOTE, MOST_OUTCOME, MOST_REFERENCE, MOST_TEXT, MOST_TITLE, NoticeData
from inventory.catalogue import calc as codes
from inventory.common.forms import DayInput
from inventory.models import Identifier, Item


def _words(text: str) -> list[str]:
    """What stands between commas and line breaks."""
    return [word.strip() for line in text.splitlines() for word in line.split(",") if word.strip()]


class CodeForm(forms.Form):
    """A lot code to follow, of one item or of whatever has it."""

    code = forms.CharField(label=_("Lot code"), max_length=80, help_text=_("as it stands on the label"))
    item = forms.CharField(label=_("Item"), max_length=80, required=False, help_text=_("blank: every item that has this code"))


class NoticeForm(forms.Form):
    """A maker's notice."""

    reference = forms.CharField(label=_("Number of the notice"), max_length=MOST_REFERENCE)
    maker = forms.CharField(label=_("Maker"), max_length=MOST_MAKER, required=False)
    title = forms.CharField(label=_("Title"), max_length=MOST_TITLE)
    issued_on = DayInput(label=_("Issued on"))
    text = forms.CharField(label=_("What it says"), max_length=MOST_TEXT, widget=forms.Textarea(attrs={"rows": 5}))
    items = forms.CharField(
        label=_("Items"),
        required=False,
        max_length=8000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("codes of the catalogue, with commas between; blank: whatever has one of the lot codes"),
    )
    codes = forms.CharField(
        label=_("Lot codes"),
        required=False,
        max_length=16000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("as the maker names them, with commas between; blank: any lot"),
    )
    made_from = DayInput(label=_("Made from"), required=False)
    made_to = DayInput(label=_("Made up to"), required=False)
    packed_from = DayInput(label=_("Packed from"), required=False)
    packed_to = DayInput(label=_("Packed up to"), required=False)
    note = forms.CharField(label=_("Note of our own"), max_length=MOST_NOTE, required=False)
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4, required=False)

    def clean_items(self) -> list[Item]:
        """The items that these codes mean; one that isn't known is named."""
        words = _words(self.cleaned_data["items"])
        rows = Identifier.objects.filter(key__in=[codes.key(word) for word in words]).select_related("item")
        known = {row.key: row.item for row in rows}
        if missing := [word for word in words if codes.key(word) not in known]:
            raise ValidationError(_now("%(codes)s: no item here has that code.") % {"codes": ", ".join(missing)})
        return list({known[codes.key(word)].pk: known[codes.key(word)] for word in words}.values())

    def clean_codes(self) -> list[str]:
        """The lot codes, each once."""
        return list(dict.fromkeys(_words(self.cleaned_data["codes"])))

    def said(self) -> NoticeData:
        """What was entered, but the items."""
        return NoticeData(**{name: value for name, value in self.cleaned_data.items() if name not in {"items", "key"}})


def as_said(notice: Any, items: Iterable[str]) -> dict[str, Any]:
    """A notice as its form shows it."""
    names = ("reference", "maker", "title", "issued_on", "text", "made_from", "made_to", "packed_from", "packed_to", "note")
    return {**{name: getattr(notice, name) for name in names}, "items": ", ".join(items), "codes": ", ".join(notice.codes)}


class TickForm(forms.Form):
    """What came of looking at something."""

    outcome = forms.CharField(label=_("What you found"), max_length=MOST_OUTCOME)
