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
from inventory.common.documents import ProblemOut


class Asked(serializers.Serializer[Any]):
    """What may be asked of a shortfall."""

    before = serializers.DateField(required=False, help_text="the steps planned up to this day, and all they wait for")
    as_of = serializers.DateField(required=False, help_text="count from this day instead of today")
    all = serializers.BooleanField(required=False, default=False, help_text="also the items that are met")
    project = serializers.ListField(
        child=serializers.CharField(),
        required=False,
        default=list,
        help_text="further projects of the same bench, netted together with this one",
    )


class UnusableOut(serializers.Serializer[Any]):
    """A quantity that doesn't count."""

    reason = serializers.ChoiceField([why.value for why in Why])
    quantity = serializers.CharField()


class ReasonOut(serializers.Serializer[Any]):
    """One reason of a trace."""

    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment] # a declared field; the class keeps its own `source`


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


class ShortfallView(APIView):
    """What a project's steps are short of."""

    @extend_schema(
        operation_id="project_shortfall",
        parameters=[Asked, OpenApiParameter("code", str, OpenApiParameter.PATH, description="the project's code")],
        responses={
            200: ShortfallOut,
            (400, "application/problem+json"): ProblemOut,
            (401, "application/problem+json"): ProblemOut,
            (404, "application/problem+json"): ProblemOut,
        },
        examples=[EXAMPLE],
    )
    def get(self, request: Request, code: str) -> Response:
        """Net the project's demand against the stock of its bench and the shared benches, with reasons."""
        asked = Asked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        named = queries.projects([code, *given["project"]])
        as_of = given.get("as_of") or timezone.localdate()
        found = queries.shortfall(named, before=given.get("before"), as_of=as_of)
        return Response(answer.as_object(found, every=given["all"]))
