"""What the API says of seal days and batches, and what it reads."""

from collections.abc import Mapping
from datetime import datetime
from fractions import Fraction
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from buildplan.plan.models import Step
from buildplan.sealday.checklist import MOST_TEXT
from buildplan.sealday.closing import MOST_NOTE, MOST_REASON
from buildplan.sealday.models import SealDay
from buildplan.sealday.services import MOST_NAME
from buildplan.shortfall.api import LineOut
from inventory.catalogue.api import item_field
from inventory.common.api_fields import IdField, QuantityIn, ReasonOut
from inventory.common.problems import NotHere
from inventory.models import Member
from inventory.stock.api import lot_field, place_field
from inventory.workshop.api import bench_field

STATES = [("open", "open"), ("closed", "closed"), ("called off", "called off")]
MOST_STEPS, MOST_PEOPLE, MOST_TAKES = 50, 50, 50
MOST_CODE = 40


@extend_schema_field({"oneOf": [{"type": "string", "pattern": r"^-?\d{1,6}(\.\d{1,3})?$"}, {"type": "number"}]})
class ExactIn(serializers.DecimalField):
    """A figure, kept exactly: decimal text or a number, with at most three decimals."""

    def __init__(self, **kwargs: Any) -> None:
        """The service says what makes sense."""
        super().__init__(max_digits=9, decimal_places=3, **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        """As a fraction."""
        return Fraction(super().to_internal_value(data))

    def run_validators(self, value: Any) -> None:
        """Decimal's own were run while it was read."""

    def to_representation(self, value: Any) -> Any:
        """Never shown by this."""
        return str(value)


class StepIn(serializers.Serializer[Any]):
    """A step by the codes that its page goes by."""

    project = serializers.CharField(max_length=MOST_CODE)
    step = serializers.CharField(max_length=MOST_CODE)

    def to_internal_value(self, data: Any) -> Any:
        """Its row; one that isn't of this workshop is a 404."""
        given = super().to_internal_value(data)
        rows = Step.objects.select_related("project__bench__workshop")
        found = rows.filter(project__code__iexact=given.pop("project"), code__iexact=given.pop("step")).first()
        if found is None:
            raise NotHere(f"there is no step {data.get('step')} of {data.get('project')} here")
        return {**given, "step": found} if given or type(self) is not StepIn else found


def _member(pk: int) -> Member | None:
    return Member.objects.filter(pk=pk).first()


# What is sent


class PersonIn(serializers.Serializer[Any]):
    """Who is there, from when to when, by the workshop's clock. A guest has no member."""

    name = serializers.CharField(max_length=MOST_NAME)
    comes = serializers.TimeField()
    goes = serializers.TimeField()
    member = IdField("member", _member, required=False, allow_null=True, default=None)


class PeopleIn(serializers.Serializer[Any]):
    """All who are there: who isn't named isn't there any more."""

    people = serializers.ListField(child=PersonIn(), min_length=1, max_length=MOST_PEOPLE)


class SealDayPatch(serializers.Serializer[Any]):
    """What may be changed of a seal day. `held` sets the lots of the plan aside, or gives them back."""

    temperature_f = ExactIn(required=False, allow_null=True, help_text="of the metal, as expected")
    pace = ExactIn(required=False, allow_null=True, help_text="grams that one person places in an hour")
    division = ExactIn(required=False, allow_null=True, help_text="the scale's, in g")
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_NOTE)
    steps = serializers.ListField(child=StepIn(), required=False, min_length=1, max_length=MOST_STEPS, help_text="all of them")
    held = serializers.BooleanField(required=False)


class SealDayIn(serializers.Serializer[Any]):
    """A seal day to be planned."""

    bench = bench_field()
    on = serializers.DateField()
    steps = serializers.ListField(child=StepIn(), min_length=1, max_length=MOST_STEPS)
    people = serializers.ListField(child=PersonIn(), required=False, min_length=1, max_length=MOST_PEOPLE)
    temperature_f = ExactIn(required=False, allow_null=True)
    pace = ExactIn(required=False, allow_null=True)
    division = ExactIn(required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_NOTE)


