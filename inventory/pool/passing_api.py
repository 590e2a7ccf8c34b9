"""Offers and wishes between benches, for programs."""

from typing import Any
from uuid import uuid4

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from inventory.catalogue.api import item_field
from inventory.common.api_fields import DecimalOut, QuantityIn
from inventory.common.etags import shown, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.pool import passing
from inventory.pool.choices import transfer_rows
from inventory.pool.filters import TransferFilter
from inventory.pool.models import Transfer
from inventory.stock.api import lot_field, place_field
from inventory.stock.services import MOST_NOTE
from inventory.workshop.api import bench_field
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller


class TransferOut(serializers.Serializer[Transfer]):
    """What is to pass from bench to bench, in `unit`. An offer or wish to everybody names one bench; the other is null."""

    id = serializers.IntegerField()
    kind = serializers.SerializerMethodField()
    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    name = serializers.CharField(source="item.name")
    unit = serializers.CharField(source="item.unit")
    quantity = DecimalOut()
    lot = serializers.IntegerField(source="lot_id", allow_null=True, help_text="the giver's")
    giver = serializers.CharField(source="giver.code", allow_null=True, default=None, help_text="code of the bench that gives")
    taker = serializers.CharField(source="taker.code", allow_null=True, default=None, help_text="code of the bench that takes")
    until = serializers.DateField(allow_null=True)
    note = serializers.CharField()
    by = serializers.CharField(source="by.name")
    at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_as = serializers.CharField(help_text="done, declined, withdrawn or lapsed; empty while it is open")
    ended_by = serializers.CharField(source="ended_by.name", allow_null=True, default=None)
    made = serializers.IntegerField(source="made_id", allow_null=True, help_text="the lot that the taker got")

    def get_kind(self, transfer: Transfer) -> str:
        """Who began it."""
        return "ask" if transfer.asked_by_taker else "offer"


class TransferIn(serializers.Serializer[Any]):
    """An offer of pieces of a lot, or a wish for pieces of an item."""

    kind = serializers.ChoiceField([("offer", "offer"), ("ask", "ask")])
    lot = lot_field(required=False, help_text="offer: id of the lot")
    item = item_field(required=False)
    quantity = QuantityIn(help_text="in the item's stock unit")
    taker = bench_field(required=False, allow_null=True)
    giver = bench_field(required=False, allow_null=True)
    until = serializers.DateField(required=False, allow_null=True, help_text="the last day to answer it; until it is answered unless given")
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_NOTE)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """An offer is of a lot, a wish of an item for a bench."""
        wanted = ("lot",) if attrs["kind"] == "offer" else ("item", "taker")
        if missing := {name: ["Name it."] for name in wanted if not attrs.get(name)}:
            raise serializers.ValidationError(missing)
        return attrs


class AcceptIn(serializers.Serializer[Any]):
    """What the other side's consent still has to say."""

    lot = lot_field(required=False, allow_null=True, help_text="of a wish: id of the lot that it is given from")
    place = place_field(required=False, allow_null=True)
    bench = bench_field(required=False, allow_null=True)


TRANSFER = {
    "id": 3,
    "kind": "offer",
    "item": "AN470AD4-6",
    "item_id": 12,
    "name": "Rivet, universal head, 1/8 x 3/8",
    "unit": "ea",
    "quantity": "60",
    "lot": 41,
    "giver": "TERN",
    "taker": "PLOVER",
    "until": "2027-03-06",
    "note": "left over from the floats",
    "by": "Ada",
    "at": "2027-02-20T09:12:00Z",
    "ended_at": None,
    "ended_as": "",
    "ended_by": None,
    "made": None,
}
_DONE = {**TRANSFER, "ended_at": "2027-02-21T18:00:00Z", "ended_as": "done", "ended_by": "Ben", "made": 77}
_OFFER = {"kind": "offer", "lot": 41, "quantity": "60", "taker": "PLOVER", "until": "2027-03-06", "note": "left over from the floats"}


