"""Crates, for programs: made by `receiving`, their journey written by `claims`, whose clocks run from it."""

from typing import Any

from django.db.models import Count, Q, QuerySet
from django.urls import reverse
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from inventory.claims import services
from inventory.common.api_fields import CodeField, DecimalOut
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.receiving import services as receiving
from inventory.receiving.filters import CrateFilter
from inventory.receiving.models import Crate, Sender
from inventory.workshop.api import bench_field
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller


class CrateOut(serializers.Serializer[Crate]):
    """What was sent to a bench at once."""

    id = serializers.IntegerField()
    code = serializers.CharField()
    bench = serializers.CharField(source="bench.code")
    sender = serializers.CharField(source="sender.name", allow_null=True, default=None)
    order = serializers.CharField(source="order_code", help_text="the order's code")
    carrier = serializers.CharField()
    ordered_on = serializers.DateField(allow_null=True)
    shipped_on = serializers.DateField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    arrived_on = serializers.DateField(allow_null=True, help_text="claim clocks run from this day")
    closed_on = serializers.DateField(allow_null=True, help_text="when counting was over")
    lines = serializers.IntegerField(source="lines_in_all")
    open_lines = serializers.IntegerField(help_text="lines that something is still to come of")
    printed_lines = serializers.IntegerField(allow_null=True, help_text="how many lines the list says that it has: compared, never used")
    printed_quantity = DecimalOut(allow_null=True, help_text="the same of all quantities")


class CratePatch(serializers.Serializer[Any]):
    """What may be changed of a crate's journey. Arriving is said by counting it."""

    sender = CodeField(
        "sender",
        lambda text: Sender.objects.filter(name__iexact=text).first(),
        required=False,
        allow_null=True,
        max_length=services.MOST_NAME,
        help_text="name of a sender",
    )
    order = serializers.CharField(source="order_code", required=False, allow_blank=True, max_length=80)
    carrier = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_NAME)
    ordered_on = serializers.DateField(required=False, allow_null=True)
    shipped_on = serializers.DateField(required=False, allow_null=True)
    due_on = serializers.DateField(required=False, allow_null=True)


class CrateIn(CratePatch):
    """A crate on its way."""

    bench = bench_field()
    code = serializers.CharField(max_length=receiving.MOST_CODE)


CRATE = {
    "id": 3,
    "code": "CRATE-7",
    "bench": "TERN",
    "sender": "Kestrel Kits",
    "order": "K-20931",
    "carrier": "Fenland Freight",
    "ordered_on": "2027-01-11",
    "shipped_on": "2027-02-08",
    "due_on": "2027-02-20",
    "arrived_on": None,
    "closed_on": None,
    "lines": 214,
    "open_lines": 214,
    "printed_lines": 214,
    "printed_quantity": None,
}
_NEW = {name: CRATE[name] for name in ("code", "bench", "sender", "order", "carrier", "ordered_on", "due_on")}


@extend_schema_view(
    list=extend_schema(summary="List crates", examples=[shown_as(CRATE)]),
    retrieve=extend_schema(summary="Read a crate", examples=[shown_as(CRATE)]),
    create=extend_schema(
        summary="Make a crate",
        request=CrateIn,
        responses={201: CrateOut, **problems(404, 409)},
        examples=[sent_as(_NEW), shown_as(CRATE)],
    ),
    partial_update=extend_schema(
        summary="Change a crate's journey",
        request=CratePatch,
        responses={200: CrateOut},
        examples=[sent_as({"due_on": "2027-02-27"}), shown_as({**CRATE, "due_on": "2027-02-27"})],
    ),
    destroy=extend_schema(summary="Remove a crate that nothing is in", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["crates"])
class CrateViews(TaggedRows, ListModelMixin, GenericViewSet[Crate]):
    """Crates."""

    queryset = Crate.objects.none()
    serializer_class = CrateOut
    patch_serializer_class = CratePatch
    filterset_class = CrateFilter

    def get_queryset(self) -> QuerySet[Crate]:
        """With how many lines each has. One query."""
        rows = Crate.objects.select_related("bench", "sender")
        return rows.annotate(lines_in_all=Count("lines"), open_lines=Count("lines", filter=Q(lines__open_quantity__gt=0)))

    @once
    def create(self, request: Request) -> Response:
        """Make a crate on its way. A code that a crate has already is refused."""
        asked = CrateIn(data=request.data)
        asked.is_valid(raise_exception=True)
        journey, by = dict(asked.validated_data), caller(request)
        crate = receiving.make_crate(bench=journey.pop("bench"), code=journey.pop("code"), by=by)
        services.set_sender(crate=crate, by=by, **journey)
        return tagged(self.shown(crate.pk), status=201, Location=reverse("api-crate", args=[crate.pk]))

    def change(self, row: Crate, data: dict[str, Any]) -> None:
        """Only what is given."""
        services.set_sender(crate=row, by=caller(self.request), **data)

    def remove(self, row: Crate) -> None:
        """Only where nothing is in it."""
        receiving.remove_crate(crate=row, by=caller(self.request))
