"""What the pages of the log ask."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from buildplan.logbook.calc import clock, prose, read_minutes
from buildplan.logbook.queries import HoursRow
from buildplan.logbook.services import MOST_LICENCE, MOST_NAME, MOST_PEOPLE, MOST_STATEMENT, MOST_TEXT, MOST_WHY, STATEMENT
from inventory.common.forms import DayInput, not_after
from inventory.photos.forms import PhotoInput
from inventory.photos.services import MOST_CAPTION

WHO, TIME = "who-", "time-"
BLANK = 2  # rows for more people than are named
MOST_ID = 2**63 - 1


class TimeInput(forms.CharField):
    """How long, as people write it; None for a blank. A text box: phones offer no colon beside their digits."""

    def __init__(self, **kwargs: Any) -> None:
        """As the hours of an entry ask it."""
        super().__init__(max_length=20, required=False, widget=forms.TextInput(attrs={"autocomplete": "off", "size": 7}), **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Minutes as a clock; what was typed stays as it was typed."""
        return clock(value) if isinstance(value, int) else value

    def clean(self, value: Any) -> Any:
        """The minutes."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return read_minutes(text)
        except ValueError as error:
            told = str(error)
            raise ValidationError(f"{told[:1].upper()}{told[1:]}.") from error


@dataclass(frozen=True, slots=True)
class Said:
    """How long somebody worked, as the form says: a member's id, or a helper's name."""

    minutes: int
    member: int | None
    name: str


class EntryForm(forms.Form):
    """What was done, and who worked how long. `people` are the members to choose from by id; any other name is a helper's."""

    on = DayInput(label=_("Day of the work"))
    text = forms.CharField(label=_("What was done"), max_length=2 * MOST_TEXT, widget=forms.Textarea(attrs={"rows": 5}))

    def __init__(
        self, data: Any = None, files: Any = None, *, today: Any, people: Mapping[int, str], hours: Sequence[HoursRow] = (), **kwargs: Any
    ) -> None:
        """`hours` are those to begin with; a row without minutes asks for them."""
        initial = dict(kwargs.pop("initial", {}))
        self.people = people
        count = _rows_in(data) if data is not None else len(hours) + BLANK
        for at, row in enumerate(hours):
            initial[f"{WHO}{at}"] = people.get(row.member_id or 0, row.who)
            initial[f"{TIME}{at}"] = row.minutes or None
        super().__init__(data, files, initial=initial, **kwargs)
        self.fields["on"].validators.append(not_after(today))
        self.count = min(MOST_PEOPLE, count + (BLANK if data is not None and "more" in data else 0))
        for at in range(self.count):
            self._ask(at)

    def _ask(self, at: int) -> None:
        box = forms.TextInput(attrs={"list": "people", "autocomplete": "off"})
        number = at + 1
        who = forms.CharField(label=_("Person %(number)s") % {"number": number}, max_length=MOST_NAME, required=False, widget=box)
        self.fields[f"{WHO}{at}"] = who
        self.fields[f"{TIME}{at}"] = TimeInput(label=_("Hours %(number)s") % {"number": number})

    @property
    def worked(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """The boxes of each person."""
        return [(self[f"{WHO}{at}"], self[f"{TIME}{at}"]) for at in range(self.count)]

    def clean_text(self) -> str:
        """As it is kept."""
        try:
            return prose(self.cleaned_data["text"], MOST_TEXT)
        except ValueError as error:
            told = str(error)
            raise ValidationError(f"{told[:1].upper()}{told[1:]}.") from error

    def clean(self) -> dict[str, Any]:
        """Refuse hours of nobody. A name without hours is let go: nobody worked no time."""
        given = self.cleaned_data
        for at in range(self.count):
            if given.get(f"{TIME}{at}") and not given.get(f"{WHO}{at}"):
                self.add_error(f"{WHO}{at}", _now("Say whose hours these are, or clear them."))
        return given

    def hours(self) -> list[Said]:
        """What was said of hours."""
        by_name = {name.casefold(): pk for pk, name in self.people.items()}
        found = ((self.cleaned_data[f"{WHO}{at}"], self.cleaned_data[f"{TIME}{at}"]) for at in range(self.count))
        return [_said(who, minutes, by_name.get(who.casefold())) for who, minutes in found if minutes]


def _said(who: str, minutes: int, member: int | None) -> Said:
    return Said(minutes, member, "" if member else who)


def _rows_in(data: Iterable[str]) -> int:
    """How many people's rows were sent."""
    ends = [name.removeprefix(WHO) for name in data if name.startswith(WHO)]
    return max((int(end) + 1 for end in ends if end.isascii() and end.isdigit() and len(end) <= len(str(MOST_PEOPLE))), default=0)


class NewEntryForm(EntryForm):
    """A new entry, with a photo straight from the camera. Its `key` is its own: sent twice, it makes one."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    photo = PhotoInput(label=_("Photo"), required=False)
    caption = forms.CharField(label=_("What the photo shows"), required=False, max_length=MOST_CAPTION)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """A key of its own each time it is shown anew."""
        kwargs["initial"] = {"key": uuid4(), **kwargs.pop("initial", {})}
        super().__init__(*args, **kwargs)


class WhyForm(forms.Form):
    """The reason for striking an entry out, or for withdrawing a signature."""

    why = forms.CharField(label=_("Reason"), max_length=MOST_WHY, widget=forms.TextInput(attrs={"autocomplete": "off"}))


class SignForm(forms.Form):
    """What a signature says. `name` is asked of an owner alone, who may write down who looked at it."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    name = forms.CharField(label=_("Who has seen it"), max_length=MOST_NAME)
    licence = forms.CharField(
        label=_("Licence or authority number"),
        required=False,
        max_length=MOST_LICENCE,
        help_text=_("your own text; Rivetloft doesn't check it"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    statement = forms.CharField(label=_("What you say of it"), max_length=MOST_STATEMENT, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, data: Any = None, *, inspector: bool, **kwargs: Any) -> None:
        """An inspector signs in their own name."""
        kwargs["initial"] = {"key": uuid4(), "statement": STATEMENT, **kwargs.pop("initial", {})}
        super().__init__(data, **kwargs)
        if inspector:
            del self.fields["name"]

    def clean_statement(self) -> str:
        """In one line: line breaks of the box are none of its own."""
        return " ".join(self.cleaned_data["statement"].split())


class AskedForm(forms.Form):
    """Which part of the log to show."""

    project = forms.CharField(label=_("Project"), required=False, max_length=40)
    section = forms.TypedChoiceField(label=_("Section"), required=False, coerce=int, empty_value=None)
    first = DayInput(label=_("From"), required=False)
    last = DayInput(label=_("Through"), required=False)
    member = forms.TypedChoiceField(label=_("Person"), required=False, coerce=int, empty_value=None)

    def __init__(
        self,
        data: Any = None,
        *,
        projects: Sequence[tuple[str, str]],
        sections: Sequence[tuple[int, str]],
        people: Mapping[int, str],
        **kwargs: Any,
    ) -> None:
        """What there is to choose from."""
        super().__init__(data, **kwargs)
        everything = ("", _("all"))
        self.fields["project"] = forms.ChoiceField(label=_("Project"), required=False, choices=[everything, *projects])
        self.fields["section"].choices = [everything, *((str(pk), name) for pk, name in sections)]  # type: ignore[attr-defined] # a choice field
        self.fields["member"].choices = [everything, *((str(pk), name) for pk, name in people.items())]  # type: ignore[attr-defined] # likewise

    def clean(self) -> dict[str, Any]:
        """Refuse a period that ends before it begins."""
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if first and last and last < first:
            self.add_error(
                "last", _now("%(last)s is before %(first)s: give the first day before the last.") % {"last": last, "first": first}
            )
        return self.cleaned_data
