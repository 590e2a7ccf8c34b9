"""Places, lots, what lies where, and the ledger, for programs."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import date
from typing import Any, ClassVar

from django.db.models import OuterRef, QuerySet, Subquery, Sum
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field, extend_schema_view
from rest_framework import serializers
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from inventory.catalogue.api import item_field
from inventory.common.api_fields import CodeField, DecimalOut, IdField, QuantityIn, StatedDateField, body_of
from inventory.common.etags import TaggedRows, shown, tagged
from inventory.common.fields import QuantityField
from inventory.common.history import MOST_WHY
from inventory.common.schema import problems, sent_as, shown_as
from inventory.stock import queries, services
from inventory.stock.filters import HoldingFilter, LotFilter, MovementFilter, PlaceFilter
from inventory.stock.models import End, Holding, Lot, Movement, Place, State
from inventory.workshop.api import bench_field
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

KINDS = ("receive", "move", "use", "scrap", "adjust")


def place_field(**kwargs: Any) -> CodeField[Place]:
    """The storage place of a path."""
    kwargs.setdefault("help_text", "path of a storage place")
    return CodeField("place", queries.place_of, max_length=services.MOST_PATH, **kwargs)


def lot_field(**kwargs: Any) -> IdField[Lot]:
    """The lot of an id."""
    return IdField("lot", lambda pk: Lot.objects.select_related("item", "bench", "workshop").filter(pk=pk).first(), **kwargs)


# Places


class PlaceOut(serializers.Serializer[Place]):
    """Where things lie. `/` nests."""

    id = serializers.IntegerField()
    path = serializers.CharField()
    name = serializers.CharField()
    within = serializers.CharField(source="parent.path", allow_null=True, default=None, help_text="the place that it lies in")


class PlaceIn(serializers.Serializer[Any]):
    """A place by its path. What it lies in is made where it isn't there."""

    path = serializers.CharField(max_length=services.MOST_PATH)


PLACE = {"id": 7, "path": "Hangar/Rack 2/Drawer 7", "name": "Drawer 7", "within": "Hangar/Rack 2"}
_MOVED = {**PLACE, "path": "Hangar/Rack 3/Drawer 7", "within": "Hangar/Rack 3"}


@extend_schema_view(
    list=extend_schema(summary="List places", examples=[shown_as(PLACE)]),
    retrieve=extend_schema(summary="Read a place", examples=[shown_as(PLACE)]),
    create=extend_schema(
        summary="Make a place",
        request=PlaceIn,
        responses={200: PlaceOut, 201: PlaceOut},
        examples=[sent_as({"path": "Hangar/Rack 2/Drawer 7"}), shown_as(PLACE)],
    ),
    partial_update=extend_schema(
        summary="Rename or move a place",
        request=PlaceIn,
        responses={200: PlaceOut, **problems(409)},
        examples=[sent_as({"path": "Hangar/Rack 3/Drawer 7"}), shown_as(_MOVED)],
    ),
    destroy=extend_schema(summary="Remove a place", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["places"])
class PlaceViews(TaggedRows, ListModelMixin, GenericViewSet[Place]):
    """Storage places."""

    queryset = Place.objects.none()
    serializer_class = PlaceOut
    patch_serializer_class = PlaceIn
    filterset_class = PlaceFilter

    def get_queryset(self) -> QuerySet[Place]:
        """Without the ends of the ledger, where nothing lies. One query."""
        return Place.objects.filter(end=End.STORAGE).select_related("parent")

    def lock(self, pk: int) -> None:
        """Who makes or moves places holds the workshop first."""
        services.lock_places(caller(self.request).workshop)
        super().lock(pk)

    @once
    def create(self, request: Request) -> Response:
        """Make a place, and what it lies in. One that is there already is answered with 200."""
        asked = PlaceIn(data=request.data)
        asked.is_valid(raise_exception=True)
        by, path = caller(request), asked.validated_data["path"]
        known = queries.place_of(path) is not None
        made = services.ensure_place(workshop=by.workshop, path=path, by=by)
        return tagged(self.shown(made.pk), status=200 if known else 201, Location=reverse("api-place", args=[made.pk]))

    def change(self, row: Place, data: dict[str, Any]) -> None:
        """All in it goes along."""
        services.move_place(place=row, path=data.get("path", row.path), by=caller(self.request))

    def remove(self, row: Place) -> None:
        """Only where nothing refers to it."""
        services.remove_place(place=row, by=caller(self.request))


# Lots


class LotOut(serializers.Serializer[Lot]):
    """A quantity of one item with one history; `on_hand` is in `unit`. Dates are as precise as the label states them."""

    id = serializers.IntegerField()
    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    name = serializers.CharField(source="item.name")
    bench = serializers.CharField(source="bench.code")
    code = serializers.CharField(help_text="the maker's; empty where none is known")
    made = StatedDateField(allow_null=True)
    expires = StatedDateField(allow_null=True)
    opened = serializers.DateField(source="opened_on", allow_null=True)
    state = serializers.ChoiceField(State.choices)
    on_hand = serializers.SerializerMethodField()
    unit = serializers.CharField(source="item.unit")
    last_usable_day = serializers.SerializerMethodField(help_text="null where nothing ends its life, or where it isn't known")
    life_known = serializers.SerializerMethodField(help_text="false where a date must be read before it counts as usable")
    rounding = serializers.CharField(help_text="how its quantity was converted, where that rounded")

    def get_on_hand(self, lot: Any) -> str:
        """What all places hold."""
        return DecimalOut().to_representation(lot.on_hand or queries.NOTHING)

    @extend_schema_field(serializers.DateField(allow_null=True))
    def get_last_usable_day(self, lot: Lot) -> date | None:
        """The earliest of what ends its life."""
        return queries.life_of(lot).last_day

    def get_life_known(self, lot: Lot) -> bool:
        """Whether its end is known, or it has none."""
        return queries.life_of(lot).known


class LotIn(serializers.Serializer[Any]):
    """A lot, before anything is received into it."""

    item = item_field()
    bench = bench_field()
    code = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_CODE)
    made = StatedDateField(required=False, allow_null=True)
    expires = StatedDateField(required=False, allow_null=True)
    opened = serializers.DateField(required=False, allow_null=True)
    state = serializers.ChoiceField(State.choices, required=False)


