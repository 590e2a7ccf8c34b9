"""Scans for programs: sent by the batch, listed, settled, undone."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.common.api_fields import QuantityIn
from inventory.common.documents import MEDIA_TYPE, ProblemOut, document
from inventory.common.problems import Problem
from inventory.scanning import services
from inventory.scanning.acting import ACTIONS
from inventory.scanning.models import Scan
from inventory.scanning.scan_filters import ScanFilter
from inventory.scanning.services import Answer, ScanData
from inventory.workshop.idempotency import once
from inventory.workshop.models import Device
from inventory.workshop.request import caller

MOST_SCANS = 200
MOST_CODE = 4000
MOST_PLACE = 500
MOST_NOTE = 200
MULTI_STATUS = 207
TOO_LARGE = 413
UNREADABLE = 422


@extend_schema_field({"type": "string", "format": "date-time", "example": "2027-02-20T09:12:00Z"})
class InstantIn(serializers.DateTimeField):
    """An instant. One without a zone could be any of a day's: it is refused, not guessed."""

    default_error_messages = {"naive": "Say the zone too: 2027-02-20T09:12:00Z, or with +01:00 at its end."}

    def enforce_timezone(self, value: datetime) -> datetime:
        """Refuse where DRF would take the server's zone."""
        if value.tzinfo is None:
            self.fail("naive")
        return super().enforce_timezone(value)


class ScanIn(serializers.Serializer[Any]):
    """One scan, as the scanner made it."""

    uuid = serializers.UUIDField(help_text="new for each scan; sent again, it gets the first answer and moves nothing")
    code = serializers.CharField(
        max_length=MOST_CODE,
        trim_whitespace=False,  # separators at its ends belong to a code
        help_text="the code as it was read, separators as \\u001d; or one of our labels, or its address",
    )
    action = serializers.ChoiceField(choices=ACTIONS)
    at = InstantIn(help_text="when it was scanned, by the device's clock")
    device_time = InstantIn(help_text="the device's clock when it sends this: by it a wrong clock is corrected, up to a day")
    place = serializers.CharField(
        required=False, allow_blank=True, max_length=MOST_PLACE, help_text="a place's path, or its label or the label's address"
    )
    bag = serializers.CharField(
        required=False, allow_blank=True, max_length=MOST_PLACE, help_text="CRATE/bag/path, or its label or the label's address"
    )
    lot = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        max_value=2**63 - 1,
        help_text="a lot's id, where an answer listed several to choose from",
    )
    quantity = QuantityIn(
        required=False, allow_null=True, help_text="count: what is there. take, tally, lend: 1 unless given. put, return: all of it"
    )
    note = serializers.CharField(required=False, allow_blank=True, max_length=MOST_NOTE)


class ScansIn(serializers.Serializer[Any]):
    """A batch of scans. They are acted on in this order."""

    scans = serializers.ListField(child=ScanIn(), min_length=1, max_length=MOST_SCANS)


class LiesOut(serializers.Serializer[Any]):
    """What lies where; a choice is one of these, or names a bag."""

    lot = serializers.IntegerField(required=False)
    lot_code = serializers.CharField(required=False, allow_null=True)
    item = serializers.CharField(required=False)
    place = serializers.CharField(required=False)
    bag = serializers.CharField(required=False)
    quantity = serializers.CharField(required=False)
    unit = serializers.CharField(required=False)
    state = serializers.CharField(required=False)
    last_usable_day = serializers.DateField(required=False, allow_null=True)


class TeachOut(serializers.Serializer[Any]):
    """The request that teaches an unknown code, once `item` is filled in."""

    method = serializers.CharField()
    href = serializers.CharField()
    body = serializers.DictField(allow_empty=True)


class NearOut(serializers.Serializer[Any]):
    """A code of the catalogue that is written alike."""

    code = serializers.CharField()
    item = serializers.CharField()


class ScanResultOut(serializers.Serializer[Any]):
    """What became of one scan. Done: what happened. Else a problem document (type, title, detail) with what helps."""

    uuid = serializers.UUIDField()
    status = serializers.IntegerField(help_text="200, or the status that a request of this scan alone would have got")
    outcome = serializers.ChoiceField(choices=Scan.Outcome.choices)
    action = serializers.CharField(required=False)
    text = serializers.CharField(required=False, help_text="what happened, in one sentence")
    item = serializers.CharField(required=False)
    name = serializers.CharField(required=False)
    lot = serializers.IntegerField(required=False, allow_null=True)
    lot_code = serializers.CharField(required=False, allow_null=True)
    quantity = serializers.CharField(required=False, allow_null=True)
    unit = serializers.CharField(required=False)
    place = serializers.CharField(required=False, allow_null=True)
    holds = serializers.CharField(required=False, help_text="what the place holds of the lot now")
    bag = serializers.CharField(required=False)
    movements = serializers.ListField(child=serializers.IntegerField(), required=False)
    tally = serializers.IntegerField(required=False, allow_null=True)
    loan = serializers.IntegerField(required=False, help_text="what was lent, or the oldest loan that was taken in")
    due_on = serializers.DateField(required=False, allow_null=True, help_text="the day to bring it back")
    lies = LiesOut(many=True, required=False)
    last_usable_day = serializers.DateField(required=False, allow_null=True)
    type = serializers.CharField(required=False)
    title = serializers.CharField(required=False)
    detail = serializers.CharField(required=False)
    choices = LiesOut(many=True, required=False)
    lift = serializers.CharField(required=False, help_text="what would allow it")
    teach = TeachOut(required=False)
    near = serializers.ListField(child=serializers.JSONField(), required=False)
    problems = serializers.ListField(child=serializers.CharField(), required=False)


