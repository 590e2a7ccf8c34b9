"""Hands of items, mirrored pairs and false mirrors, for programs: the same services as the page."""

from typing import Any

from django.db.models import QuerySet
from django.urls import path, reverse
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from buildplan.fitting import hands, queries, services
from buildplan.fitting.filters import FalseMirrorFilter, ItemHandFilter, MirrorPairFilter
from buildplan.fitting.models import FalseMirror, ItemHand, MirrorPair
from buildplan.plan.models import Hand
from inventory.catalogue.api import item_field
from inventory.common.api_fields import body_of
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller


class ItemHandPatch(serializers.Serializer[Any]):
    """Which hand the item is; `none` fits either side."""

    hand = serializers.ChoiceField(Hand.choices)


class ItemHandIn(ItemHandPatch):
    """Which hand an item is."""

    item = item_field()


class ItemHandOut(serializers.Serializer[Any]):
    """Which hand an item is said to be; `none` fits either side. Its hand follows from its pair where it has one."""

    id = serializers.IntegerField()
    item = serializers.CharField(source="item.code")
    item_id = serializers.IntegerField()
    hand = serializers.ChoiceField(Hand.choices)
    pair = serializers.IntegerField(allow_null=True, help_text="the pair that it is of")
    mirror = serializers.CharField(allow_null=True, help_text="code of its mirror image")


class MirrorPairIn(serializers.Serializer[Any]):
    """Two items that are each other's mirror image."""

    left = item_field()
    right = item_field()


class MirrorPairOut(serializers.Serializer[Any]):
    """A mirrored pair. An item has one partner."""

    id = serializers.IntegerField()
    left = serializers.CharField(source="left.code")
    left_id = serializers.IntegerField()
    right = serializers.CharField(source="right.code")
    right_id = serializers.IntegerField()


class FalseMirrorPatch(serializers.Serializer[Any]):
    """What tells the two apart."""

    told_apart = serializers.CharField(max_length=hands.MOST_TOLD)


class FalseMirrorIn(FalseMirrorPatch):
    """Two items that look like a pair and are none. Which is named first doesn't matter."""

    one = item_field()
    other = item_field()


class FalseMirrorOut(serializers.Serializer[Any]):
    """Two items that look like a pair and are none, and what tells them apart."""

    id = serializers.IntegerField()
    one = serializers.CharField(source="one.code")
    one_id = serializers.IntegerField()
    other = serializers.CharField(source="other.code")
    other_id = serializers.IntegerField()
    told_apart = serializers.CharField()


HAND = {"id": 6, "item": "RIB-L", "item_id": 41, "hand": "left", "pair": 3, "mirror": "RIB-R"}
LONE = {"id": 7, "item": "TIP-R", "item_id": 44, "hand": "right", "pair": None, "mirror": None}
PAIR = {"id": 3, "left": "RIB-L", "left_id": 41, "right": "RIB-R", "right_id": 42}
FALSE = {"id": 2, "one": "RIB-L", "one_id": 41, "other": "RIB-X", "other_id": 43, "told_apart": "its flange is 2 mm lower"}
_TAG = ["hands"]


@extend_schema_view(
    list=extend_schema(summary="List hands of items", examples=[shown_as(HAND)]),
    retrieve=extend_schema(summary="Read the hand of an item", examples=[shown_as(HAND)]),
    create=extend_schema(
        summary="State the hand of an item",
        request=ItemHandIn,
        responses={200: ItemHandOut, 201: ItemHandOut, **problems(404, 409)},
        examples=[sent_as({"item": "TIP-R", "hand": "right"}), shown_as(LONE)],
    ),
    partial_update=extend_schema(
        summary="Change the hand of an item",
        request=ItemHandPatch,
        responses={200: ItemHandOut, **problems(409)},
        examples=[sent_as({"hand": "right"}), shown_as(LONE)],
    ),
    destroy=extend_schema(summary="Take back the hand of an item", responses={204: None, **problems(409)}),
)
@extend_schema(tags=_TAG)
class ItemHandViews(TaggedRows, ListModelMixin, GenericViewSet[ItemHand]):
    """Which hand items are. A step of the other hand that calls one out is warned of it."""

    queryset = ItemHand.objects.none()
    serializer_class = ItemHandOut
    patch_serializer_class = ItemHandPatch
    filterset_class = ItemHandFilter

    def get_queryset(self) -> QuerySet[ItemHand]:
        """With their mirror images. One query."""
        return queries.hand_rows()

    def lock(self, pk: int) -> None:
        """What its pair hangs on too."""
        services.hold_items(self.row(pk).item, by=caller(self.request))

    @once
    def create(self, request: Request) -> Response:
        """Say which hand an item is. What was said before is replaced and the answer is 200; a paired item keeps the hand of its pair."""
        given = body_of(ItemHandIn, request)
        known = ItemHand.objects.filter(item=given["item"]).exists()
        services.state_hand(**given, by=caller(request))
        row = self.get_queryset().get(item=given["item"])
        return tagged(self.shown(row.pk), status=200 if known else 201, Location=reverse("api-hand", args=[row.pk]))

    def change(self, row: ItemHand, data: dict[str, Any]) -> None:
        """Unless it has a partner."""
        services.state_hand(item=row.item, hand=data.get("hand", row.hand), by=caller(self.request))

    def remove(self, row: ItemHand) -> None:
        """Unless it has a partner."""
        services.state_hand(item=row.item, hand="", by=caller(self.request))


