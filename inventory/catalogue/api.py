"""Items and the codes that mean them, for programs."""

from decimal import Decimal
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from inventory.catalogue import services
from inventory.catalogue.filters import IdentifierFilter, ItemFilter, items_of
from inventory.catalogue.models import Identifier, Item, Kind
from inventory.common.api_fields import CodeField, DecimalOut, QuantityIn, SizeField
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

MOST_DAYS = 36_500
MOST_MONTHS = 1_200
LEAST_PART = Decimal("0.000001")


def item_field(**kwargs: Any) -> CodeField[Item]:
    """The item that a code means."""

    def find(text: str) -> Item | None:
        code = items_of(text).select_related("item").first()
        return code.item if code else None

    return CodeField("item", find, help_text="any code that means the item", max_length=services.MOST_CODE, **kwargs)


class ItemCodeOut(serializers.Serializer[Any]):
    """A code of an item."""

    id = serializers.IntegerField()
    text = serializers.CharField()


class ItemOut(serializers.Serializer[Item]):
    """A kind of thing. Quantities of it are in its stock unit, `unit`; the diameter is in inches."""

    id = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(Kind.choices)
    unit = serializers.CharField()
    pack = DecimalOut(allow_null=True, help_text="how much is bought at once, in the stock unit")
    lead_days = serializers.IntegerField(allow_null=True)
    life_months = serializers.IntegerField(allow_null=True)
    open_life_days = serializers.IntegerField(allow_null=True)
    min_life_days = serializers.IntegerField()
    extend_part = SizeField(allow_null=True, help_text="of its life, for each passed update test; null: it can't be extended")
    diameter = SizeField(allow_null=True)
    gravity = DecimalOut(allow_null=True)
    base = DecimalOut(allow_null=True)
    accelerator = DecimalOut(allow_null=True)
    identifiers = ItemCodeOut(many=True, help_text="every code that means it, its own included")


class ItemPatch(serializers.Serializer[Item]):
    """What may be changed of an item. A new code is one more: the one before still means it."""

    code = serializers.CharField(max_length=services.MOST_CODE)
    name = serializers.CharField(max_length=services.MOST_NAME)
    kind = serializers.ChoiceField(Kind.choices)
    unit = serializers.CharField(max_length=40, help_text="ea, or a unit of mass, length, area or volume")
    pack = QuantityIn(required=False, allow_null=True)
    lead_days = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=MOST_DAYS)
    life_months = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=MOST_MONTHS)
    open_life_days = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=MOST_DAYS)
    min_life_days = serializers.IntegerField(required=False, min_value=0, max_value=MOST_DAYS)
    extend_part = SizeField(required=False, allow_null=True, help_text="1/2 where each passed update test adds half its life")
    diameter = SizeField(required=False, allow_null=True)
    gravity = serializers.DecimalField(9, 6, required=False, allow_null=True, min_value=LEAST_PART)
    base = serializers.DecimalField(12, 6, required=False, allow_null=True, min_value=LEAST_PART)
    accelerator = serializers.DecimalField(12, 6, required=False, allow_null=True, min_value=LEAST_PART)


class ItemIn(ItemPatch):
    """An item to be made."""

    identifiers = serializers.ListField(
        child=serializers.CharField(max_length=services.MOST_CODE), required=False, max_length=100, help_text="further codes that mean it"
    )


class IdentifierOut(ItemCodeOut):
    """A code, and the item that it means."""

    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    own = serializers.SerializerMethodField(help_text="whether it is the item's own code, which stays")

    def get_own(self, code: Identifier) -> bool:
        """Whether the item is called by it."""
        return services.is_own(code)


class IdentifierIn(serializers.Serializer[Any]):
    """A code to be taught."""

    item = item_field()
    text = serializers.CharField(max_length=services.MOST_CODE, help_text="the code as it was read")


