"""What the API's log may be asked for."""

from typing import ClassVar

from django_filters import rest_framework as filters

from buildplan.logbook.models import LogEntry


class LogFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Entries of the log."""

    project = filters.CharFilter(field_name="project__code", lookup_expr="iexact", max_length=40, help_text="of the project of this code")
    step = filters.CharFilter(field_name="step__code", lookup_expr="iexact", max_length=40, help_text="of steps of this code")
    section = filters.CharFilter(
        field_name="step__section__name", lookup_expr="iexact", max_length=120, help_text="of sections of this name"
    )
    since = filters.DateFilter(field_name="on", lookup_expr="gte", help_text="of this day or later")
    until = filters.DateFilter(field_name="on", lookup_expr="lte", help_text="of this day or before")
    member = filters.NumberFilter(
        field_name="hours__member", help_text="in which the member of this id worked", min_value=1, max_value=2**63 - 1
    )
    struck = filters.BooleanFilter(field_name="struck_at", lookup_expr="isnull", exclude=True, help_text="whether they are struck out")

    class Meta:
        model = LogEntry
        fields: ClassVar[list[str]] = []
