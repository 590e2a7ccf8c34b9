"""Senders, their claim clocks, and claims from the draft to the answer, for programs."""

import json
from collections.abc import Mapping
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema, extend_schema_field, extend_schema_view
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.mixins import ListModelMixin
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from inventory.claims import calc, pdf, queries, services
from inventory.claims.filters import ClaimFilter, RuleFilter, SenderFilter
from inventory.claims.models import Claim, ClaimLine, ClaimRule, ClaimState, Fault
from inventory.common.api_fields import CodeField, DecimalOut, QuantityIn
from inventory.common.etags import TaggedRows, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.receiving.api import crate_field
from inventory.receiving.models import Crate, Sender
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

MOST_LINES = 5000
MOST_ID = 2**63 - 1


# Senders


class SenderOut(serializers.Serializer[Sender]):
    """Who sends crates."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    address = serializers.CharField(help_text="lines as on a letter")
    email = serializers.CharField()


class SenderPatch(serializers.Serializer[Sender]):
    """What may be changed of a sender."""

    name = serializers.CharField(max_length=services.MOST_NAME)
    address = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_ADDRESS)
    email = serializers.EmailField(required=False, allow_blank=True, max_length=services.MOST_EMAIL)


SENDER = {"id": 4, "name": "Kestrel Kits", "address": "3 Mill Lane\nOld Fen", "email": "claims@kestrel.example"}
_SENDER = {name: SENDER[name] for name in ("name", "address", "email")}


@extend_schema_view(
    list=extend_schema(summary="List senders", examples=[shown_as(SENDER)]),
    retrieve=extend_schema(summary="Read a sender", examples=[shown_as(SENDER)]),
    create=extend_schema(
        summary="Make a sender", request=SenderPatch, responses={201: SenderOut}, examples=[sent_as(_SENDER), shown_as(SENDER)]
    ),
    partial_update=extend_schema(
        summary="Change a sender",
        request=SenderPatch,
        responses={200: SenderOut},
        examples=[sent_as({"email": "claims@kestrel.example"}), shown_as(SENDER)],
    ),
    destroy=extend_schema(summary="Remove a sender", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["claims"])
class SenderViews(TaggedRows, ListModelMixin, GenericViewSet[Sender]):
    """Who sends crates."""

    queryset = Sender.objects.none()
    serializer_class = SenderOut
    patch_serializer_class = SenderPatch
    filterset_class = SenderFilter

    def get_queryset(self) -> QuerySet[Sender]:
        """All of the workshop. One query."""
        return Sender.objects.all()

    @once
    def create(self, request: Request) -> Response:
        """Make a sender. No claim clock of it is known until it is set."""
        asked = SenderPatch(data=request.data)
        asked.is_valid(raise_exception=True)
        made = services.save_sender(**asked.validated_data, by=caller(request))
        return tagged(self.shown(made.pk), status=201, Location=reverse("api-sender", args=[made.pk]))

    def change(self, row: Sender, data: dict[str, Any]) -> None:
        """Only what is given."""
        kept = {"name": row.name, "address": row.address, "email": row.email}
        services.save_sender(sender=row, **{**kept, **data}, by=caller(self.request))

    def remove(self, row: Sender) -> None:
        """Only where no crate names it."""
        services.remove_sender(sender=row, by=caller(self.request))


# Claim clocks


class RuleOut(serializers.Serializer[ClaimRule]):
    """A claim clock of a sender: how many days after a crate's arrival a fault can be claimed."""

    id = serializers.IntegerField()
    sender = serializers.CharField(source="sender.name")
    sender_id = serializers.IntegerField()
    fault = serializers.ChoiceField(Fault.choices)
    days = serializers.IntegerField()
    against = serializers.CharField(help_text="whom to claim from: sender, carrier (whoever carried the crate), or a name")
    source = serializers.CharField(help_text="where this is written")  # type: ignore[assignment] # a declared field


class RulePatch(serializers.Serializer[ClaimRule]):
    """What may be changed of a claim clock."""

    days = serializers.IntegerField(min_value=0, max_value=services.MOST_DAYS, help_text="days after arrival")
    against = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_NAME)
    source = serializers.CharField(  # type: ignore[assignment] # a declared field; the class keeps its own `source`
        required=False, allow_blank=True, max_length=services.MOST_SOURCE
    )


