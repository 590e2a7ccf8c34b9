"""Labels for programs: tokens made, looked up and printed."""

from typing import Any

from django.http import Http404, HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.common.api_fields import DecimalOut
from inventory.common.documents import ProblemOut
from inventory.common.paging import Cursor
from inventory.common.problems import FieldProblem, Problem
from inventory.labels import queries, services
from inventory.labels.calc import MOST_CELLS, Sheet
from inventory.labels.drawing import MOST_COPIES, Job, Symbol, address, refuse_many
from inventory.labels.models import Label
from inventory.labels.queries import Thing
from inventory.labels.views import base_of
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller

PROBLEM = "application/problem+json"
_ID = 2**63 - 1


class ThingsIn(serializers.Serializer[Any]):
    """What to label. Each is labelled once: what has a token keeps it."""

    bags = serializers.ListField(child=serializers.IntegerField(min_value=1, max_value=_ID), required=False, default=list)
    lots = serializers.ListField(child=serializers.IntegerField(min_value=1, max_value=_ID), required=False, default=list)
    places = serializers.ListField(child=serializers.IntegerField(min_value=1, max_value=_ID), required=False, default=list)

    def things(self) -> list[Thing]:
        """All of them, each once, in the order given. More than one request may ask for is refused before anything is read."""
        lists = {"bag": "bags", "lot": "lots", "place": "places"}
        found = list(dict.fromkeys(Thing(kind, pk) for kind, name in lists.items() for pk in self.validated_data[name]))
        if not found:
            raise Problem("name at least one of bags, lots or places")
        return found


class SheetIn(ThingsIn):
    """What to print, and how."""

    sheet = serializers.CharField(max_length=20, help_text="the `key` of one of `GET /api/v1/label-sheets`")
    start = serializers.IntegerField(required=False, default=1, min_value=1, max_value=MOST_CELLS, help_text="the first free label")
    symbol = serializers.ChoiceField(
        [symbol.value for symbol in Symbol],
        required=False,
        default=Symbol.QR.value,
        help_text="qr: the address and the token; datamatrix: the bare token",
    )
    copies = serializers.IntegerField(required=False, default=1, min_value=1, max_value=MOST_COPIES, help_text="of each label")


class LabelOut(serializers.Serializer[Any]):
    """A label. `id` is its bag's, lot's or place's; `text` is what stands on it beside its code, line by line."""

    token = serializers.CharField()
    kind = serializers.ChoiceField(list(queries.KINDS))
    id = serializers.IntegerField()
    address = serializers.CharField(help_text="what its QR code says")
    text = serializers.ListField(child=serializers.CharField())


class LabelsOut(serializers.Serializer[Any]):
    """The labels that were asked for, in that order: bags, then lots, then places."""

    labels = LabelOut(many=True)


class LabelSheetOut(serializers.Serializer[Any]):
    """A sheet of labels by its measurements, in millimetres. A workshop with no sheet of its own has starting ones of ours."""

    key = serializers.CharField()
    name = serializers.CharField()
    page_width = DecimalOut()
    page_height = DecimalOut()
    left = DecimalOut()
    top = DecimalOut()
    columns = serializers.IntegerField()
    rows = serializers.IntegerField()
    label_width = DecimalOut()
    label_height = DecimalOut()
    gap_x = DecimalOut()
    gap_y = DecimalOut()


class LabelSheetsOut(serializers.Serializer[Any]):
    """Every sheet."""

    sheets = LabelSheetOut(many=True)


LABELS = OpenApiExample(
    "a bag",
    response_only=True,
    status_codes=["200"],
    value={
        "labels": [
            {
                "token": "RL7K2M9Q4XZ",
                "kind": "bag",
                "id": 12,
                "address": "HTTPS://RIVETLOFT.CLUB.EXAMPLE/T/RL7K2M9Q4XZ",
                "text": ["Bag 7A/2", "crate CRATE-7", "to Tern", "6 lines"],
            }
        ]
    },
)
ASKED = OpenApiExample("bags and a place", request_only=True, value={"bags": [12, 13], "places": [4]})
PRINTED = OpenApiExample(
    "a begun sheet", request_only=True, value={"bags": [12, 13], "sheet": "a4", "start": 5, "symbol": "qr", "copies": 1}
)


