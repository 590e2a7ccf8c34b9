"""Blanks, how the workshop saws and how large lots are, for programs: the same services as the pages."""

from dataclasses import asdict
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from buildplan.cutting import queries, services
from buildplan.cutting.models import Blank, CuttingRules, Measured
from buildplan.cutting.queries import BlankRow
from buildplan.cutting.services import BlankData, Kept, Release
from buildplan.cutting.shapes import BlankOut, BlanksOut
from buildplan.cutting.stating_shapes import (
    BlankIn,
    BlankPatch,
    CuttingRulesOut,
    CuttingRulesPatch,
    LotSizeOut,
    LotSizePatch,
)
from inventory.common.api_fields import body_of
from inventory.common.etags import TaggedRows, require_match, shown, tagged
from inventory.common.problems import FieldProblem, NotHere
from inventory.common.schema import problems, sent_as, shown_as
from inventory.models import Lot
from inventory.workshop import policy
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller
from inventory.workshop.services import lock as lock_workshop

BLANK = {
    "id": 2,
    "item": "TIP.400",
    "name": "Blank for wing tip ribs",
    "unit_of_stock": "ea",
    "form": "sheet",
    "length": "900",
    "width": "600",
    "thickness": "4/5",
    "unit": "mm",
    "grain": "length",
    "kerf": "2",
    "end_trim": None,
    "there": "2",
    "promised": "1",
    "offcuts": 1,
    "uncut": 2,
    "planned": 4,
}
RULES = {"unit": "mm", "kerf": "2", "end_trim": "10", "allowance": "0"}
SIZE = {
    "lot": 44,
    "item": "TIP.400-OFFCUT",
    "unit": "mm",
    "length": "450",
    "width": "600",
    "thickness": "4/5",
    "grain": "length",
    "certificate": "3.1 no. 4471",
    "mother": 41,
    "cut": 7,
}
SAID = ("form", "unit", "length", "width", "thickness", "grain", "kerf", "end_trim")
_TAGS = ["cutting"]
_MATCH = OpenApiParameter("If-Match", str, OpenApiParameter.HEADER, required=True, description="the ETag that reading them gave")


@extend_schema_view(
    retrieve=extend_schema(summary="Read a blank", responses=BlankOut, examples=[shown_as(BLANK)]),
    create=extend_schema(
        summary="Say that pieces are cut from an item",
        request=BlankIn,
        responses={200: BlankOut, 201: BlankOut, **problems(404)},
        examples=[sent_as({"item": "TIP.400", **{name: BLANK[name] for name in SAID}}), shown_as(BLANK)],
    ),
    partial_update=extend_schema(
        summary="Change a blank's size, kerf or end trim",
        request=BlankPatch,
        responses={200: BlankOut, **problems(409)},
        examples=[sent_as({"kerf": "2"}), shown_as(BLANK)],
    ),
    destroy=extend_schema(summary="Say that nothing is cut from an item", responses={204: None, **problems(409)}),
)
@extend_schema(tags=_TAGS)
class BlankViews(TaggedRows, GenericViewSet[Blank]):
    """What pieces are cut from."""

    queryset = Blank.objects.none()
    serializer_class: type[BlankOut] = BlankOut
    patch_serializer_class = BlankPatch

    def get_queryset(self) -> QuerySet[Blank]:
        """They are shown with counts: see `row`."""
        return Blank.objects.all()

    @extend_schema(operation_id="blanks", summary="List blanks", responses=BlanksOut, examples=[shown_as({"blanks": [BLANK]})])
    def every(self, request: Request) -> Response:
        """Every blank, what there is of it, what is promised, and the pieces that still have to come out of it."""
        return shown(request, BlanksOut({"blanks": queries.blanks()}).data)

    def row(self, pk: int) -> BlankRow:
        """With what there is of it. Five queries."""
        found = queries.blanks(pk=pk)
        if not found:
            raise NotHere(f"there is no blank {pk} here")
        return found[0]

    def lock(self, pk: int) -> None:
        """The workshop first, as its service does."""
        lock_workshop(caller(self.request).workshop)
        super().lock(pk)

    @once
    def create(self, request: Request) -> Response:
        """What was said of the item before is replaced and the answer is 200. Its offcuts become an item of their own."""
        given = body_of(BlankIn, request)
        item = given.pop("item")
        known = Blank.objects.filter(item=item).exists()
        made = services.save_blank(item=item, said=BlankData(**given), by=caller(request))
        return tagged(self.shown(made.pk), status=200 if known else 201, Location=reverse("api-blank", args=[made.pk]))

    def change(self, row: BlankRow, data: dict[str, Any]) -> None:
        """What isn't given stays."""
        said = {name: getattr(row.blank, name) for name in SAID} | data
        services.save_blank(item=row.blank.item, said=BlankData(**said), by=caller(self.request))

    def remove(self, row: BlankRow) -> None:
        """Only where no plan needs pieces of it and it was never cut."""
        services.remove_blank(blank=row.blank, by=caller(self.request))


