"""What shelf life asks."""

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from inventory.common.forms import DayInput, QuantityInput, SizeInput, not_after
from inventory.shelflife.services import MOST_TEXT
from inventory.stock.models import Place

MOST_BYTES = 10 * 1024 * 1024
MOST_HOURS = 24 * 365
MOST_DAYS = 3660
LOCAL_RULES = _("as your local rules say: this only writes it down")


class TestForm(forms.Form):
    """How an update test went."""

    __test__ = False  # pytest collects by this name
    result = forms.ChoiceField(
        label=_("Result"), choices=[("", _("choose")), ("passed", _("passed")), ("failed", _("failed: ends the whole batch"))]
    )
    method = forms.CharField(label=_("Method"), max_length=MOST_TEXT, help_text=_("what was done, by which instruction"))
    on = DayInput(label=_("On"))
    note = forms.CharField(label=_("Note"), required=False, max_length=MOST_TEXT)

    def __init__(self, data: Any = None, *, today: date) -> None:
        """Today unless said otherwise."""
        super().__init__(data, initial={"on": today}, auto_id="test-%s")
        self.fields["on"].validators.append(not_after(today))


class AcceptForm(forms.Form):
    """An inspector's acceptance."""

    until = DayInput(label=_("May be used through"))
    reason = forms.CharField(label=_("Reason"), max_length=MOST_TEXT)

    def __init__(self, data: Any = None) -> None:
        """Nothing is proposed."""
        super().__init__(data, auto_id="accept-%s")


class WithdrawForm(forms.Form):
    """Why an acceptance is taken back."""

    why = forms.CharField(label=_("Why"), required=False, max_length=MOST_TEXT)


class DisposeForm(forms.Form):
    """How goods left."""

    place = forms.ModelChoiceField(Place.objects.none(), label=_("From place"), empty_label=None)
    quantity = QuantityInput(label=_("Quantity"))
    mass_g = QuantityInput(label=_("Mass in g, with its packing"))
    way = forms.CharField(label=_("Way"), max_length=MOST_TEXT, help_text=LOCAL_RULES)
    note = forms.CharField(label=_("Note"), required=False, max_length=MOST_TEXT)

    def __init__(self, data: Any = None, *, places: Any) -> None:
        """From the places where it lies."""
        super().__init__(data, auto_id="dispose-%s")
        self.fields["place"].queryset = places  # type: ignore[attr-defined] # a choice of rows


class _Celsius(forms.DecimalField):
    """A temperature, or nothing."""

    def __init__(self, label: Any, **kwargs: Any) -> None:
        """A text box: a number box changes by a stray scroll."""
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 6})
        super().__init__(label=label, required=False, max_digits=5, decimal_places=2, widget=widget, **kwargs)


class StorageForm(forms.Form):
    """How an item is stored, and what a passed test adds to its life."""

    low = _Celsius(_("Not under, in C"))
    high = _Celsius(_("Not over, in C"), help_text=_("27 C is 80 F"))
    use_within_days = forms.IntegerField(label=_("Use within days after that"), required=False, min_value=0, max_value=MOST_DAYS)
    never_below = _Celsius(_("Never under, in C"), help_text=_("outside these it isn't used until somebody has asked"))
    never_above = _Celsius(_("Never over, in C"))
    longest_gap_hours = forms.IntegerField(
        label=_("Hours that a reading holds"), min_value=1, max_value=MOST_HOURS, initial=6, help_text=_("after that nobody knows: a gap")
    )
    source = forms.CharField(label=_("Where this is written"), max_length=MOST_TEXT)


class ExtensionForm(forms.Form):
    """What a passed test adds to a life."""

    extend_part = SizeInput(
        label=_("Part of the original life that each passed test adds"),
        required=False,
        help_text=_("1/2 for a half; blank: it can't be"),
    )


class LogForm(forms.Form):
    """A temperature log of a place."""

    place = forms.CharField(label=_("Place"), max_length=400, widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}))
    log = forms.FileField(label=_("CSV file"), help_text=_("columns time, temperature, unit (C or F)"))
    zone = forms.ChoiceField(label=_("Zone of times without one"), required=False)
    corrects = forms.BooleanField(label=_("it corrects readings that are there"), required=False)

    def __init__(self, data: Any = None, files: Any = None) -> None:
        """Every zone there is, ours first; none proposed, since a wrong one is not seen."""
        super().__init__(data, files)
        ours = settings.TIME_ZONE
        zones = [ours, *sorted(available_timezones() - {ours})]
        self.fields["zone"].choices = [("", _("each time says its own")), *((zone, zone) for zone in zones)]  # type: ignore[attr-defined]

    def clean_zone(self) -> ZoneInfo | None:
        """The zone itself."""
        return ZoneInfo(self.cleaned_data["zone"]) if self.cleaned_data["zone"] else None

    def clean_log(self) -> str:
        """The text of the file."""
        sent = self.cleaned_data["log"]
        if sent.size > MOST_BYTES:
            raise forms.ValidationError(_("That is over 10 MB: split it."))
        try:
            return str(sent.read().decode("utf-8-sig"))
        except UnicodeDecodeError as error:
            raise forms.ValidationError(_("That is not UTF-8: save the file again as CSV in UTF-8.")) from error
