"""What the API's list of tallies may be asked for."""

from typing import ClassVar

from django.db.models import Q, QuerySet
from django_filters import rest_framework as filters

from inventory.catalogue.filters import items_of
from inventory.receiving.filters import MOST_ID, MOST_TEXT
from inventory.tallying.models import Finding, Tally


class TallyFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Tallies."""

    crate = filters.CharFilter(field_name="crate__code", lookup_expr="iexact", max_length=40, help_text="in the crate of this code")
    bag = filters.NumberFilter(field_name="bag_id", help_text="in the bag of this id", min_value=1, max_value=MOST_ID)
    line = filters.NumberFilter(field_name="line_id", help_text="of the packing line of this id", min_value=1, max_value=MOST_ID)
    item = filters.CharFilter(method="by_item", max_length=80, help_text="of the item that this code means")
    finding = filters.ChoiceFilter(choices=Finding.choices, help_text="only what was found so")
    listed = filters.BooleanFilter(field_name="line", lookup_expr="isnull", exclude=True, help_text="whether the list has a line of it")
    put_away = filters.BooleanFilter(field_name="movement", lookup_expr="isnull", exclude=True, help_text="whether it is in stock")
    standing = filters.BooleanFilter(method="by_standing", help_text="whether it was neither taken back, nor takes another back")
    search = filters.CharFilter(method="by_text", max_length=MOST_TEXT, help_text="this text in the note or the lot code")

    class Meta:
        model = Tally
        fields: ClassVar[list[str]] = []

    def by_item(self, rows: QuerySet[Tally], name: str, value: str) -> QuerySet[Tally]:
        """Tallies of one item."""
        del name
        return rows.filter(item_id__in=items_of(value).values("item_id"))

    def by_standing(self, rows: QuerySet[Tally], name: str, value: bool) -> QuerySet[Tally]:
        """Those that count."""
        del name
        standing = Q(undoes=None, undone_by=None)
        return rows.filter(standing if value else ~standing)

    def by_text(self, rows: QuerySet[Tally], name: str, value: str) -> QuerySet[Tally]:
        """What was said of it."""
        del name
        return rows.filter(Q(note__icontains=value) | Q(lot_code__icontains=value))