class LotPatch(serializers.Serializer[Any]):
    """What may be changed of a lot. `opened` starts its opened life, once: `opened` of the lot puts it right. `note` is the reason."""

    made = StatedDateField(required=False, allow_null=True)
    expires = StatedDateField(required=False, allow_null=True)
    opened = serializers.DateField(required=False)
    state = serializers.ChoiceField(State.choices, required=False)
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_WHY)


class OpenedIn(serializers.Serializer[Any]):
    """When a lot was really opened; null is never. `note` says why it is put right."""

    opened = serializers.DateField(allow_null=True)
    note = serializers.CharField(max_length=MOST_WHY)


class OpeningOut(serializers.Serializer[Any]):
    """What was said of a lot's opening, when, by whom and why."""

    opened = serializers.DateField(allow_null=True)
    at = serializers.DateTimeField()
    by = serializers.CharField()
    why = serializers.CharField()


class OpenedOut(serializers.Serializer[Any]):
    """When a lot was opened, null where it isn't, and each time that this was said, the latest first."""

    lot = serializers.IntegerField()
    opened = serializers.DateField(allow_null=True)
    openings = OpeningOut(many=True)


LOT = {
    "id": 41,
    "item": "SEAL-B2",
    "item_id": 15,
    "name": "Fuel tank sealant, class B-2",
    "bench": "TERN",
    "code": "R7",
    "made": "2026-09",
    "expires": "2027-03",
    "opened": None,
    "state": "good",
    "on_hand": "362.5",
    "unit": "g",
    "last_usable_day": "2027-03-31",
    "life_known": True,
    "rounding": "",
}


_WRONG = {"opened": None, "note": "scanned the wrong tube"}
OPENED = {
    "lot": 41,
    "opened": None,
    "openings": [
        {"opened": None, "at": "2027-02-21T07:10:00Z", "by": "Ada", "why": "scanned the wrong tube"},
        {"opened": "2027-02-20", "at": "2027-02-20T18:04:11.512000Z", "by": "Wren", "why": ""},
    ],
}


