"""What can be done this evening, for programs."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.plan.forms import MOST_PEOPLE
from buildplan.shortfall import queries as shortfall
from buildplan.tonight import answer, queries
from buildplan.tonight.calc import Kind
from buildplan.tonight.forms import MOST_MINUTES
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut
from inventory.workshop.request import caller


class AskedEvening(serializers.Serializer[Any]):
    """What the evening has."""

    minutes = serializers.IntegerField(
        required=False, min_value=1, max_value=MOST_MINUTES, help_text="how long it is; left out, no step is too long"
    )
    people = serializers.IntegerField(required=False, default=1, min_value=1, max_value=MOST_PEOPLE, help_text="how many are there")
    project = serializers.CharField(required=False, help_text="the code of one project; left out, all of them")


class TonightLiesOut(serializers.Serializer[Any]):
    """What to take of one lot from one place."""

    place = serializers.CharField()
    lot = serializers.CharField(help_text="its code, blank where it has none")
    lot_id = serializers.IntegerField()
    quantity = serializers.CharField()


class TonightTakesOut(serializers.Serializer[Any]):
    """What a step takes of one item; `returned` things come back."""

    item = serializers.CharField()
    unit = serializers.CharField()
    quantity = serializers.CharField()
    returned = serializers.BooleanField()
    lies = TonightLiesOut(many=True)


class TonightBlockOut(serializers.Serializer[Any]):
    """One thing that stands against a step; `way` would change it first, on `day` as far as is known."""

    kind = serializers.ChoiceField([kind.value for kind in Kind])
    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment] # a declared field; the class keeps its own `source`
    way = serializers.CharField()
    day = serializers.DateField(allow_null=True)
    trace = ReasonOut(many=True)


class ReadyStepOut(serializers.Serializer[Any]):
    """A step; `people` null is not said, which counts as one. `trace` is what speaks for it."""

    project = serializers.CharField()
    step = serializers.CharField()
    title = serializers.CharField()
    section = serializers.CharField()
    minutes = serializers.IntegerField(allow_null=True)
    people = serializers.IntegerField(allow_null=True)
    planned = serializers.DateField(allow_null=True)
    takes = TonightTakesOut(many=True)
    trace = ReasonOut(many=True)


class BlockedStepOut(ReadyStepOut):
    """A blocked step; `free_from` is the day on which all that blocks it is over, null where one has no known day."""

    free_from = serializers.DateField(allow_null=True)
    nearest = serializers.CharField()
    blocks = TonightBlockOut(many=True)


class TonightOut(serializers.Serializer[Any]):
    """The answer. `steps` are not done in all; `waiting` of them come later in the plan, and were not looked at."""

    today = serializers.DateField()
    minutes = serializers.IntegerField(allow_null=True)
    people = serializers.IntegerField()
    steps = serializers.IntegerField()
    ready = ReadyStepOut(many=True)
    blocked = BlockedStepOut(many=True)
    waiting = serializers.IntegerField()


_STEP: dict[str, Any] = {"project": "TERN-1", "section": "Floats", "people": None, "planned": "2027-02-20", "takes": [], "trace": []}
EXAMPLE = OpenApiExample(
    "an hour and a half, alone",
    response_only=True,
    status_codes=["200"],
    value={
        "today": "2027-02-20",
        "minutes": 90,
        "people": 1,
        "steps": 2,
        "ready": [
            {
                **_STEP,
                "step": "F1-03",
                "title": "Deburr the left bottom skin",
                "minutes": 60,
                "takes": [
                    {
                        "item": "DEBURR",
                        "unit": "ea",
                        "quantity": "1",
                        "returned": True,
                        "lies": [{"place": "Hangar/Tool wall", "lot": "", "lot_id": 7, "quantity": "1"}],
                    }
                ],
                "trace": [{"text": "takes 60 of your 90 minutes", "source": "as asked for this evening"}],
            }
        ],
        "blocked": [
            {
                **_STEP,
                "step": "F1-04",
                "title": "Rivet the doublers to frame 4",
                "minutes": 90,
                "free_from": "2027-03-01",
                "nearest": "CRATE-7 is due on 2027-03-01",
                "blocks": [
                    {
                        "kind": "stock",
                        "text": "FLT.124: takes 4 ea, 2 usable today",
                        "source": "netting of this step alone",
                        "way": "CRATE-7 is due on 2027-03-01",
                        "day": "2027-03-01",
                        "trace": [],
                    }
                ],
            }
        ],
        "waiting": 0,
    },
)


class TonightView(APIView):
    """What can be done now."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="tonight",
        summary="List the steps that can be done now, and what blocks the others",
        parameters=[AskedEvening],
        responses={200: TonightOut, **{(status, "application/problem+json"): ProblemOut for status in (400, 401, 404)}},
        examples=[EXAMPLE],
    )
    def get(self, request: Request) -> Response:
        """Ready steps in plan order with what each takes and where it lies, and the blocked ones with every reason and its end.

        It is the same answer as the page Tonight. Each step is judged alone, as if it were the only one of the evening.
        """
        asked = AskedEvening(data=request.query_params)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        project = shortfall.projects([given["project"]])[0] if "project" in given else None
        now = timezone.now()
        said = {"minutes": given.get("minutes"), "people": given["people"], "project": project, "member": caller(request)}
        return Response(answer.as_object(queries.tonight(today=timezone.localdate(now), now=now, **said)))
