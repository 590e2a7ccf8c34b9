"""What counting asks."""

from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.catalogue.rivets import Head
from inventory.common.forms import DayInput, QuantityInput, SizeInput, StatedDateInput, not_after
from inventory.photos.forms import PhotoInput
from inventory.receiving.forms import place_input
from inventory.tallying.calc import Measured, Weighed, weigh
from inventory.tallying.models import Finding
from inventory.tallying.queries import LineTally
from inventory.tallying.services import MOST_NOTE

MORE, ALL = "more", "all"
MOST_PIECES = 10**9
_HEADS = {"": _("not looked at"), Head.UNIVERSAL: _("universal"), Head.COUNTERSUNK: _("countersunk")}
_DAMAGED_OR_WRONG = [(Finding.DAMAGED.value, _("damaged")), (Finding.WRONG.value, _("a wrong thing in its place"))]


class Sent(forms.Form):
    """A form that counts once, however often it is sent."""

    request_key = forms.UUIDField(widget=forms.HiddenInput, required=False)

    def __init__(self, data: Any = None, files: Any = None, *, initial: Any = None, **kwargs: Any) -> None:
        """With a new key where nothing was sent yet."""
        super().__init__(data, files, initial={"request_key": uuid4(), **(initial or {})}, **kwargs)


class TickForm(Sent):
    """One press at a line."""

    act = forms.ChoiceField(choices=[(act, act) for act in ("listed", "more", "fewer")])


class CountForm(Sent):
    """What was found of a line."""

    quantity = QuantityInput(label=_("How many"), zero=True)
    what = forms.ChoiceField(
        label=_("That is"),
        choices=[(MORE, _("so many more good ones")), (ALL, _("all the good ones there are")), *_DAMAGED_OR_WRONG],
        initial=MORE,
        widget=forms.RadioSelect,
    )
    note = forms.CharField(label=_("Note"), max_length=MOST_NOTE, required=False)
    photo = PhotoInput(label=_("Photo"), required=False)
    lot_code = forms.CharField(label=_("Lot code on the label"), max_length=80, required=False)
    made = StatedDateInput(label=_("Made"))
    expires = StatedDateInput(label=_("Expires"))
    seen = QuantityInput(zero=True, required=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        """Nothing at all is a count only of all there are."""
        given = super().clean() or {}
        if given.get("quantity") == 0 and given.get("what") != ALL:
            self.add_error("quantity", _("Give more than 0; 0 is an answer only to how many good ones there are in all."))
        return given


class WeighForm(Sent):
    """The readings of a count by weight, all in one unit of mass."""

    sample_n = forms.IntegerField(label=_("Pieces in the sample"), min_value=1, max_value=MOST_PIECES)
    sample_mass = forms.DecimalField(label=_("The sample weighs"), min_value=Decimal(0))
    total = forms.DecimalField(label=_("All of it weighs, with its container"), min_value=Decimal(0))
    tare = forms.DecimalField(label=_("The container alone weighs"), min_value=Decimal(0), initial=Decimal(0))
    division = forms.DecimalField(label=_("The scale shows steps of"), min_value=Decimal(0), help_text=_("its division: 0.1 or 1"))
    what = forms.ChoiceField(
        label=_("What lies on the scale"),
        choices=[(ALL, _("all the good ones there are")), (MORE, _("so many more good ones"))],
        initial=ALL,
        widget=forms.RadioSelect,
    )
    seen = QuantityInput(zero=True, required=False, widget=forms.HiddenInput)

    field_order = ("sample_n", "sample_mass", "total", "tare", "division", "what")

    def __init__(self, data: Any = None, *, line: LineTally, alike: list[str], **kwargs: Any) -> None:
        """`alike` are other lengths that a heap of this line may hold."""
        super().__init__(data, **kwargs)
        self._line, self._alike = line, alike
        for name in ("sample_n", "sample_mass", "total", "tare", "division"):
            self.fields[name].widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 9})

    def clean(self) -> dict[str, Any]:
        """With the count, under `weighed`."""
        given = super().clean() or {}
        readings = ("total", "tare", "sample_n", "sample_mass", "division")
        if all(given.get(name) is not None for name in readings):
            expected = self._line.left if given.get("what") == MORE else self._line.as_listed
            given["weighed"] = self._weigh({name: given[name] for name in readings}, expected)
        return given

    def _weigh(self, readings: dict[str, Any], expected: Decimal) -> Weighed | None:
        try:
            return weigh(**readings, expected=expected, code=self._line.item, alike=self._alike)
        except ValueError as error:
            name, _, text = str(error).partition(": ")
            self.add_error(name if name in self.fields else None, f"{(text or name).capitalize()}.")
            return None


class OtherForm(Sent):
    """Something in a bag that its list doesn't have."""

    code = forms.CharField(label=_("Its code"), max_length=80, help_text=_("any code that the catalogue knows it by"))
    quantity = QuantityInput(label=_("How many"))
    finding = forms.ChoiceField(
        label=_("It is"), choices=[("good", _("good")), ("damaged", _("damaged"))], widget=forms.RadioSelect, initial="good"
    )
    note = forms.CharField(label=_("Note"), max_length=MOST_NOTE, required=False)
    photo = PhotoInput(label=_("Photo"), required=False)


class MysteryForm(Sent):
    """Something that nobody can name, as it was measured."""

    quantity = QuantityInput(label=_("How many"))
    diameter = SizeInput(label=_("Diameter in inches"), required=False, help_text=_("1/8 or 0.125, of the shank"))
    length = SizeInput(label=_("Length in inches"), required=False, help_text=_("under the head; overall where the head is countersunk"))
    head = forms.ChoiceField(label=_("Head"), choices=[*_HEADS.items()], required=False)
    note = forms.CharField(label=_("What it looks like"), max_length=MOST_NOTE, required=False)
    photo = PhotoInput(label=_("Photo"), required=False)

    def measured(self) -> Measured:
        """What was measured."""
        given = self.cleaned_data
        return Measured(given["diameter"], given["length"], given["head"])


class PutAwayForm(forms.Form):
    """Where what was counted goes."""

    place = place_input()
    on = DayInput(label=_("On"))

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """Today unless said otherwise."""
        super().__init__(data, initial={"on": today}, **kwargs)
        self.fields["on"].validators.append(not_after(today))


class LayForm(forms.Form):
    """Where a bag lies as it is."""

    place = place_input()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """The label says that nothing is counted by it."""
        super().__init__(*args, **kwargs)
        self.fields["place"].label = _("It lies in")


class DayForm(forms.Form):
    """A day up to today."""

    on = DayInput(label=_("On"))

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """Today unless said otherwise."""
        super().__init__(data, initial={"on": today}, **kwargs)
        self.fields["on"].validators.append(not_after(today))