class ResultsOut(serializers.Serializer[Any]):
    """An answer for each scan, in the order they were sent."""

    results = ScanResultOut(many=True)


class ScanOut(serializers.ModelSerializer[Scan]):
    """A scan that was received, with the answer that it got. `asked` is what else was sent."""

    member = serializers.CharField(source="member.name")
    device = serializers.CharField(source="device.name", default=None, allow_null=True)
    asked = serializers.DictField()
    answer = serializers.DictField()
    settled_by = serializers.CharField(source="settled_by.name", default=None, allow_null=True)
    undone_by = serializers.CharField(source="undone_by.name", default=None, allow_null=True)

    class Meta:
        model = Scan
        fields: tuple[str, ...] = (
            *("id", "uuid", "code", "action", "at", "received_at", "member", "device", "asked", "outcome", "status", "answer"),
            *("settled_at", "settled_by", "undone_at", "undone_by"),
        )


class SettleIn(serializers.Serializer[Any]):
    """What to do with a conflict."""

    apply = serializers.BooleanField(help_text="true: do it now after all; false: let it go")


_UUID = "0b7d1f1e-5a52-4a38-9a0e-3f6d2a1c9b77"
SENT = OpenApiExample(
    "two scans",
    request_only=True,
    value={
        "scans": [
            {
                "uuid": _UUID,
                "code": "AN470AD4-6",
                "action": "tally",
                "at": "2027-02-20T09:12:00Z",
                "device_time": "2027-02-20T09:12:05Z",
                "bag": "CRATE-7/7A",
                "quantity": "3",
            },
            {
                "uuid": "5c1de3a4-7f10-4a55-8d0c-0d7d6a1f2b01",
                "code": "]C1010012345678905",
                "action": "find",
                "at": "2027-02-20T09:12:03Z",
                "device_time": "2027-02-20T09:12:05Z",
            },
        ]
    },
)
ANSWERED = OpenApiExample(
    "one done, one unknown",
    response_only=True,
    status_codes=["207"],
    value={
        "results": [
            {
                "uuid": _UUID,
                "status": 200,
                "outcome": "done",
                "action": "tally",
                "text": "3 ea of AN470AD4-6 counted in CRATE-7/7A",
                "item": "AN470AD4-6",
                "name": "Rivet, universal head, 1/8 x 3/8",
                "quantity": "3",
                "unit": "ea",
                "lot_code": None,
                "bag": "CRATE-7/7A",
                "movements": [],
                "tally": 41,
            },
            {
                "uuid": "5c1de3a4-7f10-4a55-8d0c-0d7d6a1f2b01",
                "status": 422,
                "outcome": "unknown",
                "type": "urn:rivetloft:problem:unknown-code",
                "title": "This code is not known here",
                "detail": "nothing here has this code: choose the item that it is of, and teach it; the next scan then knows it",
                "code": "]C1010012345678905",
                "teach": {"method": "POST", "href": "/api/v1/identifiers", "body": {"item": None, "text": "00012345678905"}},
                "near": [],
            },
        ]
    },
)


class ScansView(ListAPIView[Scan]):
    """Scans."""

    queryset = Scan.objects.none()
    serializer_class = ScanOut
    filterset_class = ScanFilter
    ordering = ("-received_at", "-at", "-pk")  # rows of one batch stand in the order of their uuids
    scopes: ClassVar = {"POST": "scan"}

    def get_queryset(self) -> QuerySet[Scan]:
        """With who sent, settled and undid each. One query."""
        return Scan.objects.select_related("member", "device", "settled_by", "undone_by")

    @extend_schema(operation_id="scans_list", summary="List scans, the latest first", responses={200: ScanOut(many=True)}, tags=["scans"])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Every scan that was acted on, with its answer; `?outcome=conflict` are those that wait for a person."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="scans_send",
        summary="Send scans",
        tags=["scans"],
        request=ScansIn,
        responses={207: ResultsOut, **{(status, MEDIA_TYPE): ProblemOut for status in (TOO_LARGE, UNREADABLE)}},
        examples=[SENT, ANSWERED],
    )
    def post(self, request: Request) -> Response:
        """Act on up to 200 scans, each by itself: a bad one doesn't spoil the others. A result for each, in order.

        Send as often as you like until an answer comes: the same uuid acts once and gets its first answer. A body that doesn't read
        is refused as a whole, and nothing of it is done.
        """
        asked = _asked(request.data)
        device = request.auth if isinstance(request.auth, Device) else None
        answers = services.act(scans=asked, by=caller(request), device=device, now=timezone.now())
        return Response({"results": [_result(answer) for answer in answers]}, status=MULTI_STATUS)

    def handle_exception(self, exc: Exception) -> Response:
        """A body that doesn't read is answered with every fault by its name, such as `scans[3].quantity`."""
        if not isinstance(exc, UnreadableScans):
            return super().handle_exception(exc)
        body = document(exc.status, exc.title, str(exc), **({"errors": exc.errors} if exc.errors else {}))
        return Response(body, status=exc.status, content_type=MEDIA_TYPE)


