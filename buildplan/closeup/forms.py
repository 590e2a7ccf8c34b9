"""What the pages of closing up ask."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any
from uuid import uuid4

from django import forms
from django.forms import BoundField
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from buildplan.closeup.leaks import LeakRow
from buildplan.closeup.models import LeakReading, LeakTest
from buildplan.closeup.queries import PointRow
from buildplan.closeup.services import MOST_NAME, MOST_NOTE, MOST_SOURCE, MOST_TEXT, MOST_WHY, Edit, Measured, Read, Stated
from buildplan.closeup.units import PRESSURES, SCALES
from buildplan.sealday.forms import MomentInput
from inventory.common.exact import decimal_text

WHY, TEXT, PLACE, DROP, NEW = "why-", "text-", "place-", "drop-", "new-"
BLANK = 3  # boxes for new points
MOST_FIGURES, MOST_PLACES = 12, 6
UNITS = [("", _("unit")), *((name, name) for name in PRESSURES)]
DEGREES = [("", _("scale")), *((name, name) for name in SCALES)]


def _key() -> forms.UUIDField:
    return forms.UUIDField(widget=forms.HiddenInput)


class FigureInput(forms.DecimalField):
    """A figure as an instrument shows it, perhaps below 0. A text box: a number box changes by a stray scroll."""

    def __init__(self, **kwargs: Any) -> None:
        """Phones offer no sign beside their digits, so that the whole keyboard is shown."""
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off", "size": 9}))
        super().__init__(max_digits=MOST_FIGURES, decimal_places=MOST_PLACES, **kwargs)
        self.error_messages["invalid"] = _("Write the figure in digits, such as 12 or 0.5.")

    def prepare_value(self, value: Any) -> Any:
        """In plain digits; what was typed stays as it was typed."""
        return decimal_text(value, MOST_PLACES) if isinstance(value, Fraction) else value

    def clean(self, value: Any) -> Any:
        """The figure as a `Fraction`; None for a blank."""
        found = super().clean(value)
        return None if found is None else Fraction(found)


class WhyForm(forms.Form):
    """The reason for opening a section again, or for striking a reading out."""

    why = forms.CharField(label=_("Reason"), max_length=MOST_WHY, widget=forms.TextInput(attrs={"autocomplete": "off"}))


class CloseForm(forms.Form):
    """Closing a section up: the reason for each point that nobody ticked."""

    key = _key()

    def __init__(self, data: Any = None, *, points: Sequence[PointRow], **kwargs: Any) -> None:
        """`points` are those that nobody ticked."""
        kwargs["initial"] = {"key": uuid4(), **kwargs.pop("initial", {})}
        super().__init__(data, **kwargs)
        self.points = points
        for point in points:
            box = forms.TextInput(attrs={"autocomplete": "off"})
            label = _('"%(point)s" is not ticked because') % {"point": point.text}
            self.fields[f"{WHY}{point.name}"] = forms.CharField(label=label, required=False, max_length=MOST_NOTE, widget=box)
        self.fields["note"] = forms.CharField(label=_("Note"), required=False, max_length=MOST_NOTE)

    def reasons(self) -> dict[str, str]:
        """What was said, by the point's name."""
        return {point.name: self.cleaned_data[f"{WHY}{point.name}"] for point in self.points}


class ListForm(forms.Form):
    """The points of a list, each with its place and a box to take it off; blank boxes for new ones."""

    def __init__(self, data: Any = None, *, points: Sequence[PointRow], **kwargs: Any) -> None:
        """`points` are those that stand."""
        super().__init__(data, **kwargs)
        self.points = points
        for point in points:
            self._ask(point)
        for at in range(BLANK):
            label = _("New point %(number)s") % {"number": at + 1}
            self.fields[f"{NEW}{at}"] = forms.CharField(label=label, required=False, max_length=MOST_TEXT)

    def _ask(self, point: PointRow) -> None:
        number = {"inputmode": "numeric", "size": 3, "autocomplete": "off"}
        place = forms.IntegerField(
            label=_("Place"), initial=point.position, min_value=0, max_value=999, widget=forms.TextInput(attrs=number)
        )
        self.fields[f"{TEXT}{point.name}"] = forms.CharField(label=_("Point"), initial=point.text, max_length=MOST_TEXT)
        self.fields[f"{PLACE}{point.name}"] = place
        self.fields[f"{DROP}{point.name}"] = forms.BooleanField(label=_("Take it off the list"), required=False)

    def rows(self) -> list[tuple[BoundField, BoundField, BoundField]]:
        """The boxes of each point."""
        return [(self[f"{TEXT}{one.name}"], self[f"{PLACE}{one.name}"], self[f"{DROP}{one.name}"]) for one in self.points]

    def new(self) -> list[BoundField]:
        """The boxes of new points."""
        return [self[f"{NEW}{at}"] for at in range(BLANK)]

    def edits(self) -> list[Edit]:
        """What was said, as the service takes it."""
        given = self.cleaned_data
        kept = [
            Edit(given[f"{TEXT}{one.name}"], one.name, given[f"{PLACE}{one.name}"], drop=given[f"{DROP}{one.name}"]) for one in self.points
        ]
        return [*kept, *(Edit(text) for at in range(BLANK) if (text := given[f"{NEW}{at}"]))]


