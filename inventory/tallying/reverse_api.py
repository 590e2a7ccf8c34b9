"""Undoing a movement, for programs. It stands here since what was counted of it waits to be put away again."""

from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.common.schema import problems, sent_as, shown_as
from inventory.stock.api import MOVEMENT, MovementOut, ReverseIn, ledger, movement_shown
from inventory.tallying import services
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

UNDONE = {**MOVEMENT, "id": 311, "source": "used", "target": "Hangar/Rack 2/Drawer 7", "note": "wrong can", "reverses": 310}


class ReverseView(APIView):
    """Undoes a movement by its opposite, once."""

    @extend_schema(
        operation_id="movements_reverse",
        summary="Reverse a movement",
        tags=["movements"],
        request=ReverseIn,
        responses={201: MovementOut, **problems(409)},
        examples=[sent_as({"note": "wrong can"}), shown_as(UNDONE)],
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        """Undo a movement by its opposite; the answer is that one. A packing line that it took from is open again."""
        movement = get_object_or_404(ledger().select_related("lot__bench"), pk=pk)
        asked = ReverseIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {"on": timezone.localdate(), **asked.validated_data}
        made = services.reverse(movement=movement, by=caller(request), **given)
        return Response(movement_shown(made.pk), status=201, headers={"Location": reverse("api-movement", args=[made.pk])})
