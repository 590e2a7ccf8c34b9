"""The club's pool for programs: what it has, loans, bookings, single things, the rules of lending."""

from typing import Any, ClassVar
from uuid import uuid4

from django.db import transaction
from django.db.models import Prefetch, QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from inventory.catalogue.api import item_field
from inventory.common.api_fields import DecimalOut, IdField, QuantityIn, ReasonOut
from inventory.common.etags import TaggedRows, require_match, shown, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.pool import queries, services
from inventory.pool.booking import lock_item
from inventory.pool.filters import BookingFilter, LoanFilter, ThingFilter
from inventory.pool.forms import KINDS, MOST_CONDITION, MOST_CURRENCY, MOST_MONEY, MOST_RULE_DAYS, MOST_SERIAL
from inventory.pool.models import Booking, Loan, LoanEnd, PoolRules, Thing
from inventory.stock.api import lot_field, place_field
from inventory.stock.models import End
from inventory.stock.services import MOST_NOTE, MOST_REF
from inventory.workshop.api import bench_field
from inventory.workshop.idempotency import once
from inventory.workshop.models import Member
from inventory.workshop.request import caller


def member_field(**kwargs: Any) -> IdField[Member]:
    """The member of an id."""
    return IdField("member", lambda pk: Member.objects.filter(pk=pk).first(), **kwargs)


def thing_field(**kwargs: Any) -> IdField[Thing]:
    """The single thing of an id."""
    return IdField("thing", lambda pk: Thing.objects.select_related("lot__item", "lot__bench").filter(pk=pk).first(), **kwargs)


def booking_field(**kwargs: Any) -> IdField[Booking]:
    """The booking of an id."""
    return IdField("booking", lambda pk: Booking.objects.filter(pk=pk).first(), **kwargs)


def _not_to_come(day: Any) -> None:
    today = timezone.localdate()
    if day > today:
        raise serializers.ValidationError(f"{day} is still to come: give a day up to {today}.")


def on_field() -> serializers.DateField:
    """The day that something was done."""
    return serializers.DateField(required=False, validators=[_not_to_come], help_text="the day that it was done; today unless given")


def text_field(most: int, help_text: str = "") -> serializers.CharField:
    """A short text that may be left out."""
    return serializers.CharField(required=False, allow_blank=True, max_length=most, help_text=help_text)


# What the pool has


class PoolRowOut(serializers.Serializer[Any]):
    """What the pool has of an item, in `unit`, today: there, out, promised to somebody, and free."""

    item = serializers.CharField()
    item_id = serializers.IntegerField()
    name = serializers.CharField()
    unit = serializers.CharField()
    there = DecimalOut(help_text="what the pool has, lent or not")
    lent = DecimalOut()
    booked = DecimalOut(help_text="promised for today and not fetched yet")
    free = DecimalOut()
    waiting = serializers.IntegerField(help_text="how many wait in line for it")


class PoolOut(serializers.Serializer[Any]):
    """What the pool has."""

    today = serializers.DateField()
    rows = PoolRowOut(many=True)


class FreeDayOut(serializers.Serializer[Any]):
    """One day of a pool item, with the reasons of its figures."""

    day = serializers.DateField()
    there = DecimalOut()
    lent = DecimalOut()
    booked = DecimalOut()
    free = DecimalOut()
    over = DecimalOut(help_text="promised beyond what is there")
    trace = ReasonOut(many=True)