def _shown(things: list[Thing], base: str) -> list[dict[str, Any]]:
    return [
        {
            "token": face.token,
            "kind": face.thing.kind,
            "id": face.thing.id,
            "address": address(base, face.token or ""),
            "text": [line for line in (face.head, face.name, *face.facts, face.where) if line],
        }
        for face in queries.faces(things)
    ]


class LabelsView(ListAPIView[Label]):
    """The labels of a workshop."""

    serializer_class = LabelOut
    pagination_class = Cursor

    def get_queryset(self) -> Any:
        """Those of the workshop in scope."""
        return Label.objects.all()

    @extend_schema(operation_id="labels_list", responses={200: LabelOut(many=True), (400, PROBLEM): ProblemOut})
    def get(self, request: Request) -> Response:
        """List the labels that were made, oldest first."""
        page = self.paginate_queryset(self.get_queryset()) or []
        things = [queries.thing_of(label) for label in page]
        return self.get_paginated_response(LabelOut(_shown(things, base_of(request)), many=True).data)

    @extend_schema(
        operation_id="labels_make",
        request=ThingsIn,
        responses={200: LabelsOut, (400, PROBLEM): ProblemOut, (403, PROBLEM): ProblemOut, (404, PROBLEM): ProblemOut},
        examples=[ASKED, LABELS],
    )
    @once
    def post(self, request: Request) -> Response:
        """Label bags, lots and places: a token is made for each that has none. The same again gives the same tokens."""
        asked = ThingsIn(data=request.data)
        asked.is_valid(raise_exception=True)
        things = asked.things()
        refuse_many(len(things))
        services.label_things(things=things, by=caller(request))
        return Response(LabelsOut({"labels": _shown(things, base_of(request))}).data)


class LabelView(APIView):
    """One label."""

    @extend_schema(operation_id="labels_retrieve", responses={200: LabelOut, (404, PROBLEM): ProblemOut})
    def get(self, request: Request, token: str) -> Response:
        """Tell what a token stands for."""
        label = queries.labelled(token)
        if label is None:
            raise Http404
        return Response(LabelOut(_shown([queries.thing_of(label)], base_of(request))[0]).data)


class LabelSheetsView(APIView):
    """The sheets that labels can be printed on."""

    @extend_schema(operation_id="label_sheets_list", responses={200: LabelSheetsOut})
    def get(self, request: Request) -> Response:
        """List the sheets that labels can be printed on."""
        del request
        return Response(LabelSheetsOut({"sheets": queries.sheets()}).data)


class _AnyAccept(DefaultContentNegotiation):
    """A PDF is what there is, whatever a caller would rather have; a problem is a problem document all the same."""

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> tuple[Any, str]:
        """The first one, for problems."""
        del request, format_suffix
        return renderers[0], renderers[0].media_type


class LabelsPdfView(APIView):
    """Labels as PDF."""

    content_negotiation_class = _AnyAccept

    @extend_schema(
        operation_id="labels_print",
        request=SheetIn,
        responses={
            (200, "application/pdf"): OpenApiResponse(OpenApiTypes.BINARY, "the sheets, at their true size"),
            (400, PROBLEM): ProblemOut,
            (403, PROBLEM): ProblemOut,
            (404, PROBLEM): ProblemOut,
        },
        examples=[PRINTED],
    )
    def post(self, request: Request) -> HttpResponse:
        """Print labels: a token is made for each that has none. The same again gives the same PDF, so it takes no Idempotency-Key."""
        asked = SheetIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given, things = asked.validated_data, asked.things()
        job = Job(_sheet(given["sheet"]), base_of(request), Symbol(given["symbol"]), given["start"], given["copies"])
        pdf = services.print_labels(things=things, job=job, by=caller(request))
        return HttpResponse(pdf, content_type="application/pdf")


def _sheet(key: str) -> Sheet:
    found = {sheet.key: sheet for sheet in queries.sheets()}
    if key not in found:
        raise FieldProblem("sheet", f"there is no sheet {key!r}: this workshop's are {', '.join(found)}")
    return found[key]


urlpatterns = [
    path("labels", LabelsView.as_view(), name="api-labels"),
    path("labels/sheet.pdf", LabelsPdfView.as_view(), name="api-labels-pdf"),
    path("labels/<str:token>", LabelView.as_view(), name="api-label"),
    path("label-sheets", LabelSheetsView.as_view(), name="api-label-sheets"),
]
