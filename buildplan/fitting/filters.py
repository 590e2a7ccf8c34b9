"""What the API's lists of conflicts and assemblies may be asked for."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from buildplan.fitting.models import Assembly, Conflict, Matter


class ConflictFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Conflicts."""

    project = filters.CharFilter(field_name="project__code", lookup_expr="iexact", max_length=40, help_text="of the project of this code")
    kind = filters.ChoiceFilter(choices=Matter.choices, help_text="what they disagree on")
    open = filters.BooleanFilter(method="are_open", help_text="true: not settled; false: settled")

    class Meta:
        model = Conflict
        fields: ClassVar[list[str]] = []

    def are_open(self, rows: Any, name: str, value: bool) -> Any:
        """By whether a decision stands."""
        del name
        return rows.filter(right="") if value else rows.exclude(right="")


class AssemblyFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Assemblies."""

    project = filters.CharFilter(field_name="project__code", lookup_expr="iexact", max_length=40, help_text="of the project of this code")

    class Meta:
        model = Assembly
        fields: ClassVar[list[str]] = []
