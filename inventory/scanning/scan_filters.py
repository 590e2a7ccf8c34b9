"""What the API's list of scans may be asked for."""

from typing import ClassVar

from django_filters import rest_framework as filters

from inventory.scanning.acting import ACTIONS
from inventory.scanning.models import Scan


class ScanFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Scans."""

    outcome = filters.ChoiceFilter(choices=Scan.Outcome.choices, help_text="conflict: those that wait for a person")
    action = filters.ChoiceFilter(choices=[(action, action) for action in ACTIONS], help_text="only of this action")
    code = filters.CharFilter(max_length=4000, help_text="this code exactly, as it was sent")
    search = filters.CharFilter(field_name="code", lookup_expr="icontains", max_length=200, help_text="this text in the code")
    device = filters.NumberFilter(field_name="device_id", min_value=1, max_value=2**63 - 1, help_text="sent by this device")
    member = filters.NumberFilter(field_name="member_id", min_value=1, max_value=2**63 - 1, help_text="sent for this member")
    since = filters.IsoDateTimeFilter(field_name="received_at", lookup_expr="gte", help_text="received then or later")
    until = filters.IsoDateTimeFilter(field_name="received_at", lookup_expr="lt", help_text="received before then")
    undone = filters.BooleanFilter(field_name="undone_at", lookup_expr="isnull", exclude=True, help_text="whether it was undone")

    class Meta:
        model = Scan
        fields: ClassVar[list[str]] = []
