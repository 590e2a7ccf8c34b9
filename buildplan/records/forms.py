"""What finishing a step asks, and what weighing out its sealant asks."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator
from django.forms import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from buildplan.figures.reading import Temperature
from buildplan.records.mixing import Given
from buildplan.records.queries import Choice, Proposal
from buildplan.records.sheet import Product
from buildplan.sealing.metal import refuse_implausible
from inventory.common.forms import DayInput, QuantityInput, not_after
from inventory.common.problems import FieldProblem

TAKE = "take-"
LIFE = "life-"
MOST_PEOPLE = 100
MOST_HOURS = 1000


@dataclass(frozen=True, slots=True)
class Taken:
    """A quantity that was typed for a lot in a place."""

    lot: int
    place: int
    quantity: Decimal


class DayForm(forms.Form):
    """The day of a finish alone: it decides which lots can serve."""

    on = DayInput()

    def __init__(self, data: Any, *, today: date) -> None:
        """A day to come can't be chosen."""
        super().__init__(data)
        self.fields["on"].validators.append(not_after(today))

    def day(self, otherwise: date) -> date:
        """The day given, where it is one."""
        day: date = self.cleaned_data["on"] if self.is_valid() else otherwise
        return day


class FinishForm(forms.Form):
    """What a step took: one quantity for each lot and place that it may take from, with what netting proposes filled in."""

    on = DayInput(label=_("Done on"))
    note = forms.CharField(label=_("Note"), required=False, max_length=200)
    without_movements = forms.BooleanField(label=_("done, without movements: stock stays as it is"), required=False)

    def __init__(self, data: Any, *, proposals: Iterable[Proposal], on: date, today: date, note: str = "") -> None:
        """`proposals` are of the day `on`."""
        super().__init__(data, initial={"on": on, "note": note})
        self.fields["on"].validators.append(not_after(today))
        self._choices = [choice for proposal in proposals for choice in proposal.choices]
        for choice in self._choices:
            label = gettext("%(lot)s in %(place)s") % {"lot": choice.lot_code or gettext("no lot code"), "place": choice.path}
            self.fields[field_name(choice)] = QuantityInput(
                label=gettext("Take of %(lot)s") % {"lot": label}, zero=True, required=False, initial=choice.proposed
            )

    def field_of(self, choice: Choice) -> BoundField:
        """The box for a lot in a place."""
        return self[field_name(choice)]

    def clean(self) -> dict[str, Any]:
        """Refuse quantities typed for lots that can't serve on that day, which no box shows any more, instead of dropping them."""
        gone = [name for name, typed in _typed(self.data) if name not in self.fields and typed.strip() not in {"", "0"}]
        if gone:
            message = _(
                "A lot that you gave a quantity for can't serve on that day, or is used up meanwhile: look at the quantities again."
            )
            raise ValidationError(message)
        return self.cleaned_data

    def taken(self) -> list[Taken]:
        """What was typed and isn't 0."""
        found = ((choice, self.cleaned_data.get(field_name(choice))) for choice in self._choices)
        return [Taken(choice.lot, choice.place, quantity) for choice, quantity in found if quantity]


def field_name(choice: Choice) -> str:
    """How the form names a lot in a place."""
    return f"{TAKE}{choice.lot}-{choice.place}"


def _typed(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    return ((name, str(data[name])) for name in data if name.startswith(TAKE))


def asked_day(data: Mapping[str, Any], otherwise: date) -> date:
    """The day that the address names, where it can be read."""
    try:
        return SealingForm.base_fields["day"].clean(data.get("day", "")) or otherwise
    except ValidationError:
        return otherwise


class SealingForm(forms.Form):
    """What a person says of a day of sealing. It is asked by GET, so that its answer can be kept as a bookmark and printed."""

    day = DayInput(label=_("Day of the work"), required=False)
    people = forms.IntegerField(label=_("People who place it"), required=False, min_value=1, max_value=MOST_PEOPLE)
    pace = QuantityInput(label=_("Grams that one person places in an hour"), required=False)
    temperature = forms.CharField(
        label=_("Temperature of the metal"),
        required=False,
        max_length=20,
        help_text=_("77 F or 25 C"),
        widget=forms.TextInput(attrs={"autocomplete": "off", "size": 9}),
    )
    division = QuantityInput(label=_("Division of the scale in grams"), required=False, help_text=_("0.1 on most bench scales"))

    def __init__(self, data: Mapping[str, Any], *, products: Iterable[Product], day: date) -> None:
        """One work life is asked for each product; `day` is the day to begin with."""
        self._day = day
        self._codes = [product.code for product in products]
        asked = any(name in data for name in (*self.base_fields, *(f"{LIFE}{code}" for code in self._codes)))
        super().__init__(data if asked else None, initial={"day": day})
        for code in self._codes:
            label = gettext("Work life of %(code)s in hours at 77 F") % {"code": code}
            self.fields[f"{LIFE}{code}"] = QuantityInput(label=label, required=False, help_text=_("as on its data sheet"))
            self.fields[f"{LIFE}{code}"].validators.append(MaxValueValidator(MOST_HOURS, _("That is no work life: check it.")))

    def clean_temperature(self) -> Fraction | None:
        """Degrees Fahrenheit."""
        text = self.cleaned_data["temperature"]
        try:
            found = Temperature("F")(text) if text else None
            refuse_implausible("temperature", found)
        except FieldProblem as problem:
            raise ValidationError(f"{str(problem)[:1].upper()}{str(problem)[1:]}.") from problem
        except ValueError as error:
            told = str(error)
            raise ValidationError(f"{told[:1].upper()}{told[1:]}: write 77 F or 25 C.") from error
        return found

    def given(self) -> Given:
        """What was said and could be read."""
        self.is_valid()
        said = getattr(self, "cleaned_data", {})  # there is none of a form that wasn't asked
        lives = {code: said[f"{LIFE}{code}"] for code in self._codes if said.get(f"{LIFE}{code}")}
        return Given(
            day=said.get("day") or self._day,
            people=said.get("people"),
            pace=said.get("pace"),
            temperature_f=said.get("temperature"),
            division=said.get("division"),
            lives=lives,
        )