class DataSheetIn(serializers.Serializer[Any]):
    """What a product's data sheet says, in hours; null is not known."""

    item = item_field()
    life_hours = ExactIn(allow_null=True, help_text="work life at 77 F")
    cure_hours = ExactIn(allow_null=True, help_text="until it is cured")


class DataSheetsIn(serializers.Serializer[Any]):
    """Data sheets of some products of the day."""

    products = serializers.ListField(child=DataSheetIn(), min_length=1, max_length=MOST_TAKES)


class MoveIn(serializers.Serializer[Any]):
    """Where a day goes, and what goes with it."""

    to = serializers.DateField()
    look = serializers.BooleanField(required=False, default=False, help_text="only say what it would change")
    later = serializers.BooleanField(required=False, default=False, help_text="also all planned steps not done that come after")
    along = serializers.ListField(
        child=IdField("seal day", lambda pk: SealDay.objects.select_related("bench__workshop").filter(pk=pk).first()),
        required=False,
        default=list,
        max_length=MOST_STEPS,
        help_text="further seal days that move by as many days",
    )


class TakeIn(serializers.Serializer[Any]):
    """What was weighed out of a lot."""

    lot = lot_field()
    place = place_field()
    grams = QuantityIn()


class ShareIn(StepIn):
    """What of a batch is for a step."""

    grams = QuantityIn()


class MixIn(serializers.Serializer[Any]):
    """A batch as it was really mixed. Base + accelerator, the takes and the shares are the same grams."""

    key = serializers.UUIDField(required=False, help_text="the batch's own: sent again it makes no second one")
    item = item_field()
    base = QuantityIn()
    accelerator = QuantityIn()
    takes = serializers.ListField(child=TakeIn(), min_length=1, max_length=MOST_TAKES)
    shares = serializers.ListField(child=ShareIn(), min_length=1, max_length=MOST_STEPS)
    mixed_at = serializers.DateTimeField()
    mixed_by = serializers.CharField(max_length=MOST_NAME)
    temperature_f = ExactIn(required=False, allow_null=True, default=None)
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=MOST_TEXT)

    def validate_mixed_at(self, value: datetime) -> datetime:
        """A batch is written down once it is mixed."""
        return _not_to_come(value)


class MixPatch(serializers.Serializer[Any]):
    """That a batch is used up or put away."""

    left = QuantityIn(help_text="grams left over")
    at = serializers.DateTimeField(required=False, help_text="now unless said otherwise")

    def validate_at(self, value: datetime) -> datetime:
        """It is said afterwards."""
        return _not_to_come(value)


def _not_to_come(value: datetime) -> datetime:
    if value > timezone.now():
        raise serializers.ValidationError("That is still to come: is it in another zone?")
    return value


class OutcomeIn(StepIn):
    """What became of a step: done, or carried to another day with a reason."""

    done = serializers.BooleanField()
    carry_to = serializers.DateField(required=False, allow_null=True, default=None)
    reason = serializers.CharField(required=False, allow_blank=True, default="", max_length=MOST_REASON)


class CloseIn(serializers.Serializer[Any]):
    """The outcome of each step that isn't done already."""

    outcomes = serializers.ListField(child=OutcomeIn(), required=False, default=list, max_length=MOST_STEPS)


class CallOffIn(serializers.Serializer[Any]):
    """Why a day is called off."""

    reason = serializers.CharField(max_length=MOST_REASON)


class NightCheckIn(serializers.Serializer[Any]):
    """A line of the list to the night before. Without `key` it is people's own, and is put on the list where it isn't there."""

    key = serializers.CharField(required=False, allow_blank=True, default="", max_length=80)
    text = serializers.CharField(max_length=MOST_TEXT)
    done = serializers.BooleanField(required=False, default=True)


# What is answered


class PersonOut(serializers.Serializer[Any]):
    """Who is there."""

    name = serializers.CharField()
    member = serializers.IntegerField(allow_null=True)
    comes = serializers.CharField()
    goes = serializers.CharField()
    hours = serializers.CharField()


