"""Counts, what a crate came to, putting away, and the receipt, for programs."""

from datetime import datetime, timedelta
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from inventory.catalogue.api import item_field
from inventory.common.api_fields import DecimalOut, IdField, QuantityIn, SizeField, StatedDateField
from inventory.common.etags import tagged
from inventory.common.problems import FieldProblem
from inventory.common.schema import problems, sent_as, shown_as
from inventory.receiving.api import BAG, BagOut, crate_field
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.stock import services as stock
from inventory.stock.api import MOVEMENT, MovementOut, ledger
from inventory.tallying import queries, services
from inventory.tallying.calc import Measured
from inventory.tallying.filters import TallyFilter
from inventory.tallying.models import Finding, How, Tally
from inventory.tallying.queries import Receipt
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

AHEAD = timedelta(minutes=10)  # how far a device's clock may be ahead


def bag_field(**kwargs: Any) -> IdField[Bag]:
    """The bag of an id."""
    rows = Bag.objects
    return IdField("bag", lambda pk: rows.select_related("crate__bench").filter(pk=pk).first(), **kwargs)


def line_field(**kwargs: Any) -> IdField[PackingLine]:
    """The packing line of an id."""
    rows = PackingLine.objects
    return IdField("line", lambda pk: rows.select_related("crate__bench", "item", "bag").filter(pk=pk).first(), **kwargs)


# Tallies


class TallyOut(serializers.Serializer[Tally]):
    """One count, never changed: a wrong one is undone by its opposite. `line` is null for what the list doesn't have."""

    id = serializers.IntegerField()
    crate = serializers.CharField(source="crate.code")
    crate_id = serializers.IntegerField()
    bag = serializers.CharField(source="bag.path", allow_null=True, default=None)
    bag_id = serializers.IntegerField(allow_null=True)
    line = serializers.CharField(source="line.number", allow_null=True, default=None)
    line_id = serializers.IntegerField(allow_null=True)
    item = serializers.CharField(source="item.code", allow_null=True, default=None, help_text="null for a mystery")
    item_id = serializers.IntegerField(allow_null=True)
    quantity = DecimalOut(help_text="added to the counts before; negative where it takes off")
    unit = serializers.CharField(source="item.unit", allow_null=True, default=None)
    finding = serializers.ChoiceField(Finding.choices)
    how = serializers.ChoiceField(How.choices)
    correction = serializers.BooleanField(help_text="whether somebody said how many good ones there are in all")
    lot_code = serializers.CharField()
    made = StatedDateField(allow_null=True)
    expires = StatedDateField(allow_null=True)
    diameter = SizeField(allow_null=True)
    length = SizeField(allow_null=True)
    head = serializers.CharField()
    note = serializers.CharField()
    by = serializers.CharField(source="by.name")
    at = serializers.DateTimeField(help_text="when it was counted")
    undoes = serializers.IntegerField(source="undoes_id", allow_null=True, help_text="the count that this one takes back")
    undone_by = serializers.IntegerField(
        source="undone_by.pk", allow_null=True, default=None, help_text="the count that took this one back"
    )
    movement = serializers.IntegerField(source="movement_id", allow_null=True, help_text="the movement that took it into stock")


class TallyIn(serializers.Serializer[Any]):
    """What was found: of a line, or of an item in a bag, whose line is then looked for. A mystery names neither."""

    crate = crate_field(required=False, help_text="code of the crate; needed where neither bag nor line is given")
    bag = bag_field(required=False, allow_null=True, help_text="id of the bag that it lay in")
    line = line_field(required=False, allow_null=True, help_text="id of the packing line")
    item = item_field(required=False, allow_null=True)
    quantity = QuantityIn(help_text="in the item's stock unit")
    in_all = serializers.BooleanField(
        required=False, default=False, help_text="true: so many good ones of `line` there are in all; the difference is counted"
    )
    finding = serializers.ChoiceField(Finding.choices, required=False, default=Finding.GOOD.value)
    how = serializers.ChoiceField(How.choices, required=False, default=How.HAND.value)
    lot_code = serializers.CharField(required=False, allow_blank=True, max_length=stock.MOST_CODE)
    made = StatedDateField(required=False, allow_null=True)
    expires = StatedDateField(required=False, allow_null=True)
    diameter = SizeField(required=False, allow_null=True)
    length = SizeField(required=False, allow_null=True)
    head = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_HEAD)
    note = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_NOTE)
    at = serializers.DateTimeField(required=False, help_text="when it was counted; now unless given")


