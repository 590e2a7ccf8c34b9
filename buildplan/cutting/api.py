"""Cuts, for programs: the same services as the pages."""

from typing import Any
from uuid import uuid4

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from buildplan.cutting import queries, services
from buildplan.cutting.filters import CutFilter
from buildplan.cutting.models import Cut, CutPiece
from buildplan.cutting.services import Kept
from buildplan.cutting.shapes import CutIn, CutOut, SawIn, SpoilIn, counts
from inventory.common.api_fields import body_of
from inventory.common.etags import shown, tagged
from inventory.common.problems import NotHere
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

LINE = {
    "id": 31,
    "piece": 12,
    "code": "TIP-RIB-L",
    "project": "TIPS-1",
    "step": "TP-01",
    "count": 2,
    "later": False,
    "lot": None,
    "spoiled": [],
}
CUT = {
    "id": 7,
    "blank": 2,
    "item": "TIP.400",
    "lot": 41,
    "quantity": "1",
    "state": "planned",
    "project": "TIPS-1",
    "step": "TP-01",
    "accepted": False,
    "note": "",
    "mother": None,
    "sawn_on": None,
    "by": "Wren",
    "pieces": [LINE, {**LINE, "id": 32, "piece": 13, "code": "TIP-RIB-R", "step": "TP-03", "later": True}],
}
SAWN = {**CUT, "state": "sawn", "sawn_on": "2027-03-06", "pieces": [{**LINE, "lot": 77}, CUT["pieces"][1]]}  # type: ignore[index]
SPOILED = {"count": 1, "cause": "flanged the wrong way round", "on": "2027-03-06", "by": "Wren"}
_PLAN = {"blank": 2, "lot": 41, "now": [{"piece": 12, "count": 2}], "later": [{"piece": 13, "count": 2}]}
_SAW = {"source": "Hangar/Rack 1", "target": "Hangar/Rack 1", "kept": [{"length": "450", "width": "600"}], "on": "2027-03-06"}
_TAGS = ["cutting"]


@extend_schema_view(
    list=extend_schema(summary="List cuts", examples=[shown_as(CUT)]),
    retrieve=extend_schema(summary="Read a cut", examples=[shown_as(CUT)]),
    create=extend_schema(
        summary="Plan a cut",
        request=CutIn,
        responses={201: CutOut, **problems(404, 409)},
        examples=[sent_as(_PLAN), shown_as(CUT)],
    ),
)
@extend_schema(tags=_TAGS)
class CutViews(ListModelMixin, GenericViewSet[Cut]):
    """Cuts of blanks: planned, then sawn. Undoing is before the saw alone."""

    queryset = Cut.objects.none()
    serializer_class = CutOut
    filterset_class = CutFilter

    def get_queryset(self) -> QuerySet[Cut]:
        """With their pieces. Three queries."""
        return queries.cut_rows().order_by("pk")

    def retrieve(self, request: Request, pk: int) -> Response:
        """One of them."""
        return shown(request, CutOut(self._row(pk)).data)

    @once
    def create(self, request: Request) -> Response:
        """Hold a blank for a cut. One that strands other pieces is a 409 that names a better blank, unless `accept` is true."""
        given = body_of(CutIn, request)
        said = {"blank": given["blank"], "lot": given["lot"], "accept": given["accept"], "note": given["note"]}
        made = services.plan_cut(**said, now=counts(given["now"]), later=counts(given["later"]), key=uuid4(), by=caller(request))
        return tagged(self._shown(made.pk), status=201, Location=reverse("api-cut", args=[made.pk]))

    @extend_schema(
        operation_id="cuts_saw",
        summary="Write down that a cut was sawn",
        request=SawIn,
        responses={200: CutOut, **problems(404, 409)},
        examples=[sent_as(_SAW), shown_as(SAWN)],
    )
    @once
    def saw(self, request: Request, pk: int) -> Response:
        """The blank leaves stock; pieces and kept offcuts become lots; what is promised is planned on offcuts that give it. No undoing."""
        found, given = self._row(pk), body_of(SawIn, request)
        kept = [Kept(**one) for one in given.pop("kept")]
        services.saw_cut(cut=found, kept=kept, **given, now=timezone.now(), by=caller(request))
        return Response(self._shown(pk))

    @extend_schema(
        operation_id="cuts_undo",
        summary="Give a planned cut up",
        request=None,
        responses={200: CutOut, **problems(409)},
        examples=[shown_as({**CUT, "state": "undone"})],
    )
    @once
    def undo(self, request: Request, pk: int) -> Response:
        """The blank is free again. Before the saw alone."""
        services.undo_cut(cut=self._row(pk), now=timezone.now(), by=caller(request))
        return Response(self._shown(pk))

    @extend_schema(
        operation_id="cuts_spoil",
        summary="Write down spoiled pieces",
        request=SpoilIn,
        responses={201: CutOut, **problems(404, 409)},
        examples=[
            sent_as({"line": 31, **{name: SPOILED[name] for name in ("count", "cause", "on")}}),
            shown_as({**SAWN, "pieces": [{**LINE, "lot": 77, "spoiled": [SPOILED]}]}),
        ],
    )
    @once
    def spoil(self, request: Request, pk: int) -> Response:
        """They are needed anew from this moment, with their blank. It stays as it is written."""
        self._row(pk)
        given = body_of(SpoilIn, request)
        line = CutPiece.objects.filter(pk=given["line"], cut=pk).first()
        if line is None:
            raise NotHere(f"there is no line {given['line']} of this cut here")
        services.spoil_pieces(**{**given, "line": line}, key=uuid4(), by=caller(request))
        return tagged(self._shown(pk), status=201)

    def _row(self, pk: int) -> Cut:
        return get_object_or_404(self.get_queryset(), pk=pk)

    def _shown(self, pk: int) -> Any:
        return CutOut(self.get_queryset().get(pk=pk)).data


urlpatterns = [
    path("cuts", CutViews.as_view({"get": "list", "post": "create"}), name="api-cuts"),
    path("cuts/<int:pk>", CutViews.as_view({"get": "retrieve"}), name="api-cut"),
    path("cuts/<int:pk>/saw", CutViews.as_view({"post": "saw"}), name="api-cut-saw"),
    path("cuts/<int:pk>/undo", CutViews.as_view({"post": "undo"}), name="api-cut-undo"),
    path("cuts/<int:pk>/spoil", CutViews.as_view({"post": "spoil"}), name="api-cut-spoil"),
]
