"""What the pages of hands, conflicts and match marks ask."""

import re
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.db.models.functions import Upper
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from buildplan.fitting import assemblies, conflicts, hands
from buildplan.fitting.assemblies import DEEDS
from buildplan.fitting.calc import Phase, Source
from buildplan.fitting.models import Deed, Matter
from buildplan.plan.models import Hand, Project, Step
from inventory.catalogue.calc import key
from inventory.catalogue.forms import CodeInput
from inventory.common.forms import DayInput, not_after
from inventory.models import Identifier, Item, Lot, Workshop

MOST_CODES = 2000
OFFERED = "codes"
_SPLIT = re.compile(r"[,;\n]")
MATTERS = {
    Matter.HAND: _("hand: left or right"),
    Matter.SIZE: _("size: a rivet, a drill, a length"),
    Matter.COUNT: _("count: how many"),
    Matter.POSITION: _("position: where it goes"),
    Matter.OTHER: _("something else"),
}
SIDES = {Source.TEXT: _("The text"), Source.DRAWING: _("The drawing"), Source.NEITHER: _("Neither")}
PHASES = {
    Phase.FIT_UP: _("First fit-up"),
    Phase.MATCH_DRILL: _("Match drilling"),
    Phase.DEBURR: _("Taken apart and deburred"),
    Phase.FINAL: _("Put together for good"),
}
DEED_NAMES = {
    Deed.MARKED: _("marked"),
    Deed.TOGETHER: _("put together"),
    Deed.DRILLED: _("drilled"),
    Deed.APART: _("taken apart"),
    Deed.DEBURRED: _("deburred"),
    Deed.ENDED: _("taken away"),
}


def hidden_key() -> forms.UUIDField:
    """What makes a second press of the button the same act as the first."""
    return forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)


def lines(most: int, *, rows: int = 2, **kwargs: Any) -> forms.CharField:
    """A text over a few lines of the page; line breaks become blanks, since a row keeps one line."""
    return forms.CharField(max_length=most, widget=forms.Textarea(attrs={"rows": rows}), **kwargs)


def _one_line(given: Mapping[str, Any]) -> dict[str, Any]:
    return {name: " ".join(value.split()) if isinstance(value, str) else value for name, value in given.items()}


class CodesInput(forms.CharField):
    """Codes in a row, separated by commas."""

    def __init__(self, **kwargs: Any) -> None:
        """Blank where there is none."""
        super().__init__(required=False, max_length=MOST_CODES, widget=forms.TextInput(attrs={"autocomplete": "off"}), **kwargs)

    def clean(self, value: Any) -> Any:
        """The codes, each once."""
        return list(dict.fromkeys(code.strip() for code in _SPLIT.split(super().clean(value)) if code.strip()))


def steps_of(project: Project, codes: Iterable[str]) -> list[Step]:
    """The steps of these codes; who names one that isn't there is told which."""
    wanted = {code.upper() for code in codes}
    rows = Step.objects.filter(project=project).annotate(upper=Upper("code")).filter(upper__in=wanted).select_related("project__bench")
    found: list[Step] = [*rows.order_by("position")]
    if missing := sorted(wanted - {row.code.upper() for row in found}):
        raise ValidationError(_now("There is no step %(codes)s in this plan.") % {"codes": ", ".join(missing)})
    return found


def items_of(codes: Iterable[str]) -> list[Item]:
    """The items of these codes, whichever of an item's codes was given."""
    wanted = {key(code): code for code in codes}
    rows = Identifier.objects.filter(key__in=wanted).select_related("item").order_by("item__code")
    found = {row.key: row.item for row in rows}
    if missing := [code for at, code in wanted.items() if at not in found]:
        raise ValidationError(_now("There is no item %(codes)s.") % {"codes": ", ".join(missing)})
    return list(dict.fromkeys(found.values()))


class ItemInput(CodeInput):
    """Any code of an item; None for a blank that may be one."""

    def __init__(self, **kwargs: Any) -> None:
        """The page offers its codes."""
        super().__init__(offered=OFFERED, **kwargs)

    def clean(self, value: Any) -> Any:
        """The item."""
        return None if not self.required and not (value or "").strip() else super().clean(value)


class OfWorkshop(forms.Form):
    """A form that asks for items."""

    def __init__(self, data: Any = None, *, workshop: Workshop, **kwargs: Any) -> None:
        """Codes mean what they mean in this workshop."""
        super().__init__(data, **kwargs)
        for field in self.fields.values():
            if isinstance(field, ItemInput):
                field.workshop = workshop


