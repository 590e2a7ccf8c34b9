"""The builder's log for programs: the same entries and signatures as the pages."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar
from uuid import uuid4

from django.db.models import QuerySet
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from buildplan.logbook import queries, services
from buildplan.logbook.calc import MOST_MINUTES
from buildplan.logbook.filters import LogFilter
from buildplan.logbook.models import LogEntry, Signature
from buildplan.logbook.queries import EntryRow, SignatureRow
from buildplan.logbook.services import (
    MOST_LICENCE,
    MOST_NAME,
    MOST_PEOPLE,
    MOST_STATEMENT,
    MOST_TEXT,
    MOST_WHY,
    STATEMENT,
    Worked,
)
from buildplan.logbook.took import LotUsed, Took
from buildplan.plan.models import Project, Step
from inventory.common.api_fields import IdField
from inventory.common.etags import TaggedRows, tagged
from inventory.common.fields import plain
from inventory.common.problems import NotHere
from inventory.common.schema import problems, sent_as, shown_as
from inventory.models import Member
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

MOST_CODE = 40


def _member(pk: int) -> Member | None:
    return Member.objects.filter(pk=pk).first()


# What is shown


class LogHoursOut(serializers.Serializer[Any]):
    """Who worked how long. A helper has no member."""

    member = serializers.IntegerField(allow_null=True)
    name = serializers.CharField()
    minutes = serializers.IntegerField()


class LogLotOut(serializers.Serializer[Any]):
    """A lot that something came from; dates as its label states them."""

    lot = serializers.IntegerField()
    code = serializers.CharField()
    made = serializers.CharField(allow_null=True)
    expires = serializers.CharField(allow_null=True)
    opened = serializers.DateField(allow_null=True)
    certificate = serializers.CharField()


class LogTookOut(serializers.Serializer[Any]):
    """What the entry's step took of stock, by the ledger as it stands now. `mixed_at` is of a mixed batch."""

    item = serializers.CharField()
    quantity = serializers.CharField()
    unit = serializers.CharField()
    on = serializers.DateField()
    mixed_at = serializers.DateTimeField(allow_null=True)
    lots = LogLotOut(many=True)


class LogSignatureOut(serializers.Serializer[Any]):
    """Who has seen the entry. It approves nothing; `licence` is the signer's own text. `changed` names what is otherwise since."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    role = serializers.CharField()
    licence = serializers.CharField()
    statement = serializers.CharField()
    at = serializers.DateTimeField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_why = serializers.CharField()
    changed = serializers.ListField(child=serializers.CharField())


class LogEntryOut(serializers.Serializer[Any]):
    """An entry of the builder's log."""

    id = serializers.IntegerField()
    project = serializers.CharField()
    section = serializers.CharField()
    step = serializers.CharField(allow_null=True)
    on = serializers.DateField()
    text = serializers.CharField()
    hours = LogHoursOut(many=True)
    minutes = serializers.IntegerField(help_text="of all people; of one that is struck out 0")
    took = LogTookOut(many=True)
    photos = serializers.ListField(child=serializers.IntegerField())
    signatures = LogSignatureOut(many=True)
    by = serializers.CharField()
    at = serializers.DateTimeField()
    struck = serializers.CharField(allow_null=True, help_text="why it is struck out; null where it isn't")


# What is sent


class LogHoursIn(serializers.Serializer[Any]):
    """How long somebody worked: `member`, or a helper's `name`."""

    member = IdField("member", _member, required=False, allow_null=True, default=None)
    name = serializers.CharField(required=False, allow_blank=True, default="", max_length=MOST_NAME)
    minutes = serializers.IntegerField(min_value=1, max_value=MOST_MINUTES)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """One of the two."""
        if (attrs["member"] is None) == (not attrs["name"].strip()):
            raise serializers.ValidationError({"name": ["Give member, or the name of a helper: one of the two."]})
        return attrs


class LogEntryPatch(serializers.Serializer[Any]):
    """What may be changed of an entry that nobody has signed. `hours` are all of them."""

    on = serializers.DateField(required=False)
    text = serializers.CharField(required=False, max_length=MOST_TEXT)
    hours = serializers.ListField(child=LogHoursIn(), required=False, max_length=MOST_PEOPLE)


class LogEntryIn(serializers.Serializer[Any]):
    """An entry to be written. What its step took is in the ledger."""

    project = serializers.CharField(max_length=MOST_CODE)
    step = serializers.CharField(required=False, allow_null=True, default=None, max_length=MOST_CODE)
    on = serializers.DateField()
    text = serializers.CharField(max_length=MOST_TEXT)
    hours = serializers.ListField(child=LogHoursIn(), required=False, max_length=MOST_PEOPLE)
    key = serializers.UUIDField(required=False, help_text="of the sender's own: sent again it writes no second entry")


