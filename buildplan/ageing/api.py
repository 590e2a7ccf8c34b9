"""What dies by a day, for programs."""

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.ageing import answer, queries
from buildplan.ageing.forms import LIVES, MOST_DAYS, WITHIN
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut
from inventory.shelflife.queries import expiries
from inventory.stock.models import State


class AskedDay(serializers.Serializer[Any]):
    """By which day."""

    before = serializers.DateField(required=False, help_text="lots that are dead on or before this day; today where it isn't given")


class ExpiryOut(serializers.Serializer[Any]):
    """What one place holds of a lot; the quantity is a decimal string in the item's stock unit."""

    item = serializers.CharField()
    lot = serializers.CharField()
    place = serializers.CharField()
    quantity = serializers.CharField()
    unit = serializers.CharField()
    last_usable_day = serializers.DateField(allow_null=True, help_text="null where nobody knows")
    limit = serializers.CharField(allow_null=True, help_text="the rule that ends its life first")
    trace = ReasonOut(many=True)


class ExpiriesOut(serializers.Serializer[Any]):
    """What dies by a day."""

    before = serializers.DateField()
    lines = ExpiryOut(many=True)


EXAMPLE = OpenApiExample(
    "one lot dying",
    response_only=True,
    status_codes=["200"],
    value={
        "before": "2027-04-01",
        "lines": [
            {
                "item": "SEAL-B2",
                "lot": "R7",
                "place": "Fridge/Door",
                "quantity": "12.5",
                "unit": "g",
                "last_usable_day": "2027-03-31",
                "limit": "expires",
                "trace": [{"text": "expires: usable through 2027-03-31", "source": "expires 2027-03, as printed"}],
            }
        ],
    },
)
PROBLEMS = {(status, "application/problem+json"): ProblemOut for status in (400, 401)}


class ExpiriesView(APIView):
    """What dies by a day."""

    @extend_schema(
        operation_id="expiries",
        tags=["shelf life"],
        parameters=[AskedDay],
        responses={200: ExpiriesOut, **PROBLEMS},
        examples=[EXAMPLE],
    )
    def get(self, request: Request) -> Response:
        """Lots on hand of any state whose last usable day is on or before a day, by that day; unknown lives last, with null."""
        asked = AskedDay(data=request.query_params)
        asked.is_valid(raise_exception=True)
        before = asked.validated_data.get("before") or timezone.localdate()
        return Response(answer.as_object(expiries(before=before), before=before))


class AskedShelf(serializers.Serializer[Any]):
    """Which holdings, and how far ahead."""

    place = serializers.CharField(required=False, default="", max_length=200, help_text="a part of a place's path")
    item = serializers.CharField(required=False, default="", max_length=80, help_text="a part of an item's code or name, or of a lot code")
    state = serializers.ChoiceField([*(value for value, _ in LIVES), *State.values], required=False, default="")
    days = serializers.IntegerField(required=False, default=WITHIN, min_value=1, max_value=MOST_DAYS, help_text="what dies within so many")


class LotNeedOut(serializers.Serializer[Any]):
    """A need of a step for the item; `taken` of this lot by netting. `late`: the lot is dead by then."""

    step = serializers.CharField()
    on = serializers.DateField()
    quantity = serializers.CharField()
    taken = serializers.CharField()
    late = serializers.BooleanField()
    waits_for = serializers.ListField(child=serializers.CharField(), help_text="steps not done that come first")


class AgeingOut(ExpiryOut):
    """What ages, with the needs of the plans for it. `unused` is of the whole lot, wherever it lies."""

    bench = serializers.CharField()
    state = serializers.ChoiceField(State.values)
    days_left = serializers.IntegerField(allow_null=True, help_text="below 0 where it is dead")
    dying = serializers.BooleanField(help_text="good, and dead within the days asked for")
    unused = serializers.CharField()
    value = serializers.CharField(allow_null=True, help_text="what the unused part cost; null where no unit cost is set")
    currency = serializers.CharField(help_text="the club's word for its money; blank where none is said")
    needs = LotNeedOut(many=True)
    could_use = serializers.ListField(child=serializers.CharField(), help_text="steps that could use what would die")


class ShelfLifeOut(serializers.Serializer[Any]):
    """Everything on hand whose life ends or isn't known."""

    as_of = serializers.DateField()
    days = serializers.IntegerField()
    left_out = serializers.ListField(child=serializers.CharField(), help_text="seams that can't be reckoned: their needs are missing")
    lines = AgeingOut(many=True)


SHELF_EXAMPLE = OpenApiExample(
    "one lot dying",
    response_only=True,
    status_codes=["200"],
    value={
        "as_of": "2027-02-20",
        "days": 30,
        "left_out": [],
        "lines": [
            {
                **EXAMPLE.value["lines"][0],
                "bench": "TERN",
                "state": "good",
                "days_left": 39,
                "dying": False,
                "unused": "0.5",
                "value": "0.18",
                "currency": "EUR",
                "needs": [{"step": "F3-04", "on": "2027-03-06", "quantity": "12", "taken": "12", "late": False, "waits_for": []}],
                "could_use": [],
            }
        ],
    },
)


class ShelfLifeView(APIView):
    """The page of shelf lives."""

    @extend_schema(
        operation_id="shelf_life",
        tags=["shelf life"],
        parameters=[AskedShelf],
        responses={200: ShelfLifeOut, **PROBLEMS},
        examples=[SHELF_EXAMPLE],
    )
    def get(self, request: Request) -> Response:
        """What ages, by its last usable day, with the steps that take it and those that could use what would die."""
        asked = AskedShelf(data=request.query_params)
        asked.is_valid(raise_exception=True)
        given = dict(asked.validated_data)
        days = given.pop("days")
        return Response(answer.shelf_life_object(queries.shelf_life(queries.Asked(**given), days=days, today=timezone.localdate())))