class ConflictForm(forms.Form):
    """Both readings, and what rests on them."""

    key = hidden_key()
    title = forms.CharField(label=_("What it is about"), max_length=conflicts.LENGTHS["title"])
    kind = forms.ChoiceField(label=_("They disagree on"), choices=list(MATTERS.items()))
    text_says = lines(conflicts.LENGTHS["text_says"], label=_("The text says"))
    text_where = forms.CharField(
        label=_("Where in the text"), max_length=conflicts.LENGTHS["text_where"], help_text=_("page, section, step")
    )
    drawing_says = lines(conflicts.LENGTHS["drawing_says"], label=_("The drawing says"))
    drawing_where = forms.CharField(
        label=_("Where in the drawings"), max_length=conflicts.LENGTHS["drawing_where"], help_text=_("sheet, view, revision")
    )
    steps = CodesInput(label=_("Steps that rest on it"), help_text=_("codes, separated by commas"))
    items = CodesInput(
        label=_("Parts and rivets that rest on it"), help_text=_("item codes: every step of this aeroplane that takes one is held too")
    )

    def __init__(self, data: Any, *, project: Project, **kwargs: Any) -> None:
        """`project` is whose plans they are."""
        super().__init__(data, **kwargs)
        self._project = project

    def clean_steps(self) -> list[Step]:
        """Their rows."""
        return steps_of(self._project, self.cleaned_data["steps"])

    def clean_items(self) -> list[Item]:
        """Their rows."""
        return items_of(self.cleaned_data["items"])

    def readings(self) -> dict[str, Any]:
        """What is said of the conflict itself."""
        return _one_line({name: self.cleaned_data[name] for name in ("title", "kind", *conflicts.LENGTHS)})


class DatedForm(forms.Form):
    """Something that is said of a day that is over."""

    on = DayInput(label=_("Day"))

    def __init__(self, data: Any = None, *, today: date, **kwargs: Any) -> None:
        """`today` is offered."""
        super().__init__(data, initial={"on": today, **kwargs.pop("initial", {})}, **kwargs)
        self.fields["on"].validators.append(not_after(today))

    def clean(self) -> dict[str, Any]:
        """On one line each."""
        return _one_line(super().clean() or self.cleaned_data)


class AnswerForm(DatedForm):
    """What the maker answered."""

    key = hidden_key()
    text = lines(conflicts.MOST_ANSWER, label=_("The maker's answer"))
    reference = forms.CharField(
        label=_("Where it can be looked up"), max_length=conflicts.MOST_REFERENCE, help_text=_("letter, mail, bulletin, with its number")
    )


class SettleForm(DatedForm):
    """Which side turned out right."""

    right = forms.ChoiceField(label=_("Right is"), choices=list(SIDES.items()), widget=forms.RadioSelect)
    note = lines(
        conflicts.MOST_NOTE, label=_("Note"), required=False, help_text=_("without an answer of the maker: what the decision rests on")
    )


class ReopenForm(forms.Form):
    """Why a decision doesn't stand."""

    why = lines(conflicts.MOST_NOTE, label=_("Why is it open again?"))

    def clean_why(self) -> str:
        """On one line."""
        return " ".join(self.cleaned_data["why"].split())


# Hands


class HandForm(OfWorkshop):
    """Which hand an item is."""

    item = ItemInput(label=_("Item"))
    hand = forms.ChoiceField(
        label=_("Hand"),
        required=False,
        choices=[(Hand.LEFT, _("left")), (Hand.RIGHT, _("right")), (Hand.NONE, _("fits either side")), ("", _("nothing said"))],
    )


class PairForm(OfWorkshop):
    """A mirrored pair."""

    left = ItemInput(label=_("Left item"))
    right = ItemInput(label=_("Right item"))


class FalseMirrorForm(OfWorkshop):
    """Two that only look like a pair."""

    one = ItemInput(label=_("One item"))
    other = ItemInput(label=_("The other"))
    told_apart = forms.CharField(label=_("What tells them apart"), max_length=hands.MOST_TOLD)


# Assemblies