class FreeIn(serializers.Serializer[Any]):
    """Of which item, for which days."""

    item = item_field()
    first = serializers.DateField(help_text="first day")
    last = serializers.DateField(help_text="last day; at most 92 days in all")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Days in order, and no more than a quarter of a year."""
        if not 0 <= (attrs["last"] - attrs["first"]).days < MOST_SHOWN:
            raise serializers.ValidationError({"last": [f"Give a day from the first on, at most {MOST_SHOWN} days in all."]})
        return attrs


MOST_SHOWN = 92
POOL_ROW = {
    "item": "CLECO-3/32",
    "item_id": 31,
    "name": "Cleco, 3/32",
    "unit": "ea",
    "there": "400",
    "lent": "120",
    "booked": "80",
    "free": "200",
    "waiting": 0,
}
FREE_DAY = {
    "day": "2027-02-27",
    "there": "400",
    "lent": "120",
    "booked": "80",
    "free": "200",
    "over": "0",
    "trace": [{"text": "400 ea in the pool, 120 ea lent, 80 ea booked", "source": "computed"}],
}


class PoolView(APIView):
    """What the pool has."""

    @extend_schema(
        operation_id="pool_read",
        summary="List what the pool has",
        tags=["pool"],
        responses={200: PoolOut},
        examples=[shown_as({"today": "2027-02-20", "rows": [POOL_ROW]})],
    )
    def get(self, request: Request) -> Response:
        """List what the pool has of each item: there, lent, booked and free today."""
        del request
        today = timezone.localdate()
        return Response(PoolOut({"today": today, "rows": queries.pool_stock(today=today)}).data)


class FreeView(APIView):
    """What of the pool is free on days to come."""

    @extend_schema(
        operation_id="pool_free",
        summary="List what is free of an item, day by day",
        tags=["pool"],
        parameters=[
            OpenApiParameter("item", str, required=True, description="any code that means the item"),
            OpenApiParameter("first", OpenApiTypes.DATE, required=True, description="first day"),
            OpenApiParameter("last", OpenApiTypes.DATE, required=True, description=f"last day; at most {MOST_SHOWN} days in all"),
        ],
        responses={200: FreeDayOut(many=True), **problems(404)},
        examples=[shown_as([FREE_DAY])],
    )
    def get(self, request: Request) -> Response:
        """List for each day what there is, what is lent and booked, and what is free, with the reasons."""
        asked = FreeIn(data=request.query_params)
        asked.is_valid(raise_exception=True)
        return Response(FreeDayOut(queries.free(**asked.validated_data, today=timezone.localdate()), many=True).data)


# Loans


class LoanEndOut(serializers.Serializer[LoanEnd]):
    """What of a loan is out no more."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(KINDS)
    quantity = DecimalOut()
    place = serializers.SerializerMethodField(help_text="where it was put back; null of what is lost or worn out")
    condition = serializers.CharField()
    note = serializers.CharField()
    on = serializers.DateField()
    by = serializers.CharField(source="by.name")
    movement = serializers.IntegerField(source="movement_id")

    @extend_schema_field(serializers.CharField(allow_null=True))
    def get_place(self, end: LoanEnd) -> str | None:
        """Only what came back lies somewhere."""
        target = end.movement.target
        return target.path if target.end == End.STORAGE else None


class LoanOut(serializers.Serializer[Loan]):
    """What is lent of a lot, in `unit`. `open` is what is still out; 0 is a loan that is over."""

    id = serializers.IntegerField()
    lot = serializers.IntegerField(source="lot_id")
    code = serializers.CharField(source="lot.code", help_text="the lot's")
    item = serializers.CharField(source="lot.item.code")
    item_id = serializers.IntegerField(source="lot.item_id")
    name = serializers.CharField(source="lot.item.name")
    unit = serializers.CharField(source="lot.item.unit")
    quantity = DecimalOut()
    open = DecimalOut()
    member = serializers.CharField(source="member.name", help_text="who has it")
    member_id = serializers.IntegerField()
    bench = serializers.CharField(source="bench.code", allow_null=True, default=None, help_text="for which bench")
    booking = serializers.IntegerField(source="booking_id", allow_null=True)
    taken_from = serializers.CharField(source="movement.source.path")
    out_on = serializers.DateField()
    due_on = serializers.DateField(allow_null=True)
    renewals = serializers.IntegerField()
    condition = serializers.CharField(help_text="when it was lent")
    note = serializers.CharField()
    ref = serializers.CharField(help_text="what it is for, as who asked names it")
    ends = LoanEndOut(many=True)


class LoanIn(serializers.Serializer[Any]):
    """What to lend, from where, to whom."""

    lot = lot_field()
    place = place_field()
    quantity = QuantityIn(help_text="in the item's stock unit")
    member = member_field(required=False, help_text="id of a member; yourself unless given")
    on = on_field()
    due_on = serializers.DateField(required=False, allow_null=True, help_text="as long as the rules allow unless given")
    bench = bench_field(required=False, allow_null=True)
    booking = booking_field(required=False, allow_null=True, help_text="id of the booking that this fulfils")
    condition = text_field(MOST_CONDITION, "as it is now")
    ref = text_field(MOST_REF, "what it is for, as you name it")
    note = text_field(MOST_NOTE)


