"""What a code is, and in which order to count a crate, for programs."""

from typing import Any, ClassVar

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.wanted import answer, queries
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import MEDIA_TYPE, ProblemOut
from inventory.models import Crate
from inventory.scanning.api import NearOut, TeachOut
from inventory.scanning.calc import Kind
from inventory.stock.models import State

KINDS = [kind.value for kind in Kind]


class NamedOut(serializers.Serializer[Any]):
    """A row with its code."""

    id = serializers.IntegerField()
    code = serializers.CharField(allow_null=True)


class SeenItemOut(NamedOut):
    """A kind of thing; quantities of it are in its unit."""

    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    unit = serializers.CharField()


class SeenPlaceOut(serializers.Serializer[Any]):
    """A place."""

    id = serializers.IntegerField()
    path = serializers.CharField()


class OpenLineOut(serializers.Serializer[Any]):
    """A packing line of which something is still to be found."""

    line = serializers.IntegerField()
    bag = serializers.CharField()
    number = serializers.CharField()
    item = serializers.CharField()
    name = serializers.CharField()
    unit = serializers.CharField()
    listed = serializers.CharField()
    found = serializers.CharField()
    left = serializers.CharField()


class SeenBagOut(serializers.Serializer[Any]):
    """A bag; `open` is what is still to be found in it and in the bags inside."""

    id = serializers.IntegerField()
    crate = serializers.CharField()
    crate_id = serializers.IntegerField()
    path = serializers.CharField()
    place = serializers.CharField(allow_null=True)
    counted_on = serializers.DateField(allow_null=True)
    found_lines = serializers.IntegerField()
    open = OpenLineOut(many=True)


class HoldingOut(serializers.Serializer[Any]):
    """How much lies in a place."""

    place = serializers.CharField()
    quantity = serializers.CharField()


class SeenLotOut(NamedOut):
    """A lot on hand. `named`: the code says this very lot. `life_known` false: nobody can say when it ends."""

    named = serializers.BooleanField()
    item = serializers.CharField()
    bench = serializers.CharField()
    state = serializers.ChoiceField(State.values)
    quantity = serializers.CharField()
    unit = serializers.CharField()
    set_aside = serializers.CharField()
    last_usable_day = serializers.DateField(allow_null=True)
    life_known = serializers.BooleanField()
    limit = serializers.CharField(allow_null=True)
    places = HoldingOut(many=True)
    trace = ReasonOut(many=True)


class ComingOut(serializers.Serializer[Any]):
    """What is still to come of the item in one packing line."""

    crate = serializers.CharField()
    crate_id = serializers.IntegerField()
    bag = serializers.CharField(allow_null=True)
    number = serializers.CharField()
    due_on = serializers.DateField(allow_null=True)
    quantity = serializers.CharField()
    unit = serializers.CharField()


class WantedOut(serializers.Serializer[Any]):
    """A step not done that needs the item. Of a thing that comes back, `here` and `coming` are null: the steps of a day share it."""

    project = serializers.CharField()
    step = serializers.CharField()
    title = serializers.CharField()
    day = serializers.DateField()
    item = serializers.CharField()
    unit = serializers.CharField()
    needed = serializers.CharField()
    here = serializers.CharField(allow_null=True)
    coming = serializers.CharField(allow_null=True)
    short = serializers.CharField()
    trace = ReasonOut(many=True)


class CodeOut(serializers.Serializer[Any]):
    """What a code reads as, and what it is here. Of `item`, `lot`, `bag`, `place` and `crate` those are null that it is not."""

    code = serializers.CharField()
    kind = serializers.ChoiceField(KINDS, help_text="what sort of code it is")
    fields = serializers.DictField(child=serializers.CharField(), help_text="by AI, DI or TEI; and expires, made, date")  # type: ignore[assignment] # a declared field
    problems = serializers.ListField(child=serializers.CharField(), help_text="what is wrong with it, in short names")
    means = serializers.ChoiceField(["item", "lot", "bag", "place", "crate"])
    item = SeenItemOut(allow_null=True)
    lot = NamedOut(allow_null=True)
    bag = SeenBagOut(allow_null=True)
    place = SeenPlaceOut(allow_null=True)
    crate = NamedOut(allow_null=True)
    lots = SeenLotOut(many=True)
    more_lots = serializers.IntegerField(help_text="how many lots are not listed")
    coming = ComingOut(many=True)
    wanted = WantedOut(many=True, help_text="the next steps not done that need it")
    more_wanted = serializers.IntegerField(help_text="how many needs come after them")
    left_out = serializers.ListField(child=serializers.CharField(), help_text="seams that can't be reckoned: the figures lack them")


class UnknownCodeOut(ProblemOut):
    """A code that means nothing here: what it reads as, and how to teach it. `near` are codes that are written alike."""

    code = serializers.CharField(required=False)
    kind = serializers.ChoiceField(KINDS, required=False)
    fields = serializers.DictField(child=serializers.CharField(), required=False)  # type: ignore[assignment] # a declared field
    problems = serializers.ListField(child=serializers.CharField(), required=False)
    teach = TeachOut(required=False, allow_null=True)
    near = NearOut(many=True, required=False)


