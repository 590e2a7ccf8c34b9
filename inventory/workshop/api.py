"""Who one is, and the devices that act for members, for programs."""

from typing import Any, ClassVar, cast

from django.db.models import Q, QuerySet
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_variables
from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from inventory.common.api_fields import CodeField
from inventory.common.paging import Cursor
from inventory.common.schema import shown_as
from inventory.workshop import policy, queries, services
from inventory.workshop.models import Bench, Device, Role
from inventory.workshop.request import caller

SIGNED_IN: Any = [{"memberSession": []}]  # it goes into the document as it is: no device's token does
_SCOPES = [(name, name) for name in policy.SCOPES]


class DeviceOut(serializers.ModelSerializer[Device]):
    """A device. `prefix` is the start of its token, which tells it apart; the token itself is kept nowhere."""

    member = serializers.CharField(source="member.name", help_text="whom it acts for")
    scopes = serializers.SerializerMethodField()

    class Meta:
        model = Device
        fields: tuple[str, ...] = ("id", "name", "member", "prefix", "scopes", "made_at", "last_seen", "revoked_at")

    def get_scopes(self, device: Device) -> list[str]:
        """What its token is allowed."""
        return list(policy.scopes(device))


class IssuedOut(DeviceOut):
    """A new device with its token."""

    token = serializers.SerializerMethodField(help_text="shown now and never again: send it as `Authorization: Bearer TOKEN`")

    class Meta(DeviceOut.Meta):
        fields = (*DeviceOut.Meta.fields, "token")

    def get_token(self, device: Device) -> str:
        """The token, which only the view that issued it knows."""
        del device
        return cast("str", self.context["token"])


class DeviceIn(serializers.Serializer[Any]):
    """A device to be issued."""

    name = serializers.CharField(max_length=80)
    scopes = serializers.ListField(
        child=serializers.ChoiceField(_SCOPES),
        min_length=1,
        max_length=len(_SCOPES),
        help_text="read: look things up; scan: send scans; manage: all that its member may, and the other two",
    )


class WhoOut(serializers.Serializer[Any]):
    """The member one acts as."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    role = serializers.ChoiceField(Role.choices)


class WorkshopOut(serializers.Serializer[Any]):
    """The workshop one is in."""

    code = serializers.CharField()
    name = serializers.CharField()


class MeOut(serializers.Serializer[Any]):
    """Who one is. `device` is null for a signed-in browser, which has every scope."""

    member = WhoOut()
    workshop = WorkshopOut()
    device = DeviceOut(allow_null=True)
    scopes = serializers.ListField(child=serializers.ChoiceField(_SCOPES))


ISSUED = OpenApiExample(
    "a scanner",
    response_only=True,
    status_codes=["201"],
    value={
        "id": 3,
        "name": "Scanner at the gate",
        "member": "Ada",
        "prefix": "rl_k7m2p9qd",
        "scopes": ["read", "scan"],
        "made_at": "2027-02-20T09:12:00Z",
        "last_seen": None,
        "revoked_at": None,
        "token": "rl_k7m2p9qd_mzxw6ytboi4dgnrtgq3tqojqmzxw6ytboi4dgnrtgq3tqojqme2q",
    },
)


class DevicesView(ListAPIView[Device]):
    """The devices that act for members."""

    queryset = Device.objects.none()
    serializer_class = DeviceOut
    pagination_class = Cursor

    def get_queryset(self) -> Any:
        """One's own; an owner's are everybody's. Revoked ones stay in the list."""
        return queries.devices(caller(self.request))

    @extend_schema(operation_id="devices_list", responses={200: DeviceOut(many=True)})
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List one's own devices; an owner sees everybody's. Revoked ones stay in the list."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="devices_issue",
        request=DeviceIn,
        responses={201: IssuedOut},
        examples=[ISSUED],
        auth=SIGNED_IN,
    )
    @sensitive_variables("token")
    def post(self, request: Request) -> Response:
        """Issue a device for oneself. Its answer alone shows the token, so it takes no Idempotency-Key: no copy is kept.

        A signed-in person does it, not a device: a token that fell into wrong hands could else outlive its revocation in a second one.
        """
        refuse_device(request, "a device can't issue devices: sign in and do it on the page Devices")
        asked = DeviceIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given, by = asked.validated_data, caller(request)
        device, token = services.issue_device(member=by, name=given["name"], scopes=given["scopes"], by=by)
        headers = {"Location": reverse("api-device", args=[device.pk]), "Cache-Control": "no-store"}
        return Response(IssuedOut(device, context={"token": token}).data, status=201, headers=headers)


