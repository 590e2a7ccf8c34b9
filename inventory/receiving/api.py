"""Bags and packing lines, for programs. Crates are told of in `inventory.claims.crate_api`, where their journey is written."""

from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from inventory.catalogue.api import item_field
from inventory.common.api_fields import CodeField, DecimalOut, QuantityIn, StatedDateField
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.receiving import services
from inventory.receiving.filters import BagFilter, LineFilter
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller


def crate_field(**kwargs: Any) -> CodeField[Crate]:
    """The crate of a code."""
    kwargs.setdefault("help_text", "code of a crate")
    return CodeField(
        "crate",
        lambda text: Crate.objects.select_related("bench").filter(code__iexact=text).first(),
        max_length=services.MOST_CODE,
        **kwargs,
    )


class PriceIn(serializers.DecimalField):
    """A price of one stock unit, in the currency of the list."""

    def __init__(self, **kwargs: Any) -> None:
        """As much as the column keeps."""
        super().__init__(max_digits=14, decimal_places=4, min_value=Decimal(0), max_value=services.MOST_PRICE, **kwargs)


# Bags


class BagOut(serializers.Serializer[Bag]):
    """A bag in a crate. `/` nests."""

    id = serializers.IntegerField()
    crate = serializers.CharField(source="crate.code")
    crate_id = serializers.IntegerField()
    path = serializers.CharField()
    name = serializers.CharField()
    within = serializers.IntegerField(source="parent_id", allow_null=True, help_text="the bag that it lies in")
    counted_on = serializers.DateField(allow_null=True, help_text="when somebody had counted it to the end")
    counted_by = serializers.CharField(source="counted_by.name", allow_null=True, default=None)
    place = serializers.CharField(source="place.path", allow_null=True, default=None, help_text="where it lies as a whole")


class BagIn(serializers.Serializer[Any]):
    """A bag by its path. The bags that it lies in are made where they aren't there."""

    crate = crate_field()
    path = serializers.CharField(max_length=services.MOST_PATH)


BAG = {
    "id": 88,
    "crate": "CRATE-7",
    "crate_id": 3,
    "path": "12/12A",
    "name": "12A",
    "within": 87,
    "counted_on": None,
    "counted_by": None,
    "place": None,
}


@extend_schema_view(
    list=extend_schema(summary="List bags", examples=[shown_as(BAG)]),
    retrieve=extend_schema(summary="Read a bag", examples=[shown_as(BAG)]),
    create=extend_schema(
        summary="Make a bag",
        request=BagIn,
        responses={200: BagOut, 201: BagOut, **problems(404, 409)},
        examples=[sent_as({"crate": "CRATE-7", "path": "12/12A"}), shown_as(BAG)],
    ),
    destroy=extend_schema(summary="Remove a bag that nothing is in", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["crates"])
class BagViews(TaggedRows, ListModelMixin, GenericViewSet[Bag]):
    """Bags."""

    queryset = Bag.objects.none()
    serializer_class = BagOut
    filterset_class = BagFilter

    def get_queryset(self) -> QuerySet[Bag]:
        """All of the workshop. One query."""
        return Bag.objects.select_related("crate__bench", "counted_by", "place")

    def lock(self, pk: int) -> None:
        """Its crate first."""
        services.lock_bag(self.row(pk))

    @once
    def create(self, request: Request) -> Response:
        """Make a bag, and those that it lies in. One that is there already is answered with 200."""
        asked = BagIn(data=request.data)
        asked.is_valid(raise_exception=True)
        bag, made = services.ensure_bag(**asked.validated_data, by=caller(request))
        return tagged(self.shown(bag.pk), status=201 if made else 200, Location=reverse("api-bag", args=[bag.pk]))

    def remove(self, row: Bag) -> None:
        """Only where nothing refers to it."""
        services.remove_bag(bag=row, by=caller(self.request))


# Lines


class PackingLineOut(serializers.Serializer[PackingLine]):
    """What should be in a bag. Quantities are in `unit`; `still_open` is still to come."""

    id = serializers.IntegerField()
    crate = serializers.CharField(source="crate.code")
    crate_id = serializers.IntegerField()
    bag = serializers.CharField(source="bag.path", allow_null=True, default=None)
    bag_id = serializers.IntegerField(allow_null=True)
    number = serializers.CharField()
    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    name = serializers.CharField()
    quantity = DecimalOut()
    still_open = DecimalOut(source="open_quantity")
    unit = serializers.CharField(source="item.unit")
    lot_code = serializers.CharField()
    made = StatedDateField(allow_null=True)
    expires = StatedDateField(allow_null=True)
    price = DecimalOut(allow_null=True, help_text="of one stock unit")
    back_order_of = serializers.IntegerField(source="back_order_of_id", allow_null=True, help_text="the line that this one makes good")
    rounding = serializers.CharField(help_text="how its quantity was converted, where that rounded")


class PackingLinePatch(serializers.Serializer[Any]):
    """What may be put right of a line while nothing of it was counted."""

    quantity = QuantityIn(required=False, help_text="in the item's stock unit")
    price = PriceIn(required=False, allow_null=True)


class PackingLineIn(serializers.Serializer[Any]):
    """One more line of a crate."""

    crate = crate_field()
    bag = serializers.CharField(
        required=False, allow_blank=True, max_length=services.MOST_PATH, help_text="its path; made where it isn't there"
    )
    number = serializers.CharField(max_length=services.MOST_NUMBER)
    item = item_field()
    quantity = QuantityIn(help_text="in the item's stock unit")
    name = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_NAME)
    lot_code = serializers.CharField(required=False, allow_blank=True, max_length=80)
    made = StatedDateField(required=False, allow_null=True)
    expires = StatedDateField(required=False, allow_null=True)
    price = PriceIn(required=False, allow_null=True)


