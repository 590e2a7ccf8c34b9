"""What programs send and are shown of closing up and of leak tests."""

from fractions import Fraction
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from buildplan.closeup.calc import Verdict
from buildplan.closeup.knowing import Says
from buildplan.closeup.leak_tests import MOST_MINUTES
from buildplan.closeup.queries import MOST_OFF, How
from buildplan.closeup.services import MOST_NAME, MOST_NOTE, MOST_SOURCE, MOST_TEXT, MOST_WHY
from buildplan.closeup.starting import CODES
from buildplan.closeup.units import PRESSURES, SCALES
from buildplan.plan.models import Section
from inventory.common.api_fields import IdField, ReasonOut
from inventory.common.exact import decimal_text

MOST_EDITS = 120
UNITS = [(name, name) for name in PRESSURES]
DEGREES = [(name, name) for name in SCALES]
SAYS = [(one.value, one.value) for one in Says]
HOW = [(one.value, one.value) for one in How]
VERDICTS = [(one.value, one.value) for one in Verdict]
_FIGURE = {"oneOf": [{"type": "string", "pattern": r"^-?\d{1,6}(\.\d{1,6})?$"}, {"type": "number"}]}


def find_section(pk: int) -> Section | None:
    """The section of an id, of this workshop."""
    return Section.objects.select_related("project__bench__workshop").filter(pk=pk).first()


