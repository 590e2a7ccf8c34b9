"""What the pages of seal days ask."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator
from django.forms import BoundField
from django.utils import timezone
from django.utils.translation import gettext, pgettext_lazy
from django.utils.translation import gettext_lazy as _

from buildplan.figures.reading import Temperature
from buildplan.sealday.dayview import BatchLot, ProductDay, Share, StepOnDay
from buildplan.sealday.services import PersonData
from inventory.common.exact import decimal_text
from inventory.common.fields import plain
from inventory.common.forms import DayInput, QuantityInput

MOST_PEOPLE = 30
MOST_HOURS = 1000
MOST_NAME = 120
MOST_TEXT = 200
MOST_NOTE = 400
MOST_SHARES = 100
MORE_ROWS = 2  # blank ones below those that are filled in
LOCAL = "%Y-%m-%dT%H:%M"  # what a browser's field of day and time reads and writes
COMES, GOES = time(9), time(17)
TAKE, SHARE, LIFE, CURE = "take-", "share-", "life-", "cure-"
DONE, CARRIED = "done", "carried"


class TemperatureInput(forms.CharField):
    """Degrees of the metal: `72 F` or `22 C`, in Fahrenheit as a `Fraction`; None for a blank."""

    def __init__(self, **kwargs: Any) -> None:
        """A text box: a number alone could be either scale."""
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off", "size": 9}))
        super().__init__(max_length=20, help_text=_("72 F or 22 C"), **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Degrees Fahrenheit as people write them; what was typed stays as it was typed."""
        return f"{decimal_text(value, 1)} F" if isinstance(value, Fraction) else value

    def clean(self, value: Any) -> Any:
        """Degrees Fahrenheit."""
        text = super().clean(value)
        try:
            return Temperature("F")(text) if text else None
        except ValueError as error:
            told = str(error)
            raise ValidationError(_("%(told)s: write 72 F or 22 C.") % {"told": f"{told[:1].upper()}{told[1:]}"}) from error


class FractionInput(QuantityInput):
    """A figure over 0 that is kept as a fraction; None for a blank."""

    def prepare_value(self, value: Any) -> Any:
        """In plain digits."""
        return decimal_text(value, 3) if isinstance(value, Fraction) else super().prepare_value(value)

    def clean(self, value: Any) -> Any:
        """The figure."""
        found = super().clean(value)
        return None if found is None else Fraction(found)


class MomentInput(forms.DateTimeField):
    """A day and a time by the workshop's clock."""

    def __init__(self, **kwargs: Any) -> None:
        """The browser offers its own picker; `data-now` lets the page run it until somebody sets it."""
        widget = forms.DateTimeInput(attrs={"type": "datetime-local", "data-now": ""}, format=LOCAL)
        super().__init__(input_formats=[LOCAL, f"{LOCAL}:%S"], widget=widget, **kwargs)
        self.error_messages["invalid"] = _("Write the day and time as 2027-03-14T13:30.")