class EndIn(serializers.Serializer[Any]):
    """What of a loan is out no more."""

    kind = serializers.ChoiceField(KINDS)
    quantity = QuantityIn(help_text="at most what is still out")
    place = place_field(required=False, allow_null=True)
    on = on_field()
    condition = text_field(MOST_CONDITION, "as it is now")
    note = text_field(MOST_NOTE)


class RenewIn(serializers.Serializer[Any]):
    """A later day to bring it back."""

    due_on = serializers.DateField()


LOAN_END = {
    "id": 8,
    "kind": "returned",
    "quantity": "25",
    "place": "Hangar/Rack 1/Tub 3",
    "condition": "",
    "note": "",
    "on": "2027-02-22",
    "by": "Ada",
    "movement": 402,
}
LOAN = {
    "id": 5,
    "lot": 61,
    "code": "TUB-3",
    "item": "CLECO-3/32",
    "item_id": 31,
    "name": "Cleco, 3/32",
    "unit": "ea",
    "quantity": "40",
    "open": "40",
    "member": "Ada",
    "member_id": 4,
    "bench": "TERN",
    "booking": None,
    "taken_from": "Hangar/Rack 1/Tub 3",
    "out_on": "2027-02-20",
    "due_on": "2027-02-27",
    "renewals": 0,
    "condition": "",
    "note": "",
    "ref": "",
    "ends": [],
}
_LEND = {"lot": 61, "place": "Hangar/Rack 1/Tub 3", "quantity": "40", "member": 4, "bench": "TERN", "due_on": "2027-02-27"}
_BACK = {"kind": "returned", "quantity": "25"}


def loan_rows() -> QuerySet[Loan]:
    """Loans with all that is shown of them. Two queries."""
    rows = Loan.objects.select_related("lot__item", "lot__bench", "member", "bench", "movement__source")
    return rows.prefetch_related(Prefetch("ends", LoanEnd.objects.select_related("movement__target", "by").order_by("pk")))


@extend_schema_view(
    list=extend_schema(summary="List loans", examples=[shown_as(LOAN)]),
    retrieve=extend_schema(summary="Read a loan", examples=[shown_as(LOAN)]),
    create=extend_schema(
        summary="Lend something",
        request=LoanIn,
        responses={201: LoanOut, **problems(404, 409)},
        examples=[sent_as(_LEND), shown_as(LOAN)],
    ),
)
@extend_schema(tags=["pool"])
class LoanViews(ListModelMixin, GenericViewSet[Loan]):
    """What is lent, to whom, until when."""

    queryset = Loan.objects.none()
    serializer_class = LoanOut
    filterset_class = LoanFilter
    scopes: ClassVar[dict[str, str]] = {"POST": "scan"}

    def get_queryset(self) -> QuerySet[Loan]:
        """All of the workshop."""
        return loan_rows()

    def retrieve(self, request: Request, pk: int) -> Response:
        """One of them."""
        return shown(request, LoanOut(self._row(pk)).data)

    @once
    def create(self, request: Request) -> Response:
        """Lend pieces of a lot. Never what is promised to others for those days."""
        asked = LoanIn(data=request.data)
        asked.is_valid(raise_exception=True)
        by = caller(request)
        given = {"on": timezone.localdate(), "member": by, **asked.validated_data}
        loan = services.lend(**given, key=uuid4(), by=by, now=timezone.now())
        return self._made(loan.pk)

    @extend_schema(
        operation_id="loans_end",
        summary="Take back, or write off",
        request=EndIn,
        responses={201: LoanOut, **problems(409)},
        examples=[sent_as(_BACK), shown_as({**LOAN, "open": "15", "ends": [LOAN_END]}, "201")],
    )
    @once
    def end(self, request: Request, pk: int) -> Response:
        """Say what of a loan is back in a place, lost or worn out: all of it, or a part. The answer is the loan as it is then."""
        loan, asked = self._row(pk), EndIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {"on": timezone.localdate(), **asked.validated_data}
        services.take_in(loan=loan, **given, key=uuid4(), by=caller(request), now=timezone.now())
        return self._made(pk)

    @extend_schema(
        operation_id="loans_renew",
        summary="Renew a loan",
        request=RenewIn,
        responses={200: LoanOut, **problems(409, 422)},
        examples=[sent_as({"due_on": "2027-03-06"}), shown_as({**LOAN, "due_on": "2027-03-06", "renewals": 1})],
    )
    @once
    def renew(self, request: Request, pk: int) -> Response:
        """Let a loan end on a later day, where the rules allow it and nobody waits for it."""
        loan, asked = self._row(pk), RenewIn(data=request.data)
        asked.is_valid(raise_exception=True)
        services.renew(loan=loan, **asked.validated_data, on=timezone.localdate(), by=caller(request))
        return Response(self._shown(pk))

    def _row(self, pk: int) -> Loan:
        return get_object_or_404(self.get_queryset(), pk=pk)

    def _shown(self, pk: int) -> Any:
        return LoanOut(self.get_queryset().get(pk=pk)).data

    def _made(self, pk: int) -> Response:
        return tagged(self._shown(pk), status=201, Location=reverse("api-loan", args=[pk]))