class RuleIn(RulePatch):
    """A claim clock to be set."""

    sender = CodeField("sender", lambda text: Sender.objects.filter(name__iexact=text).first(), max_length=services.MOST_NAME)
    fault = serializers.ChoiceField(Fault.choices)


RULE = {
    "id": 9,
    "sender": "Kestrel Kits",
    "sender_id": 4,
    "fault": "concealed",
    "days": 7,
    "against": "carrier",
    "source": "terms of carriage, 12",
}
_RULE = {name: RULE[name] for name in ("sender", "fault", "days", "against", "source")}


@extend_schema_view(
    list=extend_schema(summary="List claim rules", examples=[shown_as(RULE)]),
    retrieve=extend_schema(summary="Read a claim rule", examples=[shown_as(RULE)]),
    create=extend_schema(
        summary="Set a claim rule",
        request=RuleIn,
        responses={200: RuleOut, 201: RuleOut, **problems(404)},
        examples=[sent_as(_RULE), shown_as(RULE)],
    ),
    partial_update=extend_schema(
        summary="Change a claim rule",
        request=RulePatch,
        responses={200: RuleOut},
        examples=[sent_as({"days": 10}), shown_as({**RULE, "days": 10})],
    ),
    destroy=extend_schema(summary="Remove a claim rule", responses={204: None}),
)
@extend_schema(tags=["claims"])
class RuleViews(TaggedRows, ListModelMixin, GenericViewSet[ClaimRule]):
    """Claim clocks as rules of senders. None is there unless somebody set it."""

    queryset = ClaimRule.objects.none()
    serializer_class = RuleOut
    patch_serializer_class = RulePatch
    filterset_class = RuleFilter

    def get_queryset(self) -> QuerySet[ClaimRule]:
        """With their senders. One query."""
        return ClaimRule.objects.select_related("sender")

    @once
    def create(self, request: Request) -> Response:
        """Set the clock of a sender for one fault. Where there is one, it is changed and the answer is 200."""
        asked = RuleIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        known = ClaimRule.objects.filter(sender=given["sender"], fault=given["fault"]).exists()
        rule = services.save_rule(**given, by=caller(request))
        return tagged(self.shown(rule.pk), status=200 if known else 201, Location=reverse("api-claim-rule", args=[rule.pk]))

    def change(self, row: ClaimRule, data: dict[str, Any]) -> None:
        """Only what is given."""
        kept = {"days": row.days, "against": row.against, "source": row.source}
        services.save_rule(sender=row.sender, fault=row.fault, **{**kept, **data}, by=caller(self.request))

    def remove(self, row: ClaimRule) -> None:
        """It isn't known any more."""
        services.remove_rule(rule=row, by=caller(self.request))


class ClockOut(serializers.Serializer[queries.Clock]):
    """A claim clock that runs. `last_day` is null where no clock is known: set it; `fault` where nothing differs and none is known."""

    crate = serializers.CharField()
    crate_id = serializers.IntegerField()
    fault = serializers.ChoiceField(Fault.choices, allow_null=True)
    against = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment] # likewise
    last_day = serializers.DateField(allow_null=True)
    days_left = serializers.IntegerField(allow_null=True, help_text="0 on the last day, negative once it has lapsed")
    open = serializers.IntegerField(help_text="differences that no sent claim covers")
    drafts = serializers.IntegerField(help_text="drafts to be sent")


class ClocksOut(serializers.Serializer[Any]):
    """The clocks that matter, soonest first, unknown ones last."""

    today = serializers.DateField()
    clocks = ClockOut(many=True)


CLOCK = {
    "crate": "CRATE-7",
    "crate_id": 3,
    "fault": "concealed",
    "against": "Fenland Freight",
    "source": "terms of carriage, 12",
    "last_day": "2027-02-27",
    "days_left": 3,
    "open": 2,
    "drafts": 1,
}