TALLY = {
    "id": 901,
    "crate": "CRATE-7",
    "crate_id": 3,
    "bag": "12/12A",
    "bag_id": 88,
    "line": "4",
    "line_id": 512,
    "item": "AN470AD4-6",
    "item_id": 12,
    "quantity": "120",
    "unit": "ea",
    "finding": "good",
    "how": "hand",
    "correction": False,
    "lot_code": "",
    "made": None,
    "expires": None,
    "diameter": None,
    "length": None,
    "head": "",
    "note": "",
    "by": "Ada",
    "at": "2027-02-20T18:04:11Z",
    "undoes": None,
    "undone_by": None,
    "movement": None,
}
_UNDONE = {**TALLY, "id": 902, "quantity": "-120", "undoes": 901}


@extend_schema_view(
    list=extend_schema(summary="List counts", examples=[shown_as(TALLY)]),
    retrieve=extend_schema(summary="Read a count", examples=[shown_as(TALLY)]),
    create=extend_schema(
        summary="Count",
        request=TallyIn,
        responses={200: TallyOut, 201: TallyOut, 204: None, **problems(404, 409)},
        examples=[sent_as({"bag": 88, "item": "AN470AD4-6", "quantity": "120"}), shown_as(TALLY)],
    ),
)
@extend_schema(tags=["tallies"])
class TallyViews(ListModelMixin, GenericViewSet[Tally]):
    """Counts of what came. A token of scope scan may count."""

    queryset = Tally.objects.none()
    serializer_class = TallyOut
    filterset_class = TallyFilter
    scopes: ClassVar = {"POST": "scan"}

    def get_queryset(self) -> QuerySet[Tally]:
        """All of the workshop. One query."""
        return Tally.objects.select_related("crate__bench", "bag", "line", "item", "by", "undone_by")

    def retrieve(self, request: Request, pk: int) -> Response:
        """One count."""
        del request
        return Response(TallyOut(get_object_or_404(self.get_queryset(), pk=pk)).data)

    @once
    def create(self, request: Request) -> Response:
        """Count more, or say by `in_all` how many there are. The answer is the count; 204 where what was said agrees already."""
        asked = TallyIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = dict(asked.validated_data)
        given["at"] = _when(given.get("at"))
        made = _in_all(given, request) if given.pop("in_all") else _more(given, request)
        return self._made(made) if made is not None else Response(status=204)

    @extend_schema(
        summary="Take a count back", request=None, responses={201: TallyOut, **problems(409)}, examples=[shown_as(_UNDONE, "201")]
    )
    @once
    def undo(self, request: Request, pk: int) -> Response:
        """Take a count back, once; the answer is its opposite."""
        tally = get_object_or_404(self.get_queryset(), pk=pk)
        return self._made(services.undo(tally=tally, by=caller(request), at=timezone.now()))

    def _made(self, tally: Tally) -> Response:
        shown = TallyOut(self.get_queryset().get(pk=tally.pk)).data
        return tagged(shown, status=201, Location=reverse("api-tally", args=[tally.pk]))


def _when(at: datetime | None) -> datetime:
    now = timezone.now()
    if at is not None and at > now + AHEAD:
        raise FieldProblem("at", f"counted at {at:%Y-%m-%d %H:%M}, which is still to come: set the device's clock")
    return at or now


def _in_all(given: dict[str, Any], request: Request) -> Tally | None:
    line = given.get("line")
    if line is None:
        raise FieldProblem("line", "say by `line` of which packing line there are so many in all")
    said = {name: given[name] for name in ("how", "lot_code", "made", "expires", "note", "at") if name in given}
    return services.correct(line=line, counted=given["quantity"], by=caller(request), **said)


