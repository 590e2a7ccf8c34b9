"""Loading a packing list, for programs."""

from typing import Any, ClassVar

from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.loading.sent_files import BadFile, take
from buildplan.loading.services import Outcome
from buildplan.loading.uploads import Asked, load_list
from inventory.common.api_fields import CodeField, QuantityIn
from inventory.common.documents import MEDIA_TYPE, ProblemOut
from inventory.common.problems import Problem
from inventory.common.schema import problems, shown_as
from inventory.models import Crate, Member, Sender
from inventory.receiving.services import MOST_CODE, MOST_LINES
from inventory.workshop.api import bench_field
from inventory.workshop.idempotency import once
from inventory.workshop.request import caller


class NotLoaded(Problem):
    """A list that can't be loaded: every fault of it at once."""

    status = 422
    title = "Nothing was loaded"
    kind = "not-loaded"

    def __init__(self, errors: list[str], warnings: list[str]) -> None:
        """The sentence is how many faults there are; `errors` says each."""
        super().__init__(f"{len(errors)} fault{'' if len(errors) == 1 else 's'}: put each right, then send the list again")
        self.members = {"errors": errors, "warnings": warnings}


class PackingListIn(serializers.Serializer[Any]):
    """A packing list and the crate that it is of. `sender` and the printed totals stand on the list, beside its lines."""

    file = serializers.FileField(
        allow_empty_file=True, max_length=255, help_text="CSV or XLSX, at most 10 MB; docs/files.md says its columns"
    )
    crate = serializers.CharField(max_length=MOST_CODE, help_text="made where it isn't there; one that has lines is refused")
    bench = bench_field()
    due = serializers.DateField(required=False, allow_null=True, help_text="when the crate is due")
    sender = CodeField(
        "sender",
        lambda text: Sender.objects.filter(name__iexact=text).first(),
        required=False,
        allow_null=True,
        max_length=120,
        help_text="name of a sender",
    )
    printed_lines = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MOST_LINES, help_text="how many lines the list says that it has"
    )
    printed_quantity = QuantityIn(required=False, allow_null=True, help_text="the same of all quantities; both are compared, never used")
    dry_run = serializers.BooleanField(default=False, help_text="check everything, write nothing")


class LoadedCountsOut(serializers.Serializer[Any]):
    """What was loaded, or in a dry run would have been."""

    lines = serializers.IntegerField()
    bags = serializers.IntegerField()
    made = serializers.ListField(child=serializers.CharField(), help_text="what was made on the way, such as the crate")


class PackingListOut(serializers.Serializer[Any]):
    """A list that was loaded, as `manage.py load packing --json` says it."""

    loaded = LoadedCountsOut()
    warnings = serializers.ListField(child=serializers.CharField(), help_text="what somebody should look at, such as totals that differ")
    errors = serializers.ListField(child=serializers.CharField(), help_text="none: a list with errors is a 422")  # type: ignore[assignment]
    dry_run = serializers.BooleanField(required=False, help_text="said of a dry run alone")


class NotLoadedOut(ProblemOut):
    """Nothing was loaded."""

    errors = serializers.ListField(child=serializers.CharField(), help_text="each fault, with the row of the file")  # type: ignore[assignment]
    warnings = serializers.ListField(child=serializers.CharField())


_LOADED = {"loaded": {"lines": 214, "bags": 12, "made": ["crate CRATE-7"]}, "warnings": [], "errors": []}
_REFUSED = {
    "type": "urn:rivetloft:problem:not-loaded",
    "title": "Nothing was loaded",
    "status": 422,
    "detail": "1 fault: put each right, then send the list again",
    "errors": ["list.csv:3: item: 'AN470AD4-6X' is no code of the catalogue: did you mean AN470AD4-6? Else add it there"],
    "warnings": [],
}


class PackingListsView(APIView):
    """Packing lists to load."""

    parser_classes = (MultiPartParser,)
    scopes: ClassVar[dict[str, str]] = {"POST": "manage"}

    @extend_schema(
        operation_id="load_packing_list",
        summary="Load a packing list",
        description=(
            "All of it or nothing. Where nothing was loaded, the problem's `errors` says every fault at once. "
            "Location is the crate. The order in which to count it is at /crates/{id}/order."
        ),
        tags=["crates"],
        request=PackingListIn,
        responses={200: PackingListOut, 201: PackingListOut, (422, MEDIA_TYPE): NotLoadedOut, **problems(404)},
        examples=[
            shown_as(_LOADED, "201"),
            OpenApiExample("dry run", value={**_LOADED, "dry_run": True}, response_only=True, status_codes=["200"]),
            OpenApiExample("faults", value=_REFUSED, response_only=True, status_codes=["422"]),
        ],
    )
    @once
    def post(self, request: Request) -> Response:
        """Load it."""
        asked = PackingListIn(data=request.data)
        asked.is_valid(raise_exception=True)
        given, by = asked.validated_data, caller(request)
        outcome = _load(given, by)
        if outcome.errors:
            raise NotLoaded(outcome.errors, outcome.warnings)
        if given["dry_run"]:
            return Response(outcome.as_object())
        crate = Crate.objects.get(code__iexact=given["crate"].strip())
        return Response(outcome.as_object(), status=201, headers={"Location": reverse("api-crate", args=[crate.pk])})


def _load(given: dict[str, Any], by: Member) -> Outcome:
    asked = Asked(
        bench=given["bench"],
        crate=given["crate"],
        due_on=given.get("due"),
        sender=given.get("sender"),
        printed_lines=given.get("printed_lines"),
        printed_quantity=given.get("printed_quantity"),
    )
    try:
        return load_list(take(given["file"]), asked, by=by, today=timezone.localdate(), dry_run=given["dry_run"])
    except BadFile as problem:
        if problem.too_large:
            raise
        raise NotLoaded([str(problem)], []) from problem
