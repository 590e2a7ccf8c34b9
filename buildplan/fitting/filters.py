"""What the API's lists of conflicts, assemblies and hands may be asked for."""

from typing import Any, ClassVar

from django.db.models import Q, QuerySet
from django_filters import rest_framework as filters

from buildplan.fitting.models import Assembly, Conflict, FalseMirror, ItemHand, Matter, MirrorPair
from buildplan.plan.models import CallOut, Hand
from inventory.catalogue.filters import items_of


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


class OfItems(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Rows about items. `columns` are those that name one."""

    columns: ClassVar[tuple[str, ...]]

    item = filters.CharFilter(method="by_item", max_length=80, help_text="about the item that this code means")
    project = filters.CharFilter(
        method="by_project", max_length=40, help_text="about what steps of the project of this code call out, their rivet rows aside"
    )

    def by_item(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """The one item of a code."""
        del name
        return self._about(rows, items_of(value).values("item_id"))

    def by_project(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Items that a plan calls out."""
        del name
        return self._about(rows, CallOut.objects.filter(step__project__code__iexact=value).values("item_id"))

    def _about(self, rows: QuerySet[Any], items: QuerySet[Any, Any]) -> QuerySet[Any]:
        named = Q()
        for column in self.columns:
            named |= Q(**{f"{column}__in": items})
        return rows.filter(named)


class ItemHandFilter(OfItems):
    """Hands."""

    columns = ("item",)

    hand = filters.ChoiceFilter(choices=Hand.choices, help_text="only of this hand")
    paired = filters.BooleanFilter(
        field_name="pair", lookup_expr="isnull", exclude=True, help_text="true: has a mirror image; false: has none"
    )

    class Meta:
        model = ItemHand
        fields: ClassVar[list[str]] = []


class MirrorPairFilter(OfItems):
    """Mirrored pairs."""

    columns = ("left", "right")

    class Meta:
        model = MirrorPair
        fields: ClassVar[list[str]] = []


class FalseMirrorFilter(OfItems):
    """False mirrors."""

    columns = ("one", "other")

    class Meta:
        model = FalseMirror
        fields: ClassVar[list[str]] = []