ITEM = {
    "id": 12,
    "code": "AN470AD4-6",
    "name": "Rivet, universal head, 1/8 x 3/8",
    "kind": "rivet",
    "unit": "ea",
    "pack": "100",
    "lead_days": 5,
    "life_months": None,
    "open_life_days": None,
    "min_life_days": 0,
    "extend_part": None,
    "diameter": "1/8",
    "gravity": None,
    "base": None,
    "accelerator": None,
    "identifiers": [{"id": 31, "text": "AN470AD4-6"}, {"id": 32, "text": "MS20470AD4-6"}],
}
_NEW = {key: ITEM[key] for key in ("code", "name", "kind", "unit", "pack", "lead_days", "diameter")} | {"identifiers": ["MS20470AD4-6"]}
CODE = {"id": 33, "text": "0012345678905", "item": "AN470AD4-6", "item_id": 12, "own": False}


@extend_schema_view(
    list=extend_schema(summary="List items", examples=[shown_as(ITEM)]),
    retrieve=extend_schema(summary="Read an item", examples=[shown_as(ITEM)]),
    create=extend_schema(
        summary="Make an item", request=ItemIn, responses={201: ItemOut, **problems(409)}, examples=[sent_as(_NEW), shown_as(ITEM)]
    ),
    partial_update=extend_schema(
        summary="Change an item",
        request=ItemPatch,
        responses={200: ItemOut, **problems(409)},
        examples=[sent_as({"pack": "500", "lead_days": 7}), shown_as(ITEM)],
    ),
    destroy=extend_schema(summary="Remove an item", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["items"])
class ItemViews(TaggedRows, ListModelMixin, GenericViewSet[Item]):
    """Kinds of thing."""

    queryset = Item.objects.none()
    serializer_class = ItemOut
    patch_serializer_class = ItemPatch
    filterset_class = ItemFilter

    def get_queryset(self) -> QuerySet[Item]:
        """With their codes. Two queries."""
        return Item.objects.prefetch_related("identifiers")

    def lock(self, pk: int) -> None:
        """What changes codes holds the workshop first, as the service does; only then the row."""
        services.lock(caller(self.request))
        super().lock(pk)

    @once
    def create(self, request: Request) -> Response:
        """Make an item. A code that means something already is refused."""
        asked = ItemIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {**asked.validated_data, "identifiers": tuple(asked.validated_data.get("identifiers", ()))}
        made = services.make_item(data=services.ItemData(**given), by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-item", args=[made.pk]))

    def change(self, row: Item, data: dict[str, Any]) -> None:
        """Edit it."""
        services.edit_item(item=row, changes=data, by=caller(self.request))

    def remove(self, row: Item) -> None:
        """Only where nothing is counted in it."""
        services.remove_item(item=row, by=caller(self.request))


@extend_schema_view(
    list=extend_schema(summary="List codes", examples=[shown_as(CODE)]),
    retrieve=extend_schema(summary="Read a code", examples=[shown_as(CODE)]),
    create=extend_schema(
        summary="Teach a code",
        request=IdentifierIn,
        responses={200: IdentifierOut, 201: IdentifierOut, **problems(404, 409)},
        examples=[sent_as({"item": "AN470AD4-6", "text": "0012345678905"}), shown_as(CODE)],
    ),
    destroy=extend_schema(summary="Forget a code", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["items"])
class IdentifierViews(TaggedRows, ListModelMixin, GenericViewSet[Identifier]):
    """Codes that mean items: how an unknown one is taught. A token of scope scan may teach."""

    queryset = Identifier.objects.none()
    serializer_class = IdentifierOut
    filterset_class = IdentifierFilter
    scopes: ClassVar = {"POST": "scan"}

    def get_queryset(self) -> QuerySet[Identifier]:
        """With their items. One query."""
        return Identifier.objects.select_related("item")

    @once
    def create(self, request: Request) -> Response:
        """Teach a further code of an item. One that it has already is answered with 200; one of another item is refused."""
        asked = IdentifierIn(data=request.data)
        asked.is_valid(raise_exception=True)
        known = items_of(asked.validated_data["text"]).exists()
        row = services.add_identifier(**asked.validated_data, by=caller(request))
        return tagged(self.shown(row.pk), status=200 if known else 201, Location=reverse("api-identifier", args=[row.pk]))

    def remove(self, row: Identifier) -> None:
        """Unless it is the item's own."""
        services.remove_identifier(identifier=row, by=caller(self.request))