class LogSignIn(serializers.Serializer[Any]):
    """That the caller has seen an entry. `name` is for an owner who writes down who looked at it."""

    statement = serializers.CharField(required=False, default=STATEMENT, max_length=MOST_STATEMENT)
    licence = serializers.CharField(required=False, allow_blank=True, default="", max_length=MOST_LICENCE)
    name = serializers.CharField(required=False, allow_blank=True, default="", max_length=MOST_NAME)
    key = serializers.UUIDField(required=False)


class LogWhyIn(serializers.Serializer[Any]):
    """The reason for striking an entry out, or for withdrawing a signature."""

    why = serializers.CharField(max_length=MOST_WHY)


def as_object(row: EntryRow) -> dict[str, Any]:
    """An entry as programs read it."""
    return {
        **{name: getattr(row, name) for name in ("id", "project", "section", "on", "text", "minutes", "by", "at")},
        "step": row.step or None,
        "hours": [{"member": one.member_id, "name": one.who, "minutes": one.minutes} for one in row.hours],
        "took": [_took(one) for one in row.took],
        "photos": [photo.id for photo in row.photos],
        "signatures": [_signature(one) for one in row.signatures],
        "struck": (row.struck_why or "") if row.struck_at else None,
    }


def _took(row: Took) -> dict[str, Any]:
    lots = [_lot(lot) for lot in row.lots]
    return {"item": row.item, "quantity": plain(row.quantity), "unit": row.unit, "on": row.on, "mixed_at": row.batch, "lots": lots}


def _lot(row: LotUsed) -> dict[str, Any]:
    said = {"lot": row.id, "code": row.code, "made": row.made or None, "expires": row.expires or None}
    return {**said, "opened": row.opened, "certificate": row.certificate}


def _signature(row: SignatureRow) -> dict[str, Any]:
    names = ("id", "name", "role", "licence", "statement", "at", "withdrawn_at", "withdrawn_why", "changed")
    return {name: getattr(row, name) for name in names}


def _step(given: Mapping[str, Any]) -> tuple[Project, Step | None]:
    """The project, and the step where one is named; 404 for what isn't of this workshop."""
    project = Project.objects.select_related("bench__workshop").filter(code__iexact=given["project"]).first()
    if project is None:
        raise NotHere(f"there is no project {given['project']} here")
    if given["step"] is None:
        return project, None
    step = Step.objects.filter(project=project, code__iexact=given["step"]).first()
    if step is None:
        raise NotHere(f"there is no step {given['step']} of {project.code} here")
    return project, step


def _worked(given: Sequence[Mapping[str, Any]]) -> list[Worked]:
    return [Worked(one["minutes"], one["member"], one["name"]) for one in given]


SIGNED = {
    "id": 3,
    "name": "Amos Reed",
    "role": "inspector",
    "licence": "A-1234",
    "statement": STATEMENT,
    "at": "2027-03-07T09:30:00Z",
    "withdrawn_at": None,
    "withdrawn_why": "",
    "changed": [],
}
ENTRY = {
    "id": 17,
    "project": "TERN-1",
    "section": "Floats",
    "step": "F3-05",
    "on": "2027-03-06",
    "text": "Sealed and riveted the right bottom seams.",
    "hours": [{"member": 4, "name": "Wren of Tern", "minutes": 240}, {"member": None, "name": "Jon, a guest", "minutes": 90}],
    "minutes": 330,
    "took": [
        {
            "item": "MS20470AD4-6",
            "quantity": "118",
            "unit": "ea",
            "on": "2027-03-06",
            "mixed_at": None,
            "lots": [{"lot": 41, "code": "R7", "made": None, "expires": None, "opened": None, "certificate": ""}],
        }
    ],
    "photos": [12],
    "signatures": [],
    "by": "Wren of Tern",
    "at": "2027-03-06T17:10:00Z",
    "struck": None,
}
_ENTRY = {
    **{name: ENTRY[name] for name in ("project", "step", "on", "text")},
    "hours": [{"member": 4, "minutes": 240}, {"name": "Jon, a guest", "minutes": 90}],
}