class LeakTestForm(forms.Form):
    """What is tested, and what its kit maker allows. Nothing stands in it before somebody enters it."""

    key = _key()
    name = forms.CharField(label=_("What is tested"), max_length=MOST_NAME, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    pressure = FigureInput(label=_("Kit maker's test pressure"), required=False, min_value=0)
    pressure_unit = forms.ChoiceField(label=_("Its unit"), required=False, choices=UNITS)
    drop = FigureInput(label=_("Kit maker's allowed drop"), required=False, min_value=0)
    drop_unit = forms.ChoiceField(label=_("Unit of the drop"), required=False, choices=UNITS)
    minutes = forms.IntegerField(
        label=_("In how many minutes"), required=False, min_value=1, widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 6})
    )
    source = forms.CharField(
        label=_("Where the kit maker says so"), required=False, max_length=MOST_SOURCE, help_text=_("the manual, its edition and page")
    )

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        """A key of its own each time it is shown anew."""
        kwargs["initial"] = {"key": uuid4(), **kwargs.pop("initial", {})}
        super().__init__(data, **kwargs)

    def clean(self) -> dict[str, Any]:
        """A figure has its unit."""
        for name in ("pressure", "drop"):
            _ask_unit(self, name, f"{name}_unit")
        return self.cleaned_data

    def stated(self) -> Stated:
        """As the service takes it."""
        given = self.cleaned_data
        pressure, drop = (_measured(given, name, f"{name}_unit") for name in ("pressure", "drop"))
        return Stated(given["name"], pressure, drop, given["minutes"], given["source"])


def as_initial(test: LeakTest) -> dict[str, Any]:
    """A test as its form shows it."""
    names = ("name", "pressure", "pressure_unit", "drop", "drop_unit", "minutes", "source")
    return {name: getattr(test, name) for name in names}


class ReadingForm(forms.Form):
    """What gauge, thermometer and barometer show at one moment."""

    key = _key()
    at = MomentInput(label=_("Read at"))
    pressure = FigureInput(label=_("Gauge or manometer"))
    pressure_unit = forms.ChoiceField(label=_("Its unit"), choices=UNITS)
    temperature = FigureInput(label=_("Temperature of the air inside"))
    temperature_unit = forms.ChoiceField(label=_("Its scale"), choices=DEGREES)
    barometer = FigureInput(label=_("Barometer beside it"), help_text=_("what it shows itself, not reduced to sea level"))
    barometer_unit = forms.ChoiceField(label=_("Unit of the barometer"), choices=UNITS)
    note = forms.CharField(label=_("Note"), required=False, max_length=MOST_WHY)

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        """A key of its own each time it is shown anew."""
        kwargs["initial"] = {"key": uuid4(), **kwargs.pop("initial", {})}
        super().__init__(data, **kwargs)

    def read(self) -> Read:
        """As the service takes it."""
        given = self.cleaned_data
        pressure, temperature, barometer = (
            Measured(given[name], given[f"{name}_unit"]) for name in ("pressure", "temperature", "barometer")
        )
        return Read(given["at"], pressure, temperature, barometer, given["note"])


def reading_begins(leak: LeakRow) -> dict[str, Any]:
    """The clock, and the units of the last reading: no figure ever stands there."""
    last: LeakReading | None = leak.readings[-1].row if leak.readings else None
    units = ("pressure_unit", "temperature_unit", "barometer_unit")
    return {"at": timezone.localtime(), **({name: getattr(last, name) for name in units} if last else {})}


def _ask_unit(form: forms.Form, name: str, unit: str) -> None:
    given = form.cleaned_data
    if given.get(name) is not None and not given.get(unit) and unit not in form.errors:
        form.add_error(unit, _("Say in which unit."))


def _measured(given: dict[str, Any], name: str, unit: str) -> Measured | None:
    return None if given[name] is None else Measured(given[name], given[unit])
