"""What finishing a step asks."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField

from buildplan.records.queries import Choice, Proposal
from inventory.common.forms import DayInput, QuantityInput, not_after

TAKE = "take-"


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

    on = DayInput(label="Done on")
    note = forms.CharField(label="Note", required=False, max_length=200)
    without_movements = forms.BooleanField(label="done, without movements: stock stays as it is", required=False)

    def __init__(self, data: Any, *, proposals: Iterable[Proposal], on: date, today: date, note: str = "") -> None:
        """`proposals` are of the day `on`."""
        super().__init__(data, initial={"on": on, "note": note})
        self.fields["on"].validators.append(not_after(today))
        self._choices = [choice for proposal in proposals for choice in proposal.choices]
        for choice in self._choices:
            label = f"{choice.lot_code or 'no lot code'} in {choice.path}"
            self.fields[field_name(choice)] = QuantityInput(label=f"Take of {label}", zero=True, required=False, initial=choice.proposed)

    def field_of(self, choice: Choice) -> BoundField:
        """The box for a lot in a place."""
        return self[field_name(choice)]

    def clean(self) -> dict[str, Any]:
        """Refuse quantities typed for lots that can't serve on that day, which no box shows any more, instead of dropping them."""
        gone = [name for name, typed in _typed(self.data) if name not in self.fields and typed.strip() not in {"", "0"}]
        if gone:
            message = "A lot that you gave a quantity for can't serve on that day, or is used up meanwhile: look at the quantities again."
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
