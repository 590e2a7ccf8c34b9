"""What the pages of labels ask."""

from collections.abc import Sequence
from dataclasses import asdict
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from inventory.catalogue.forms import CodeInput
from inventory.labels import queries
from inventory.labels.calc import MOST_CELLS, MOST_PAGE, Sheet
from inventory.labels.drawing import MOST_COPIES, MOST_LABELS, Symbol
from inventory.labels.queries import Thing
from inventory.workshop.models import Workshop

MOST_TYPED = 2000  # characters of a typed list: it stands in the address, so that the list can be kept and printed again
SYMBOLS = [(Symbol.QR, _("QR code: a phone opens the page")), (Symbol.DATA_MATRIX, _("Data Matrix: smaller, for drawers"))]


class ItemInput(CodeInput):
    """Any code of an item, or none."""

    def clean(self, value: Any) -> Any:
        """The item; None for a blank."""
        return super().clean(value) if (value or "").strip() else None


class BagsForm(forms.Form):
    """The bags of a crate."""

    crate = forms.TypedChoiceField(label=_("Crate"), coerce=int)

    def __init__(self, data: Any, *, crates: Sequence[tuple[int, str]]) -> None:
        """Offer the crates that have bags."""
        super().__init__(data, auto_id="bags-%s")
        none = _("No bags of that crate are listed: choose one that has bags, or label its lots.")
        self.fields["crate"].error_messages["invalid_choice"] = none
        self.fields["crate"].choices = crates  # type: ignore[attr-defined]


class PlacesForm(forms.Form):
    """A place and all within it."""

    place = forms.CharField(
        label=_("Place, with all within it"),
        required=False,
        max_length=400,
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
        help_text=_("blank: every place"),
    )

    def __init__(self, data: Any) -> None:
        """Two forms of the page ask for a place: each box has its own id."""
        super().__init__(data, auto_id="places-%s")


class LotsForm(forms.Form):
    """The lots of an item, or in a place, or both."""

    item = ItemInput(label=_("Item"), offered="items", required=False, help_text=_("any of its codes; blank: every item"))
    place = forms.CharField(
        label=_("In place"),
        required=False,
        max_length=400,
        widget=forms.TextInput(attrs={"list": "places", "autocomplete": "off"}),
        help_text=_("blank: wherever they lie"),
    )
    lot = forms.IntegerField(required=False, widget=forms.HiddenInput)  # a lot's page asks for that one alone

    def __init__(self, data: Any, *, workshop: Workshop) -> None:
        """`workshop` is whose codes the item is looked up by."""
        super().__init__(data, auto_id="lots-%s")
        self.fields["item"].workshop = workshop  # type: ignore[attr-defined]


class TypedForm(forms.Form):
    """A list that somebody typed, or scanned."""

    typed = forms.CharField(
        label=_("One a line"),
        max_length=MOST_TYPED,
        widget=forms.Textarea(attrs={"rows": 5, "autocomplete": "off", "spellcheck": "false"}),
        help_text=_("a place as Hangar/Rack 2, a bag as CRATE-7/7A, the code of a lot, or the code of an item, for all its lots"),
    )

    def __init__(self, data: Any) -> None:
        """Its box has its own id."""
        super().__init__(data, auto_id="typed-%s")


class PrintForm(forms.Form):
    """How to print: on which sheet, from which label on, with which code."""

    sheet = forms.ChoiceField(label=_("Sheet"))
    start = forms.IntegerField(
        label=_("First free label"),
        min_value=1,
        max_value=MOST_CELLS,
        initial=1,
        help_text=_("1 is the upper left one; count across, then down, where a sheet was begun before"),
    )
    symbol = forms.ChoiceField(label=_("Code"), choices=SYMBOLS, initial=Symbol.QR)
    copies = forms.IntegerField(label=_("Copies of each"), min_value=1, max_value=MOST_COPIES, initial=1)
    whole = forms.BooleanField(label=_("All that was found, on every page of this list"), required=False)

    def __init__(self, data: Any = None, *, sheets: Sequence[Sheet], paged: bool = True, coded: bool = True) -> None:
        """`paged`: the list has more pages than the one shown. `coded`: the labels have codes."""
        super().__init__(data)
        self._sheets = {sheet.key: sheet for sheet in sheets}
        self.fields["sheet"].choices = [(sheet.key, sheet.name) for sheet in sheets]  # type: ignore[attr-defined]
        for name, asked in (("whole", paged), ("symbol", coded)):
            if not asked:
                del self.fields[name]

    @property
    def chosen(self) -> Sheet:
        """The sheet that was chosen."""
        return self._sheets[self.cleaned_data["sheet"]]


def ticked(values: Sequence[str]) -> list[Thing]:
    """What boxes named `bag-12` mean, each once; nothing else is taken. One box too many is kept, so that too many is said."""
    found: dict[Thing, None] = {}
    for value in values[: MOST_LABELS + 1]:
        kind, _, number = value.partition("-")
        if kind in queries.KINDS and number.isascii() and number.isdigit() and len(number) < 19:  # noqa: PLR2004 - a row's id
            found[Thing(kind, int(number))] = None
    return list(found)


class Millimetres(forms.DecimalField):
    """A measurement: a text box, since a number box changes by a stray scroll."""

    def __init__(self, **kwargs: Any) -> None:
        """Two decimals are finer than any printer."""
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 9})
        super().__init__(max_digits=6, decimal_places=2, widget=widget, **kwargs)
        self.error_messages["invalid"] = _("Write the length in digits, such as 63 or 2.5.")


class SheetForm(forms.Form):
    """A sheet by its measurements, in millimetres."""

    name = forms.CharField(label=_("Name"), max_length=80)
    page_width = Millimetres(label=_("Page: width in mm"), help_text=format_lazy(_("up to {most}"), most=MOST_PAGE))
    page_height = Millimetres(label=_("Page: height in mm"), help_text=_("on a roll a page is one label"))
    left = Millimetres(label=_("Left edge to first label in mm"))
    top = Millimetres(label=_("Upper edge to first label in mm"))
    columns = forms.IntegerField(label=_("Labels across"), min_value=1, max_value=MOST_CELLS)
    rows = forms.IntegerField(label=_("Labels down"), min_value=1, max_value=MOST_CELLS)
    label_width = Millimetres(label=_("Label: width in mm"))
    label_height = Millimetres(label=_("Label: height in mm"))
    gap_x = Millimetres(label=_("Gap across in mm"), help_text=_("between two labels"))
    gap_y = Millimetres(label=_("Gap down in mm"), help_text=_("between two labels"))

    def __init__(self, data: Any = None, *, sheet: Sheet | None = None) -> None:
        """Start from the measurements of `sheet`."""
        super().__init__(data, initial=None if sheet is None else _plain(sheet))


def _plain(sheet: Sheet) -> dict[str, Any]:
    """The measurements as people write them, without trailing zeros."""
    return {name: f"{value.normalize():f}" if isinstance(value, Decimal) else value for name, value in asdict(sheet).items()}
