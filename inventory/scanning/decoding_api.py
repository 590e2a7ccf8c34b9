"""Reading the codes in a photo, for programs that have no decoder."""

from typing import Any, ClassVar

from django.urls import path
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.common.documents import ProblemOut
from inventory.scanning.decoding import codes_in

PROBLEM = "application/problem+json"


class PhotoIn(serializers.Serializer[Any]):
    """A photo."""

    photo = serializers.FileField(help_text="JPEG, PNG or WebP, at most 15 MB and 40 megapixels; it is read and not kept")


class FoundOut(serializers.Serializer[Any]):
    """One code in it."""

    text = serializers.CharField(help_text="all of it, as a scanner sends it: the symbology identifier first, separators kept")
    symbology = serializers.CharField(help_text="the symbology identifier alone")
    format = serializers.CharField()


class CodesOut(serializers.Serializer[Any]):
    """The codes in a photo, each once."""

    codes = FoundOut(many=True)


CODES = OpenApiExample(
    "GS1 data",
    response_only=True,
    status_codes=["200"],
    value={"codes": [{"text": "]d2010400638133393110AB1\u001d17270301", "symbology": "]d2", "format": "Data Matrix"}]},
)


class DecodeView(APIView):
    """The codes in a photo."""

    parser_classes = (MultiPartParser,)
    scopes: ClassVar[dict[str, str]] = {"POST": "scan"}

    @extend_schema(
        operation_id="decode",
        summary="Read the codes in a photo",
        description="Nothing is done with them, and the photo is not kept: send what you mean of them as scans.",
        tags=["scans"],
        request=PhotoIn,
        responses={200: CodesOut, **{(status, PROBLEM): ProblemOut for status in (400, 401, 403, 404, 415, 422)}},
        examples=[CODES],
    )
    def post(self, request: Request) -> Response:
        """Read it."""
        sent = PhotoIn(data=request.data)
        sent.is_valid(raise_exception=True)
        found = codes_in(sent.validated_data["photo"].read())
        return Response(CodesOut({"codes": found}).data)


urlpatterns = [path("decode", DecodeView.as_view(), name="api-decode")]
