"""What the API's lists of places, lots, holdings and movements may be asked for."""

from datetime import date
from typing import ClassVar

from django.db.models import Exists, OuterRef, Q, QuerySet
from django_filters import rest_framework as filters

from inventory.catalogue.filters import items_like, items_of
from inventory.catalogue.models import Kind
from inventory.stock import queries
from inventory.stock.models import End, Holding, Lot, Movement, Place, State

MOST_TEXT = 200
MOST_PATH = 400
SEARCHED = "this text in the lot code, or in the item's name or codes"


def within(path: str, column: str = "") -> Q:
    """The place of a path and all in it; `column` is the relation that leads to a place."""
    key = queries.place_text(path)
    start = f"{column}__" if column else ""
    return Q(**{f"{start}key": key}) | Q(**{f"{start}key__startswith": f"{key}/"})


class PlaceFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Places."""

    path = filters.CharFilter(method="by_path", max_length=MOST_PATH, help_text="the place of this path, whatever its case")
    within = filters.CharFilter(method="by_within", max_length=MOST_PATH, help_text="the place of this path and all in it")
    search = filters.CharFilter(method="by_text", max_length=MOST_TEXT, help_text="this text anywhere in the path")

    class Meta:
        model = Place
        fields: ClassVar[list[str]] = []

    def by_path(self, rows: QuerySet[Place], name: str, value: str) -> QuerySet[Place]:
        """One place."""
        del name
        return rows.filter(key=queries.place_text(value))

    def by_within(self, rows: QuerySet[Place], name: str, value: str) -> QuerySet[Place]:
        """A place and those in it."""
        del name
        return rows.filter(within(value))

    def by_text(self, rows: QuerySet[Place], name: str, value: str) -> QuerySet[Place]:
        """Paths."""
        del name
        return rows.filter(key__contains=queries.place_text(value))


class LotFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """Lots."""

    item = filters.CharFilter(method="by_item", max_length=80, help_text="lots of the item that this code means")
    bench = filters.CharFilter(field_name="bench__code", lookup_expr="iexact", max_length=40, help_text="lots of the bench of this code")
    place = filters.CharFilter(method="by_place", max_length=MOST_PATH, help_text="lots that lie in the place of this path, or within it")
    state = filters.ChoiceFilter(choices=State.choices, help_text="only of this state")
    code = filters.CharFilter(field_name="code", max_length=80, help_text="only of this lot code, as it is written")
    usable_on = filters.DateFilter(method="by_usable", help_text="lots on hand that are good and serve on this day")
    expires_before = filters.DateFilter(field_name="expires_on", lookup_expr="lt", help_text="lots whose printed expiry is before this day")
    search = filters.CharFilter(method="by_text", max_length=MOST_TEXT, help_text=SEARCHED)

    class Meta:
        model = Lot
        fields: ClassVar[list[str]] = []

    def by_item(self, rows: QuerySet[Lot], name: str, value: str) -> QuerySet[Lot]:
        """Lots of one item."""
        del name
        return rows.filter(item_id__in=items_of(value).values("item_id"))

    def by_place(self, rows: QuerySet[Lot], name: str, value: str) -> QuerySet[Lot]:
        """Lots that a place holds."""
        del name
        held = Holding.objects.filter(within(value, "place"), lot_id=OuterRef("pk"), quantity__gt=0)
        return rows.filter(Exists(held))

    def by_usable(self, rows: QuerySet[Lot], name: str, value: date) -> QuerySet[Lot]:
        """Lots that serve on a day. One query more: how long a lot lives is no sum that a database can do."""
        del name
        return rows.filter(pk__in=queries.usable_lots(value))

    def by_text(self, rows: QuerySet[Lot], name: str, value: str) -> QuerySet[Lot]:
        """Lot codes, names, codes."""
        del name
        return rows.filter(Q(code__icontains=value) | items_like(value, "item_id"))


class HoldingFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """What lies where."""

    item = filters.CharFilter(method="by_item", max_length=80, help_text="of the item that this code means")
    kind = filters.ChoiceFilter(field_name="lot__item__kind", choices=Kind.choices, help_text="only of this kind of item")
    bench = filters.CharFilter(field_name="lot__bench__code", lookup_expr="iexact", max_length=40, help_text="of the bench of this code")
    place = filters.CharFilter(method="by_place", max_length=MOST_PATH, help_text="in the place of this path, or within it")
    lot = filters.NumberFilter(field_name="lot_id", help_text="of the lot of this id", min_value=1, max_value=2**63 - 1)
    state = filters.ChoiceFilter(field_name="lot__state", choices=State.choices, help_text="of lots of this state")
    search = filters.CharFilter(method="by_text", max_length=MOST_TEXT, help_text=SEARCHED)

    class Meta:
        model = Holding
        fields: ClassVar[list[str]] = []

    def by_item(self, rows: QuerySet[Holding], name: str, value: str) -> QuerySet[Holding]:
        """Of one item."""
        del name
        return rows.filter(lot__item_id__in=items_of(value).values("item_id"))

    def by_place(self, rows: QuerySet[Holding], name: str, value: str) -> QuerySet[Holding]:
        """In one place and those in it."""
        del name
        return rows.filter(within(value, "place"))

    def by_text(self, rows: QuerySet[Holding], name: str, value: str) -> QuerySet[Holding]:
        """Lot codes, names, codes."""
        del name
        return rows.filter(Q(lot__code__icontains=value) | items_like(value, "lot__item_id"))


class MovementFilter(filters.FilterSet):  # type: ignore[misc]  # the library has no types
    """The ledger."""

    lot = filters.NumberFilter(field_name="lot_id", help_text="of the lot of this id", min_value=1, max_value=2**63 - 1)
    item = filters.CharFilter(method="by_item", max_length=80, help_text="of the item that this code means")
    place = filters.CharFilter(method="by_place", max_length=MOST_PATH, help_text="from or to the place of this path, or one within it")
    to = filters.ChoiceFilter(field_name="target__end", choices=End.choices, help_text="into storage, or to an end of the ledger")
    ref = filters.CharFilter(field_name="ref", max_length=60, help_text="of what this reference names")
    since = filters.DateFilter(field_name="on", lookup_expr="gte", help_text="done on this day or later")
    until = filters.DateFilter(field_name="on", lookup_expr="lte", help_text="done on this day or earlier")
    search = filters.CharFilter(method="by_text", max_length=MOST_TEXT, help_text=f"{SEARCHED}, or in the note")

    class Meta:
        model = Movement
        fields: ClassVar[list[str]] = []

    def by_item(self, rows: QuerySet[Movement], name: str, value: str) -> QuerySet[Movement]:
        """Of one item."""
        del name
        return rows.filter(lot__item_id__in=items_of(value).values("item_id"))

    def by_place(self, rows: QuerySet[Movement], name: str, value: str) -> QuerySet[Movement]:
        """From or to one place and those in it."""
        del name
        return rows.filter(within(value, "source") | within(value, "target"))

    def by_text(self, rows: QuerySet[Movement], name: str, value: str) -> QuerySet[Movement]:
        """Notes, lot codes, names, codes."""
        del name
        return rows.filter(Q(note__icontains=value) | Q(lot__code__icontains=value) | items_like(value, "lot__item_id"))
