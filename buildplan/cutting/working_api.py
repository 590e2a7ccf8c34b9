"""What is done to pieces, for programs: operations meant, done, left and done too often."""

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
from buildplan.cutting.filters import OperationFilter
from buildplan.cutting.models import Operation, OperationDone
from buildplan.cutting.working_shapes import DoneIn, OperationIn, OperationOut
from inventory.common.api_fields import body_of
from inventory.common.etags import shown, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

DONE = {"id": 9, "count": 2, "on": "2027-03-06", "by": "Wren"}
OPERATION = {
    "id": 4,
    "piece": 12,
    "code": "TIP-RIB-L",
    "project": "TIPS-1",
    "step": "TP-01",
    "name": "trim",
    "hand": "left",
    "count": 2,
    "of": 12,
    "note": "",
    "done": 2,
    "left": 0,
    "over": 0,
    "rows": [DONE],
}
_TAGS = ["cutting"]


@extend_schema_view(
    list=extend_schema(summary="List operations on pieces", examples=[shown_as(OPERATION)]),
    retrieve=extend_schema(summary="Read an operation", examples=[shown_as(OPERATION)]),
    create=extend_schema(
        summary="Say what is done to pieces",
        request=OperationIn,
        responses={201: OperationOut, **problems(404, 409)},
        examples=[
            sent_as({"piece": 12, "name": "trim", "hand": "left", "count": 2}),
            shown_as({**OPERATION, "done": 0, "left": 2, "rows": []}),
        ],
    ),
)
@extend_schema(tags=_TAGS)
class OperationViews(ListModelMixin, GenericViewSet[Operation]):
    """Trim two left and two right of twelve: what is done to some of a step's pieces, and what was."""

    queryset = Operation.objects.none()
    serializer_class = OperationOut
    filterset_class = OperationFilter

    def get_queryset(self) -> QuerySet[Operation]:
        """With their pieces and what was done. Two queries."""
        return queries.operation_rows().order_by("pk")

    def retrieve(self, request: Request, pk: int) -> Response:
        """One of them."""
        return shown(request, self._shown(pk))

    @once
    def create(self, request: Request) -> Response:
        """So many of a piece, of one hand or of none; together no more than the step has."""
        made = services.save_operation(**body_of(OperationIn, request), by=caller(request))
        return tagged(self._shown(made.pk), status=201, Location=reverse("api-operation", args=[made.pk]))

    @extend_schema(
        operation_id="operations_done",
        summary="Write down to how many it was done",
        request=DoneIn,
        responses={201: OperationOut, **problems(404, 409)},
        examples=[sent_as({"count": 2, "on": "2027-03-06"}), shown_as(OPERATION)],
    )
    @once
    def done(self, request: Request, pk: int) -> Response:
        """More than were meant is written down too: `over` says so. No more than there are pieces."""
        found = get_object_or_404(self.get_queryset(), pk=pk)
        services.note_done(operation=found, **body_of(DoneIn, request), key=uuid4(), by=caller(request))
        return tagged(self._shown(pk), status=201)

    @extend_schema(
        operation_id="operations_take_back",
        summary="Take back what was counted by mistake",
        request=None,
        responses={200: OperationOut, **problems(404, 409)},
        examples=[shown_as({**OPERATION, "done": 0, "left": 2, "rows": []})],
    )
    @once
    def take_back(self, request: Request, pk: int) -> Response:
        """It counts no more, and stays on record: what is trimmed stays trimmed. `pk` is the id of the row."""
        row = get_object_or_404(OperationDone.objects.select_related("operation__piece__step__project__bench__workshop"), pk=pk)
        services.take_back_done(done=row, now=timezone.now(), by=caller(request))
        return Response(self._shown(row.operation_id))

    def _shown(self, pk: int) -> Any:
        return OperationOut(get_object_or_404(self.get_queryset(), pk=pk)).data


urlpatterns = [
    path("operations", OperationViews.as_view({"get": "list", "post": "create"}), name="api-operations"),
    path("operations/<int:pk>", OperationViews.as_view({"get": "retrieve"}), name="api-operation"),
    path("operations/<int:pk>/done", OperationViews.as_view({"post": "done"}), name="api-operation-done"),
    path("operations/done/<int:pk>/take-back", OperationViews.as_view({"post": "take_back"}), name="api-operation-take-back"),
]