@extend_schema_view(
    list=extend_schema(summary="List offers and wishes", examples=[shown_as(TRANSFER)]),
    retrieve=extend_schema(summary="Read an offer or wish", examples=[shown_as(TRANSFER)]),
    create=extend_schema(
        summary="Offer to another bench, or ask for something",
        request=TransferIn,
        responses={201: TransferOut, **problems(404, 409)},
        examples=[sent_as(_OFFER), shown_as(TRANSFER)],
    ),
)
@extend_schema(tags=["pool"])
class TransferViews(ListModelMixin, GenericViewSet[Transfer]):
    """Things that pass from bench to bench once both sides agree."""

    queryset = Transfer.objects.none()
    serializer_class = TransferOut
    filterset_class = TransferFilter

    def get_queryset(self) -> QuerySet[Transfer]:
        """All of the workshop. One query."""
        return transfer_rows()

    def retrieve(self, request: Request, pk: int) -> Response:
        """One of them."""
        return shown(request, TransferOut(self._row(pk)).data)

    @once
    def create(self, request: Request) -> Response:
        """Offer pieces of a lot to another bench, or ask for pieces of an item. Nothing passes until the other side agrees."""
        asked = TransferIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {"taker": None, "giver": None, "until": None, "note": "", **asked.validated_data}
        begin, unused = (passing.offer, ("item", "giver")) if given.pop("kind") == "offer" else (passing.ask, ("lot",))
        for name in unused:
            given.pop(name, None)
        made = begin(**given, key=uuid4(), by=caller(request), now=timezone.now())
        return tagged(self._shown(made.pk), status=201, Location=reverse("api-transfer", args=[made.pk]))

    @extend_schema(
        operation_id="transfers_accept",
        summary="Accept an offer or wish",
        request=AcceptIn,
        responses={200: TransferOut, **problems(404, 409)},
        examples=[sent_as({"place": "Hangar/Rack 1/Drawer 3"}), shown_as(_DONE)],
    )
    @once
    def accept(self, request: Request, pk: int) -> Response:
        """Agree for the other side: the pieces pass at once. A wish takes the lot, one to everybody the bench."""
        transfer, asked = self._row(pk), AcceptIn(data=request.data)
        asked.is_valid(raise_exception=True)
        now = timezone.now()
        given = {"lot": None, "place": None, "bench": None, **asked.validated_data}
        passing.accept(transfer=transfer, **given, by=caller(request), today=timezone.localdate(now), now=now)
        return Response(self._shown(pk))

    @extend_schema(
        operation_id="transfers_decline",
        summary="Decline an offer or wish",
        request=None,
        responses={200: TransferOut, **problems(409)},
        examples=[shown_as({**_DONE, "ended_as": "declined", "made": None})],
    )
    @once
    def decline(self, request: Request, pk: int) -> Response:
        """Refuse for the other side: nothing passes."""
        passing.decline(transfer=self._row(pk), by=caller(request), now=timezone.now())
        return Response(self._shown(pk))

    @extend_schema(
        operation_id="transfers_withdraw",
        summary="Withdraw an offer or wish",
        request=None,
        responses={200: TransferOut, **problems(409)},
        examples=[shown_as({**_DONE, "ended_as": "withdrawn", "ended_by": "Ada", "made": None})],
    )
    @once
    def withdraw(self, request: Request, pk: int) -> Response:
        """Take one's own offer or wish back while nobody has answered it."""
        passing.withdraw(transfer=self._row(pk), by=caller(request), now=timezone.now())
        return Response(self._shown(pk))

    def _row(self, pk: int) -> Transfer:
        return get_object_or_404(self.get_queryset(), pk=pk)

    def _shown(self, pk: int) -> Any:
        return TransferOut(self.get_queryset().get(pk=pk)).data


urlpatterns = [
    path("transfers", TransferViews.as_view({"get": "list", "post": "create"}), name="api-transfers"),
    path("transfers/<int:pk>", TransferViews.as_view({"get": "retrieve"}), name="api-transfer"),
    path("transfers/<int:pk>/accept", TransferViews.as_view({"post": "accept"}), name="api-transfer-accept"),
    path("transfers/<int:pk>/decline", TransferViews.as_view({"post": "decline"}), name="api-transfer-decline"),
    path("transfers/<int:pk>/withdraw", TransferViews.as_view({"post": "withdraw"}), name="api-transfer-withdraw"),
]