class DayForm(forms.Form):
    """What is said of a day as a whole."""

    temperature_f = TemperatureInput(label=_("Temperature of the metal, as expected"), required=False)
    pace = FractionInput(label=_("Grams that one person places in an hour"), required=False)
    division = FractionInput(label=_("Division of the scale in grams"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=MOST_NOTE)


class PeopleForm(forms.Form):
    """Who is there, from when to when: a row for each, and blank ones below. A row without a name doesn't count."""

    def __init__(self, data: Any, *, people: Sequence[tuple[str, time, time]] = (), **kwargs: Any) -> None:
        """`people` are those to begin with."""
        super().__init__(data, **kwargs)
        self._rows = _typed_rows(data) if data is not None else len(people) + MORE_ROWS
        for at in range(self._rows):
            name, comes, goes = people[at] if at < len(people) else ("", COMES, GOES)
            self._add_row(at, name, comes, goes)

    def _add_row(self, at: int, name: str, comes: time, goes: time) -> None:
        who = forms.TextInput(attrs={"list": "members", "autocomplete": "off"})
        self.fields[f"name-{at}"] = forms.CharField(label=_("Who"), required=False, max_length=MOST_NAME, initial=name, widget=who)
        for field, label, initial in (
            ("comes", pgettext_lazy("time of day", "From"), comes),
            ("goes", pgettext_lazy("time of day", "To"), goes),
        ):
            widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
            self.fields[f"{field}-{at}"] = forms.TimeField(label=label, required=False, initial=initial, widget=widget)
            self.fields[f"{field}-{at}"].error_messages["invalid"] = _("Write the time as 09:30.")

    def rows(self) -> list[tuple[BoundField, BoundField, BoundField]]:
        """The boxes of each person."""
        return [(self[f"name-{at}"], self[f"comes-{at}"], self[f"goes-{at}"]) for at in range(self._rows)]

    def clean(self) -> dict[str, Any]:
        """Whoever is named stays a while."""
        given = super().clean() or self.cleaned_data
        for at in range(self._rows):
            if not given.get(f"name-{at}"):
                continue
            comes, goes = given.get(f"comes-{at}"), given.get(f"goes-{at}")
            if comes is None or goes is None:
                self._ask_times(at)
            elif comes >= goes:
                self.add_error(f"goes-{at}", _("That is no later than %(comes)s: give the time of leaving.") % {"comes": f"{comes:%H:%M}"})
        return given

    def _ask_times(self, at: int) -> None:
        if f"comes-{at}" not in self.errors and f"goes-{at}" not in self.errors:
            self.add_error(f"comes-{at}", _("Say from when to when."))

    def people(self, members: Mapping[str, Any]) -> list[PersonData]:
        """Those named; who has a member's name is that member."""
        given = self.cleaned_data
        named = [at for at in range(self._rows) if given.get(f"name-{at}")]
        return [_person(given, at, members) for at in named]


def _person(given: Mapping[str, Any], at: int, members: Mapping[str, Any]) -> PersonData:
    name = given[f"name-{at}"]
    return PersonData(name=name, comes=given[f"comes-{at}"], goes=given[f"goes-{at}"], member=members.get(name.casefold()))


def _typed_rows(data: Mapping[str, Any]) -> int:
    return next((at for at in range(MOST_PEOPLE) if f"name-{at}" not in data), MOST_PEOPLE)


class StepsForm(forms.Form):
    """The steps of a day."""

    steps = forms.MultipleChoiceField(
        label=_("Steps"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": _("Tick the steps of the day."),
            "invalid_choice": _("One of the steps can't be chosen any more: look again."),
        },
    )

    def __init__(self, data: Any, *, choices: Iterable[tuple[int, str]], **kwargs: Any) -> None:
        """`choices` are ids of steps with what stands beside their boxes."""
        super().__init__(data, **kwargs)
        self.fields["steps"].choices = [(str(step), label) for step, label in choices]  # type: ignore[attr-defined]

    def step_ids(self) -> list[int]:
        """Those ticked."""
        return [int(step) for step in self.cleaned_data["steps"]]


class PlanForm(StepsForm, PeopleForm, DayForm):
    """A new seal day."""

    on = DayInput(label=_("Day"))

    field_order = ("on", "steps", "temperature_f", "pace", "division", "note")

    def clean(self) -> dict[str, Any]:
        """Somebody must be there."""
        given = super().clean()
        if not any(given.get(f"name-{at}") for at in range(self._rows)):
            self.add_error("name-0" if "name-0" in self.fields else None, _("Say who is there."))
        return given


class ProductsForm(forms.Form):
    """What the data sheets of a day's sealants say."""

    def __init__(self, data: Any, *, products: Iterable[ProductDay]) -> None:
        """Two boxes for each product."""
        super().__init__(data)
        self._items = []
        for product in products:
            self._items.append(product.item_id)
            life = _("Work life of %(product)s in hours at 77 F") % {"product": product.code}
            cure = _("Hours until %(product)s is cured") % {"product": product.code}
            for name, label, kept in ((LIFE, life, product.life_hours), (CURE, cure, product.cure_hours)):
                self.fields[f"{name}{product.item_id}"] = FractionInput(
                    label=label, required=False, initial=kept, help_text=_("as on its data sheet")
                )
                self.fields[f"{name}{product.item_id}"].validators.append(MaxValueValidator(MOST_HOURS, _("Over 1000 hours: check it.")))

    def given(self) -> list[tuple[int, Fraction | None, Fraction | None]]:
        """Item, work life and cure of each."""
        said = self.cleaned_data
        return [(item, said[f"{LIFE}{item}"], said[f"{CURE}{item}"]) for item in self._items]


class CheckForm(forms.Form):
    """A line of people's own for the night before."""

    text = forms.CharField(label=_("Also to be done"), max_length=MOST_TEXT, widget=forms.TextInput(attrs={"autocomplete": "off"}))


class MoveForm(forms.Form):
    """Where a day goes, and what goes with it."""

    to = DayInput(label=_("To which day"))
    days = forms.MultipleChoiceField(label=_("Seal days that move along"), required=False, widget=forms.CheckboxSelectMultiple)
    later = forms.BooleanField(label=_("Later steps move along: all that are planned and come after, by as many days"), required=False)

    def __init__(self, data: Any, *, others: Iterable[tuple[int, str]], **kwargs: Any) -> None:
        """`others` are the bench's other open days."""
        super().__init__(data, **kwargs)
        self.fields["days"].choices = [(str(day), label) for day, label in others]  # type: ignore[attr-defined]

    def day_ids(self) -> list[int]:
        """Those that move along."""
        return [int(day) for day in self.cleaned_data["days"]]


class CallOffForm(forms.Form):
    """Why a day is called off."""

    reason = forms.CharField(label=_("Why"), max_length=MOST_TEXT, widget=forms.TextInput(attrs={"autocomplete": "off"}))


@dataclass(frozen=True, slots=True)
class Said:
    """What became of a step, as typed."""

    step: int
    done: bool
    carry_to: date | None
    reason: str


class CloseForm(forms.Form):
    """Each step done, or carried to another day with a reason."""

    def __init__(self, data: Any, *, steps: Iterable[StepOnDay], tomorrow: date) -> None:
        """What is done already asks nothing."""
        super().__init__(data)
        self._steps = [step for step in steps if not step.done]
        for step in self._steps:
            choices = (
                (DONE, _("%(step)s is done") % {"step": step.code}),
                (CARRIED, _("%(step)s is carried to another day") % {"step": step.code}),
            )
            self.fields[f"outcome-{step.step_id}"] = forms.ChoiceField(
                label=step.title, choices=choices, widget=forms.RadioSelect, initial=DONE
            )
            self.fields[f"carry-{step.step_id}"] = DayInput(label=_("To which day"), required=False, initial=tomorrow)
            self.fields[f"reason-{step.step_id}"] = forms.CharField(label=_("Why"), required=False, max_length=MOST_TEXT)

    def boxes(self) -> list[tuple[StepOnDay, BoundField, BoundField, BoundField]]:
        """The boxes of each step that isn't done yet."""
        return [(step, *(self[f"{name}-{step.step_id}"] for name in ("outcome", "carry", "reason"))) for step in self._steps]  # type: ignore[misc]

    def clean(self) -> dict[str, Any]:
        """What is carried has its day and its reason."""
        given = super().clean() or self.cleaned_data
        for step in self._steps:
            if given.get(f"outcome-{step.step_id}") != CARRIED:
                continue
            if not given.get(f"carry-{step.step_id}") and f"carry-{step.step_id}" not in self.errors:
                self.add_error(f"carry-{step.step_id}", _("Give the day."))
            if not given.get(f"reason-{step.step_id}"):
                self.add_error(f"reason-{step.step_id}", _("Say why it is carried."))
        return given

    def outcomes(self) -> list[Said]:
        """What was said of each."""
        return [self._outcome(step.step_id) for step in self._steps]

    def _outcome(self, step: int) -> Said:
        given = self.cleaned_data
        if given[f"outcome-{step}"] == DONE:
            return Said(step, done=True, carry_to=None, reason="")
        return Said(step, done=False, carry_to=given[f"carry-{step}"], reason=given[f"reason-{step}"])


@dataclass(frozen=True, slots=True)
class Source:
    """A lot in a place that a batch may be taken from."""

    lot: int
    place: int
    label: str
    path: str
    there: Decimal
    planned: Decimal

    @property
    def name(self) -> str:
        """How the form names it."""
        return f"{self.lot}-{self.place}"

    def __str__(self) -> str:
        """As the list of lots says it: a label may name the place already."""
        where = self.label if self.path in self.label else gettext("%(lot)s in %(place)s") % {"lot": self.label, "place": self.path}
        return gettext("%(where)s, %(grams)s g there") % {"where": where, "grams": plain(self.there)}


def sources(planned: Iterable[BatchLot], others: Iterable[Source]) -> list[Source]:
    """The planned lots, each emptied place by place, then what else could serve."""
    found: dict[str, Source] = {}
    for source in (*(source for lot in planned for source in _of_lot(lot)), *others):
        found.setdefault(source.name, source)
    return list(found.values())


def _of_lot(lot: BatchLot) -> list[Source]:
    if lot.lot_id is None:  # still on its way: nothing can be taken of it
        return []
    left, found = lot.grams, []
    for place, path, there in lot.places:
        taken = min(left, there)
        left -= taken
        found.append(Source(lot.lot_id, place, lot.label, path, there, taken))
    return found


def write_shares(shares: Iterable[Share]) -> str:
    """Shares as the form carries them: what the person saw counts, whatever the plan says by then."""
    return " ".join(f"{share.step_id}:{plain(share.grams)}" for share in shares)


def read_shares(text: str, codes: Mapping[int, str]) -> list[Share]:
    """What `write_shares` wrote, as far as it is of steps in `codes`."""
    pairs = (part.partition(":") for part in text.split()[:MOST_SHARES])
    read = ((_whole(step), _decimal(grams)) for step, _, grams in pairs)
    return [Share(step, codes[step], grams) for step, grams in read if step in codes and grams]


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() else 0


def _decimal(text: str) -> Decimal:
    try:
        found = QuantityInput().clean(text)
    except ValidationError:
        return Decimal(0)
    return Decimal(found)


class MixForm(forms.Form):
    """A batch as it was really mixed, filled in as planned.

    From one lot in one place the grams follow from base and accelerator; `several` asks them lot by lot.
    """

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    item = forms.IntegerField(widget=forms.HiddenInput)
    planned = forms.CharField(widget=forms.HiddenInput)
    base = QuantityInput(label=_("Base, grams"))
    accelerator = QuantityInput(label=_("Accelerator, grams"), zero=True)
    lot = forms.ChoiceField(label=_("From lot"), error_messages={"invalid_choice": _("That lot can't serve any more: choose another.")})
    mixed_at = MomentInput(label=_("When mixing began"))
    temperature_f = TemperatureInput(label=_("Temperature of the metal"), required=False)
    mixed_by = forms.CharField(
        label=_("Who mixed it"), max_length=MOST_NAME, widget=forms.TextInput(attrs={"list": "people", "autocomplete": "off"})
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=MOST_TEXT)

    def __init__(
        self, data: Any, *, choices: Sequence[Source], shares: Sequence[Share], several: bool, now: datetime, **kwargs: Any
    ) -> None:
        """`choices` are the lots that can serve, `shares` what of the batch the plan means for which step."""
        super().__init__(data, **kwargs)
        self._choices, self._shares, self.several = choices, shares, several
        self.fields["mixed_at"].validators.append(_not_to_come(now))
        if several:
            del self.fields["lot"]
            self._ask_takes()
        else:
            self.fields["lot"].choices = [(source.name, str(source)) for source in choices]  # type: ignore[attr-defined]
            self.fields["lot"].initial = choices[0].name if choices else None
        if len(shares) > 1:
            self._ask_shares()

    def _ask_takes(self) -> None:
        for source in self._choices:
            initial = source.planned or None
            self.fields[f"{TAKE}{source.name}"] = QuantityInput(label=str(source), zero=True, required=False, initial=initial)

    def _ask_shares(self) -> None:
        for share in self._shares:
            label = _("Grams for %(step)s (planned %(grams)s)") % {"step": share.code, "grams": plain(share.grams)}
            self.fields[f"{SHARE}{share.step_id}"] = QuantityInput(label=label, zero=True, required=False)

    def clean(self) -> dict[str, Any]:
        """Refuse grams typed for lots that no box shows any more, instead of dropping them."""
        said = ((name, str(self.data[name])) for name in self.data if name.startswith(TAKE))
        if any(name not in self.fields and typed.strip() not in {"", "0"} for name, typed in said):
            message = _("A lot that you gave grams for can't serve any more, or is used up meanwhile: look at the lots again.")
            raise ValidationError(message)
        return self.cleaned_data

    @property
    def others(self) -> dict[int, str]:
        """The lots that can serve beside the planned ones, by id."""
        return {source.lot: source.label for source in self._choices if not source.planned}

    def take_boxes(self) -> list[BoundField]:
        """The boxes of lots, where they are asked one by one."""
        return [self[name] for name in self.fields if name.startswith(TAKE)]

    def share_boxes(self) -> list[BoundField]:
        """The boxes of steps, where there are several."""
        return [self[name] for name in self.fields if name.startswith(SHARE)]

    @property
    def grams(self) -> Decimal:
        """The whole batch."""
        total: Decimal = self.cleaned_data["base"] + self.cleaned_data["accelerator"]
        return total

    def takes(self) -> list[tuple[int, int, Decimal]]:
        """Lot, place and grams."""
        if not self.several:
            lot, place = self.cleaned_data["lot"].split("-")
            return [(int(lot), int(place), self.grams)]
        said = ((source, self.cleaned_data.get(f"{TAKE}{source.name}")) for source in self._choices)
        return [(source.lot, source.place, grams) for source, grams in said if grams]

    def shares(self) -> list[tuple[int, Decimal]]:
        """Step and grams: as given, else in proportion to the plan."""
        said = [(share.step_id, self.cleaned_data.get(f"{SHARE}{share.step_id}")) for share in self._shares]
        if any(grams is not None for _, grams in said):
            return [(step, grams) for step, grams in said if grams]
        return in_proportion(self._shares, self.grams)


def in_proportion(shares: Sequence[Share], grams: Decimal) -> list[tuple[int, Decimal]]:
    """`grams` over the steps as the plan shares them, by running sums, so that they add up to a thousandth."""
    planned = sum((share.grams for share in shares), Decimal(0))
    found, so_far, given = [], Decimal(0), Decimal(0)
    for share in shares:
        so_far += share.grams
        upto = (grams * so_far / planned).quantize(Decimal("0.001"))
        if upto > given:
            found.append((share.step_id, upto - given))
        given = upto
    return found


class EndForm(forms.Form):
    """What was left of a batch."""

    left = QuantityInput(label=_("Grams left over"), zero=True, help_text=_("0 where all of it was placed"))
    at = MomentInput(label=_("When it was used up or put away"))

    def __init__(self, data: Any, *, now: datetime, **kwargs: Any) -> None:
        """What is still to come can't be written down."""
        super().__init__(data, **kwargs)
        self.fields["at"].validators.append(_not_to_come(now))


def _not_to_come(now: datetime) -> Callable[[datetime], None]:
    def check(moment: datetime) -> None:
        if moment > now:
            message = _("That is still to come: give a time up to now.")
            raise ValidationError(message)

    return check


def local_minute(moment: datetime) -> datetime:
    """A moment by the workshop's clock, to the minute."""
    return timezone.localtime(moment).replace(second=0, microsecond=0)
