"""What the API's list of seal days may be asked for."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from buildplan.sealday.models import SealDay


class SealDayFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Seal days."""

    bench = filters.CharFilter(field_name="bench__code", lookup_expr="iexact", max_length=40, help_text="of the bench of this code")
    open = filters.BooleanFilter(method="are_open", help_text="true: still to be done; false: closed or called off")
    since = filters.DateFilter(field_name="on", lookup_expr="gte", help_text="on this day or later")
    until = filters.DateFilter(field_name="on", lookup_expr="lte", help_text="on this day or before")

    class Meta:
        model = SealDay
        fields: ClassVar[list[str]] = []

    def are_open(self, rows: Any, name: str, value: bool) -> Any:
        """By whether it was ended."""
        del name
        ended = {"closed_at": None, "called_off_at": None}
        return rows.filter(**ended) if value else rows.exclude(**ended)
