"""What a workshop sets for itself, for programs."""

from typing import Any

from django.conf import settings
from django.db import transaction
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.common.etags import require_match, shown, tagged
from inventory.common.schema import problems, sent_as, shown_as
from inventory.common.showing import Dates, Inches, Sizes
from inventory.workshop import policy, reading, services
from inventory.workshop.models import RivetRounding, Workshop
from inventory.workshop.request import caller

_MATCH = OpenApiParameter("If-Match", str, OpenApiParameter.HEADER, required=True, description="the ETag that reading them gave")
_LANGUAGES = [("", "as each reader's browser asks"), *settings.LANGUAGES]


class SettingsOut(serializers.Serializer[Workshop]):
    """A workshop's settings. Those of showing are for pages alone: programs get ISO days and stock units whatever they say."""

    time_zone = serializers.CharField(max_length=64, allow_blank=True, help_text="whose midnight ends a day; blank: the site's")
    receiving_days = serializers.IntegerField(
        min_value=0, max_value=services.MOST_RECEIVING_DAYS, help_text="days from a crate's arrival until its parts are usable"
    )
    rivet_rounding = serializers.ChoiceField(RivetRounding.choices, help_text="how grip + 1.5 D becomes a length that is made")
    sizes = serializers.ChoiceField(Sizes.choices, help_text="which unit of a size stands first")
    inches = serializers.ChoiceField(Inches.choices, help_text="how inches are written")
    dates = serializers.ChoiceField(Dates.choices, help_text="how days are written")
    language = serializers.ChoiceField(_LANGUAGES, allow_blank=True, help_text="of pages; blank: as each reader's browser asks")


class SettingsPatch(SettingsOut):
    """Any of them."""


SETTINGS = {
    "time_zone": "Europe/Berlin",
    "receiving_days": 3,
    "rivet_rounding": "up_half",
    "sizes": "inch",
    "inches": "usual",
    "dates": "iso",
    "language": "",
}
_SHOWING = ("time_zone", "sizes", "inches", "dates", "language")


@extend_schema(tags=["workshop"])
class SettingsView(APIView):
    """The settings of the workshop. There is one set of them."""

    @extend_schema(operation_id="settings_read", summary="Read the settings", responses={200: SettingsOut}, examples=[shown_as(SETTINGS)])
    def get(self, request: Request) -> Response:
        """Read them, with their ETag."""
        return shown(request, SettingsOut(caller(request).workshop).data)

    @extend_schema(
        operation_id="settings_change",
        summary="Change settings",
        parameters=[_MATCH],
        request=SettingsPatch,
        responses={200: SettingsOut, **problems(412, 428)},
        examples=[sent_as({"time_zone": "Europe/Berlin"}), shown_as(SETTINGS)],
    )
    @transaction.atomic
    def patch(self, request: Request) -> Response:
        """Change what is given of them; the rest stays."""
        by = caller(request)
        policy.require(by, "manage")
        services.lock(by.workshop)
        workshop = Workshop.objects.get(pk=by.workshop_id)
        require_match(request, SettingsOut(workshop).data)
        asked = SettingsPatch(data=request.data, partial=True)
        asked.is_valid(raise_exception=True)
        return tagged(SettingsOut(_change(workshop, asked.validated_data, by)).data)


def _change(workshop: Workshop, given: dict[str, Any], by: Any) -> Workshop:
    if "receiving_days" in given:
        workshop = services.set_receiving_days(workshop=workshop, days=given["receiving_days"], by=by)
    if "rivet_rounding" in given:
        workshop = services.set_rivet_rounding(workshop=workshop, rounding=given["rivet_rounding"], by=by)
    return reading.set_workshop(workshop=workshop, by=by, **{name: given[name] for name in _SHOWING if name in given})