# Bookings


class BookingOut(serializers.Serializer[Booking]):
    """What is promised for days to come, both days included. One that waits in line holds nothing yet."""

    id = serializers.IntegerField()
    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    name = serializers.CharField(source="item.name")
    unit = serializers.CharField(source="item.unit")
    thing = serializers.IntegerField(source="thing_id", allow_null=True, help_text="id of the single thing")
    serial = serializers.CharField(source="thing.serial", allow_null=True, default=None)
    quantity = DecimalOut()
    first_day = serializers.DateField()
    last_day = serializers.DateField()
    member = serializers.CharField(source="member.name", help_text="to whom")
    member_id = serializers.IntegerField()
    bench = serializers.CharField(source="bench.code", allow_null=True, default=None, help_text="for which bench")
    note = serializers.CharField()
    ref = serializers.CharField(help_text="what it is for, as who asked names it")
    waiting = serializers.BooleanField()
    asked_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_as = serializers.CharField(help_text="cancelled, lent or lapsed; empty while it stands")


class BookingIn(serializers.Serializer[Any]):
    """What to promise, to whom, for which days."""

    item = item_field(required=False)
    thing = thing_field(required=False, allow_null=True, help_text="id of a single thing; then `item` may be left out")
    quantity = QuantityIn(required=False, help_text="in the item's stock unit; 1 unless given")
    first_day = serializers.DateField()
    last_day = serializers.DateField(help_text="booked too")
    member = member_field(required=False, help_text="id of a member; yourself unless given")
    bench = bench_field(required=False, allow_null=True)
    wait = serializers.BooleanField(required=False, help_text="where it is taken: true waits in line, else it is a 409")
    ref = text_field(MOST_REF, "what it is for, as you name it")
    note = text_field(MOST_NOTE)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A thing says of which item it is."""
        thing = attrs.get("thing")
        if thing is None and "item" not in attrs:
            raise serializers.ValidationError({"item": ["Name an item, or a single thing."]})
        return {"item": thing.lot.item, "quantity": 1, **attrs} if thing else {"quantity": 1, **attrs}


BOOKING = {
    "id": 12,
    "item": "SQUEEZER",
    "item_id": 33,
    "name": "Rivet squeezer",
    "unit": "ea",
    "thing": 2,
    "serial": "SQ-2041",
    "quantity": "1",
    "first_day": "2027-02-27",
    "last_day": "2027-02-28",
    "member": "Ada",
    "member_id": 4,
    "bench": "TERN",
    "note": "left float",
    "ref": "",
    "waiting": False,
    "asked_at": "2027-02-20T09:12:00Z",
    "ended_at": None,
    "ended_as": "",
}
_BOOK = {"thing": 2, "first_day": "2027-02-27", "last_day": "2027-02-28", "bench": "TERN", "note": "left float"}


@extend_schema_view(
    list=extend_schema(summary="List bookings", examples=[shown_as(BOOKING)]),
    retrieve=extend_schema(summary="Read a booking", examples=[shown_as(BOOKING)]),
    create=extend_schema(
        summary="Book something",
        request=BookingIn,
        responses={201: BookingOut, **problems(404, 409)},
        examples=[sent_as(_BOOK), shown_as(BOOKING)],
    ),
    destroy=extend_schema(summary="Cancel a booking", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["pool"])
class BookingViews(TaggedRows, ListModelMixin, GenericViewSet[Booking]):
    """What is promised, and who waits."""

    queryset = Booking.objects.none()
    serializer_class = BookingOut
    filterset_class = BookingFilter

    def get_queryset(self) -> QuerySet[Booking]:
        """All of the workshop. One query."""
        return Booking.objects.select_related("item", "thing", "member", "bench")

    @once
    def create(self, request: Request) -> Response:
        """Book a single thing or pieces of an item for days to come, or wait in line for them."""
        asked = BookingIn(data=request.data)
        asked.is_valid(raise_exception=True)
        by, now = caller(request), timezone.now()
        given = {"member": by, **asked.validated_data}
        booking = services.book(**given, key=uuid4(), by=by, today=timezone.localdate(now), now=now)
        return tagged(self.shown(booking.pk), status=201, Location=reverse("api-booking", args=[booking.pk]))

    def lock(self, pk: int) -> None:
        """The service locks what stands before it first."""

    def remove(self, row: Booking) -> None:
        """It is kept as cancelled; who waits gets their turn."""
        services.cancel(booking=row, by=caller(self.request), now=timezone.now())


# Single things


class ThingOut(serializers.Serializer[Thing]):
    """A single thing of the pool: a lot of one piece."""

    id = serializers.IntegerField()
    lot = serializers.IntegerField(source="lot_id")
    item = serializers.CharField(source="lot.item.code")
    item_id = serializers.IntegerField(source="lot.item_id")
    name = serializers.CharField(source="lot.item.name")
    bench = serializers.CharField(source="lot.bench.code", help_text="whose it is")
    serial = serializers.CharField()
    condition = serializers.CharField()
    calibrated_on = serializers.DateField(allow_null=True)
    calibrated_until = serializers.DateField(allow_null=True)
    retired_at = serializers.DateTimeField(allow_null=True)


class ThingPatch(serializers.Serializer[Any]):
    """What may be changed of a single thing."""

    serial = text_field(MOST_SERIAL)
    condition = text_field(MOST_CONDITION)
    calibrated_on = serializers.DateField(required=False, allow_null=True, validators=[_not_to_come])
    calibrated_until = serializers.DateField(required=False, allow_null=True)


class ThingIn(ThingPatch):
    """A lot of one piece that becomes a single thing."""

    lot = lot_field()


THING = {
    "id": 2,
    "lot": 63,
    "item": "SQUEEZER",
    "item_id": 33,
    "name": "Rivet squeezer",
    "bench": "POOL",
    "serial": "SQ-2041",
    "condition": "good, new dies",
    "calibrated_on": "2026-09-01",
    "calibrated_until": "2027-08-31",
    "retired_at": None,
}
_THING = {name: THING[name] for name in ("lot", "serial", "condition", "calibrated_on", "calibrated_until")}
_STATED = ("serial", "condition", "calibrated_on", "calibrated_until")


@extend_schema_view(
    list=extend_schema(summary="List single things", examples=[shown_as(THING)]),
    retrieve=extend_schema(summary="Read a single thing", examples=[shown_as(THING)]),
    create=extend_schema(
        summary="Make a lot a single thing",
        request=ThingIn,
        responses={201: ThingOut, **problems(404, 409)},
        examples=[sent_as(_THING), shown_as(THING)],
    ),
    partial_update=extend_schema(
        summary="Change a single thing",
        request=ThingPatch,
        responses={200: ThingOut, **problems(409)},
        examples=[sent_as({"condition": "worn jaw"}), shown_as({**THING, "condition": "worn jaw"})],
    ),
    destroy=extend_schema(summary="Retire a single thing", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["pool"])
class ThingViews(TaggedRows, ListModelMixin, GenericViewSet[Thing]):
    """Things that are lent one by one, each with its serial number."""

    queryset = Thing.objects.none()
    serializer_class = ThingOut
    patch_serializer_class = ThingPatch
    filterset_class = ThingFilter

    def get_queryset(self) -> QuerySet[Thing]:
        """All of the workshop. One query."""
        return Thing.objects.select_related("lot__item", "lot__bench")

    @once
    def create(self, request: Request) -> Response:
        """Make a lot of one piece a single thing, which is booked and lent by its serial number."""
        asked = ThingIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {"serial": "", "condition": "", "calibrated_on": None, "calibrated_until": None, **asked.validated_data}
        made = services.add_thing(**given, by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-thing", args=[made.pk]))

    def lock(self, pk: int) -> None:
        """The item comes before its things, as it does in the services."""
        if (thing := self.get_queryset().filter(pk=pk).first()) is not None:
            lock_item(thing.lot.item)
        super().lock(pk)

    def change(self, row: Thing, data: dict[str, Any]) -> None:
        """Only what is given."""
        kept = {name: getattr(row, name) for name in _STATED}
        services.change_thing(thing=row, **{**kept, **data}, by=caller(self.request))

    def remove(self, row: Thing) -> None:
        """It is kept for its history, and lent no more."""
        services.retire_thing(thing=row, by=caller(self.request), now=timezone.now())


# Rules


class RulesOut(serializers.Serializer[PoolRules]):
    """A club's rules of lending; null is no limit. Deposit and fee are figures only."""

    longest_days = serializers.IntegerField(allow_null=True, help_text="longest loan")
    renewals = serializers.IntegerField(allow_null=True, help_text="how often a loan may be renewed")
    renew_while_waited = serializers.BooleanField(help_text="renew although somebody waits")
    remind_days = serializers.IntegerField(help_text="days before its end to be reminded")
    book_ahead_days = serializers.IntegerField(allow_null=True, help_text="how far ahead to book")
    deposit = serializers.CharField()
    fee = serializers.CharField()
    currency = serializers.CharField(help_text="what money is in")


