"""What the API's lists of crates, bags and packing lines may be asked for."""

from typing import ClassVar

from django.db.models import Exists, OuterRef, Q, QuerySet
from django_filters import rest_framework as filters

from inventory.catalogue.filters import items_like, items_of
from inventory.receiving.models import Bag, Crate, PackingLine

MOST_TEXT = 200
MOST_ID = 2**63 - 1


class CrateFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Crates."""

    code = filters.CharFilter(field_name="code", lookup_expr="iexact", max_length=40, help_text="the crate of this code")
    bench = filters.CharFilter(field_name="bench__code", lookup_expr="iexact", max_length=40, help_text="for the bench of this code")
    sender = filters.CharFilter(field_name="sender__name", lookup_expr="iexact", max_length=120, help_text="from the sender of this name")
    open = filters.BooleanFilter(method="by_open", help_text="whether anything is still to come")
    arrived = filters.BooleanFilter(field_name="arrived_on", lookup_expr="isnull", exclude=True, help_text="whether it has arrived")
    closed = filters.BooleanFilter(field_name="closed_on", lookup_expr="isnull", exclude=True, help_text="whether counting is over")
    due_until = filters.DateFilter(field_name="due_on", lookup_expr="lte", help_text="due on this day or earlier")
    search = filters.CharFilter(method="by_text", max_length=MOST_TEXT, help_text="this text in code, order, carrier or sender")

    class Meta:
        model = Crate
        fields: ClassVar[list[str]] = []

    def by_open(self, rows: QuerySet[Crate], name: str, value: bool) -> QuerySet[Crate]:
        """Crates that something is still to come of."""
        del name
        coming = Exists(PackingLine.objects.filter(crate_id=OuterRef("pk"), open_quantity__gt=0))
        return rows.filter(coming if value else ~coming)

    def by_text(self, rows: QuerySet[Crate], name: str, value: str) -> QuerySet[Crate]:
        """What stands on the papers."""
        del name
        columns = ("code", "order_code", "carrier", "sender__name")
        wanted = Q()
        for column in columns:
            wanted |= Q(**{f"{column}__icontains": value})
        return rows.filter(wanted)


class BagFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Bags."""

    crate = filters.CharFilter(field_name="crate__code", lookup_expr="iexact", max_length=40, help_text="in the crate of this code")
    counted = filters.BooleanFilter(
        field_name="counted_on", lookup_expr="isnull", exclude=True, help_text="whether it was counted to the end"
    )
    search = filters.CharFilter(field_name="path", lookup_expr="icontains", max_length=MOST_TEXT, help_text="this text in the path")

    class Meta:
        model = Bag
        fields: ClassVar[list[str]] = []


class LineFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Packing lines."""

    crate = filters.CharFilter(field_name="crate__code", lookup_expr="iexact", max_length=40, help_text="in the crate of this code")
    bag = filters.NumberFilter(field_name="bag_id", help_text="in the bag of this id", min_value=1, max_value=MOST_ID)
    item = filters.CharFilter(method="by_item", max_length=80, help_text="of the item that this code means")
    open = filters.BooleanFilter(method="by_open", help_text="whether anything of it is still to come")
    search = filters.CharFilter(
        method="by_text", max_length=MOST_TEXT, help_text="this text in number, name or lot code, or in the item's codes"
    )

    class Meta:
        model = PackingLine
        fields: ClassVar[list[str]] = []

    def by_item(self, rows: QuerySet[PackingLine], name: str, value: str) -> QuerySet[PackingLine]:
        """Lines of one item."""
        del name
        return rows.filter(item_id__in=items_of(value).values("item_id"))

    def by_open(self, rows: QuerySet[PackingLine], name: str, value: bool) -> QuerySet[PackingLine]:
        """Lines with something still to come."""
        del name
        return rows.filter(open_quantity__gt=0) if value else rows.filter(open_quantity=0)

    def by_text(self, rows: QuerySet[PackingLine], name: str, value: str) -> QuerySet[PackingLine]:
        """What stands on the list."""
        del name
        listed = Q(number__icontains=value) | Q(name__icontains=value) | Q(lot_code__icontains=value)
        return rows.filter(listed | items_like(value, "item_id"))
