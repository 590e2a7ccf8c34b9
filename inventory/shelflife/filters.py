"""What the API's lists of shelf life may be asked for."""

from typing import ClassVar

from django.db.models import QuerySet
from django_filters import rest_framework as filters

from inventory.shelflife.models import Acceptance, Disposal, StorageRule, Temperature, UpdateTest
from inventory.stock.filters import MOST_PATH, within

MOST_CODE = 80


class RuleFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Rules of storage."""

    item = filters.CharFilter(field_name="item__code", lookup_expr="iexact", max_length=MOST_CODE, help_text="of the item of this code")

    class Meta:
        model = StorageRule
        fields: ClassVar[list[str]] = []


class TestFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Update tests."""

    __test__ = False  # pytest collects by this name
    lot = filters.NumberFilter(field_name="lot_id", min_value=1, max_value=2**63 - 1, help_text="of the lot of this id")
    item = filters.CharFilter(field_name="lot__item__code", lookup_expr="iexact", max_length=MOST_CODE, help_text="of this item")
    passed = filters.BooleanFilter(help_text="how it went")

    class Meta:
        model = UpdateTest
        fields: ClassVar[list[str]] = []


class AcceptanceFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Acceptances."""

    lot = filters.NumberFilter(field_name="lot_id", min_value=1, max_value=2**63 - 1, help_text="of the lot of this id")
    standing = filters.BooleanFilter(field_name="withdrawn", lookup_expr="isnull", help_text="not withdrawn")

    class Meta:
        model = Acceptance
        fields: ClassVar[list[str]] = []


class DisposalFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Disposals."""

    lot = filters.NumberFilter(field_name="lot_id", min_value=1, max_value=2**63 - 1, help_text="of the lot of this id")

    class Meta:
        model = Disposal
        fields: ClassVar[list[str]] = []


class TemperatureFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Readings."""

    place = filters.CharFilter(method="by_place", max_length=MOST_PATH, help_text="of the place of this path and all in it")
    since = filters.IsoDateTimeFilter(field_name="at", lookup_expr="gte", help_text="at this time or after")
    until = filters.IsoDateTimeFilter(field_name="at", lookup_expr="lte", help_text="at this time or before")

    class Meta:
        model = Temperature
        fields: ClassVar[list[str]] = []

    def by_place(self, rows: QuerySet[Temperature], name: str, value: str) -> QuerySet[Temperature]:
        """A place and all in it."""
        del name
        return rows.filter(within(value, "place"))