class TurnOut(serializers.Serializer[Any]):
    """A bag in its turn; `bag` is null for what lies in no bag. `worth` is of what has a price on the list, in the list's money."""

    bag = serializers.IntegerField(allow_null=True)
    path = serializers.CharField()
    lines = serializers.IntegerField(help_text="lines with something still to be found")
    claim_until = serializers.DateField(allow_null=True)
    needed_on = serializers.DateField(allow_null=True)
    needed_by = serializers.CharField(allow_null=True)
    worth = serializers.CharField()
    unpriced = serializers.IntegerField(help_text="lines without a price")
    trace = ReasonOut(many=True)


class OrderOut(serializers.Serializer[Any]):
    """In which order to count the bags of a crate."""

    crate = serializers.CharField()
    as_of = serializers.DateField()
    bags = TurnOut(many=True)


_TRACE = [{"text": "F3-05 needs 240 ea on 2027-03-06: as planned", "source": "call-out of the plan"}]
_FIELDS = {"01": "05412345000013", "10": "R7", "17": "290331", "expires": "2029-03-31"}
_LOT = {
    "id": 7,
    "code": "R7",
    "named": True,
    "item": "MS20470AD4-6",
    "bench": "TERN",
    "state": "good",
    "quantity": "112",
    "unit": "ea",
    "set_aside": "0",
    "last_usable_day": "2029-03-31",
    "life_known": True,
    "limit": "expires",
    "places": [{"place": "Hangar/Rack 1/Drawer 3", "quantity": "112"}],
    "trace": [{"text": "expires: usable through 2029-03-31", "source": "expires 2029-03-31, as printed"}],
}
_STEP = {
    "project": "TERN-1",
    "step": "F3-05",
    "title": "Rivet the skin",
    "day": "2027-03-06",
    "item": "MS20470AD4-6",
    "unit": "ea",
    "needed": "240",
    "here": "112",
    "coming": "0",
    "short": "128",
    "trace": _TRACE,
}
EXAMPLES = [
    OpenApiExample(
        "a label of a lot of rivets",
        response_only=True,
        status_codes=["200"],
        value={
            "code": "010541234500001310R7\u001d17290331",
            "kind": "gs1",
            "fields": _FIELDS,
            "problems": [],
            "means": "item",
            "item": {"id": 12, "code": "MS20470AD4-6", "name": "Rivet", "kind": "rivet", "unit": "ea"},
            "lot": None,
            "bag": None,
            "place": None,
            "crate": None,
            "lots": [_LOT],
            "more_lots": 0,
            "coming": [],
            "wanted": [_STEP],
            "more_wanted": 0,
            "left_out": [],
        },
    ),
    OpenApiExample(
        "a code that nobody taught",
        response_only=True,
        status_codes=["422"],
        media_type=MEDIA_TYPE,
        value={
            "type": "urn:rivetloft:problem:unknown-code",
            "title": "This code is not known here",
            "status": 422,
            "detail": "nothing here has this code: choose the item that it is of, and teach it; it is known from then on",
            "code": "AN470AD4-7",
            "kind": "opaque",
            "fields": {"text": "AN470AD4-7"},
            "problems": [],
            "teach": {"method": "POST", "href": "/api/v1/identifiers", "body": {"item": None, "text": "AN470AD4-7"}},
            "near": [{"code": "AN470AD4-6", "item": "MS20470AD4-6"}],
        },
    ),
]
ORDER_EXAMPLE = OpenApiExample(
    "one bag",
    response_only=True,
    status_codes=["200"],
    value={
        "crate": "CRATE-7",
        "as_of": "2027-02-20",
        "bags": [
            {
                "bag": 3,
                "path": "7A/2",
                "lines": 4,
                "claim_until": "2027-03-05",
                "needed_on": "2027-03-06",
                "needed_by": "TERN-1 F3-05",
                "worth": "120.4",
                "unpriced": 1,
                "trace": [
                    {"text": "shortage, from Marsh Kits, can be claimed until 2027-03-05: 13 days left", "source": "its terms of sale"},
                    {"text": "TERN-1 F3-05 waits for MS20470AD4-6 on 2027-03-06", "source": "needs in time order, first expired first out"},
                ],
            }
        ],
    },
)
TEXT = OpenApiParameter(
    "text", str, OpenApiParameter.PATH, description="the code as it was read, percent-encoded: a separator is %1D, a slash may stay"
)


class CodeView(APIView):
    """What a code is."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="code",
        summary="Say what a code is, and which step wants it next",
        parameters=[TEXT],
        responses={200: CodeOut, (409, MEDIA_TYPE): ProblemOut, (422, MEDIA_TYPE): UnknownCodeOut},
        examples=EXAMPLES,
    )
    def get(self, request: Request, text: str) -> Response:
        """Read a code as a scanner sent it, and say what it is here: an item with its lots and places, a lot, a bag, a place.

        `wanted` are the next steps not done that need it, with what is there for them. An unknown code is a problem of its own type,
        which says how to teach it and what is written alike.
        """
        del request
        return Response(answer.as_object(queries.what_is(text, today=timezone.localdate())))


class OrderView(APIView):
    """In which order to count a crate."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="crate_order",
        summary="Say in which order to count the bags of a crate",
        responses={200: OrderOut},
        examples=[ORDER_EXAMPLE],
    )
    def get(self, request: Request, pk: int) -> Response:
        """First what can be claimed until the earliest day, then what a step waits for first, then what is worth most."""
        del request
        crate = get_object_or_404(Crate.objects.select_related("bench", "sender"), pk=pk)
        today = timezone.localdate()
        return Response(answer.order_object(crate, queries.bags_in_order(crate, today=today), today))