@extend_schema(tags=_TAGS)
class CuttingRulesView(APIView):
    """How the workshop saws. There is one set of rules."""

    @extend_schema(
        operation_id="cutting_rules_read", summary="Read kerf and trim", responses={200: CuttingRulesOut}, examples=[shown_as(RULES)]
    )
    def get(self, request: Request) -> Response:
        """Read them, with their ETag. Where nobody has set any, all are 0."""
        return shown(request, CuttingRulesOut(_rules()).data)

    @extend_schema(
        operation_id="cutting_rules_change",
        summary="Change kerf and trim",
        parameters=[_MATCH],
        request=CuttingRulesPatch,
        responses={200: CuttingRulesOut, **problems(412, 428)},
        examples=[sent_as({"kerf": "2"}), shown_as(RULES)],
    )
    @transaction.atomic
    def patch(self, request: Request) -> Response:
        """Change what is given of them; the rest stays."""
        by = caller(request)
        policy.require(by, "manage")
        lock_workshop(by.workshop)
        require_match(request, CuttingRulesOut(_rules()).data)
        asked = CuttingRulesPatch(data=request.data, partial=True)
        asked.is_valid(raise_exception=True)
        said = {name: getattr(_rules(), name) for name in RULES} | asked.validated_data
        return tagged(CuttingRulesOut(services.set_rules(workshop=by.workshop, **said, by=by)).data)


def _rules() -> CuttingRules:
    return CuttingRules.objects.first() or CuttingRules(kerf=0, end_trim=0, allowance=0)


@extend_schema_view(
    retrieve=extend_schema(summary="Read how large a lot is", examples=[shown_as(SIZE)]),
    partial_update=extend_schema(
        summary="Write down how large a lot is",
        request=LotSizePatch,
        responses={200: LotSizeOut, **problems(409)},
        examples=[sent_as({"unit": "mm", "length": "450", "width": "600"}), shown_as(SIZE)],
    ),
)
@extend_schema(tags=_TAGS)
class LotSizeViews(TaggedRows, GenericViewSet[Lot]):
    """How large blanks and offcuts really are, by lot. A lot of anything else isn't found."""

    queryset = Lot.objects.none()
    serializer_class = LotSizeOut
    patch_serializer_class = LotSizePatch

    def get_queryset(self) -> QuerySet[Lot]:
        """Lots of blanks and offcuts, as measured. One query."""
        rows = Lot.objects.filter(Q(item__blank__isnull=False) | Q(item__offcut_of__isnull=False))
        return rows.select_related("item", "bench__workshop", "measured")

    def lock(self, pk: int) -> None:
        """What is planned on it too, in the order of its service."""
        services.hold_for_measuring(self.row(pk), caller(self.request))

    def change(self, row: Lot, data: dict[str, Any]) -> None:
        """What isn't given stays. Where it then doesn't give what is planned on it that is refused, unless `release` says why."""
        why = data.pop("release", "")
        before: Measured | None = getattr(row, "measured", None)
        names = ("length", "width", "thickness")
        if (
            before is not None
            and data.get("unit", before.unit) != before.unit
            and any(getattr(before, name) for name in names if name not in data)
        ):
            raise FieldProblem("unit", f"sizes in {before.unit} are written down: give all of them anew with another unit")
        said = asdict(Kept()) | {"thickness": None, "certificate": ""}
        if before is not None:
            said = {name: getattr(before, name) for name in said}
        said |= data
        thickness, certificate = said.pop("thickness"), said.pop("certificate")
        release = Release(why, timezone.now()) if why else None
        kept = Kept(**said)
        services.measure(lot=row, said=kept, thickness=thickness, certificate=certificate, release=release, by=caller(self.request))


urlpatterns = [
    path("blanks", BlankViews.as_view({"get": "every", "post": "create"}), name="api-blanks"),
    path("blanks/<int:pk>", BlankViews.as_view({"get": "retrieve", "patch": "partial_update", "delete": "destroy"}), name="api-blank"),
    path("cutting-rules", CuttingRulesView.as_view(), name="api-cutting-rules"),
    path("lots/<int:pk>/size", LotSizeViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-lot-size"),
]