@extend_schema_view(
    list=extend_schema(summary="List the builder's log, the first written first", examples=[shown_as(ENTRY)]),
    retrieve=extend_schema(summary="Read an entry of the log", examples=[shown_as(ENTRY)]),
    create=extend_schema(
        summary="Write an entry into the log",
        request=LogEntryIn,
        responses={201: LogEntryOut, **problems(404, 409)},
        examples=[sent_as(_ENTRY), shown_as(ENTRY)],
    ),
    partial_update=extend_schema(
        summary="Correct an entry of the log",
        request=LogEntryPatch,
        responses={200: LogEntryOut, **problems(404, 409)},
        examples=[sent_as({"text": "Sealed the right bottom seams."}), shown_as({**ENTRY, "text": "Sealed the right bottom seams."})],
    ),
)
@extend_schema(tags=["log"])
class LogViews(TaggedRows, ListModelMixin, GenericViewSet[LogEntry]):
    """The builder's log. An entry that is signed changes no more; a mistaken one is struck out and stays."""

    queryset = LogEntry.objects.none()
    serializer_class = LogEntryOut
    patch_serializer_class = LogEntryPatch
    filterset_class = LogFilter
    ordering: ClassVar = ("pk",)

    def get_queryset(self) -> QuerySet[LogEntry]:
        """All of the workshop. One query."""
        return LogEntry.objects.select_related("project__bench__workshop")

    def list(self, request: Request) -> Response:
        """A page of it, with hours, lots, photos and signatures of all its entries in a fixed number of queries."""
        del request
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response([as_object(row) for row in queries.rows(page or [])])

    def row(self, pk: int) -> LogEntry:
        """One of the workshop."""
        return get_object_or_404(self.get_queryset(), pk=pk)

    def shown(self, pk: int) -> dict[str, Any]:
        """As a reader is given it."""
        row = queries.entry(self.row(pk).pk)
        return LogEntryOut(as_object(row)).data if row else {}

    @once
    def create(self, request: Request) -> Response:
        """Write down what was done on a day, of a step or of the project."""
        asked = LogEntryIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        project, step = _step(given)
        made = services.write_entry(
            project=project,
            step=step,
            on=given["on"],
            text=given["text"],
            hours=_worked(given.get("hours", ())),
            key=given.get("key") or uuid4(),
            by=caller(request),
            today=timezone.localdate(),
        )
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-log-entry", args=[made.pk]))

    def change(self, row: LogEntry, data: dict[str, Any]) -> None:
        """Only what is given."""
        kept = [Worked(one.minutes, one.member, one.name) for one in row.hours.select_related("member").order_by("pk")]
        services.change_entry(
            entry=row,
            on=data.get("on", row.on),
            text=data.get("text", row.text),
            hours=_worked(data["hours"]) if "hours" in data else kept,
            by=caller(self.request),
            today=timezone.localdate(),
        )

    @extend_schema(
        operation_id="log_sign",
        summary="Sign an entry of the log as seen",
        request=LogSignIn,
        responses={201: LogEntryOut, **problems(404, 409)},
        examples=[sent_as({"licence": "A-1234"}), shown_as({**ENTRY, "signatures": [SIGNED]})],
    )
    @once
    def sign(self, request: Request, pk: int) -> Response:
        """Say that one has seen it: an inspector, or an owner where nobody is inspector. It approves nothing."""
        row = self.row(pk)
        asked = LogSignIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {**asked.validated_data, "key": asked.validated_data.get("key") or uuid4()}
        services.sign(of=row, **given, by=caller(request), now=timezone.now())
        return tagged(self.shown(pk), status=201, Location=reverse("api-log-entry", args=[pk]))

    @extend_schema(
        operation_id="log_strike",
        summary="Strike an entry of the log out",
        request=LogWhyIn,
        responses={200: LogEntryOut, **problems(404, 409)},
        examples=[sent_as({"why": "of the other float"}), shown_as({**ENTRY, "minutes": 0, "struck": "of the other float"})],
    )
    @once
    def strike(self, request: Request, pk: int) -> Response:
        """It stays, and its hours count no more."""
        row = self.row(pk)
        asked = LogWhyIn(data=request.data)
        asked.is_valid(raise_exception=True)
        services.strike_entry(entry=row, **asked.validated_data, by=caller(request), now=timezone.now())
        return tagged(self.shown(pk))


@extend_schema(tags=["log"])
class SignatureViews(GenericViewSet[Signature]):
    """Signatures of the log."""

    queryset = Signature.objects.none()
    serializer_class = LogSignatureOut

    @extend_schema(
        operation_id="log_withdraw",
        summary="Withdraw a signature",
        request=LogWhyIn,
        responses={200: LogSignatureOut, **problems(404, 409)},
        examples=[
            sent_as({"why": "wrong float"}),
            shown_as({**SIGNED, "withdrawn_at": "2027-03-08T08:00:00Z", "withdrawn_why": "wrong float"}),
        ],
    )
    @once
    def withdraw(self, request: Request, pk: int) -> Response:
        """It stays on record, with the reason. Whoever signed withdraws it."""
        row = get_object_or_404(Signature.objects.select_related("by"), pk=pk)
        asked = LogWhyIn(data=request.data)
        asked.is_valid(raise_exception=True)
        services.withdraw(signature=row, **asked.validated_data, by=caller(request), now=timezone.now())
        return Response(LogSignatureOut(_signature(queries.signature(pk))).data)


urlpatterns = [
    path("log", LogViews.as_view({"get": "list", "post": "create"}), name="api-log"),
    path("log/<int:pk>", LogViews.as_view({"get": "retrieve", "patch": "partial_update"}), name="api-log-entry"),
    path("log/<int:pk>/sign", LogViews.as_view({"post": "sign"}), name="api-log-sign"),
    path("log/<int:pk>/strike", LogViews.as_view({"post": "strike"}), name="api-log-strike"),
    path("log/signatures/<int:pk>/withdraw", SignatureViews.as_view({"post": "withdraw"}), name="api-log-withdraw"),
]