class RulesPatch(serializers.Serializer[Any]):
    """What may be changed of the rules."""

    longest_days = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=MOST_RULE_DAYS)
    renewals = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=MOST_RULE_DAYS)
    renew_while_waited = serializers.BooleanField(required=False)
    remind_days = serializers.IntegerField(required=False, min_value=0, max_value=MOST_RULE_DAYS)
    book_ahead_days = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=MOST_RULE_DAYS)
    deposit = text_field(MOST_MONEY)
    fee = text_field(MOST_MONEY)
    currency = text_field(MOST_CURRENCY)


RULES = {
    "longest_days": 14,
    "renewals": 2,
    "renew_while_waited": False,
    "remind_days": 1,
    "book_ahead_days": 60,
    "deposit": "20 a squeezer",
    "fee": "",
    "currency": "EUR",
}
RULE_NAMES = tuple(RULES)
_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="the ETag that reading them gave",
)


class RulesView(APIView):
    """The rules of lending. There is one set of them, and none is assumed."""

    @extend_schema(
        operation_id="pool_rules_read",
        summary="Read the rules of lending",
        tags=["pool"],
        responses={200: RulesOut},
        examples=[shown_as(RULES)],
    )
    def get(self, request: Request) -> Response:
        """Read them, with their ETag. Where nobody has set any, nothing is limited."""
        return shown(request, _rules(caller(request)))

    @extend_schema(
        operation_id="pool_rules_change",
        summary="Change the rules of lending",
        tags=["pool"],
        parameters=[_MATCH],
        request=RulesPatch,
        responses={200: RulesOut, **problems(412, 428)},
        examples=[sent_as({"longest_days": 14}), shown_as(RULES)],
    )
    @transaction.atomic
    def patch(self, request: Request) -> Response:
        """Change what is given of them; the rest stays."""
        by = caller(request)
        require_match(request, _rules(by))
        asked = RulesPatch(data=request.data, partial=True)
        asked.is_valid(raise_exception=True)
        kept = queries.rules(by.workshop)
        given = {name: getattr(kept, name) for name in RULE_NAMES} | asked.validated_data
        services.set_rules(workshop=by.workshop, **given, by=by)
        return tagged(_rules(by))


