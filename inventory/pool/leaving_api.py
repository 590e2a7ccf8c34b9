"""Ending a membership, for programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.common.schema import problems, sent_as, shown_as
from inventory.pool import leaving
from inventory.workshop.api import SIGNED_IN, refuse_device
from inventory.workshop.members_api import MEMBER, PEOPLE_DECIDE, MemberOut
from inventory.workshop.models import Member
from inventory.workshop.request import caller


class LeaveIn(serializers.Serializer[Any]):
    """How they are called from then on."""

    forget_name = serializers.BooleanField(default=False, help_text='true: "a former member" in what they did, in the history too')


class LeaveView(APIView):
    """The end of a membership."""

    @extend_schema(
        operation_id="members_leave",
        summary="End a membership",
        tags=["workshop"],
        request=LeaveIn,
        responses={200: MemberOut, **problems(409)},
        examples=[sent_as({"forget_name": False}), shown_as({**MEMBER, "active": False, "left_on": "2027-02-20"})],
        auth=SIGNED_IN,
    )
    def post(self, request: Request, pk: int) -> Response:
        """End one's own membership, or another's for an owner. Refused while anything is on loan; again changes nothing."""
        found = get_object_or_404(Member.objects.select_related("workshop"), pk=pk)
        refuse_device(request, PEOPLE_DECIDE)
        asked = LeaveIn(data=request.data)
        asked.is_valid(raise_exception=True)
        left = leaving.leave(member=found, forget_name=asked.validated_data["forget_name"], now=timezone.now(), by=caller(request))
        return Response(MemberOut(left).data)
