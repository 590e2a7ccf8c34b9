"""What programs do for the club: take a proposed change of a day, book what a day takes, set unit costs."""

from datetime import date
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from buildplan.club import services
from inventory.catalogue.api import item_field
from inventory.common.api_fields import DecimalOut
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.models import UnitCost
from inventory.pool.api import BookingOut
from inventory.workshop.api import bench_field
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

TAGS = ["club"]
COST = {"id": 4, "item": "SEAL-B2", "item_id": 15, "unit": "g", "since": "2027-01-01", "amount": "0.42"}
_COST = {name: COST[name] for name in ("item", "since", "amount")}


class ClubTakeIn(serializers.Serializer[Any]):
    """Which proposal of which day: its `token`, as the day's answer gives it."""

    day = serializers.DateField()
    token = serializers.CharField(max_length=400)


class ClubTakenOut(serializers.Serializer[Any]):
    """What was done, in words."""

    done = serializers.ListField(child=serializers.CharField())


class ClubBookIn(serializers.Serializer[Any]):
    """Whose steps of which day. `wait` puts in line what others have; without it that is refused, and nothing is booked."""

    day = serializers.DateField()
    bench = bench_field()
    key = serializers.UUIDField(help_text="of your own making: the same one again books nothing twice")
    wait = serializers.BooleanField(default=False)


class ClubBookedOut(serializers.Serializer[Any]):
    """What was booked; empty where all of it was booked before."""

    bookings = BookingOut(many=True)


class TakeView(APIView):
    """A proposed change of a day."""

    @extend_schema(
        operation_id="club_day_take",
        summary="Take a proposed change of a day",
        tags=TAGS,
        request=ClubTakeIn,
        responses={200: ClubTakenOut, **problems(409)},
        examples=[
            sent_as({"day": "2027-02-27", "token": "move:12:2027-02-28"}),
            shown_as({"done": ["TERN-1:W2-01 goes from 2027-02-27 to 2027-02-28"]}),
        ],
    )
    def post(self, request: Request) -> Response:
        """Plan the steps anew, or space the rows wider, as the proposal says. What is no longer proposed is a 409."""
        asked = ClubTakeIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given, today = asked.validated_data, timezone.localdate()
        done = services.take_proposal(day=given["day"], named=given["token"], by=caller(request), today=today)
        return Response({"done": list(done)})


class BookView(APIView):
    """What a day takes of the pool."""

    @extend_schema(
        operation_id="club_day_book",
        summary="Book what a day takes",
        tags=TAGS,
        request=ClubBookIn,
        responses={200: ClubBookedOut, **problems(404, 409)},
        examples=[sent_as({"day": "2027-02-27", "bench": "TERN", "key": "0b6c8a52-6c57-4c55-9d31-0d0f7f3c2a11", "wait": False})],
    )
    def post(self, request: Request) -> Response:
        """Book all that a bench's steps of a day need of the pool beyond what they have, each for its step: all of it or nothing."""
        asked = ClubBookIn(data=request.data)
        asked.is_valid(raise_exception=True)
        now = timezone.now()
        made = services.book_day(**asked.validated_data, by=caller(request), today=timezone.localdate(now), now=now)
        return Response({"bookings": [BookingOut(one).data for one in made]})


class UnitCostOut(serializers.Serializer[UnitCost]):
    """What a stock unit of a shared material costs from a day on, in the workshop's money."""

    id = serializers.IntegerField()
    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    unit = serializers.CharField(source="item.unit")
    since = serializers.DateField()
    amount = DecimalOut()


class UnitCostIn(serializers.Serializer[Any]):
    """A cost to be set."""

    item = item_field()
    since = serializers.DateField()
    amount = serializers.DecimalField(max_digits=14, decimal_places=6, min_value=0)


def _known(item: int, since: date) -> bool:
    return UnitCost.objects.filter(item=item, since=since).exists()


@extend_schema_view(
    list=extend_schema(summary="List unit costs, the latest first", examples=[shown_as(COST)]),
    retrieve=extend_schema(summary="Read a unit cost", examples=[shown_as(COST)]),
    create=extend_schema(
        summary="Set a unit cost",
        request=UnitCostIn,
        responses={201: UnitCostOut, 200: UnitCostOut, **problems(404)},
        examples=[sent_as(_COST), shown_as(COST)],
    ),
    destroy=extend_schema(summary="Take a unit cost back", responses={204: None}),
)
@extend_schema(tags=TAGS)
class UnitCostViews(TaggedRows, ListModelMixin, GenericViewSet[UnitCost]):
    """What shared material costs: for statements, and for the value of what dies. Nothing is paid here."""

    queryset = UnitCost.objects.none()
    serializer_class = UnitCostOut
    ordering: ClassVar = "-pk"

    def get_queryset(self) -> QuerySet[UnitCost]:
        """All of the workshop. One query."""
        return UnitCost.objects.select_related("item")

    @once
    def create(self, request: Request) -> Response:
        """Set what a stock unit costs from a day on. What was said for that day is replaced, and the answer is 200."""
        asked = UnitCostIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        known = _known(given["item"].pk, given["since"])
        cost = services.set_unit_cost(**given, by=caller(request))
        return tagged(self.shown(cost.pk), status=200 if known else 201, Location=reverse("api-unit-cost", args=[cost.pk]))

    def remove(self, row: UnitCost) -> None:
        """The cost set before it holds again."""
        services.remove_unit_cost(cost=row, by=caller(self.request))


urlpatterns = [
    path("club/day/take", TakeView.as_view(), name="api-club-day-take"),
    path("club/day/book", BookView.as_view(), name="api-club-day-book"),
    path("unit-costs", UnitCostViews.as_view({"get": "list", "post": "create"}), name="api-unit-costs"),
    path("unit-costs/<int:pk>", UnitCostViews.as_view({"get": "retrieve", "delete": "destroy"}), name="api-unit-cost"),
]