class ClocksView(APIView):
    """Until when what can be claimed."""

    @extend_schema(
        operation_id="claim_clocks",
        summary="List claim clocks",
        tags=["claims"],
        responses={200: ClocksOut},
        examples=[shown_as({"today": "2027-02-24", "clocks": [CLOCK]})],
    )
    def get(self, request: Request) -> Response:
        """List the claim clocks that still matter, soonest first."""
        del request
        today = timezone.localdate()
        return Response(ClocksOut({"today": today, "clocks": queries.clocks(today)}).data)


# Claims


class ClaimableOut(serializers.Serializer[queries.Claimable]):
    """A difference that can be claimed. Quantities are in `unit`; `left` is what no claim covers."""

    line = serializers.IntegerField(source="line_id", allow_null=True, help_text="null: not on the list")
    item = serializers.CharField()
    item_id = serializers.IntegerField()
    unit = serializers.CharField()
    bag = serializers.CharField()
    fault = serializers.ChoiceField(Fault.choices)
    listed = DecimalOut()
    good = DecimalOut()
    damaged = DecimalOut()
    wrong = DecimalOut()
    quantity = DecimalOut()
    claimed = DecimalOut()
    left = DecimalOut()


CLAIMABLE = {
    "line": 512,
    "item": "AN470AD4-6",
    "item_id": 12,
    "unit": "ea",
    "bag": "12/12A",
    "fault": "shortage",
    "listed": "240",
    "good": "200",
    "damaged": "3",
    "wrong": "0",
    "quantity": "37",
    "claimed": "0",
    "left": "37",
}


class ClaimableView(APIView):
    """What of a crate can be claimed."""

    @extend_schema(
        operation_id="crates_claimable",
        summary="List what can be claimed",
        tags=["claims"],
        responses={200: ClaimableOut(many=True)},
        examples=[shown_as([CLAIMABLE])],
    )
    def get(self, request: Request, pk: int) -> Response:
        """List what was found short, damaged or wrong in a crate, claimed already or not."""
        del request
        crate = get_object_or_404(Crate.objects.all(), pk=pk)
        return Response(ClaimableOut(queries.claimable(crate), many=True).data)  # type: ignore[arg-type] # many of them


class ClaimLineOut(serializers.Serializer[ClaimLine]):
    """How much of one thing is claimed."""

    id = serializers.IntegerField()
    line = serializers.IntegerField(source="line_id", allow_null=True, help_text="the packing line; null: not on the list")
    item = serializers.CharField(source="item.code", allow_null=True, default=None)
    quantity = DecimalOut()
    unit = serializers.CharField(source="item.unit", allow_null=True, default=None)
    note = serializers.CharField()
    replacement = serializers.IntegerField(source="replacement_id", allow_null=True, help_text="the packing line that is promised for it")


class ClaimOut(serializers.Serializer[Claim]):
    """What is claimed from one addressee for one fault of a crate."""

    id = serializers.IntegerField()
    crate = serializers.CharField(source="crate.code")
    crate_id = serializers.IntegerField()
    fault = serializers.ChoiceField(Fault.choices)
    against = serializers.CharField()
    state = serializers.ChoiceField(ClaimState.choices)
    due_on = serializers.SerializerMethodField(help_text="the last day to claim; null where no clock is known")
    made_on = serializers.DateField()
    sent_on = serializers.DateField(allow_null=True)
    answered_on = serializers.DateField(allow_null=True)
    answer = serializers.CharField()
    lines = ClaimLineOut(many=True)

    @extend_schema_field({"type": ["string", "null"], "format": "date"})
    def get_due_on(self, claim: Claim) -> str | None:
        """A draft's runs by the clock as it is now."""
        due = queries.due_on(claim)
        return None if due is None else str(due)


class ChosenIn(serializers.Serializer[Any]):
    """How much of one difference to claim: of a packing line, or of an item that isn't on the list."""

    line = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=MOST_ID)
    item = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=MOST_ID, help_text="where there is no line")
    fault = serializers.ChoiceField(Fault.choices)
    quantity = QuantityIn()
    note = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_NOTE)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """One of the two must be there."""
        if not attrs.get("line") and not attrs.get("item"):
            raise serializers.ValidationError({"line": ["Name a packing line, or an item that isn't on the list."]})
        return attrs