class DeviceView(APIView):
    """One device."""

    @extend_schema(operation_id="devices_retrieve", responses={200: DeviceOut})
    def get(self, request: Request, pk: int) -> Response:
        """Show one device."""
        return Response(DeviceOut(_get_device(request, pk)).data)

    @extend_schema(operation_id="devices_revoke", responses={204: None})
    def delete(self, request: Request, pk: int) -> Response:
        """Revoke a device: its token is refused from now on. It takes no If-Match, since nothing could make it a mistake to hurry."""
        services.revoke_device(device=_get_device(request, pk), now=timezone.now(), by=caller(request))
        return Response(status=204)


class MeView(APIView):
    """Who one is. A token of any scope may ask."""

    scopes: ClassVar = {"GET": policy.ANY}

    @extend_schema(operation_id="me", responses={200: MeOut})
    def get(self, request: Request) -> Response:
        """Tell the member, the workshop and the device that a request counts as, and what it may do."""
        member, device = caller(request), request.auth
        scopes = policy.scopes(device) if isinstance(device, Device) else tuple(policy.SCOPES)
        found = {"member": member, "workshop": member.workshop, "device": device, "scopes": scopes}
        return Response(MeOut(found).data)


class BenchOut(serializers.Serializer[Bench]):
    """A builder's own stock; a shared one is the pool."""

    id = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    shared = serializers.BooleanField()


BENCH = {"id": 2, "code": "TERN", "name": "Tern", "shared": False}


def bench_field(**kwargs: Any) -> CodeField[Bench]:
    """The bench of a code."""
    return CodeField("bench", lambda text: Bench.objects.filter(code__iexact=text).first(), help_text="code of a bench", **kwargs)


class BenchFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Benches."""

    shared = filters.BooleanFilter(help_text="only the pool, or only builders' own")
    search = filters.CharFilter(method="by_text", max_length=120, help_text="this text in code or name")

    def by_text(self, rows: QuerySet[Bench], name: str, value: str) -> QuerySet[Bench]:
        """Codes and names."""
        del name
        return rows.filter(Q(code__icontains=value) | Q(name__icontains=value))


@extend_schema_view(
    list=extend_schema(summary="List benches", examples=[shown_as(BENCH)]),
    retrieve=extend_schema(summary="Read a bench", examples=[shown_as(BENCH)]),
)
@extend_schema(tags=["workshop"])
class BenchViews(ListModelMixin, RetrieveModelMixin, GenericViewSet[Bench]):
    """Whose things are."""

    queryset = Bench.objects.none()
    serializer_class = BenchOut
    filterset_class = BenchFilter

    def get_queryset(self) -> QuerySet[Bench]:
        """All of the workshop. One query."""
        return Bench.objects.all()


def refuse_device(request: Request, text: str) -> None:
    """Raise `NotAllowed` with `text` where a device asks for what only a signed-in person does: its token may have been stolen."""
    if isinstance(request.auth, Device):
        raise policy.NotAllowed(text)


def _get_device(request: Request, pk: int) -> Device:
    found = queries.devices(caller(request)).filter(pk=pk).first()
    if found is None:
        raise Http404
    return found