LINE = {
    "id": 512,
    "crate": "CRATE-7",
    "crate_id": 3,
    "bag": "12/12A",
    "bag_id": 88,
    "number": "4",
    "item": "AN470AD4-6",
    "item_id": 12,
    "name": "Rivet, universal head, 1/8 x 3/8",
    "quantity": "240",
    "still_open": "240",
    "unit": "ea",
    "lot_code": "",
    "made": None,
    "expires": None,
    "price": "0.035",
    "back_order_of": None,
    "rounding": "",
}
_NEW = {"crate": "CRATE-7", "bag": "12/12A", "number": "4", "item": "AN470AD4-6", "quantity": "240", "price": "0.035"}


@extend_schema_view(
    list=extend_schema(summary="List packing lines", examples=[shown_as(LINE)]),
    retrieve=extend_schema(summary="Read a packing line", examples=[shown_as(LINE)]),
    create=extend_schema(
        summary="Add a packing line",
        request=PackingLineIn,
        responses={201: PackingLineOut, **problems(404, 409)},
        examples=[sent_as(_NEW), shown_as(LINE)],
    ),
    partial_update=extend_schema(
        summary="Put a packing line right",
        request=PackingLinePatch,
        responses={200: PackingLineOut, **problems(409)},
        examples=[sent_as({"quantity": "250"}), shown_as({**LINE, "quantity": "250", "still_open": "250"})],
    ),
    destroy=extend_schema(summary="Take out a packing line", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["crates"])
class LineViews(TaggedRows, ListModelMixin, GenericViewSet[PackingLine]):
    """Packing lines."""

    queryset = PackingLine.objects.none()
    serializer_class = PackingLineOut
    patch_serializer_class = PackingLinePatch
    filterset_class = LineFilter

    def get_queryset(self) -> QuerySet[PackingLine]:
        """All of the workshop. One query."""
        return PackingLine.objects.select_related("crate", "bag", "item")

    def lock(self, pk: int) -> None:
        """Its crate first."""
        services.lock_line(self.row(pk))

    @once
    def create(self, request: Request) -> Response:
        """List one more line of a crate, all of it still to come."""
        asked = PackingLineIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = dict(asked.validated_data)
        crate, price = given.pop("crate"), given.pop("price", None)
        data = services.LineData(bag=given.pop("bag", ""), item_id=given.pop("item").pk, **given)
        line = services.add_line(crate=crate, data=data, price=price, by=caller(request))
        return tagged(self.shown(line.pk), status=201, Location=reverse("api-line", args=[line.pk]))

    def change(self, row: PackingLine, data: dict[str, Any]) -> None:
        """Only where nothing was counted."""
        services.edit_line(line=row, by=caller(self.request), **data)

    def remove(self, row: PackingLine) -> None:
        """Only where nothing was counted."""
        services.remove_line(line=row, by=caller(self.request))