@extend_schema_view(
    list=extend_schema(summary="List mirrored pairs", examples=[shown_as(PAIR)]),
    retrieve=extend_schema(summary="Read a mirrored pair", examples=[shown_as(PAIR)]),
    create=extend_schema(
        summary="Link a mirrored pair",
        request=MirrorPairIn,
        responses={200: MirrorPairOut, 201: MirrorPairOut, **problems(404, 409)},
        examples=[sent_as({"left": "RIB-L", "right": "RIB-R"}), shown_as(PAIR)],
    ),
    destroy=extend_schema(summary="Undo a mirrored pair", responses={204: None}),
)
@extend_schema(tags=_TAG)
class MirrorPairViews(TaggedRows, ListModelMixin, GenericViewSet[MirrorPair]):
    """Items that are each other's mirror image."""

    queryset = MirrorPair.objects.none()
    serializer_class = MirrorPairOut
    filterset_class = MirrorPairFilter

    def get_queryset(self) -> QuerySet[MirrorPair]:
        """With both items. One query."""
        return MirrorPair.objects.select_related("left", "right")

    def lock(self, pk: int) -> None:
        """Both items, whose hands hang on it."""
        row = self.row(pk)
        services.hold_items(row.left, row.right, by=caller(self.request))

    @once
    def create(self, request: Request) -> Response:
        """Link two items; the hand of each follows from it. Those that are this pair already are answered with 200."""
        given = body_of(MirrorPairIn, request)
        known = MirrorPair.objects.filter(**given).exists()
        made = services.pair(**given, by=caller(request))
        return tagged(self.shown(made.pk), status=200 if known else 201, Location=reverse("api-mirror-pair", args=[made.pk]))

    def remove(self, row: MirrorPair) -> None:
        """Each keeps its hand, which may be changed from then on."""
        services.undo_pair(pair=row, by=caller(self.request))


@extend_schema_view(
    list=extend_schema(summary="List false mirrors", examples=[shown_as(FALSE)]),
    retrieve=extend_schema(summary="Read a false mirror", examples=[shown_as(FALSE)]),
    create=extend_schema(
        summary="Note a false mirror",
        request=FalseMirrorIn,
        responses={200: FalseMirrorOut, 201: FalseMirrorOut, **problems(404, 409)},
        examples=[sent_as({name: FALSE[name] for name in ("one", "other", "told_apart")}), shown_as(FALSE)],
    ),
    partial_update=extend_schema(
        summary="Change what tells false mirrors apart",
        request=FalseMirrorPatch,
        responses={200: FalseMirrorOut, **problems(409)},
        examples=[sent_as({"told_apart": FALSE["told_apart"]}), shown_as(FALSE)],
    ),
    destroy=extend_schema(summary="Remove a false mirror", responses={204: None}),
)
@extend_schema(tags=_TAG)
class FalseMirrorViews(TaggedRows, ListModelMixin, GenericViewSet[FalseMirror]):
    """Items that look like a pair and are none. A step that calls one out is warned of it."""

    queryset = FalseMirror.objects.none()
    serializer_class = FalseMirrorOut
    patch_serializer_class = FalseMirrorPatch
    filterset_class = FalseMirrorFilter

    def get_queryset(self) -> QuerySet[FalseMirror]:
        """With both items. One query."""
        return FalseMirror.objects.select_related("one", "other")

    def lock(self, pk: int) -> None:
        """Both items, as its service does."""
        row = self.row(pk)
        services.hold_items(row.one, row.other, by=caller(self.request))

    @once
    def create(self, request: Request) -> Response:
        """Note two items, in either order. What was said of them before is replaced and the answer is 200."""
        given = body_of(FalseMirrorIn, request)
        both = (given["one"], given["other"])
        known = FalseMirror.objects.filter(one__in=both, other__in=both).exists()
        row = services.set_false_mirror(**given, by=caller(request))
        return tagged(self.shown(row.pk), status=200 if known else 201, Location=reverse("api-false-mirror", args=[row.pk]))

    def change(self, row: FalseMirror, data: dict[str, Any]) -> None:
        """In other words."""
        told = data.get("told_apart", row.told_apart)
        services.set_false_mirror(one=row.one, other=row.other, told_apart=told, by=caller(self.request))

    def remove(self, row: FalseMirror) -> None:
        """They may be linked as a pair from then on."""
        services.remove_false_mirror(row=row, by=caller(self.request))


urlpatterns = [
    path("hands", ItemHandViews.as_view({"get": "list", "post": "create"}), name="api-hands"),
    path(
        "hands/<int:pk>",
        ItemHandViews.as_view({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}),
        name="api-hand",
    ),
    path("mirror-pairs", MirrorPairViews.as_view({"get": "list", "post": "create"}), name="api-mirror-pairs"),
    path("mirror-pairs/<int:pk>", MirrorPairViews.as_view({"get": "retrieve", "delete": "destroy"}), name="api-mirror-pair"),
    path("false-mirrors", FalseMirrorViews.as_view({"get": "list", "post": "create"}), name="api-false-mirrors"),
    path(
        "false-mirrors/<int:pk>",
        FalseMirrorViews.as_view({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}),
        name="api-false-mirror",
    ),
]