def _more(given: dict[str, Any], request: Request) -> Tally:
    line, bag = given.get("line"), given.get("bag")
    crate = given.pop("crate", None) or (bag.crate if bag else line.crate if line else None)
    if crate is None:
        raise FieldProblem("crate", "say where it lay: by `bag`, by `line` or by `crate`")
    sizes = {name: given.pop(name, None) for name in ("diameter", "length")}
    measured = Measured(**sizes, head=given.pop("head", ""))
    given["bag"] = bag or (line.bag if line else None)
    return services.tally(crate=crate, measured=measured, by=caller(request), **given)


# What a crate came to


class LineTallyOut(serializers.Serializer[Any]):
    """A packing line with what was found of it. `left` is what nobody has found; `short` is that once counting is over."""

    line_id = serializers.IntegerField()
    number = serializers.CharField()
    item = serializers.CharField()
    item_id = serializers.IntegerField()
    name = serializers.CharField()
    unit = serializers.CharField()
    listed = DecimalOut()
    good = DecimalOut()
    damaged = DecimalOut()
    wrong = DecimalOut()
    left = DecimalOut()
    short = DecimalOut()
    over = DecimalOut()
    good_in_stock = DecimalOut(source="good_in")
    damaged_in_stock = DecimalOut(source="damaged_in")
    last_counted_by = serializers.CharField(source="last_by")
    last_counted_at = serializers.DateTimeField(source="last_at", allow_null=True)


class ExtraOut(serializers.Serializer[Any]):
    """What the list doesn't have. A mystery has no item; its `tally` is the count itself."""

    item = serializers.CharField()
    item_id = serializers.IntegerField(allow_null=True)
    name = serializers.CharField()
    unit = serializers.CharField()
    good = DecimalOut()
    damaged = DecimalOut()
    wrong = DecimalOut()
    mystery = DecimalOut()
    tally = serializers.IntegerField(source="tally_id", allow_null=True)
    note = serializers.CharField()


class BagTallyOut(serializers.Serializer[Any]):
    """A bag with its own lines; `id` is null for what lies in no bag. `found_within` of `lines_within` count the bags in it too."""

    id = serializers.IntegerField(allow_null=True)
    path = serializers.CharField()
    place = serializers.CharField(help_text="where it lies as a whole; blank where it doesn't")
    counted_on = serializers.DateField(allow_null=True)
    counted_by = serializers.CharField()
    lines_within = serializers.IntegerField()
    found_within = serializers.IntegerField()
    waiting_within = serializers.IntegerField(help_text="how many lines and things wait to be put away")
    lines = LineTallyOut(many=True)
    extras = ExtraOut(many=True)


class DifferenceOut(serializers.Serializer[Any]):
    """One way in which what came differs from the list; `quantity` is of that `kind`."""

    kind = serializers.ChoiceField([(kind, kind) for kind in queries.KINDS])
    quantity = DecimalOut()
    line_id = serializers.IntegerField(allow_null=True)
    number = serializers.CharField()
    item = serializers.CharField()
    item_id = serializers.IntegerField(allow_null=True)
    unit = serializers.CharField()
    bag = serializers.CharField()
    listed = DecimalOut()
    good = DecimalOut()
    photos = serializers.IntegerField()
    note = serializers.CharField()
    tally = serializers.IntegerField(source="tally_id", allow_null=True)


class SheetOut(serializers.Serializer[Any]):
    """A crate by its bags, as far as it is counted."""

    crate_id = serializers.IntegerField()
    crate = serializers.CharField(source="code")
    arrived_on = serializers.DateField(allow_null=True)
    closed_on = serializers.DateField(allow_null=True)
    lines = serializers.SerializerMethodField()
    found_lines = serializers.IntegerField()
    bags = BagTallyOut(many=True)

    def get_lines(self, sheet: Any) -> int:
        """How many lines its list has."""
        return len(sheet.lines)


class PlacedOut(serializers.Serializer[Any]):
    """Where some of it was put."""

    movement = serializers.IntegerField(source="movement_id")
    lot = serializers.IntegerField(source="lot_id")
    code = serializers.CharField(source="lot", help_text="the lot's")
    state = serializers.CharField()
    place = serializers.CharField()
    quantity = DecimalOut()
    on = serializers.DateField()
    by = serializers.CharField()


