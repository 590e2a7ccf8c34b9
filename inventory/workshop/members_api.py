"""Members, invitations, and whose a bench is, for programs.

Who belongs to a workshop is decided by somebody who is signed in: a token that fell into wrong hands could else let its thief stay.
"""

from typing import Any, cast

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_variables
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from inventory.common.api_fields import IdField
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.workshop import invitations, memberships, policy, queries, services, tokens
from inventory.workshop.api import SIGNED_IN, bench_field, refuse_device
from inventory.workshop.idempotency import once
from inventory.workshop.models import Bench, BenchHolder, Invitation, Member, Role
from inventory.workshop.request import caller, site

PEOPLE_DECIDE = "who belongs to a workshop is decided by somebody who is signed in, not by a device: do it on the page Members"


class MemberOut(serializers.Serializer[Member]):
    """A person in the workshop, or its own hand."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    role = serializers.ChoiceField(Role.choices)
    active = serializers.BooleanField()
    left_on = serializers.DateField(allow_null=True)


class MemberPatch(serializers.Serializer[Member]):
    """What may be changed of a member."""

    name = serializers.CharField(max_length=memberships.MOST_NAME)
    role = serializers.ChoiceField(Role.choices)


class MemberIn(MemberPatch):
    """A person to be made a member."""

    email = serializers.EmailField(max_length=254, help_text="they sign in with it, once they have a password or a link")


MEMBER = {"id": 4, "name": "Ada", "role": "owner", "active": True, "left_on": None}
_BUILDER = {**MEMBER, "id": 7, "name": "Wren", "role": "builder"}


class MemberFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Members."""

    role = filters.ChoiceFilter(choices=Role.choices, help_text="only of this role")
    active = filters.BooleanFilter(help_text="only who is still here, or only who left")
    search = filters.CharFilter(field_name="name", lookup_expr="icontains", max_length=120, help_text="this text in the name")


@extend_schema_view(
    list=extend_schema(summary="List members", examples=[shown_as(MEMBER)]),
    retrieve=extend_schema(summary="Read a member", examples=[shown_as(MEMBER)]),
    create=extend_schema(
        summary="Make somebody a member",
        request=MemberIn,
        responses={200: MemberOut, 201: MemberOut, **problems(409)},
        examples=[sent_as({"email": "wren@club.example", "name": "Wren", "role": "builder"}), shown_as(_BUILDER)],
        auth=SIGNED_IN,
    ),
    partial_update=extend_schema(
        summary="Give a member another name or role",
        request=MemberPatch,
        responses={200: MemberOut, **problems(409)},
        examples=[sent_as({"role": "storekeeper"}), shown_as({**_BUILDER, "role": "storekeeper"})],
        auth=SIGNED_IN,
    ),
)
@extend_schema(tags=["workshop"])
class MemberViews(TaggedRows, ListModelMixin, GenericViewSet[Member]):
    """Who works here."""

    queryset = Member.objects.none()
    serializer_class = MemberOut
    patch_serializer_class = MemberPatch
    filterset_class = MemberFilter

    def get_queryset(self) -> QuerySet[Member]:
        """All of the workshop. One query."""
        return Member.objects.all()

    def lock(self, pk: int) -> None:
        """Roles are changed with the workshop held, so that an owner stays."""
        services.lock(caller(self.request).workshop)
        super().lock(pk)

    @once
    def create(self, request: Request) -> Response:
        """Make the person of an address a member. One who is a member already, or left, gets this name and role, and the answer is 200."""
        refuse_device(request, PEOPLE_DECIDE)
        asked = MemberIn(data=request.data)
        asked.is_valid(raise_exception=True)
        by = caller(request)
        policy.require(by, "manage")
        made, new = services.set_member(**asked.validated_data, workshop=by.workshop, by=by)
        return tagged(self.shown(made.pk), status=201 if new else 200, Location=reverse("api-member", args=[made.pk]))

    def change(self, row: Member, data: dict[str, Any]) -> None:
        """Only what is given."""
        refuse_device(self.request, PEOPLE_DECIDE)
        memberships.change_member(member=row, **{"name": row.name, "role": row.role, **data}, by=caller(self.request))


# Whose a bench is


class HoldersIn(serializers.Serializer[Any]):
    """Who is to hold a bench."""

    members = serializers.ListField(
        child=IdField[Member]("member", lambda pk: Member.objects.filter(pk=pk).first()),
        max_length=100,
        help_text="ids; nobody makes it anybody's",
    )


class BenchHolderOut(serializers.Serializer[BenchHolder]):
    """Somebody who holds a bench."""

    id = serializers.IntegerField(source="member.pk", help_text="the member's")
    name = serializers.CharField(source="member.name")
    active = serializers.BooleanField(source="member.active", help_text="false for who left: no other builder uses the bench meanwhile")


class HoldersOut(serializers.Serializer[Any]):
    """Whose a bench is."""

    bench = serializers.CharField(help_text="its code")
    shared = serializers.BooleanField(help_text="a shared bench is everybody's, and has no holders")
    members = BenchHolderOut(many=True)


HOLDERS = {"bench": "TERN", "shared": False, "members": [{"id": 7, "name": "Wren", "active": True}]}