class ClaimsIn(serializers.Serializer[Any]):
    """Claims to be drafted. Without `lines`, all that no claim covers."""

    crate = crate_field()
    lines = ChosenIn(many=True, required=False, max_length=MOST_LINES)  # type: ignore[call-arg] # of the list


class ClaimsOut(serializers.Serializer[Any]):
    """The claims that were drafted, one for each fault."""

    claims = ClaimOut(many=True)


class LinePatch(serializers.Serializer[Any]):
    """How much of a line of the draft to claim; 0 leaves it out."""

    id = serializers.IntegerField(min_value=1, max_value=MOST_ID)
    quantity = QuantityIn()


class ClaimPatch(serializers.Serializer[Any]):
    """What may be changed of a draft."""

    against = serializers.CharField(required=False, max_length=services.MOST_NAME)
    lines = LinePatch(many=True, required=False, max_length=MOST_LINES)  # type: ignore[call-arg] # of the list


class SendIn(serializers.Serializer[Any]):
    """The day on which a claim was sent."""

    on = serializers.DateField(required=False, help_text="today unless said otherwise")

    def validate_on(self, on: Any) -> Any:
        """It has been sent."""
        if on > timezone.localdate():
            raise serializers.ValidationError("This day is still to come.")
        return on


class AnswerIn(SendIn):
    """What a claim was answered."""

    state = serializers.ChoiceField([(state.value, state.label) for state in services.ANSWERS])
    answer = serializers.CharField(required=False, allow_blank=True, max_length=services.MOST_ANSWER)
    replacement_due = serializers.DateField(required=False, allow_null=True, help_text="only for replaced: when it is due")


CLAIM = {
    "id": 21,
    "crate": "CRATE-7",
    "crate_id": 3,
    "fault": "shortage",
    "against": "Kestrel Kits",
    "state": "draft",
    "due_on": "2027-03-02",
    "made_on": "2027-02-21",
    "sent_on": None,
    "answered_on": None,
    "answer": "",
    "lines": [{"id": 77, "line": 512, "item": "AN470AD4-6", "quantity": "37", "unit": "ea", "note": "", "replacement": None}],
}
_SENT = {**CLAIM, "state": "sent", "sent_on": "2027-02-22"}
_ANSWERED = {**_SENT, "state": "replaced", "answered_on": "2027-02-25", "answer": "sent with the next crate"}