@extend_schema_field(_FIGURE)
class FigureField(serializers.DecimalField):
    """A figure as an instrument shows it: decimal text, or a number; at most six places before and behind the point."""

    def __init__(self, **kwargs: Any) -> None:
        """Below 0 too: a temperature, a gauge of a tank that cooled."""
        super().__init__(max_digits=12, decimal_places=6, **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        """An exact ratio."""
        return Fraction(super().to_internal_value(data))

    def run_validators(self, value: Any) -> None:
        """Checked as the decimal that it was."""

    def to_representation(self, value: Any) -> Any:
        """In plain digits."""
        return decimal_text(Fraction(value), 6)


# What is shown


class GateTickOut(serializers.Serializer[Any]):
    """Who ticked a point, when, and what the program knew of it then."""

    by = serializers.CharField()
    at = serializers.DateTimeField()
    said = serializers.CharField()


class GateKnownOut(serializers.Serializer[Any]):
    """What the program knows of a point, and whether that speaks for it. It hinders nothing."""

    says = serializers.ChoiceField(SAYS)
    text = serializers.CharField()
    trace = ReasonOut(many=True)


class GatePointOut(serializers.Serializer[Any]):
    """A point of a list. `point` names it in requests; `known` is null where the program knows nothing of it."""

    point = serializers.CharField()
    text = serializers.CharField()
    position = serializers.IntegerField()
    tick = GateTickOut(allow_null=True)
    known = GateKnownOut(allow_null=True)


class ClosingPointOut(serializers.Serializer[Any]):
    """A point as it was when the section was closed up: ticked by somebody, or not, and `why`."""

    text = serializers.CharField()
    ticked = serializers.BooleanField()
    by = serializers.CharField()
    at = serializers.DateTimeField()
    why = serializers.CharField()
    known = serializers.CharField(help_text="what the program knew then")


class ClosingOut(serializers.Serializer[Any]):
    """A closing with its list as it was; `reopened_at` is null while it stands."""

    by = serializers.CharField()
    at = serializers.DateTimeField()
    note = serializers.CharField()
    points = ClosingPointOut(many=True)
    reopened_at = serializers.DateTimeField(allow_null=True)
    reopened_by = serializers.CharField(allow_null=True)
    reopened_why = serializers.CharField()


class GateOffOut(serializers.Serializer[Any]):
    """A tick that counts no more: taken off by itself, with all others as the section was opened again, or with its point."""

    point = serializers.CharField(help_text="what was ticked, in words")
    by = serializers.CharField()
    at = serializers.DateTimeField()
    said = serializers.CharField(help_text="what the program knew of it when it was ticked")
    off_by = serializers.CharField()
    off_at = serializers.DateTimeField()
    how = serializers.ChoiceField(HOW)


class GateRowOut(serializers.Serializer[Any]):
    """A section as a list shows it."""

    id = serializers.IntegerField(source="pk")
    project = serializers.CharField(source="project.code")
    section = serializers.CharField(source="name")
    steps = serializers.IntegerField(source="all_steps")
    done = serializers.IntegerField(source="done_steps")
    points = serializers.IntegerField(source="all_points")
    ticked = serializers.IntegerField(source="ticked_points")
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_by = serializers.CharField(allow_null=True)


class GateOut(serializers.Serializer[Any]):
    """A section with its list, its closings, the last one first, the ids of its leak tests, and the latest ticks that count no more."""

    id = serializers.IntegerField()
    project = serializers.CharField()
    section = serializers.CharField()
    closed_at = serializers.DateTimeField(allow_null=True)
    points = GatePointOut(many=True)
    closings = ClosingOut(many=True)
    leak_tests = serializers.ListField(child=serializers.IntegerField())
    taken_off = GateOffOut(many=True, help_text=f"the last one first, {MOST_OFF} at most")
    taken_off_earlier = serializers.IntegerField(help_text="how many more there are, taken off before these")


class LeakReadingOut(serializers.Serializer[Any]):
    """A reading as entered, and what was expected of it, in the test's unit; null for one that is struck out."""

    id = serializers.IntegerField()
    at = serializers.DateTimeField()
    pressure = FigureField()
    pressure_unit = serializers.ChoiceField(UNITS)
    temperature = FigureField()
    temperature_unit = serializers.ChoiceField(DEGREES)
    barometer = FigureField()
    barometer_unit = serializers.ChoiceField(UNITS)
    note = serializers.CharField()
    by = serializers.CharField()
    expected = serializers.CharField(allow_null=True)
    missing = serializers.CharField(allow_null=True)
    by_temperature = serializers.CharField(allow_null=True)
    by_barometer = serializers.CharField(allow_null=True)
    struck = serializers.CharField(allow_null=True, help_text="why it is struck out; null where it isn't")
    trace = ReasonOut(many=True)


class LeakTestOut(serializers.Serializer[Any]):
    """A leak test with its readings. `verdict` stands beside the limit that was entered, and decides nothing."""

    id = serializers.IntegerField()
    gate = serializers.IntegerField()
    project = serializers.CharField()
    name = serializers.CharField()
    pressure = FigureField(allow_null=True)
    pressure_unit = serializers.CharField()
    drop = FigureField(allow_null=True)
    drop_unit = serializers.CharField()
    minutes = serializers.IntegerField(allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment] # a declared field; the class keeps its own `source`
    unit = serializers.ChoiceField(UNITS, help_text="of expected and missing")
    verdict = serializers.ChoiceField(VERDICTS)
    trace = ReasonOut(many=True)
    readings = LeakReadingOut(many=True)


# What is sent


class GateTickIn(serializers.Serializer[Any]):
    """Which point is so."""

    point = serializers.CharField(max_length=20, help_text=f"{', '.join(CODES)}, or an id")


class GateEditIn(serializers.Serializer[Any]):
    """A point as it is to be: `point` names one that is there; without it a new one. `drop` takes it off."""

    point = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")
    text = serializers.CharField(max_length=MOST_TEXT, required=False, allow_blank=True, default="")
    position = serializers.IntegerField(min_value=0, max_value=999, required=False, allow_null=True, default=None)
    drop = serializers.BooleanField(required=False, default=False)


class GatePatch(serializers.Serializer[Any]):
    """What changes of a list; what isn't named stays as it is."""

    points = serializers.ListField(child=GateEditIn(), max_length=MOST_EDITS, required=False)


class GateReasonIn(serializers.Serializer[Any]):
    """Why a point isn't ticked."""

    point = serializers.CharField(max_length=20)
    why = serializers.CharField(max_length=MOST_NOTE)


class GateCloseIn(serializers.Serializer[Any]):
    """Closing a section up, with the reason for each point that nobody ticked."""

    reasons = serializers.ListField(child=GateReasonIn(), max_length=MOST_EDITS, required=False, default=list)
    note = serializers.CharField(max_length=MOST_NOTE, required=False, allow_blank=True, default="")
    key = serializers.UUIDField(required=False, help_text="of the sender's own: sent again it closes once")


class GateReopenIn(serializers.Serializer[Any]):
    """Why a section is opened again."""

    why = serializers.CharField(max_length=MOST_NOTE)


class LeakTestPatch(serializers.Serializer[Any]):
    """What may be changed of a leak test. A figure and its unit go together; `source` says where the kit maker states them."""

    name = serializers.CharField(max_length=MOST_NAME, required=False)
    pressure = FigureField(required=False, allow_null=True)
    pressure_unit = serializers.ChoiceField(UNITS, required=False, allow_blank=True)
    drop = FigureField(required=False, allow_null=True)
    drop_unit = serializers.ChoiceField(UNITS, required=False, allow_blank=True)
    minutes = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=MOST_MINUTES)
    source = serializers.CharField(max_length=MOST_SOURCE, required=False, allow_blank=True)  # type: ignore[assignment] # likewise


class LeakTestIn(LeakTestPatch):
    """A leak test of a section. The limit is the kit maker's: nothing is filled in."""

    gate = IdField("section", find_section)
    name = serializers.CharField(max_length=MOST_NAME)
    key = serializers.UUIDField(required=False)


class LeakReadingIn(serializers.Serializer[Any]):
    """What gauge, thermometer and barometer showed at one moment. The barometer is not reduced to sea level."""

    at = serializers.DateTimeField()
    pressure = FigureField()
    pressure_unit = serializers.ChoiceField(UNITS)
    temperature = FigureField()
    temperature_unit = serializers.ChoiceField(DEGREES)
    barometer = FigureField()
    barometer_unit = serializers.ChoiceField(UNITS)
    note = serializers.CharField(max_length=MOST_WHY, required=False, allow_blank=True, default="")
    key = serializers.UUIDField(required=False)


class LeakStrikeIn(serializers.Serializer[Any]):
    """Why a reading is struck out."""

    why = serializers.CharField(max_length=MOST_WHY)
