"""What the pages of blanks, pieces and cuts ask."""

from collections.abc import Sequence
from datetime import date
from fractions import Fraction
from typing import Any, cast
from uuid import uuid4

from django import forms
from django.utils.translation import gettext_lazy as _

from buildplan.cutting.models import Form, Grain
from buildplan.cutting.queries import Lies, Standing
from buildplan.cutting.stating import MOST_COUNT, MOST_PER_BLANK
from buildplan.hardware.services import MOST_CODE
from buildplan.plan.models import Hand
from buildplan.sealing.calc import MM
from inventory.catalogue.forms import CodeInput
from inventory.common.fields import plain
from inventory.common.forms import DayInput, SizeInput, not_after
from inventory.common.history import MOST_WHY
from inventory.workshop.models import Workshop

UNITS = [(unit, unit) for unit in MM]
GRAINS = [("", _("either way, or not known")), *Grain.choices]
HANDS = [("", _("not said")), *Hand.choices]
KEPT = 3  # rows of offcuts that the form has


def _size(label: Any, help_text: Any = "") -> SizeInput:
    return SizeInput(label=label, required=False, help_text=help_text)


def _release() -> forms.CharField:
    return forms.CharField(
        label=_("Why what is promised is given up"),
        max_length=MOST_WHY,
        required=False,
        help_text=_("only where no offcut gives it: its pieces are wanted again at once"),
    )


class ZeroSize(SizeInput):
    """A size that may be 0."""

    def clean(self, value: Any) -> Any:
        """0 is a size here."""
        return Fraction(0) if str(value or "").strip() in {"0", "0.0"} else super().clean(value)


class RulesForm(forms.Form):
    """How the workshop saws."""

    unit = forms.ChoiceField(label=_("Unit"), choices=UNITS)
    kerf = ZeroSize(label=_("Kerf"), required=False, help_text=_("what the saw takes; 0 for a shear"))
    end_trim = ZeroSize(
        label=_("End trim"), required=False, help_text=_("what each blank loses before the first piece, its saw cut included")
    )
    allowance = ZeroSize(label=_("Saw allowance"), required=False, help_text=_("what a piece is sawn larger, for the file"))


class BlankForm(forms.Form):
    """An item that pieces are cut from, and how large a whole one is."""

    item = CodeInput(label=_("Item"), offered="items", help_text=_("any of its codes"))
    form = forms.ChoiceField(label=_("Form"), choices=Form.choices)
    unit = forms.ChoiceField(label=_("Unit of the sizes"), choices=UNITS)
    length = _size(_("Length"), _("blank: nobody knows; then pieces come by number"))
    width = _size(_("Width"), _("of a sheet"))
    thickness = _size(_("Thickness"))
    grain = forms.ChoiceField(label=_("Grain"), choices=GRAINS, required=False)
    kerf = ZeroSize(label=_("Kerf"), required=False, help_text=_("blank: the workshop's"))
    end_trim = ZeroSize(label=_("End trim"), required=False, help_text=_("blank: the workshop's"))

    def __init__(self, data: Any, *, workshop: Workshop, initial: dict[str, Any], fixed: bool) -> None:
        """`fixed`: the item is known."""
        super().__init__(data, initial=initial)
        if fixed:
            del self.fields["item"]
        else:
            cast("CodeInput", self.fields["item"]).workshop = workshop


class OptionalCode(CodeInput):
    """A code, or nothing."""

    def clean(self, value: Any) -> Any:
        """None for a blank."""
        return None if not str(value or "").strip() else super().clean(value)


