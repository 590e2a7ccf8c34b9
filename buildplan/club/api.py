"""The club for programs: whether a day goes ahead, the week of the pool, statements of shared material."""

from datetime import date
from typing import Any, ClassVar

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.club import answer, queries, statements, week
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut
from inventory.workshop.request import caller

PROBLEMS = {(status, "application/problem+json"): ProblemOut for status in (400, 401)}
TAGS = ["club"]


class ClubAskedDay(serializers.Serializer[Any]):
    """Which day."""

    day = serializers.DateField(required=False, help_text="today where it isn't given; a day that is past is refused")


class ClubDayStepOut(serializers.Serializer[Any]):
    """A step of the day; `rule` says why it counts then."""

    step = serializers.CharField(help_text="project and step")
    title = serializers.CharField()
    bench = serializers.CharField()
    minutes = serializers.IntegerField(allow_null=True)
    rule = serializers.CharField()


class ClubStandOut(serializers.Serializer[Any]):
    """What the pool has of an item that day."""

    there = serializers.CharField()
    lent = serializers.CharField()
    booked = serializers.CharField()
    free = serializers.CharField()


class ClubStepShareOut(serializers.Serializer[Any]):
    """What a step gets: of its bench's own, of what is lent or promised to its bench, of the pool's free pieces."""

    step = serializers.CharField()
    needed = serializers.CharField()
    own = serializers.CharField()
    promised = serializers.CharField()
    pool = serializers.CharField()
    lacking = serializers.CharField()


class ClubSpareOut(serializers.Serializer[Any]):
    """What a bench has of its own and doesn't need that day."""

    bench = serializers.CharField()
    quantity = serializers.CharField()


class ClubDayItemOut(serializers.Serializer[Any]):
    """A thing that comes back and is held that day, in its stock unit."""

    item = serializers.CharField()
    unit = serializers.CharField()
    needed = serializers.CharField()
    short = serializers.CharField()
    pool = ClubStandOut()
    steps = ClubStepShareOut(many=True)
    spare = ClubSpareOut(many=True)
    trace = ReasonOut(many=True)


class ClubLentItemOut(serializers.Serializer[Any]):
    """What a bench would lend."""

    item = serializers.CharField()
    quantity = serializers.CharField()
    for_bench = serializers.CharField()


class ClubChangeOut(serializers.Serializer[Any]):
    """One change: `to` of a move, `every` of a wider spacing, `items` of what is borrowed from `bench`."""

    kind = serializers.ChoiceField(["move", "widen", "borrow"])
    text = serializers.CharField()
    bench = serializers.CharField()
    step = serializers.CharField(allow_null=True)
    to = serializers.DateField(required=False)
    every = serializers.IntegerField(required=False)
    items = ClubLentItemOut(many=True, required=False)


class ClubProposalOut(serializers.Serializer[Any]):
    """One change, or two together, with which the day goes ahead."""

    token = serializers.CharField(help_text="what names it on the page")
    changes = ClubChangeOut(many=True)
    trace = ReasonOut(many=True)


class ClubDayOut(serializers.Serializer[Any]):
    """Whether a day goes ahead, and the changes that would let it, the smallest first."""

    day = serializers.DateField()
    as_of = serializers.DateField()
    goes = serializers.BooleanField()
    steps = ClubDayStepOut(many=True)
    items = ClubDayItemOut(many=True)
    proposals = ClubProposalOut(many=True)


class ClubPoolDayOut(serializers.Serializer[Any]):
    """One day of something of the pool; `over` is what was promised beyond what is there."""

    day = serializers.DateField()
    there = serializers.CharField()
    lent = serializers.CharField()
    booked = serializers.CharField()
    free = serializers.CharField()
    over = serializers.CharField()
    trace = ReasonOut(many=True)


class ClubWeekRowOut(serializers.Serializer[Any]):
    """The counted pieces of an item, or one single thing, over the week."""

    item = serializers.CharField()
    unit = serializers.CharField()
    thing = serializers.IntegerField(allow_null=True)
    serial = serializers.CharField()
    days = ClubPoolDayOut(many=True)


class ClubPlannedOut(serializers.Serializer[Any]):
    """How many steps a project plans."""

    project = serializers.CharField()
    steps = serializers.IntegerField()


class ClubWorkOut(serializers.Serializer[Any]):
    """What is planned on a day."""

    day = serializers.DateField()
    steps = ClubPlannedOut(many=True)


class ClubWeekOut(serializers.Serializer[Any]):
    """Seven days of the pool."""

    first = serializers.DateField()
    last = serializers.DateField()
    as_of = serializers.DateField()
    rows = ClubWeekRowOut(many=True)
    work = ClubWorkOut(many=True)


class ClubAskedPeriod(serializers.Serializer[Any]):
    """Which days, and whom it is about."""

    first = serializers.DateField(required=False, help_text="the first day; the first of this month where it isn't given")
    last = serializers.DateField(required=False, help_text="the last day, which counts too; today where it isn't given")
    bench = serializers.CharField(required=False, help_text="the code of a bench; all where it isn't given")
    member = serializers.IntegerField(required=False, min_value=1, help_text="the id of a member who holds a bench")