class ReceiptLineOut(serializers.Serializer[Any]):
    """A line, or something not listed, with where it was put."""

    bag = serializers.CharField()
    line_id = serializers.IntegerField(allow_null=True, default=None)
    number = serializers.CharField(default="")
    item = serializers.CharField()
    unit = serializers.CharField()
    listed = DecimalOut(allow_null=True, default=None)
    good = DecimalOut()
    damaged = DecimalOut()
    wrong = DecimalOut()
    waiting = DecimalOut(help_text="counted, and not put away")
    placed = PlacedOut(many=True)


class TotalsOut(serializers.Serializer[Any]):
    """What the lines add up to, beside what is printed on the list."""

    lines = serializers.IntegerField()
    quantity = DecimalOut()
    printed_lines = serializers.IntegerField(allow_null=True)
    printed_quantity = DecimalOut(allow_null=True)
    agree = serializers.BooleanField()


class ReceiptOut(serializers.Serializer[Any]):
    """What came in a crate. `in_stock` is what the ledger took in under its lines and bags."""

    crate_id = serializers.IntegerField()
    crate = serializers.CharField()
    arrived_on = serializers.DateField(allow_null=True)
    closed_on = serializers.DateField(allow_null=True)
    counted_by = serializers.ListField(child=serializers.CharField())
    totals = TotalsOut()
    good = DecimalOut()
    damaged = DecimalOut()
    in_stock = DecimalOut()
    waiting = DecimalOut()
    differences = DifferenceOut(many=True)
    lines = ReceiptLineOut(many=True)


def receipt_shown(found: Receipt) -> dict[str, Any]:
    """A receipt as the API tells it."""
    sheet = found.sheet
    names = ("bag", "line_id", "number", "item", "unit", "listed", "good", "damaged", "wrong", "waiting")
    rows = [{**{name: getattr(row, name) for name in names if hasattr(row, name)}, "placed": found.places_of(row)} for row in sheet.rows]
    head = {"crate_id": sheet.crate_id, "crate": sheet.code, "arrived_on": sheet.arrived_on, "closed_on": sheet.closed_on}
    sums = {"good": found.good, "damaged": found.damaged, "in_stock": found.went_in, "waiting": found.waiting}
    rest = {"counted_by": found.counted_by, "totals": found.totals, "differences": found.differences, "lines": rows}
    return dict(ReceiptOut({**head, **sums, **rest}).data)


def crate_of(pk: int) -> Crate:
    """The crate of an address."""
    return get_object_or_404(Crate.objects.select_related("bench"), pk=pk)


class SheetView(APIView):
    """What was counted of a crate so far."""

    @extend_schema(operation_id="crates_sheet", summary="Read what was counted of a crate", tags=["tallies"], responses={200: SheetOut})
    def get(self, request: Request, pk: int) -> Response:
        """By bags and lines, as far as it is counted."""
        del request
        return Response(SheetOut(queries.sheet(crate_of(pk))).data)


class ReceiptView(APIView):
    """The receipt of a crate."""

    @extend_schema(operation_id="crates_receipt", summary="Read a crate's receipt", tags=["tallies"], responses={200: ReceiptOut})
    def get(self, request: Request, pk: int) -> Response:
        """What came, what differs and where it was put, as it stands now."""
        del request
        return Response(receipt_shown(queries.receipt(crate_of(pk))))


# What ends it


class DayIn(serializers.Serializer[Any]):
    """A day; today unless given."""

    on = serializers.DateField(required=False)

    def validate_on(self, on: Any) -> Any:
        """Not one still to come."""
        today = timezone.localdate()
        if on > today:
            message = f"{on} is still to come: give a day up to {today}."
            raise serializers.ValidationError(message)
        return on


class PutAwayIn(DayIn):
    """Where what was counted goes: of a bag and the bags in it, or of the whole crate."""

    place = serializers.CharField(max_length=stock.MOST_PATH, help_text="path of a storage place; made where it isn't there")
    bag = bag_field(required=False, allow_null=True, help_text="id of a bag; all of the crate unless given")


class PutOut(serializers.Serializer[Any]):
    """The movements that took it into stock."""

    movements = MovementOut(many=True)


class BagDoneIn(DayIn):
    """That a bag is counted to the end, or isn't after all."""

    reopen = serializers.BooleanField(required=False, default=False)


