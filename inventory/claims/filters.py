"""What the API's lists of senders, claim clocks and claims may be asked for."""

from typing import ClassVar

from django_filters import rest_framework as filters

from inventory.claims.models import Claim, ClaimRule, ClaimState, Fault
from inventory.receiving.models import Sender


class SenderFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Senders."""

    search = filters.CharFilter(field_name="name", lookup_expr="icontains", max_length=120, help_text="this text in the name")

    class Meta:
        model = Sender
        fields: ClassVar[list[str]] = []


class RuleFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Claim clocks."""

    sender = filters.CharFilter(field_name="sender__name", lookup_expr="iexact", max_length=120, help_text="of the sender of this name")
    fault = filters.ChoiceFilter(choices=Fault.choices, help_text="for this fault")

    class Meta:
        model = ClaimRule
        fields: ClassVar[list[str]] = []


class ClaimFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Claims."""

    crate = filters.CharFilter(field_name="crate__code", lookup_expr="iexact", max_length=40, help_text="of the crate of this code")
    state = filters.ChoiceFilter(choices=ClaimState.choices, help_text="in this state")
    fault = filters.ChoiceFilter(choices=Fault.choices, help_text="for this fault")
    against = filters.CharFilter(field_name="against", lookup_expr="icontains", max_length=120, help_text="this text in whom it asks")

    class Meta:
        model = Claim
        fields: ClassVar[list[str]] = []