class ScanView(APIView):
    """One scan."""

    @extend_schema(operation_id="scan_read", summary="Read a scan", responses={200: ScanOut}, tags=["scans"])
    def get(self, request: Request, uuid: UUID) -> Response:
        """What was sent, and what it was answered."""
        del request
        return Response(ScanOut(_one(uuid)).data)


class UndoView(APIView):
    """Taking a scan back."""

    scopes: ClassVar = {"POST": "scan"}

    @extend_schema(
        operation_id="scan_undo",
        summary="Undo a scan",
        request=None,
        responses={200: ScanOut, (409, MEDIA_TYPE): ProblemOut},
        tags=["scans"],
    )
    @once
    def post(self, request: Request, uuid: UUID) -> Response:
        """Reverse its movements, take its tally back: once."""
        services.undo(scan=_one(uuid), by=caller(request), now=timezone.now())
        return Response(ScanOut(_one(uuid)).data)


class SettleView(APIView):
    """Settling a conflict."""

    scopes: ClassVar = {"POST": "scan"}

    @extend_schema(
        operation_id="scan_settle",
        summary="Settle a conflict",
        request=SettleIn,
        responses={200: ScanOut, (409, MEDIA_TYPE): ProblemOut},
        tags=["scans"],
    )
    @once
    def post(self, request: Request, uuid: UUID) -> Response:
        """Do now what it was about, or let it go."""
        found = _one(uuid)
        asked = SettleIn(data=request.data)
        asked.is_valid(raise_exception=True)
        settle = services.apply if asked.validated_data["apply"] else services.let_go
        settle(scan=found, by=caller(request), now=timezone.now())
        return Response(ScanOut(_one(uuid)).data)


class UnreadableScans(Problem):
    """A batch that doesn't read: nothing of it was done. `errors` names each fault."""

    status = UNREADABLE
    title = "These scans don't read"

    def __init__(self, text: str, errors: dict[str, list[str]] | None = None) -> None:
        """Say `text`."""
        super().__init__(text)
        self.errors = errors or {}


class TooManyScans(UnreadableScans):
    """More than one request may bring."""

    status = TOO_LARGE
    title = "Too many scans at once"


def _asked(data: Any) -> list[ScanData]:
    """The scans of a body. Refuses it as a whole where any part of it doesn't read."""
    if not isinstance(data, dict):
        what = "a list" if isinstance(data, list) else "none"
        raise UnreadableScans(f'the body must be an object, and this is {what}: send {{"scans": [...]}}. Nothing was done.')
    scans = data.get("scans")
    if isinstance(scans, list) and len(scans) > MOST_SCANS:
        raise TooManyScans(f"these are {len(scans)} scans: {MOST_SCANS} at once are the most, send them in parts. Nothing was done")
    read = ScansIn(data=data)
    if not read.is_valid():
        faults = dict(_faults("", read.errors))
        first = next((f"{name}: {texts[0]}" for name, texts in faults.items()), "")
        raise UnreadableScans(f"{first} Nothing was done.".strip(), faults)
    return [ScanData(**given) for given in read.validated_data["scans"]]


def _faults(name: str, errors: Any) -> Iterator[tuple[str, list[str]]]:
    """Faults by the name of what they are of: `scans[3].quantity`."""
    if isinstance(errors, dict):
        for key, inner in errors.items():
            yield from _faults(f"{name}[{key}]" if isinstance(key, int) else f"{name}.{key}".lstrip("."), inner)
    elif errors:
        yield name.removesuffix("non_field_errors").rstrip("."), [str(error) for error in errors]


def _result(answer: Answer) -> dict[str, Any]:
    return {"uuid": str(answer.uuid), "status": answer.status, "outcome": answer.outcome, **answer.body}


def _one(uuid: UUID) -> Scan:
    found = Scan.objects.select_related("member", "device", "settled_by", "undone_by").filter(uuid=uuid).first()
    if found is None:
        raise Http404
    return found
