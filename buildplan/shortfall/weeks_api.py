"""Stock against need by week, for programs."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.shortfall import answer, queries
from buildplan.shortfall.api import CODE, PROBLEMS, AskedDemand, given_by
from inventory.catalogue import queries as catalogue
from inventory.common.api_fields import ReasonOut
from inventory.common.problems import Problem
from inventory.workshop.request import caller


class NoSuchItem(Problem):
    """No code of this workshop means what was asked for."""

    status = 404
    title = "No such item"


class AskedWeeks(AskedDemand):
    """Which demand, and which item of it."""

    item = serializers.CharField(help_text="a code of the item: its own, or an identifier of it")


class WeekOut(serializers.Serializer[Any]):
    """Some days in a row, mostly Monday through Sunday; quantities are decimal strings in the item's stock unit.

    Of what is used up, opening + due - ended - (needed - missing) = left. Of what comes back, `needed` is the most that is held at once,
    `missing` the most that lacks, and opening + due - ended = left.
    """

    first = serializers.DateField()
    through = serializers.DateField(allow_null=True, help_text="the last of these days; null where no end is known")
    opening = serializers.CharField(help_text="usable before anything of the week")
    due = serializers.CharField(help_text="what crates bring in it")
    ended = serializers.CharField(help_text="what is left of lots that can't serve any more")
    needed = serializers.CharField()
    missing = serializers.CharField()
    left = serializers.CharField()


class StockByWeekOut(serializers.Serializer[Any]):
    """One item over the weeks of a demand; no weeks where none of its steps needs it. `short` and `first_short` are the order sheet's."""

    project = serializers.CharField()
    before = serializers.DateField(allow_null=True)
    as_of = serializers.DateField()
    item = serializers.CharField()
    unit = serializers.CharField()
    returned = serializers.BooleanField(help_text="it comes back: a cleco or a tool")
    needed = serializers.CharField()
    short = serializers.CharField()
    first_short = serializers.DateField(allow_null=True)
    first_short_week = serializers.DateField(allow_null=True, help_text="the first day of the first week in which something is missing")
    weeks = WeekOut(many=True)
    trace = ReasonOut(many=True)


EXAMPLE = OpenApiExample(
    "short in the third week",
    response_only=True,
    status_codes=["200"],
    value={
        "project": "TERN-1",
        "before": None,
        "as_of": "2027-02-20",
        "item": "MS20470AD4-6",
        "unit": "ea",
        "returned": False,
        "needed": "240",
        "short": "128",
        "first_short": "2027-03-06",
        "first_short_week": "2027-03-01",
        "weeks": [
            {
                "first": "2027-02-20",
                "through": "2027-02-21",
                "opening": "162",
                "due": "0",
                "ended": "0",
                "needed": "0",
                "missing": "0",
                "left": "162",
            },
            {
                "first": "2027-02-22",
                "through": "2027-02-28",
                "opening": "162",
                "due": "0",
                "ended": "0",
                "needed": "0",
                "missing": "0",
                "left": "162",
            },
            {
                "first": "2027-03-01",
                "through": "2027-03-07",
                "opening": "162",
                "due": "0",
                "ended": "50",
                "needed": "240",
                "missing": "128",
                "left": "0",
            },
        ],
        "trace": [{"text": "F3-04 needs 240 ea on 2027-03-06: as planned", "source": "row R1"}],
    },
)


class StockByWeekView(APIView):
    """Stock against need."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="project_stock_by_week",
        summary="Show week by week what of one item is there, comes, dies, is needed and is missing",
        parameters=[AskedWeeks, CODE],
        responses={200: StockByWeekOut, **PROBLEMS},
        examples=[EXAMPLE],
    )
    def get(self, request: Request, code: str) -> Response:
        """The netting of the order sheet, added up week by week from today on.

        A year stands week by week; what lies beyond it is one last row. All that is missing adds up to the order sheet's short.
        """
        queries.projects([code])  # a project that isn't there is told before what else is wrong
        given = given_by(AskedWeeks, request)
        named = queries.projects([code, *given["project"]])
        item = catalogue.find(caller(request).workshop, given["item"])
        if item is None:
            message = f"no item of the code {given['item']} here: the catalogue lists them"
            raise NoSuchItem(message)
        before, as_of = given.get("before"), given.get("as_of") or timezone.localdate()
        line = queries.line_of(named, item.pk, before=before, as_of=as_of)
        return Response(answer.weeks_object(named, item, line, before=before, as_of=as_of))