class ClubMaterialOut(serializers.Serializer[Any]):
    """What a project used of a material; `without_cost` of it on days for which no cost is set."""

    item = serializers.CharField()
    unit = serializers.CharField()
    quantity = serializers.CharField()
    without_cost = serializers.CharField()
    cost = serializers.CharField(allow_null=True, help_text="with two decimals; null where no cost is set")
    trace = ReasonOut(many=True)


class ClubProjectCostOut(serializers.Serializer[Any]):
    """What a project used; null is what no project is known for, which is nobody's share."""

    project = serializers.CharField(allow_null=True)
    bench = serializers.CharField(allow_null=True)
    cost = serializers.CharField()
    lines = ClubMaterialOut(many=True)


class ClubMemberCostOut(serializers.Serializer[Any]):
    """A member's even share of a bench's cost, shared `among` so many."""

    member = serializers.CharField()
    bench = serializers.CharField()
    among = serializers.IntegerField()
    cost = serializers.CharField()


class ClubStatementOut(serializers.Serializer[Any]):
    """A period's use of shared material. Projects add to the total to the cent."""

    first = serializers.DateField()
    last = serializers.DateField()
    currency = serializers.CharField()
    total = serializers.CharField()
    projects = ClubProjectCostOut(many=True)
    members = ClubMemberCostOut(many=True)
    trace = ReasonOut(many=True)


EXAMPLE = OpenApiExample(
    "two steps that want one squeezer",
    response_only=True,
    status_codes=["200"],
    value={
        "day": "2027-02-27",
        "as_of": "2027-02-20",
        "goes": False,
        "steps": [{"step": "TERN-1:W2-01", "title": "Squeeze the ribs", "bench": "TERN", "minutes": 120, "rule": "as planned"}],
        "items": [
            {
                "item": "SQUEEZER-PNEU",
                "unit": "ea",
                "needed": "2",
                "short": "1",
                "pool": {"there": "1", "lent": "0", "booked": "0", "free": "1"},
                "steps": [{"step": "TERN-1:W2-01", "needed": "1", "own": "0", "promised": "0", "pool": "0", "lacking": "1"}],
                "spare": [],
                "trace": [{"text": "the pool: 1 there - 0 lent - 0 booked, 1 ea free", "source": "computed"}],
            }
        ],
        "proposals": [
            {
                "token": "move:7:2027-02-28",
                "changes": [
                    {
                        "kind": "move",
                        "text": "TERN-1:W2-01 goes from 2027-02-27 to 2027-02-28",
                        "bench": "TERN",
                        "step": "TERN-1:W2-01",
                        "to": "2027-02-28",
                    }
                ],
                "trace": [{"text": "1 day away; on 2027-02-28 no step lacks more than it does now", "source": "the nearest day"}],
            }
        ],
    },
)


class DayView(APIView):
    """Whether a day can go ahead."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="club_day",
        summary="Ask whether a day can go ahead",
        tags=TAGS,
        parameters=[ClubAskedDay],
        responses={200: ClubDayOut, **PROBLEMS},
        examples=[EXAMPLE],
    )
    def get(self, request: Request) -> Response:
        """Every project's steps of a day against what its bench and the pool have, and the smallest changes that would make it fit."""
        today, wanted = _day(request)
        return Response(answer.day_object(queries.go_ahead(wanted, today=today)))


class WeekView(APIView):
    """The week of the pool."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="club_week",
        summary="Seven days of the pool",
        tags=TAGS,
        parameters=[ClubAskedDay],
        responses={200: ClubWeekOut, **PROBLEMS},
    )
    def get(self, request: Request) -> Response:
        """What of the pool is lent, booked and free on seven days from `day` on, and what each project plans."""
        today, wanted = _day(request)
        queries.refuse_day(wanted, today)
        return Response(answer.week_object(week.week(wanted, today=today)))


class StatementView(APIView):
    """What shared material was used, and whose share its cost is."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="club_statement",
        summary="State what was used of shared material",
        tags=TAGS,
        parameters=[ClubAskedPeriod],
        responses={200: ClubStatementOut, **PROBLEMS, (404, "application/problem+json"): ProblemOut},
    )
    def get(self, request: Request) -> Response:
        """A period's use by project and by member; the holders of a bench share its cost evenly."""
        asked = ClubAskedPeriod(data=request.query_params)
        asked.is_valid(raise_exception=True)
        given, today = asked.validated_data, timezone.localdate()
        found = statements.statement(
            first=given.get("first") or today.replace(day=1),
            last=given.get("last") or today,
            workshop=caller(request).workshop,
            bench=statements.bench_id(given.get("bench")),
            member=statements.holder_id(given.get("member")),
        )
        return Response(answer.statement_object(found))


def _day(request: Request) -> tuple[date, date]:
    asked = ClubAskedDay(data=request.query_params)
    asked.is_valid(raise_exception=True)
    today = timezone.localdate()
    return today, asked.validated_data.get("day") or today


urlpatterns = [
    path("club/day", DayView.as_view(), name="api-club-day"),
    path("club/week", WeekView.as_view(), name="api-club-week"),
    path("club/statement", StatementView.as_view(), name="api-club-statement"),
]