class PieceForm(forms.Form):
    """What a step needs from a blank."""

    code = forms.CharField(label=_("Piece"), max_length=MOST_CODE, help_text=_("its mark in the plans"))
    blank = forms.ChoiceField(label=_("From the blank"))
    count = forms.IntegerField(label=_("How many"), min_value=1, max_value=MOST_COUNT)
    per_blank = forms.IntegerField(
        label=_("How many one blank gives"),
        required=False,
        min_value=1,
        max_value=MOST_PER_BLANK,
        help_text=_("as the kit says; else give its size"),
    )
    cut = forms.CharField(
        label=_("Stated cut"), required=False, max_length=MOST_CODE, help_text=_("pieces of one name come out of the same blank together")
    )
    length = _size(_("Length"))
    width = _size(_("Width"), _("from a sheet"))
    unit = forms.ChoiceField(label=_("Unit"), choices=[("", "mm"), *UNITS], required=False)
    allowance = ZeroSize(label=_("Saw allowance"), required=False, help_text=_("blank: the workshop's"))
    grain = forms.ChoiceField(label=_("Grain must run"), choices=GRAINS, required=False)
    hand = forms.ChoiceField(label=_("Hand"), choices=HANDS, required=False)
    item = OptionalCode(label=_("What it is in the catalogue"), offered="items", required=False, help_text=_("blank: nothing of its own"))

    def __init__(self, data: Any, *, workshop: Workshop, initial: dict[str, Any], blanks: Sequence[tuple[int, str]]) -> None:
        """`blanks` to choose from."""
        super().__init__(data, initial=initial)
        cast("forms.ChoiceField", self.fields["blank"]).choices = [("", _("choose")), *blanks]
        cast("CodeInput", self.fields["item"]).workshop = workshop


class PlanForm(forms.Form):
    """Which blank, and how many of each piece: sawn now, and promised from what is left."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    lot = forms.ChoiceField(label=_("Cut"))
    note = forms.CharField(label=_("Note"), max_length=200, required=False)
    accept = forms.BooleanField(label=_("Seen, and meant: other pieces go without material"), required=False)

    def __init__(self, data: Any, *, lies: Sequence[Lies], pieces: Sequence[Standing], initial: dict[str, Any]) -> None:
        """`lies` are the blanks to choose from, `pieces` those that no cut gives yet."""
        super().__init__(data, initial=initial)
        self.pieces = pieces
        choices: dict[int, str] = {}
        for lot in lies:
            if lot.free:
                name = lot.lot.code or _("no lot code")
                choices.setdefault(lot.lot.pk, f"{lot.lot.item.code}, {name}, {lot.place.path}: {plain(lot.free)} {lot.lot.item.unit}")
        cast("forms.ChoiceField", self.fields["lot"]).choices = list(choices.items())
        for one in pieces:
            for when, label in (("now", _("now")), ("later", _("promised for later"))):
                self.fields[f"{when}-{one.piece.pk}"] = forms.IntegerField(
                    label=label, required=False, min_value=0, max_value=one.uncut, widget=forms.NumberInput(attrs={"inputmode": "numeric"})
                )

    @property
    def rows(self) -> list[tuple[Standing, forms.BoundField, forms.BoundField]]:
        """Each piece with its two boxes."""
        return [(one, self[f"now-{one.piece.pk}"], self[f"later-{one.piece.pk}"]) for one in self.pieces]

    def counts(self, when: str) -> dict[Any, int]:
        """By piece, `now` or `later`."""
        return {one.piece: count for one in self.pieces if (count := self.cleaned_data.get(f"{when}-{one.piece.pk}"))}


class SawForm(forms.Form):
    """What was sawn: from where, where it is laid, which offcuts are kept."""

    source = forms.ChoiceField(label=_("Taken from"))
    target = forms.ChoiceField(label=_("Pieces and offcuts are laid in"))
    on = DayInput(label=_("Day"))
    certificate = forms.CharField(label=_("Certificate of the material"), max_length=120, required=False)
    unit = forms.ChoiceField(label=_("Unit of the offcuts"), choices=UNITS)

    def __init__(  # noqa: PLR0913 - what a saw may be asked
        self,
        data: Any,
        *,
        sources: Sequence[tuple[int, str]],
        places: Sequence[tuple[int, str]],
        sheet: bool,
        promises: bool,
        today: date,
        initial: dict[str, Any],
    ) -> None:
        """`sheet`: offcuts have a width too. `promises`: something is promised from what is left."""
        super().__init__(data, initial={"on": today, "unit": "mm", **initial})
        cast("forms.ChoiceField", self.fields["source"]).choices = list(sources)
        cast("forms.ChoiceField", self.fields["target"]).choices = list(places)
        self.fields["on"].validators.append(not_after(today))
        self.sheet = sheet
        for at in range(KEPT):
            self.fields[f"keep-{at}"] = forms.BooleanField(label=_("Keep an offcut"), required=False)
            self.fields[f"length-{at}"] = _size(_("Length"))
            if sheet:
                self.fields[f"width-{at}"] = _size(_("Width"))
        if promises:
            self.fields["release"] = _release()

    @property
    def head(self) -> list[forms.BoundField]:
        """The boxes before the offcuts."""
        return [self[name] for name in ("source", "target", "on", "certificate", "unit")]

    @property
    def rows(self) -> list[list[forms.BoundField]]:
        """The boxes of each offcut."""
        names = ("keep", "length", "width") if self.sheet else ("keep", "length")
        return [[self[f"{name}-{at}"] for name in names] for at in range(KEPT)]

    def kept(self) -> list[dict[str, Any]]:
        """The offcuts that are kept: ticked, or with a size."""
        given = self.cleaned_data
        found = []
        for at in range(KEPT):
            length, width = given.get(f"length-{at}"), given.get(f"width-{at}")
            if given.get(f"keep-{at}"):
                found.append({"length": length, "width": width, "unit": given["unit"]})
        return found


class SpoilForm(forms.Form):
    """Pieces that are no good."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    count = forms.IntegerField(label=_("How many are spoiled"), min_value=1, initial=1)
    cause = forms.CharField(label=_("Why"), max_length=200)
    on = DayInput(label=_("Day"))

    def __init__(self, data: Any, *, today: date, prefix: str | None = None) -> None:
        """No day to come."""
        super().__init__(data, initial={"on": today, "key": uuid4()}, prefix=prefix)
        self.fields["on"].validators.append(not_after(today))