def _rules(member: Member) -> Any:
    return RulesOut(queries.rules(member.workshop)).data


_EDIT: dict[str, Any] = {"get": "retrieve", "patch": "partial_update", "delete": "destroy"}
_MAKE: dict[str, Any] = {"get": "list", "post": "create"}
urlpatterns = [
    path("pool", PoolView.as_view(), name="api-pool"),
    path("pool/free", FreeView.as_view(), name="api-pool-free"),
    path("pool-rules", RulesView.as_view(), name="api-pool-rules"),
    path("loans", LoanViews.as_view(_MAKE), name="api-loans"),
    path("loans/<int:pk>", LoanViews.as_view({"get": "retrieve"}), name="api-loan"),
    path("loans/<int:pk>/ends", LoanViews.as_view({"post": "end"}), name="api-loan-ends"),
    path("loans/<int:pk>/renew", LoanViews.as_view({"post": "renew"}), name="api-loan-renew"),
    path("bookings", BookingViews.as_view(_MAKE), name="api-bookings"),
    path("bookings/<int:pk>", BookingViews.as_view({"get": "retrieve", "delete": "destroy"}), name="api-booking"),
    path("things", ThingViews.as_view(_MAKE), name="api-things"),
    path("things/<int:pk>", ThingViews.as_view(_EDIT), name="api-thing"),
]