@extend_schema_view(
    list=extend_schema(summary="List lots", examples=[shown_as(LOT)]),
    retrieve=extend_schema(summary="Read a lot", examples=[shown_as(LOT)]),
    create=extend_schema(
        summary="Make a lot",
        request=LotIn,
        responses={200: LotOut, 201: LotOut, **problems(404, 409)},
        examples=[sent_as({"item": "SEAL-B2", "bench": "TERN", "code": "R7", "expires": "2027-03"}), shown_as(LOT)],
    ),
    partial_update=extend_schema(
        summary="Judge, date or open a lot",
        request=LotPatch,
        responses={200: LotOut, **problems(409)},
        examples=[sent_as({"state": "quarantined", "note": "the can is dented"}), shown_as({**LOT, "state": "quarantined"})],
    ),
    destroy=extend_schema(summary="Remove a lot that was never used", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["lots"])
class LotViews(TaggedRows, ListModelMixin, GenericViewSet[Lot]):
    """Lots."""

    queryset = Lot.objects.none()
    serializer_class = LotOut
    patch_serializer_class = LotPatch
    filterset_class = LotFilter

    def get_queryset(self) -> QuerySet[Lot]:
        """With what is on hand of each. One query."""
        held = Holding.objects.filter(lot_id=OuterRef("pk")).order_by().values("lot_id").annotate(total=Sum("quantity")).values("total")
        rows = Lot.objects.select_related("item", "bench", "workshop")
        return rows.annotate(on_hand=Subquery(held, output_field=QuantityField()))

    @once
    def create(self, request: Request) -> Response:
        """Make the lot that goods of this code, these dates, this opening and state belong to. One that is there is answered with 200."""
        asked = LotIn(data=request.data)
        asked.is_valid(raise_exception=True)
        lot, made = services.find_or_make_lot(**asked.validated_data, by=caller(request))
        return tagged(self.shown(lot.pk), status=201 if made else 200, Location=reverse("api-lot", args=[lot.pk]))

    def change(self, row: Lot, data: dict[str, Any]) -> None:
        """Each by its own service, so that each asks for its own right."""
        by, note = caller(self.request), data.get("note", "")
        if "made" in data or "expires" in data:
            made, expires = data.get("made", row.made), data.get("expires", row.expires)
            services.set_dates(lot=row, made=made, expires=expires, by=by, note=note)
        if "opened" in data:
            services.open_lot(lot=row, on=data["opened"], by=by)
        if "state" in data:
            services.set_state(lot=row, state=data["state"], by=by, note=note)

    def remove(self, row: Lot) -> None:
        """Only where nothing refers to it."""
        services.remove_lot(lot=row, by=caller(self.request))

    @extend_schema(
        operation_id="lots_opened",
        summary="Read what was said of a lot's opening",
        responses={200: OpenedOut, **problems(404)},
        examples=[shown_as(OPENED)],
    )
    def openings(self, request: Request, pk: int) -> Response:  # noqa: ARG002 - the framework's
        """Each time, the latest first, with who said it and why."""
        return Response(self._opened(pk))

    @extend_schema(
        operation_id="lots_correct_opened",
        summary="Put right when a lot was opened",
        request=OpenedIn,
        responses={200: OpenedOut, **problems(404)},
        examples=[sent_as(_WRONG), shown_as(OPENED)],
    )
    @once
    def correct_opened(self, request: Request, pk: int) -> Response:
        """Its reason stays in the lot's history. A day to come, one before it was made and one before it came in are refused."""
        lot = self.row(pk)
        given = body_of(OpenedIn, request)
        services.correct_opened(lot=lot, **given, today=timezone.localdate(), by=caller(request))
        return Response(self._opened(pk))

    def _opened(self, pk: int) -> dict[str, Any]:
        lot = self.row(pk)
        return {"lot": lot.pk, "opened": lot.opened_on, "openings": [asdict(one) for one in queries.openings(lot)]}


# Holdings


class HeldOut(serializers.Serializer[Holding]):
    """What one place holds of one lot, in `unit`."""

    lot = serializers.IntegerField(source="lot_id")
    code = serializers.CharField(source="lot.code")
    item = serializers.CharField(source="lot.item.code")
    name = serializers.CharField(source="lot.item.name")
    bench = serializers.CharField(source="lot.bench.code")
    state = serializers.ChoiceField(State.choices, source="lot.state")
    place = serializers.CharField(source="place.path")
    place_id = serializers.IntegerField()
    quantity = DecimalOut()
    unit = serializers.CharField(source="lot.item.unit")


HOLDING = {
    "lot": 41,
    "code": "R7",
    "item": "SEAL-B2",
    "name": "Fuel tank sealant, class B-2",
    "bench": "TERN",
    "state": "good",
    "place": "Hangar/Rack 2/Drawer 7",
    "place_id": 7,
    "quantity": "362.5",
    "unit": "g",
}


@extend_schema_view(list=extend_schema(summary="List what lies where", examples=[shown_as(HOLDING)]))
@extend_schema(tags=["lots"])
class HoldingViews(ListModelMixin, GenericViewSet[Holding]):
    """What lies where. Only movements change it."""

    queryset = Holding.objects.none()
    serializer_class = HeldOut
    filterset_class = HoldingFilter

    def get_queryset(self) -> QuerySet[Holding]:
        """What is there. One query."""
        return Holding.objects.filter(quantity__gt=0).select_related("lot__item", "lot__bench", "place")


# Movements


class MovementOut(serializers.Serializer[Movement]):
    """One line of the ledger, which is never changed: a wrong one is reversed."""

    id = serializers.IntegerField()
    lot = serializers.IntegerField(source="lot_id")
    code = serializers.CharField(source="lot.code", help_text="the lot's")
    item = serializers.CharField(source="lot.item.code")
    quantity = DecimalOut()
    unit = serializers.CharField(source="lot.item.unit")
    source = serializers.CharField(source="source.path")  # type: ignore[assignment] # a declared field; the class keeps its own `source`
    target = serializers.CharField(source="target.path")
    on = serializers.DateField(help_text="the day that it was done")
    at = serializers.DateTimeField(help_text="when it was written down")
    by = serializers.CharField(source="by.name")
    note = serializers.CharField()
    ref = serializers.CharField(help_text="what it belongs to, as its maker names that")
    reverses = serializers.IntegerField(source="reverses_id", allow_null=True, help_text="the movement that this one undoes")
    reversed_by = serializers.SerializerMethodField(help_text="the movement that undid this one")

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_reversed_by(self, movement: Movement) -> int | None:
        """Its reverse."""
        undone = getattr(movement, "reversed_by", None)
        return None if undone is None else int(undone.pk)


class MovementIn(serializers.Serializer[Any]):
    """What to write in the ledger.

    receive takes in `quantity` to `place`; move carries it from `place` to `to`; use and scrap take it out of `place`; adjust makes what
    `place` holds equal to `quantity`, which was counted.
    """

    kind = serializers.ChoiceField(KINDS)
    lot = lot_field()
    quantity = QuantityIn(help_text="in the item's stock unit; of an adjustment what was counted, 0 included")
    place = place_field()
    to = place_field(required=False, help_text="path of the storage place to move to")
    on = serializers.DateField(required=False, help_text="the day that it was done; today unless given")
    note = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_NOTE)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Only a move has somewhere to go."""
        if (attrs["kind"] == "move") != ("to" in attrs):
            raise serializers.ValidationError({"to": ["A move says where to, and nothing else does."]})
        return attrs


class ReverseIn(serializers.Serializer[Any]):
    """Why and when a movement is undone."""

    on = serializers.DateField(required=False, help_text="today unless given")
    note = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_NOTE)


MOVEMENT = {
    "id": 310,
    "lot": 41,
    "code": "R7",
    "item": "SEAL-B2",
    "quantity": "37.5",
    "unit": "g",
    "source": "Hangar/Rack 2/Drawer 7",
    "target": "used",
    "on": "2027-02-20",
    "at": "2027-02-20T18:04:11.512000Z",
    "by": "Ada",
    "note": "left keel seam",
    "ref": "",
    "reverses": None,
    "reversed_by": None,
}
_USE = {"kind": "use", "lot": 41, "quantity": "37.5", "place": "Hangar/Rack 2/Drawer 7", "note": "left keel seam"}
_MOVE = {"kind": "move", "lot": 41, "quantity": "100", "place": "Hangar/Rack 2/Drawer 7", "to": "Hangar/Fridge"}


def ledger() -> QuerySet[Movement]:
    """Movements with all that is shown of them. One query."""
    return Movement.objects.select_related("lot__item", "source", "target", "by", "reversed_by")


def movement_shown(pk: int) -> Any:
    """A movement as the API gives it."""
    return MovementOut(ledger().get(pk=pk)).data


def _move(*, to: Place, place: Place, **rest: Any) -> Movement:
    return services.move(source=place, target=to, **rest)


def _adjust(*, quantity: Any, **rest: Any) -> Movement | None:
    return services.adjust(counted=quantity, **rest)


_ACTS: Mapping[str, Callable[..., Movement | None]] = {
    "receive": services.receive,
    "move": _move,
    "use": services.use,
    "scrap": services.scrap,
    "adjust": _adjust,
}


@extend_schema_view(
    list=extend_schema(summary="List the ledger, the latest first", examples=[shown_as(MOVEMENT)]),
    retrieve=extend_schema(summary="Read a movement", examples=[shown_as(MOVEMENT)]),
    create=extend_schema(
        summary="Receive, move, use, scrap or adjust",
        request=MovementIn,
        responses={201: MovementOut, 204: None, **problems(404, 409)},
        examples=[sent_as(_USE), OpenApiExample("move", value=_MOVE, request_only=True), shown_as(MOVEMENT)],
    ),
)
@extend_schema(tags=["movements"])
class MovementViews(ListModelMixin, GenericViewSet[Movement]):
    """The ledger. Lines are added; none is changed or taken out."""

    queryset = Movement.objects.none()
    serializer_class = MovementOut
    filterset_class = MovementFilter
    ordering: ClassVar = "-pk"

    def get_queryset(self) -> QuerySet[Movement]:
        """All of the workshop."""
        return ledger()

    def retrieve(self, request: Request, pk: int) -> Response:
        """One line."""
        del pk
        return shown(request, MovementOut(self.get_object()).data)

    @once
    def create(self, request: Request) -> Response:
        """Write one line of the ledger. An adjustment that finds what was there already moves nothing: 204."""
        asked = MovementIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {"on": timezone.localdate(), **asked.validated_data}
        made = _ACTS[given.pop("kind")](**given, by=caller(request))
        if made is None:
            return Response(status=204)
        return Response(movement_shown(made.pk), status=201, headers={"Location": reverse("api-movement", args=[made.pk])})
