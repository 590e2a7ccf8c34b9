"""A step's sheet for other programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.generics import GenericAPIView, get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from buildplan.fitting.queries import step_hands
from buildplan.plan.models import Hand, Step
from buildplan.plan.services import set_hand
from buildplan.plan.views import get_project, get_step
from buildplan.records.answer import as_object
from buildplan.records.forms import SealingForm, asked_day
from buildplan.records.mixing import plan_sealing
from buildplan.records.sheet import sheet_on
from buildplan.shortfall.reading import read
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut
from inventory.common.etags import TaggedRows
from inventory.common.schema import sent_as
from inventory.workshop.request import caller


class NeedOut(serializers.Serializer[Any]):
    """What the step takes of one item in all; `short` is null of a step that is done. What was `mixed` for it is no more `needed`."""

    item = serializers.CharField()
    name = serializers.CharField()
    unit = serializers.CharField()
    needed = serializers.CharField()
    mixed = serializers.CharField()
    short = serializers.CharField(allow_null=True)
    returned = serializers.BooleanField()
    lies = serializers.ListField(child=serializers.CharField())
    trace = ReasonOut(many=True)


class RivetRowOut(serializers.Serializer[Any]):
    """A rivet row; sizes in inches. `question` is asked where grip and call-out differ, and corrects nothing."""

    row = serializers.CharField()
    rivet = serializers.CharField()
    instead_of = serializers.CharField(allow_null=True)
    holes = serializers.IntegerField()
    rivets = serializers.CharField()
    length = serializers.CharField(allow_null=True)
    grip = serializers.CharField(allow_null=True)
    length_by_grip = serializers.CharField(allow_null=True)
    question = serializers.CharField(allow_null=True)
    trace = ReasonOut(many=True)


class CheckFigureOut(serializers.Serializer[Any]):
    """A size to hold a driven rivet or its row against, in inches."""

    name = serializers.CharField()
    value = serializers.CharField()
    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment] # a declared field; the class keeps its own `source`


class CheckOut(serializers.Serializer[Any]):
    """The check figures of one diameter."""

    diameter = serializers.CharField()
    figures = CheckFigureOut(many=True)


class ToolOut(serializers.Serializer[Any]):
    """A drill or another tool, in the order used."""

    use = serializers.CharField()
    name = serializers.CharField()
    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment] # likewise


class DieOut(serializers.Serializer[Any]):
    """A tool of the catalogue that is of a rivet's size."""

    item = serializers.CharField()
    name = serializers.CharField()
    diameter = serializers.CharField(allow_null=True)
    called_out = serializers.BooleanField()


class ClecoOut(serializers.Serializer[Any]):
    """The clecos of a row; `until` is the step that takes them off, null for this one. The colour is a label alone."""

    row = serializers.CharField()
    item = serializers.CharField()
    count = serializers.IntegerField()
    every = serializers.IntegerField()
    until = serializers.CharField(allow_null=True)
    colour = serializers.CharField(allow_null=True)
    trace = ReasonOut(many=True)


class SeamOut(serializers.Serializer[Any]):
    """A seam; `grams` is null where `fault` says what is missing."""

    seam = serializers.CharField()
    sealant = serializers.CharField()
    shape = serializers.CharField()
    grams = serializers.CharField(allow_null=True)
    fault = serializers.CharField(allow_null=True)
    trace = ReasonOut(many=True)


class MixOut(serializers.Serializer[Any]):
    """Grams to weigh out; `refused` says why the scale can't mix as little."""

    base = serializers.CharField()
    accelerator = serializers.CharField()
    error_percent = serializers.CharField(allow_null=True)
    refused = serializers.CharField(allow_null=True)


class LotPartOut(serializers.Serializer[Any]):
    """What a batch takes of a lot."""

    lot = serializers.CharField()
    grams = serializers.CharField()


class BatchOut(serializers.Serializer[Any]):
    """One batch."""

    number = serializers.IntegerField()
    grams = serializers.CharField()
    lots = LotPartOut(many=True)
    mix = MixOut(allow_null=True)