class HoldersView(APIView):
    """Who holds a bench. Of the builders only they use its stock; a bench that nobody holds is anybody's."""

    @extend_schema(
        operation_id="holders_retrieve",
        summary="Read who holds a bench",
        tags=["workshop"],
        responses={200: HoldersOut},
        examples=[shown_as(HOLDERS)],
    )
    def get(self, request: Request, pk: int) -> Response:
        """Show whose a bench is."""
        del request
        return Response(self._shown(get_object_or_404(Bench.objects.all(), pk=pk)))

    @extend_schema(
        operation_id="holders_set",
        summary="Say who holds a bench",
        tags=["workshop"],
        request=HoldersIn,
        responses={200: HoldersOut},
        examples=[sent_as({"members": [7]}), shown_as(HOLDERS)],
    )
    def put(self, request: Request, pk: int) -> Response:
        """Set all of them at once. It takes no If-Match: what is sent is the whole of it."""
        bench = get_object_or_404(Bench.objects.all(), pk=pk)
        policy.require(caller(request), "manage")
        asked = HoldersIn(data=request.data)
        asked.is_valid(raise_exception=True)
        memberships.set_holders(bench=bench, members=asked.validated_data["members"], by=caller(request))
        return Response(self._shown(bench))

    def _shown(self, bench: Bench) -> Any:
        held = bench.holders.select_related("member").order_by("member__name", "pk")
        return HoldersOut({"bench": bench.code, "shared": bench.shared, "members": list(held)}).data


# Invitations


class InvitationOut(serializers.Serializer[Invitation]):
    """An invitation. `prefix` is the start of its secret, which tells it apart; the secret itself is kept nowhere."""

    id = serializers.IntegerField()
    name = serializers.CharField(help_text="for whom")
    email = serializers.CharField(help_text="empty where none was given")
    role = serializers.ChoiceField(Role.choices)
    bench = serializers.CharField(source="bench.code", allow_null=True, default=None, help_text="what they will hold")
    prefix = serializers.CharField()
    by = serializers.CharField(source="by.name")
    made_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    used_at = serializers.DateTimeField(allow_null=True)
    used_by = serializers.CharField(source="used_by.name", allow_null=True, default=None)
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class InvitedOut(InvitationOut):
    """A new invitation with its link."""

    link = serializers.SerializerMethodField(help_text="shown now and never again: it lets one person in")

    def get_link(self, invitation: Invitation) -> str:
        """The link, which only the view that made it knows."""
        del invitation
        return cast("str", self.context["link"])


class InvitationIn(serializers.Serializer[Any]):
    """Somebody to be invited."""

    name = serializers.CharField(max_length=invitations.MOST_NAME)
    email = serializers.EmailField(required=False, allow_blank=True, max_length=invitations.MOST_EMAIL)
    role = serializers.ChoiceField(Role.choices)
    bench = bench_field(required=False, allow_null=True)


INVITATION = {
    "id": 5,
    "name": "Wren",
    "email": "wren@club.example",
    "role": "builder",
    "bench": "TERN",
    "prefix": "ri_k7m2p9qd",
    "by": "Ada",
    "made_at": "2027-02-20T09:12:00Z",
    "expires_at": "2027-02-27T09:12:00Z",
    "used_at": None,
    "used_by": None,
    "withdrawn_at": None,
}
_LINK = "https://rivetloft.club.example/join/ri_k7m2p9qd_mzxw6ytboi4dgnrtgq3tqojqmzxw6ytboi4dgnrtgq3tqojqme2q/"
_INVITE = {name: INVITATION[name] for name in ("name", "email", "role", "bench")}


@extend_schema_view(
    list=extend_schema(summary="List invitations", examples=[shown_as(INVITATION)]),
    retrieve=extend_schema(summary="Read an invitation", examples=[shown_as(INVITATION)]),
    create=extend_schema(
        summary="Invite somebody",
        request=InvitationIn,
        responses={201: InvitedOut, **problems(404)},
        examples=[sent_as(_INVITE), shown_as({**INVITATION, "link": _LINK})],
        auth=SIGNED_IN,
    ),
    destroy=extend_schema(summary="Withdraw an invitation", responses={204: None, **problems(410)}),
)
@extend_schema(tags=["workshop"])
class InvitationViews(ListModelMixin, RetrieveModelMixin, GenericViewSet[Invitation]):
    """Who is invited, and who came. Owners alone see them."""

    queryset = Invitation.objects.none()
    serializer_class = InvitationOut

    def get_queryset(self) -> QuerySet[Invitation]:
        """All of the workshop, the newest first. One query."""
        return queries.invitations()

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """All of them, used up or not."""
        policy.require(caller(request), "manage")
        return super().list(request, *args, **kwargs)

    def retrieve(self, request: Request, pk: int) -> Response:
        """One of them."""
        found = get_object_or_404(self.get_queryset(), pk=pk)
        policy.require(caller(request), "manage")
        return Response(InvitationOut(found).data)

    @sensitive_variables("secret", "link")
    def create(self, request: Request) -> Response:
        """Invite somebody. The answer alone shows the link, so it takes no Idempotency-Key: no copy is kept."""
        refuse_device(request, PEOPLE_DECIDE)
        policy.require(caller(request), "manage")
        asked = InvitationIn(data=request.data)
        asked.is_valid(raise_exception=True)
        prefix = tokens.make_prefix(tokens.INVITATION)
        made, secret = invitations.invite(**asked.validated_data, prefix=prefix, now=timezone.now(), by=caller(request))
        link = site(request) + reverse("join", args=[secret])
        headers = {"Location": reverse("api-invitation", args=[made.pk]), "Cache-Control": "no-store"}
        return Response(InvitedOut(made, context={"link": link}).data, status=201, headers=headers)

    def destroy(self, request: Request, pk: int) -> Response:
        """Take it back before it is used. It takes no If-Match, since nothing could make it a mistake to hurry."""
        found = get_object_or_404(self.get_queryset(), pk=pk)
        invitations.withdraw(invitation=found, now=timezone.now(), by=caller(request))
        return Response(status=204)
