"""What the API's lists of sections and leak tests may be asked for."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from buildplan.closeup.models import LeakTest
from buildplan.plan.models import Section


class GateFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Sections with their lists."""

    project = filters.CharFilter(field_name="project__code", lookup_expr="iexact", max_length=40, help_text="of the project of this code")
    closed = filters.BooleanFilter(method="are_closed", help_text="true: closed up; false: open")

    class Meta:
        model = Section
        fields: ClassVar[list[str]] = []

    def are_closed(self, rows: Any, name: str, value: bool) -> Any:
        """By whether a closing stands."""
        del name
        return rows.exclude(closed_at=None) if value else rows.filter(closed_at=None)


class LeakTestFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Leak tests."""

    project = filters.CharFilter(
        field_name="section__project__code", lookup_expr="iexact", max_length=40, help_text="of the project of this code"
    )
    gate = filters.NumberFilter(field_name="section_id", min_value=1, max_value=2**63 - 1, help_text="of the section of this id")

    class Meta:
        model = LeakTest
        fields: ClassVar[list[str]] = []