class SampleOut(serializers.Serializer[Any]):
    """A finished step: grams by its seams, and grams that it took."""

    step = serializers.CharField()
    formula = serializers.CharField()
    used = serializers.CharField()


class CalibrationOut(serializers.Serializer[Any]):
    """The workshop's own figure, used against formula; `own` is the formula's grams by its mean, and nothing else counts with it."""

    n = serializers.IntegerField()
    mean = serializers.CharField()
    least = serializers.CharField()
    most = serializers.CharField()
    deviation = serializers.CharField(allow_null=True)
    formula = serializers.CharField()
    own = serializers.CharField(allow_null=True)
    samples = SampleOut(many=True)
    trace = ReasonOut(many=True)


class SealantOut(serializers.Serializer[Any]):
    """A sealant of the step: its grams, its mix, and its batches where enough was said of the day; `faults` say what is missing."""

    item = serializers.CharField()
    gravity = serializers.CharField(allow_null=True)
    base = serializers.CharField(allow_null=True)
    accelerator = serializers.CharField(allow_null=True)
    grams = serializers.CharField(allow_null=True)
    mixed = serializers.CharField(help_text="grams of it that were mixed; batches are of what is left")
    faults = serializers.ListField(child=serializers.CharField())
    trace = ReasonOut(many=True)
    mix = MixOut(allow_null=True)
    smallest_batch = serializers.CharField(allow_null=True)
    stopped = serializers.BooleanField(help_text="the temperature forbids sealing")
    work_life_hours = serializers.FloatField(allow_null=True)
    largest_batch = serializers.CharField(allow_null=True)
    batches = BatchOut(many=True)
    short = serializers.CharField()
    exact = serializers.BooleanField(help_text="no other choice of lots does better")
    mix_trace = ReasonOut(many=True)
    calibration = CalibrationOut(allow_null=True)


class StepMixOut(serializers.Serializer[Any]):
    """A batch that was mixed for the step, in grams; it may have been for others too."""

    id = serializers.IntegerField()
    item = serializers.CharField()
    grams = serializers.CharField()
    for_this_step = serializers.CharField()
    base = serializers.CharField()
    accelerator = serializers.CharField()
    lots = serializers.ListField(child=serializers.CharField())
    mixed_at = serializers.DateTimeField()
    mixed_by = serializers.CharField()
    work_until = serializers.DateTimeField(allow_null=True)
    left = serializers.CharField(allow_null=True)
    warnings = ReasonOut(many=True, help_text="metal too cold or too hot to seal; a ratio that isn't the product's")
    ratio_trace = ReasonOut(many=True, help_text="how its ratio differs from the product's; empty where the scale may explain it")


class SupplyOut(serializers.Serializer[Any]):
    """What each batch uses up beside the sealant, and all of them together."""

    name = serializers.CharField()
    each = serializers.CharField()
    total = serializers.CharField()
    unit = serializers.CharField()


class StepOut(serializers.Serializer[Any]):
    """All that a step takes."""

    project = serializers.CharField()
    step = serializers.CharField()
    title = serializers.CharField()
    section = serializers.CharField()
    hand = serializers.ChoiceField(Hand.choices, allow_blank=True, help_text="blank: the plan doesn't say")
    done = serializers.BooleanField()
    on = serializers.DateField(help_text="the day that stock was looked at for")
    needs = NeedOut(many=True)
    rows = RivetRowOut(many=True)
    checks = CheckOut(many=True)
    tools = ToolOut(many=True)
    dies = DieOut(many=True)
    clecos = ClecoOut(many=True)
    seams = SeamOut(many=True)
    sealants = SealantOut(many=True)
    mixes = StepMixOut(many=True)
    supplies = SupplyOut(many=True)
    cautions = ReasonOut(many=True)


class StepPatch(serializers.Serializer[Any]):
    """Which hand the step is of; blank where nobody says."""

    hand = serializers.ChoiceField(Hand.choices, allow_blank=True)