def _asked(serializer: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    asked = serializer(data=request.data)
    asked.is_valid(raise_exception=True)
    return {"on": timezone.localdate(), **asked.validated_data}


class PutAwayView(APIView):
    """Puts away what was counted."""

    @extend_schema(
        operation_id="crates_put_away",
        summary="Put away what was counted",
        tags=["tallies"],
        request=PutAwayIn,
        responses={201: PutOut, **problems(409)},
        examples=[sent_as({"place": "Hangar/Rack 2/Drawer 7", "bag": 88}), shown_as({"movements": [MOVEMENT]})],
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Take what was counted into one place. What is damaged is kept apart, as disputed."""
        crate, given, by = crate_of(pk), _asked(PutAwayIn, request), caller(request)
        place = stock.ensure_place(workshop=by.workshop, path=given["place"], by=by)
        moved = services.put_away(crate=crate, bag=given.get("bag"), place=place, on=given["on"], by=by)
        rows = ledger().filter(pk__in=[movement.pk for movement in moved]).order_by("pk")
        return Response(PutOut({"movements": rows}).data, status=201)


class ArrivedView(APIView):
    """Says when a crate came."""

    scopes: ClassVar = {"POST": "scan"}

    @extend_schema(
        operation_id="crates_arrived",
        summary="Say that a crate arrived",
        tags=["tallies"],
        request=DayIn,
        responses={200: SheetOut, **problems(409)},
        examples=[sent_as({"on": "2027-02-20"})],
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        """The days to claim run from then."""
        crate = services.arrived(crate=crate_of(pk), on=_asked(DayIn, request)["on"], by=caller(request))
        return Response(SheetOut(queries.sheet(crate)).data)


class CloseView(APIView):
    """Ends counting."""

    @extend_schema(
        operation_id="crates_close",
        summary="Close the counting of a crate",
        tags=["tallies"],
        request=DayIn,
        responses={200: ReceiptOut, **problems(409)},
        examples=[sent_as({"on": "2027-02-20"})],
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        """What is missing is given up, and stays in the receipt as short; the answer is the receipt."""
        crate = services.close(crate=crate_of(pk), on=_asked(DayIn, request)["on"], by=caller(request))
        return Response(receipt_shown(queries.receipt(crate)))


class FinishBagView(APIView):
    """Says that a bag is counted."""

    scopes: ClassVar = {"POST": "scan"}

    @extend_schema(
        operation_id="bags_finish",
        summary="Say that a bag is counted to the end",
        tags=["tallies"],
        request=BagDoneIn,
        responses={200: BagOut, **problems(409)},
        examples=[sent_as({"on": "2027-02-20"}), shown_as({**BAG, "counted_on": "2027-02-20", "counted_by": "Ada"})],
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        """What it lacks is short from then on; `reopen` takes that back."""
        bag, given = get_object_or_404(Bag.objects.select_related("crate__bench"), pk=pk), _asked(BagDoneIn, request)
        if given["reopen"]:
            services.reopen_bag(bag=bag, by=caller(request))
        else:
            services.finish_bag(bag=bag, on=given["on"], by=caller(request))
        return Response(BagOut(Bag.objects.select_related("crate", "counted_by", "place").get(pk=pk)).data)


urlpatterns = [
    path("tallies", TallyViews.as_view({"get": "list", "post": "create"}), name="api-tallies"),
    path("tallies/<int:pk>", TallyViews.as_view({"get": "retrieve"}), name="api-tally"),
    path("tallies/<int:pk>/undo", TallyViews.as_view({"post": "undo"}), name="api-tally-undo"),
    path("crates/<int:pk>/sheet", SheetView.as_view(), name="api-crate-sheet"),
    path("crates/<int:pk>/receipt", ReceiptView.as_view(), name="api-crate-receipt"),
    path("crates/<int:pk>/put-away", PutAwayView.as_view(), name="api-put-away"),
    path("crates/<int:pk>/arrived", ArrivedView.as_view(), name="api-crate-arrived"),
    path("crates/<int:pk>/close", CloseView.as_view(), name="api-crate-close"),
    path("bags/<int:pk>/finish", FinishBagView.as_view(), name="api-bag-finish"),
]