class AssemblyForm(forms.Form):
    """An assembly with its steps by phase."""

    key = hidden_key()
    name = forms.CharField(label=_("Name"), max_length=assemblies.MOST_NAME)
    note = forms.CharField(label=_("Note"), required=False, max_length=assemblies.MOST_NOTE)

    def __init__(self, data: Any, *, project: Project, **kwargs: Any) -> None:
        """A box of step codes for each phase."""
        super().__init__(data, **kwargs)
        self._project = project
        for phase, label in PHASES.items():
            self.fields[phase.value] = CodesInput(label=label, help_text=_("step codes, separated by commas"))

    def clean(self) -> dict[str, Any]:
        """The steps of each phase as rows."""
        given = super().clean() or self.cleaned_data
        given["steps"] = []
        for phase in PHASES:
            try:
                given["steps"] += [(step, phase.value) for step in steps_of(self._project, given.get(phase.value, ()))]
            except ValidationError as error:
                self.add_error(phase.value, error)
        return given


class PositionsForm(OfWorkshop):
    """Positions of some parts, by number."""

    parts = CodesInput(label=_("Parts that are drilled together"), help_text=_("such as: skin, stiffener"))
    first = forms.IntegerField(label=_("First number"), min_value=1, max_value=assemblies.MOST_NUMBER, initial=1)
    last = forms.IntegerField(label=_("Last number"), min_value=1, max_value=assemblies.MOST_NUMBER)
    item = ItemInput(label=_("Item of these parts"), required=False, help_text=_("blank where they are of several items"))


class DeedForm(DatedForm):
    """What was done to all pieces of some numbers."""

    key = hidden_key()
    deed = forms.ChoiceField(label=_("Done"), choices=[(deed, DEED_NAMES[deed]) for deed in DEEDS])
    first = forms.IntegerField(label=_("From number"), min_value=1, max_value=assemblies.MOST_NUMBER, initial=1)
    last = forms.IntegerField(label=_("To number"), min_value=1, max_value=assemblies.MOST_NUMBER)
    drill = forms.CharField(label=_("Drill"), required=False, max_length=10, help_text=_("40, #30, 1/8"))
    final = forms.BooleanField(label=_("To final size"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=assemblies.MOST_REASON)
    field_order = ("deed", "first", "last", "on", "drill", "final", "note")


class PieceForm(DatedForm):
    """Which piece is marked."""

    key = hidden_key()
    lot = forms.TypedChoiceField(label=_("Of lot"), required=False, coerce=int, empty_value=None)
    words = forms.CharField(
        label=_("The piece in words"),
        required=False,
        max_length=assemblies.MOST_WORDS,
        help_text=_("where no lot says it: which one it is"),
    )
    reason = forms.CharField(
        label=_("Why here"), required=False, max_length=assemblies.MOST_REASON, help_text=_("where it is no piece of this position's item")
    )
    field_order: tuple[str, ...] = ("lot", "words", "on", "reason")

    def __init__(self, data: Any = None, *, today: date, lots: Iterable[tuple[int, str]], **kwargs: Any) -> None:
        """`lots` are those that may be chosen."""
        super().__init__(data, today=today, **kwargs)
        self.fields["lot"].choices = [("", _("no lot")), *lots]  # type: ignore[attr-defined] # a choice field has them

    def piece(self) -> assemblies.Piece:
        """The piece."""
        given = self.cleaned_data
        lot = Lot.objects.select_related("item").filter(pk=given["lot"]).first() if given["lot"] else None
        return assemblies.Piece(lot, given["words"], given["reason"])


class ReplaceForm(PieceForm):
    """A new piece in place of one that goes."""

    why = forms.CharField(label=_("Why the old one goes"), max_length=assemblies.MOST_REASON)
    field_order = ("why", "lot", "words", "on", "reason")


class AwayForm(DatedForm):
    """A piece that goes."""

    why = forms.CharField(label=_("Why it goes"), max_length=assemblies.MOST_REASON)


class TakeForm(DatedForm):
    """A piece taken for another position."""

    key = hidden_key()
    position = forms.TypedChoiceField(label=_("For position"), coerce=int)
    reason = forms.CharField(
        label=_("Why"), max_length=assemblies.MOST_REASON - 100, help_text=_("its holes were drilled with others: say why they fit here")
    )

    def __init__(self, data: Any = None, *, today: date, positions: Iterable[tuple[int, str]], **kwargs: Any) -> None:
        """`positions` are the others of the assembly."""
        super().__init__(data, today=today, **kwargs)
        self.fields["position"].choices = list(positions)  # type: ignore[attr-defined] # a choice field has them
