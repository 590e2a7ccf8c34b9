"""What the API's lists of items and codes may be asked for."""

from typing import ClassVar

from django.db.models import Exists, OuterRef, Q, QuerySet
from django_filters import rest_framework as filters

from inventory.catalogue import calc
from inventory.catalogue.models import Identifier, Item, Kind


def items_of(text: str) -> QuerySet[Identifier]:
    """The codes that mean what `text` means, whatever its case and blanks, for a filter by item."""
    return Identifier.objects.filter(key=calc.key(text))


def items_like(text: str, item: str = "pk") -> Q:
    """Items whose name or a code of theirs has `text` in it; `item` is the column that names them."""
    codes = Identifier.objects.filter(item_id=OuterRef(item), text__icontains=text)
    name = "name__icontains" if item == "pk" else f"{item.removesuffix('_id')}__name__icontains"
    return Q(Exists(codes)) | Q(**{name: text})


class ItemFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Items."""

    kind = filters.ChoiceFilter(choices=Kind.choices, help_text="only of this kind")
    code = filters.CharFilter(method="by_code", max_length=80, help_text="the item that a code means, whatever its case and blanks")
    search = filters.CharFilter(method="by_text", max_length=200, help_text="this text in a name, or in any code")

    class Meta:
        model = Item
        fields: ClassVar[list[str]] = []

    def by_code(self, rows: QuerySet[Item], name: str, value: str) -> QuerySet[Item]:
        """The one item of a code."""
        del name
        return rows.filter(pk__in=items_of(value).values("item_id"))

    def by_text(self, rows: QuerySet[Item], name: str, value: str) -> QuerySet[Item]:
        """Names and codes."""
        del name
        return rows.filter(items_like(value))


class IdentifierFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Codes."""

    item = filters.CharFilter(method="by_item", max_length=80, help_text="the codes of the item that this code means")
    search = filters.CharFilter(field_name="text", lookup_expr="icontains", max_length=80, help_text="this text in the code")

    class Meta:
        model = Identifier
        fields: ClassVar[list[str]] = []

    def by_item(self, rows: QuerySet[Identifier], name: str, value: str) -> QuerySet[Identifier]:
        """All codes of one item."""
        del name
        return rows.filter(item_id__in=items_of(value).values("item_id"))
