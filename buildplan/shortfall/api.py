"""The order list for other programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.shortfall import answer, queries
from buildplan.shortfall.calc import Why
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut


class AskedDemand(serializers.Serializer[Any]):
    """Which demand is asked for."""

    before = serializers.DateField(required=False, help_text="the steps planned up to this day, and all they wait for")
    as_of = serializers.DateField(required=False, help_text="count from this day instead of today")
    project = serializers.ListField(
        child=serializers.CharField(),
        required=False,
        default=list,
        help_text="further projects of the same bench, netted together with this one",
    )


class Asked(AskedDemand):
    """What may be asked of a shortfall."""

    all = serializers.BooleanField(required=False, default=False, help_text="also the items that are met")


class UnusableOut(serializers.Serializer[Any]):
    """A quantity that doesn't count."""

    reason = serializers.ChoiceField([why.value for why in Why])
    quantity = serializers.CharField()


class LineOut(serializers.Serializer[Any]):
    """The answer for one item; quantities are decimal strings in its stock unit."""

    item = serializers.CharField()
    unit = serializers.CharField()
    needed = serializers.CharField()
    usable = serializers.CharField()
    in_transit = serializers.CharField()
    short = serializers.CharField()
    first_short = serializers.DateField(allow_null=True)
    order_by = serializers.DateField(allow_null=True)
    not_before = serializers.DateField(allow_null=True)
    buy = serializers.CharField()
    packs = serializers.CharField(allow_null=True)
    unusable = UnusableOut(many=True)
    steps = serializers.ListField(child=serializers.CharField())
    trace = ReasonOut(many=True)


class ShortfallOut(serializers.Serializer[Any]):
    """What a project is short of."""

    project = serializers.CharField()
    before = serializers.DateField(allow_null=True)
    as_of = serializers.DateField()
    lines = LineOut(many=True)


class HolderOut(serializers.Serializer[Any]):
    """What a step holds; `alone`: without this one step the rest would fit."""

    step = serializers.CharField()
    held = serializers.CharField()
    alone = serializers.BooleanField()


class HeldDaysOut(serializers.Serializer[Any]):
    """Days in a row on which nothing changes; `steps` are those that compete where it doesn't reach."""

    first = serializers.DateField()
    through = serializers.DateField(allow_null=True, help_text="the last of these days; null where no end is known")
    held = serializers.CharField()
    owned = serializers.CharField()
    lacking = serializers.CharField()
    steps = HolderOut(many=True)


class HeldItemOut(serializers.Serializer[Any]):
    """One thing that comes back, over the days of the demand; quantities are decimal strings in its stock unit."""

    item = serializers.CharField()
    unit = serializers.CharField()
    peak = serializers.CharField()
    peak_day = serializers.DateField(allow_null=True)
    lacking = serializers.CharField()
    first_lacking = serializers.DateField(allow_null=True)
    days = HeldDaysOut(many=True)
    trace = ReasonOut(many=True)


class PinsOut(serializers.Serializer[Any]):
    """Pins held against pins owned."""

    project = serializers.CharField()
    before = serializers.DateField(allow_null=True)
    as_of = serializers.DateField()
    items = HeldItemOut(many=True)


EXAMPLE = OpenApiExample(
    "one line short",
    response_only=True,
    status_codes=["200"],
    value={
        "project": "TERN-1",
        "before": "2027-03-13",
        "as_of": "2027-02-20",
        "lines": [
            {
                "item": "MS20470AD4-6",
                "unit": "ea",
                "needed": "240",
                "usable": "112",
                "in_transit": "0",
                "short": "128",
                "first_short": "2027-03-06",
                "order_by": "2027-02-26",
                "not_before": None,
                "buy": "200",
                "packs": "2",
                "unusable": [{"reason": "expired", "quantity": "50"}],
                "steps": ["F3-04", "F3-05"],
                "trace": [{"text": "lot R7 serves until 2027-03-01, before F3-05 on 2027-03-06", "source": "expires, as printed"}],
            },
        ],
    },
)


PINS_EXAMPLE = OpenApiExample(
    "one size that doesn't reach",
    response_only=True,
    status_codes=["200"],
    value={
        "project": "TERN-1",
        "before": None,
        "as_of": "2027-02-20",
        "items": [
            {
                "item": "CLECO-3/32",
                "unit": "ea",
                "peak": "59",
                "peak_day": "2027-03-08",
                "lacking": "19",
                "first_lacking": "2027-03-08",
                "days": [
                    {"first": "2027-02-20", "through": "2027-03-05", "held": "0", "owned": "40", "lacking": "0", "steps": []},
                    {"first": "2027-03-06", "through": "2027-03-07", "held": "29", "owned": "40", "lacking": "0", "steps": []},
                    {
                        "first": "2027-03-08",
                        "through": "2027-03-08",
                        "held": "59",
                        "owned": "40",
                        "lacking": "19",
                        "steps": [{"step": "F3-09", "held": "30", "alone": True}, {"step": "F3-04", "held": "29", "alone": True}],
                    },
                ],
                "trace": [{"text": "59 ea held at once on 2027-03-08", "source": "held at once, day by day: things that come back"}],
            },
        ],
    },
)

CODE = OpenApiParameter("code", str, OpenApiParameter.PATH, description="the project's code")
PROBLEMS = {(status, "application/problem+json"): ProblemOut for status in (400, 401, 404)}


class ShortfallView(APIView):
    """What a project's steps are short of."""

    @extend_schema(
        operation_id="project_shortfall",
        parameters=[Asked, CODE],
        responses={200: ShortfallOut, **PROBLEMS},
        examples=[EXAMPLE],
    )
    def get(self, request: Request, code: str) -> Response:
        """Net the project's demand against the stock of its bench and the shared benches, with reasons."""
        given = given_by(Asked, request)
        return Response(answer.as_object(_netted(code, given), every=given["all"]))


class PinsView(APIView):
    """Clecos and all else that comes back: held against owned."""

    @extend_schema(
        operation_id="project_pins",
        parameters=[AskedDemand, CODE],
        responses={200: PinsOut, **PROBLEMS},
        examples=[PINS_EXAMPLE],
    )
    def get(self, request: Request, code: str) -> Response:
        """Day by day what the project's steps hold at once and what is there, with the steps that compete where it doesn't reach."""
        return Response(answer.pins_object(_netted(code, given_by(AskedDemand, request))))


def given_by(wanted: type[AskedDemand], request: Request) -> dict[str, Any]:
    """What the address asks, by name."""
    asked = wanted(data=request.query_params)
    asked.is_valid(raise_exception=True)
    return dict(asked.validated_data)


def _netted(code: str, given: dict[str, Any]) -> queries.Shortfall:
    named = queries.projects([code, *given["project"]])
    return queries.shortfall(named, before=given.get("before"), as_of=given.get("as_of") or timezone.localdate())
