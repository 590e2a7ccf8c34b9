"""What a bench has and doesn't need, for programs."""

from typing import Any, ClassVar

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.club.surplus import Spare, Surplus, bench_asked, surplus
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut
from inventory.common.fields import plain
from inventory.models import Bench
from inventory.workshop.request import caller


class SurplusAsked(serializers.Serializer[Any]):
    """Whose."""

    bench = serializers.CharField(required=False, max_length=40, help_text="code of the bench; one's own unless given")


class SpareOut(serializers.Serializer[Any]):
    """What of a lot nobody needs, in `unit`."""

    lot = serializers.IntegerField()
    code = serializers.CharField()
    item = serializers.CharField()
    unit = serializers.CharField()
    places = serializers.CharField()
    there = serializers.CharField()
    spare = serializers.CharField()
    until = serializers.CharField(allow_null=True)
    trace = ReasonOut(many=True)


class SurplusOut(serializers.Serializer[Any]):
    """A bench's surplus; `left_out` are seams that can't be reckoned and may need some of it."""

    bench = serializers.CharField()
    as_of = serializers.DateField()
    lots = SpareOut(many=True)
    left_out = serializers.ListField(child=serializers.CharField())


EXAMPLE = OpenApiExample(
    "a bag too many",
    response_only=True,
    status_codes=["200"],
    value={
        "bench": "TERN",
        "as_of": "2027-02-20",
        "lots": [
            {
                "lot": 41,
                "code": "R7",
                "item": "AN470AD4-6",
                "unit": "ea",
                "places": "Hangar/Rack 1/Drawer 3",
                "there": "100",
                "spare": "60",
                "until": None,
                "trace": [{"text": "100 ea on hand in Hangar/Rack 1/Drawer 3", "source": "the ledger"}],
            }
        ],
        "left_out": [],
    },
)


class SurplusView(APIView):
    """What a bench could offer."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="club_surplus",
        summary="Tell what a bench has and doesn't need",
        tags=["club"],
        parameters=[SurplusAsked],
        responses={200: SurplusOut, **{(status, "application/problem+json"): ProblemOut for status in (400, 401, 404)}},
        examples=[EXAMPLE],
    )
    def get(self, request: Request) -> Response:
        """Its own usable stock that no step of its plans needs and that isn't set aside."""
        asked = SurplusAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        benches = list(Bench.objects.select_related("workshop").order_by("name", "pk"))
        bench = bench_asked(asked.validated_data.get("bench", ""), benches, caller(request))
        today = timezone.localdate()
        if bench is None:
            return Response({"bench": "", "as_of": today.isoformat(), "lots": [], "left_out": []})
        return Response(_object(surplus(bench, as_of=today)))


def _object(found: Surplus) -> dict[str, Any]:
    return {
        "bench": found.bench.code,
        "as_of": found.as_of.isoformat(),
        "lots": [_spare(spare) for spare in found.spares],
        "left_out": list(found.left_out),
    }


def _spare(spare: Spare) -> dict[str, Any]:
    return {
        "lot": spare.lot_id,
        "code": spare.lot,
        "item": spare.item,
        "unit": spare.unit,
        "places": spare.where,
        "there": plain(spare.there),
        "spare": plain(spare.spare),
        "until": spare.until or None,
        "trace": [{"text": reason.text, "source": reason.source} for reason in spare.reasons],
    }


urlpatterns = [path("club/surplus", SurplusView.as_view(), name="api-club-surplus")]
