"""What the API's list of cuts may be asked for."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from buildplan.cutting.models import Cut, Operation

STATES = [("planned", "planned"), ("sawn", "sawn"), ("undone", "undone")]


class CutFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Cuts."""

    blank = filters.NumberFilter(field_name="blank_id", help_text="of the blank of this id")
    state = filters.ChoiceFilter(choices=STATES, method="in_state")

    class Meta:
        model = Cut
        fields: ClassVar[list[str]] = []

    def in_state(self, rows: Any, name: str, value: str) -> Any:
        """By what became of it."""
        del name
        if value == "planned":
            return rows.filter(sawn_at=None, undone_at=None)
        return rows.filter(sawn_at__isnull=False) if value == "sawn" else rows.filter(undone_at__isnull=False)


class OperationFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Operations on pieces."""

    project = filters.CharFilter(field_name="piece__step__project__code", lookup_expr="iexact", help_text="of the project of this code")
    step = filters.CharFilter(field_name="piece__step__code", lookup_expr="iexact", help_text="of steps of this code")
    piece = filters.NumberFilter(field_name="piece_id", help_text="on the piece of this id")

    class Meta:
        model = Operation
        fields: ClassVar[list[str]] = []