class SealStepOut(serializers.Serializer[Any]):
    """A step of the day."""

    id = serializers.IntegerField()
    project = serializers.CharField()
    step = serializers.CharField()
    title = serializers.CharField()
    minutes = serializers.IntegerField(allow_null=True)
    done = serializers.BooleanField()
    planned_on = serializers.DateField(allow_null=True)
    waits_for = serializers.ListField(child=serializers.CharField())
    carried_to = serializers.DateField(allow_null=True)
    reason = serializers.CharField()


class SealProductOut(serializers.Serializer[Any]):
    """A sealant over all the day's steps, in g."""

    item = serializers.CharField()
    name = serializers.CharField()
    needed = serializers.CharField()
    mixed = serializers.CharField()
    open = serializers.CharField(help_text="still to be mixed, or short")
    short = serializers.CharField(help_text="what no lot holds")
    life_hours = serializers.CharField(allow_null=True)
    cure_hours = serializers.CharField(allow_null=True)
    work_life_hours = serializers.FloatField(allow_null=True, help_text="at the day's temperature")
    most = serializers.CharField(allow_null=True, help_text="the largest batch that those present place in time")
    stopped = serializers.BooleanField(help_text="the temperature forbids it")
    exact = serializers.BooleanField(help_text="no other choice of lots does better")
    faults = serializers.ListField(child=serializers.CharField())
    cured_at = serializers.DateTimeField(allow_null=True)
    trace = ReasonOut(many=True)


class LotPlaceOut(serializers.Serializer[Any]):
    """Where a lot lies, with the grams there."""

    place = serializers.CharField()
    there = serializers.CharField()


class BatchLotOut(serializers.Serializer[Any]):
    """What a batch takes of a lot; `lot` is null where that is still on its way."""

    lot = serializers.IntegerField(allow_null=True)
    label = serializers.CharField()  # type: ignore[assignment] # a declared field
    grams = serializers.CharField()
    places = LotPlaceOut(many=True)


class ShareOut(serializers.Serializer[Any]):
    """What of a batch is for a step."""

    step_id = serializers.IntegerField()
    step = serializers.CharField()
    grams = serializers.CharField()


class PlannedBatchOut(serializers.Serializer[Any]):
    """A batch to mix; base and accelerator are null where the product's ratio isn't known."""

    number = serializers.IntegerField()
    item = serializers.CharField()
    grams = serializers.CharField()
    base = serializers.CharField(allow_null=True)
    accelerator = serializers.CharField(allow_null=True)
    error = serializers.CharField(help_text="the scale's on the smaller part")
    refused = serializers.CharField(help_text="why this scale can't mix as little; blank where it can")
    lots = BatchLotOut(many=True)
    shares = ShareOut(many=True)
    trace = ReasonOut(many=True)


class MixedBatchOut(serializers.Serializer[Any]):
    """A batch that was mixed."""

    id = serializers.IntegerField()
    number = serializers.IntegerField(allow_null=True, help_text="its number on its seal day")
    item = serializers.CharField()
    base = serializers.CharField()
    accelerator = serializers.CharField()
    grams = serializers.CharField()
    lots = serializers.ListField(child=serializers.CharField())
    shares = ShareOut(many=True)
    mixed_at = serializers.DateTimeField()
    mixed_by = serializers.CharField()
    temperature_f = serializers.CharField(allow_null=True)
    work_until = serializers.DateTimeField(allow_null=True)
    left = serializers.CharField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    taken_back_at = serializers.DateTimeField(allow_null=True)
    note = serializers.CharField()
    warnings = ReasonOut(many=True, help_text="metal too cold or too hot to seal; a ratio that isn't the product's")
    ratio_trace = ReasonOut(many=True, help_text="how its ratio differs from the product's; empty where the scale may explain it")


class SealMixOut(MixedBatchOut):
    """A batch that was mixed, and on which seal day."""

    seal_day = serializers.IntegerField(allow_null=True)


class SealSupplyOut(serializers.Serializer[Any]):
    """What the batches use up beside the sealant."""

    name = serializers.CharField()
    each = serializers.CharField()
    total = serializers.CharField()
    unit = serializers.CharField()