@extend_schema_view(
    list=extend_schema(summary="List claims", examples=[shown_as(CLAIM)]),
    retrieve=extend_schema(summary="Read a claim", examples=[shown_as(CLAIM)]),
    create=extend_schema(
        summary="Draft claims",
        request=ClaimsIn,
        responses={201: ClaimsOut, **problems(404, 409)},
        examples=[
            sent_as({"crate": "CRATE-7", "lines": [{"line": 512, "fault": "shortage", "quantity": "37"}]}),
            shown_as({"claims": [CLAIM]}),
        ],
    ),
    partial_update=extend_schema(
        summary="Change a draft",
        request=ClaimPatch,
        responses={200: ClaimOut, **problems(409, 422)},
        examples=[sent_as({"against": "Fenland Freight"}), shown_as({**CLAIM, "against": "Fenland Freight"})],
    ),
    destroy=extend_schema(summary="Discard a draft", responses={204: None, **problems(409)}),
)
@extend_schema(tags=["claims"])
class ClaimViews(TaggedRows, ListModelMixin, GenericViewSet[Claim]):
    """Claims."""

    queryset = Claim.objects.none()
    serializer_class = ClaimOut
    patch_serializer_class = ClaimPatch
    filterset_class = ClaimFilter

    def get_queryset(self) -> QuerySet[Claim]:
        """With their lines. Three queries."""
        lines = ClaimLine.objects.select_related("item").order_by("pk")
        return queries.claim_rows().prefetch_related(Prefetch("lines", lines))

    def lock(self, pk: int) -> None:
        """Its crate first, as drafting does."""
        crate = Crate.objects.filter(claims=pk)
        Crate.objects.select_for_update(no_key=True).filter(pk__in=crate.values("pk")).first()
        super().lock(pk)

    @once
    def create(self, request: Request) -> Response:
        """Draft claims from what a crate's count found: one for each fault. Never more than is missing and not claimed yet."""
        asked = ClaimsIn(data=request.data)
        asked.is_valid(raise_exception=True)
        crate, lines = asked.validated_data["crate"], asked.validated_data.get("lines")
        chosen = None if lines is None else [_chosen(line) for line in lines]
        made = services.draft_claims(crate=crate, on=timezone.localdate(), by=caller(request), chosen=chosen)
        rows = self.get_queryset().filter(pk__in=[claim.pk for claim in made]).order_by("pk")
        return Response(ClaimsOut({"claims": rows}).data, status=201)

    def change(self, row: Claim, data: dict[str, Any]) -> None:
        """Only of a draft."""
        quantities = {line["id"]: line["quantity"] for line in data.get("lines", ())}
        services.change_claim(claim=row, against=data.get("against"), quantities=quantities, by=caller(self.request))

    def remove(self, row: Claim) -> None:
        """Only a draft."""
        services.discard_claim(claim=row, by=caller(self.request))

    @extend_schema(
        operation_id="claims_send",
        summary="Mark a claim as sent",
        request=SendIn,
        responses={200: ClaimOut, **problems(409, 422)},
        examples=[sent_as({"on": "2027-02-22"}), shown_as(_SENT)],
    )
    @once
    def send(self, request: Request, pk: int) -> Response:
        """Say that a claim was sent. Its letter stays as it is from then on."""
        claim, asked = self.row(pk), SendIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {"on": timezone.localdate(), **asked.validated_data}
        services.send_claim(claim=claim, by=caller(request), **given)
        return tagged(self.shown(pk))

    @extend_schema(
        operation_id="claims_answer",
        summary="Write down the answer to a claim",
        request=AnswerIn,
        responses={200: ClaimOut, **problems(409)},
        examples=[
            sent_as({"state": "replaced", "on": "2027-02-25", "answer": "sent with the next crate", "replacement_due": "2027-03-15"}),
            shown_as(_ANSWERED),
        ],
    )
    @once
    def answer(self, request: Request, pk: int) -> Response:
        """Write down that a sent claim was credited, replaced or refused. A replacement becomes a crate on its way."""
        claim, asked = self.row(pk), AnswerIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given = {"on": timezone.localdate(), **asked.validated_data}
        services.answer_claim(claim=claim, by=caller(request), **given)
        return tagged(self.shown(pk))


def _chosen(given: Mapping[str, Any]) -> services.Chosen:
    line, item = given.get("line"), given.get("item")
    return services.Chosen(line, item or 0, Fault(given["fault"]), given["quantity"], given.get("note", ""))


# The letter


class _Renderer(BaseRenderer):
    """Passes on what the view made; a problem is JSON, whatever was asked for."""

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Mapping[str, Any] | None = None) -> bytes:
        """The body."""
        del accepted_media_type, renderer_context
        if isinstance(data, bytes):
            return data
        return data.encode() if isinstance(data, str) else json.dumps(data).encode()


class TextRenderer(_Renderer):
    """Plain text."""

    media_type = "text/plain"
    format = "txt"
    charset = "utf-8"


class PdfRenderer(_Renderer):
    """A PDF."""

    media_type = "application/pdf"
    format = "pdf"
    charset = None
    render_style = "binary"


class LetterView(APIView):
    """The letter of a claim."""

    renderer_classes = [TextRenderer, PdfRenderer]

    @extend_schema(
        operation_id="claims_letter",
        summary="Read a claim's letter",
        tags=["claims"],
        responses={
            (200, "text/plain"): OpenApiTypes.STR,
            (200, "application/pdf"): OpenApiResponse(OpenApiTypes.BINARY, description="the letter with its photos"),
        },
    )
    def get(self, request: Request, pk: int) -> Response:
        """The letter as it was sent, a draft's as it stands: text, or a PDF with the photos (`Accept: application/pdf`, `?format=pdf`)."""
        claim = get_object_or_404(queries.claim_rows(), pk=pk)
        letter = queries.letter(claim, by=caller(request))
        if request.accepted_renderer.format == PdfRenderer.format:
            return Response(pdf.as_pdf(letter, queries.pictures(letter)))
        return Response(claim.letter or calc.as_text(letter))
