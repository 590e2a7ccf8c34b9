"""Finding anything, for programs."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.finding import answer, queries
from buildplan.finding.shapes import LABELS
from buildplan.wanted.queries import LONGEST
from inventory.common.documents import MEDIA_TYPE, ProblemOut


class AskedFind(serializers.Serializer[Any]):
    """What to find."""

    q = serializers.CharField(
        required=False,
        default="",
        allow_blank=True,
        trim_whitespace=False,
        max_length=LONGEST,
        help_text="a code, a name, a day, or a scan with its separators (%1D, `<GS>` or ␝); blank finds nothing",
    )


class HitOut(serializers.Serializer[Any]):
    """One thing: what it is, where it lies, one line of what else matters. `page` is its page on this site."""

    id = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    what = serializers.CharField()
    where = serializers.CharField()
    line = serializers.CharField()
    exact = serializers.BooleanField(help_text="the text is its very code or name")
    page = serializers.CharField()


class GroupOut(serializers.Serializer[Any]):
    """What was found of one kind, the best first, ten at most. `all` is the page that lists the others, where one does."""

    kind = serializers.ChoiceField(list(LABELS))
    label = serializers.CharField()  # type: ignore[assignment] # a declared field
    more = serializers.BooleanField(help_text="there are others")
    all = serializers.CharField(allow_null=True)
    hits = HitOut(many=True)


class FindOut(serializers.Serializer[Any]):
    """All that was found. `near` holds what is written nearly alike, where nothing else was found; then `unknown` says what would do."""

    q = serializers.CharField()
    exact = serializers.CharField(allow_null=True, help_text="the page of the one thing that it is")
    groups = GroupOut(many=True)
    near = GroupOut(many=True)
    unknown = serializers.CharField(allow_null=True)
    teach = serializers.BooleanField(help_text="the code can be taught: POST /api/v1/identifiers")


_HIT = {
    "id": 12,
    "code": "MS20470AD4-6",
    "name": "Rivet, universal head",
    "what": "rivet",
    "where": "112 ea in Hangar/Rack 1/Drawer 3",
    "line": "in packs of 100 ea",
    "exact": True,
    "page": "/codes/?code=MS20470AD4-6",
}
EXAMPLE = OpenApiExample(
    "a rivet by its code",
    response_only=True,
    status_codes=["200"],
    value={
        "q": "ms20470 ad4-6",
        "exact": "/codes/?code=MS20470AD4-6",
        "groups": [{"kind": "item", "label": "Items", "more": False, "all": None, "hits": [_HIT]}],
        "near": [],
        "unknown": None,
        "teach": False,
    },
)
PROBLEMS = {(status, MEDIA_TYPE): ProblemOut for status in (400, 401)}


class FindView(APIView):
    """Finding anything."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="find",
        summary="Find anything by its code, its name or a scan",
        parameters=[AskedFind],
        responses={200: FindOut, **PROBLEMS},
        examples=[EXAMPLE],
    )
    def get(self, request: Request) -> Response:
        """Items, lots, bags, crates, places, steps, projects, people, things of the pool and seal days, whatever case and accents.

        Every word must be found in a thing. What is written nearly alike is looked for only where nothing else is found.
        """
        asked = AskedFind(data=request.query_params)
        asked.is_valid(raise_exception=True)
        return Response(answer.as_object(queries.find(asked.validated_data["q"], today=timezone.localdate())))
