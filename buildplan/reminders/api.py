"""What is due, for programs."""

from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildplan.reminders import answer, queries
from buildplan.reminders.calc import Kind
from inventory.common.api_fields import ReasonOut
from inventory.common.documents import ProblemOut
from inventory.workshop.request import caller

DAYS = 30
KINDS = [kind.value for kind in Kind]


class AskedDays(serializers.Serializer[Any]):
    """How far ahead to look."""

    days = serializers.IntegerField(
        required=False, default=DAYS, min_value=1, max_value=queries.MOST_DAYS, help_text="how far to look ahead"
    )


class ReminderOut(serializers.Serializer[Any]):
    """One thing that is due; `days_left` is 0 on its day and below 0 where it is overdue."""

    day = serializers.DateField()
    days_left = serializers.IntegerField()
    kind = serializers.ChoiceField(KINDS)
    text = serializers.CharField()
    link = serializers.CharField(help_text="the path of its page")
    about = serializers.ListField(child=serializers.CharField(), help_text="the codes of the items, the steps or the crate")
    trace = ReasonOut(many=True)


class RemindersOut(serializers.Serializer[Any]):
    """What is due, by day; `undated` says what has no day to be reminded of."""

    as_of = serializers.DateField()
    days = serializers.IntegerField()
    reminders = ReminderOut(many=True)
    undated = serializers.ListField(child=serializers.CharField())


EXAMPLE = OpenApiExample(
    "a lot that dies",
    response_only=True,
    status_codes=["200"],
    value={
        "as_of": "2027-02-20",
        "days": 30,
        "reminders": [
            {
                "day": "2027-03-05",
                "days_left": 13,
                "kind": "expiry",
                "text": "SEAL-B2, lot R7: last usable day of 12.5 g in Fridge/Door",
                "link": "/lots/7/",
                "about": ["SEAL-B2"],
                "trace": [{"text": "expires: usable through 2027-03-05", "source": "expires 2027-03-05, as printed"}],
            }
        ],
        "undated": ["1 crate on the way without a due day"],
    },
)


class RemindersView(APIView):
    """What is due in the workshop."""

    scopes: ClassVar[dict[str, str]] = {"GET": "read"}

    @extend_schema(
        operation_id="reminders",
        summary="List what is due, and what is overdue",
        parameters=[AskedDays],
        responses={200: RemindersOut, 400: ProblemOut},
        examples=[EXAMPLE],
    )
    def get(self, request: Request) -> Response:
        """Claims that lapse, orders to place, days of sealing and ends of cure, crates to come, lots that die, and the caller's own loans.

        It is the same list as the page, the feed and the mail. Orders are one a project and day, with each item in `about` and its reason
        in the trace. Of loans and bookings everyone is told of their own.
        """
        asked = AskedDays(data=request.query_params)
        asked.is_valid(raise_exception=True)
        found = queries.due(today=timezone.localdate(), days=asked.validated_data["days"], member=caller(request))
        return Response(answer.as_object(found))