class HeldClecosOut(serializers.Serializer[Any]):
    """Clecos that a row of the day holds until a step frees them."""

    item = serializers.CharField()
    count = serializers.IntegerField()
    step = serializers.CharField()
    row = serializers.CharField()
    until = serializers.CharField()
    until_day = serializers.DateField(allow_null=True)


class BlockedOut(serializers.Serializer[Any]):
    """A step that is planned before what it comes after is cured."""

    project = serializers.CharField()
    code = serializers.CharField()
    title = serializers.CharField()
    planned_on = serializers.DateField()
    free_from = serializers.DateField()
    text = serializers.CharField()


class MissingOut(LineOut):
    """What the day, or a step before it, is short of. `late`: its order-by day is past."""

    project = serializers.CharField()
    late = serializers.BooleanField()


class NightCheckOut(serializers.Serializer[Any]):
    """A line of the list to the night before."""

    id = serializers.IntegerField(allow_null=True)
    key = serializers.CharField(help_text="names one that the plan gives; blank of people's own")
    text = serializers.CharField()
    ticked_by = serializers.CharField(allow_null=True)
    ticked_at = serializers.DateTimeField(allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment] # a declared field; the class keeps its own `source`


class SealDayOut(serializers.Serializer[Any]):
    """A seal day with all that follows from it: the figures and reasons of its page."""

    id = serializers.IntegerField()
    bench = serializers.CharField()
    on = serializers.DateField()
    state = serializers.ChoiceField(STATES)
    held = serializers.BooleanField(help_text="the lots of the plan are set aside")
    temperature_f = serializers.CharField(allow_null=True)
    pace = serializers.CharField(allow_null=True)
    division = serializers.CharField(allow_null=True)
    note = serializers.CharField()
    closed_at = serializers.DateTimeField(allow_null=True)
    called_off_at = serializers.DateTimeField(allow_null=True)
    people = PersonOut(many=True)
    hands = serializers.IntegerField(help_text="the fewest present at once while anybody is")
    hours = serializers.CharField(help_text="how long anybody is there")
    minutes = serializers.IntegerField(help_text="what the steps not done take by the plan")
    steps = SealStepOut(many=True)
    products = SealProductOut(many=True)
    batches = PlannedBatchOut(many=True)
    mixed = MixedBatchOut(many=True)
    supplies = SealSupplyOut(many=True)
    clecos = HeldClecosOut(many=True)
    blocked = BlockedOut(many=True)
    missing = MissingOut(many=True)
    checks = NightCheckOut(many=True)
    faults = serializers.ListField(child=serializers.CharField())
    trace = ReasonOut(many=True)


class SealDayRowOut(serializers.Serializer[SealDay]):
    """A seal day, as a list has it."""

    id = serializers.IntegerField()
    bench = serializers.CharField(source="bench.code")
    on = serializers.DateField()
    state = serializers.SerializerMethodField()
    held = serializers.BooleanField()
    steps = serializers.SerializerMethodField()
    people = serializers.IntegerField(source="there", help_text="how many")
    mixed = serializers.IntegerField(source="mixed_count", help_text="batches")
    note = serializers.CharField()

    @extend_schema_field(serializers.ChoiceField(STATES))
    def get_state(self, day: SealDay) -> str:
        """What has become of it."""
        return "open" if day.open else "closed" if day.closed_at else "called off"

    @extend_schema_field(serializers.ListField(child=serializers.CharField()))
    def get_steps(self, day: SealDay) -> list[str]:
        """Their codes."""
        return [row.step.code for row in day.steps.all()]


class MoveChangeOut(serializers.Serializer[Any]):
    """What a move changes."""

    what = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class MovedOut(serializers.Serializer[Any]):
    """A move, done or only looked at: the days as they were and as they are, and what differs."""

    moved = serializers.BooleanField()
    before = SealDayOut(many=True)
    after = SealDayOut(many=True)
    changes = MoveChangeOut(many=True)


def told(given: Mapping[str, Any], day: SealDay) -> dict[str, Any]:
    """What a change of a day says, with what it leaves out as it stands."""
    names = ("temperature_f", "pace", "division", "note")
    return {name: given.get(name, getattr(day, name)) for name in names}
