"""What the API's lists of loans, bookings, single things and transfers may be asked for."""

from typing import Any, ClassVar

from django.db.models import Q
from django_filters import rest_framework as filters

from inventory.pool.models import Booking, Loan, Thing, Transfer

MOST_ID = 2**63 - 1


def _id(name: str, help_text: str) -> filters.NumberFilter:
    return filters.NumberFilter(field_name=name, min_value=1, max_value=MOST_ID, help_text=help_text)


def _code(name: str, help_text: str) -> filters.CharFilter:
    return filters.CharFilter(field_name=name, lookup_expr="iexact", max_length=80, help_text=help_text)


class LoanFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Loans."""

    open = filters.BooleanFilter(method="are_open", help_text="true: something of it is still out; false: it is over")
    member = _id("member_id", "lent to this member")
    item = _code("lot__item__code", "of the item of this code")
    lot = _id("lot_id", "of this lot")
    bench = _code("bench__code", "for the bench of this code")
    due_before = filters.DateFilter(field_name="due_on", lookup_expr="lt", help_text="due before this day")

    class Meta:
        model = Loan
        fields: ClassVar[list[str]] = []

    def are_open(self, rows: Any, name: str, value: bool) -> Any:
        """By what is still out."""
        del name
        return rows.filter(open__gt=0) if value else rows.filter(open=0)


class BookingFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Bookings."""

    ended = filters.BooleanFilter(field_name="ended_at", lookup_expr="isnull", exclude=True, help_text="false: those that stand")
    waiting = filters.BooleanFilter(help_text="true: those that wait in line")
    member = _id("member_id", "promised to this member")
    item = _code("item__code", "of the item of this code")
    thing = _id("thing_id", "of this single thing")
    first = filters.DateFilter(field_name="last_day", lookup_expr="gte", help_text="on this day or later")
    last = filters.DateFilter(field_name="first_day", lookup_expr="lte", help_text="on this day or before")

    class Meta:
        model = Booking
        fields: ClassVar[list[str]] = []


class ThingFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Single things."""

    retired = filters.BooleanFilter(field_name="retired_at", lookup_expr="isnull", exclude=True, help_text="whether it is retired")
    item = _code("lot__item__code", "of the item of this code")
    serial = filters.CharFilter(lookup_expr="icontains", max_length=80, help_text="this text in the serial number")

    class Meta:
        model = Thing
        fields: ClassVar[list[str]] = []


class TransferFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Offers and wishes between benches."""

    open = filters.BooleanFilter(field_name="ended_at", lookup_expr="isnull", help_text="true: those that nobody has answered")
    item = _code("item__code", "of the item of this code")
    bench = filters.CharFilter(method="of_bench", max_length=40, help_text="from or to the bench of this code")

    class Meta:
        model = Transfer
        fields: ClassVar[list[str]] = []

    def of_bench(self, rows: Any, name: str, value: str) -> Any:
        """Either side."""
        del name
        return rows.filter(Q(giver__code__iexact=value) | Q(taker__code__iexact=value))