class DayAsked(serializers.Serializer[Any]):
    """What may be said of the day; a work life is given for each sealant as `life-CODE`, in hours at 77 F."""

    step = serializers.CharField(help_text="the step's code")
    day = serializers.DateField(required=False, help_text="when the work is done; else the planned day, or today")
    people = serializers.IntegerField(required=False, help_text="who place the sealant")
    pace = serializers.CharField(required=False, help_text="grams that one of them places in an hour")
    temperature = serializers.CharField(required=False, help_text="of the metal: 77 F or 25 C")
    division = serializers.CharField(required=False, help_text="of the scale, in grams")


EXAMPLE = OpenApiExample(
    "the start of one",
    response_only=True,
    status_codes=["200"],
    value={
        "project": "TERN-1",
        "step": "F3-05",
        "title": "Seal and rivet the right bottom seams",
        "hand": "right",
        "done": False,
        "on": "2027-03-06",
        "seams": [
            {
                "seam": "KEEL",
                "sealant": "SEAL-B2",
                "shape": "triangle",
                "grams": "62.775",
                "fault": None,
                "trace": [{"text": "x specific gravity 1.55 g/cm3", "source": "the product's data sheet, as entered"}],
            }
        ],
        "cautions": [
            {
                "text": "the step is right hand, and RIB-L is a left part; its mirror image is RIB-R: look at both before you cut",
                "source": "as a builder stated it",
            }
        ],
    },
)


_CODE = OpenApiParameter("code", str, OpenApiParameter.PATH, description="the project's code")
_READS = {
    200: StepOut,
    (400, "application/problem+json"): ProblemOut,
    (401, "application/problem+json"): ProblemOut,
    (404, "application/problem+json"): ProblemOut,
}


class StepView(TaggedRows, GenericAPIView[Step]):
    """All that one step takes.

    Codes may hold slashes, and two of those in one path could be cut in more than one place: so the step is asked for by name.
    """

    queryset = Step.objects.none()
    serializer_class = StepOut
    patch_serializer_class = StepPatch

    @extend_schema(operation_id="project_step", parameters=[DayAsked, _CODE], responses=_READS, examples=[EXAMPLE])
    def get(self, request: Request, code: str) -> Response:
        """Give needs, rivet rows, tools, clecos, seams and sealants with their reasons.

        Where people, pace, temperature and a sealant's work life (`life-CODE`, hours at 77 F) are said, with its batches too.
        `cautions` say what is of the other hand, or only looks like its mirror image.
        """
        return self.retrieve(request, self._asked(code).pk)

    @extend_schema(
        operation_id="project_step_change",
        summary="Change the hand of a step",
        parameters=[DayAsked, _CODE],
        request=StepPatch,
        responses={200: StepOut},
        examples=[sent_as({"hand": "right"}), EXAMPLE],
    )
    def patch(self, request: Request, code: str) -> Response:
        """Say which hand the step is of. The ETag is of the whole sheet, so ask for it as it was read: with the same parameters."""
        return self.partial_update(request, self._asked(code).pk)

    def row(self, pk: int) -> Step:
        """With all it belongs to."""
        return get_object_or_404(Step.objects.select_related("project__bench__workshop", "section"), pk=pk)

    def lock(self, pk: int) -> None:
        """The step alone."""
        Step.objects.select_for_update(no_key=True).filter(pk=pk).first()

    def shown(self, pk: int) -> dict[str, Any]:
        """Its sheet on the day that is asked for."""
        step, given, today = self.row(pk), self.request.query_params, timezone.localdate()
        day = asked_day(given, max(step.planned_on or today, today))
        known = read([step.pk])
        sheet = sheet_on(step, day, known)
        form = SealingForm(given, products=sheet.products, day=day)
        if form.errors:
            raise serializers.ValidationError({name: [str(text) for text in errors] for name, errors in form.errors.items()})
        return as_object(sheet, plan_sealing(sheet, form.given(), known), step_hands(step).cautions)

    def change(self, row: Step, data: dict[str, Any]) -> None:
        """Its hand."""
        set_hand(step=row, hand=data.get("hand", row.hand), by=caller(self.request))

    def _asked(self, code: str) -> Step:
        """The step that is asked for, of the project in the address."""
        project = get_project(code)
        if not (asked := self.request.query_params.get("step", "").strip()):
            raise serializers.ValidationError({"step": ["Give the step's code."]})
        return get_step(project.code, asked)