class MeasureForm(forms.Form):
    """How large a lot really is."""

    unit = forms.ChoiceField(label=_("Unit"), choices=UNITS)
    length = _size(_("Length"))
    width = _size(_("Width"), _("of a sheet"))
    thickness = _size(_("Thickness"))
    grain = forms.ChoiceField(label=_("Grain"), choices=GRAINS, required=False)
    certificate = forms.CharField(label=_("Certificate of the material"), max_length=120, required=False)

    def __init__(self, data: Any, *, promised: bool, initial: dict[str, Any]) -> None:
        """`promised`: a cut is planned on it."""
        super().__init__(data, initial=initial)
        if promised:
            self.fields["release"] = _release()


class OperationForm(forms.Form):
    """Something done to so many of a piece."""

    name = forms.CharField(label=_("What is done"), max_length=40, help_text=_("trim, flute, dimple, prime"))
    hand = forms.ChoiceField(label=_("Hand"), choices=Hand.choices, initial=Hand.NONE)
    count = forms.IntegerField(label=_("To how many"), min_value=1)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, data: Any) -> None:
        """It stands on the page beside the piece's own form."""
        super().__init__(data, auto_id="operation-%s")


class DoneForm(forms.Form):
    """Pieces that it was done to."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    count = forms.IntegerField(label=_("How many more"), min_value=1, initial=1)
    on = DayInput(label=_("Day"))

    def __init__(self, data: Any, *, today: date, of: int) -> None:
        """No day to come. `of` is the operation: a page has several of these."""
        super().__init__(data, initial={"on": today, "key": uuid4()}, auto_id=f"done-{of}-%s")
        self.fields["on"].validators.append(not_after(today))
