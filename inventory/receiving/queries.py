"""Reads of what is still to come."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q

from inventory.catalogue.models import DYING, Item
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.shelflife.calc import StatedDate, of_columns
from inventory.workshop.models import Bench


@dataclass(frozen=True, slots=True)
class InTransit:
    """A packing line with something still to come. Quantities are in `unit`; the dates are as the packing list states them.

    Once its crate is here (`arrived_on`) it is to be counted, rather than to come.
    """

    line_id: int
    crate_id: int
    crate: str
    bench: str
    ordered_on: date | None
    due_on: date | None
    arrived_on: date | None
    bag: str
    number: str
    item_id: int
    item: str
    name: str
    unit: str
    quantity: Decimal
    still_open: Decimal
    lot: str
    made: StatedDate | None
    expires: StatedDate | None


_COLUMNS = (
    *("pk", "crate_id", "crate__code", "crate__bench__code", "crate__ordered_on", "crate__due_on", "crate__arrived_on"),
    *("bag__path", "number"),
    *("item_id", "item__code", "item__name", "item__unit", "quantity", "open_quantity", "lot_code"),
    *("made_on", "made_as", "expires_on", "expires_as"),
)


def in_transit(*, bench: Bench | None = None, item: Item | None = None, crate: Crate | None = None) -> list[InTransit]:
    """What is still to come to the workshop in scope: to one bench, of one item, in one crate. One query.

    By due day (crates without one last), then crate, bag and line.
    """
    named = {"crate__bench": bench, "item": item, "crate": crate}
    rows = PackingLine.objects.filter(open_quantity__gt=0, **{name: row for name, row in named.items() if row is not None})
    found = [_in_transit(*row) for row in rows.values_list(*_COLUMNS)]
    return sorted(found, key=lambda line: (line.due_on or date.max, line.crate, line.bag, line.line_id))


def _in_transit(*row: Any) -> InTransit:
    line_id, crate_id, crate, bench, ordered_on, due_on, arrived_on, bag, number, *rest = row
    item_id, item, name, unit, quantity, still_open, lot, made_on, made_as, expires_on, expires_as = rest
    made = of_columns(made_on, made_as)
    expires = of_columns(expires_on, expires_as)
    where = (line_id, crate_id, crate, bench, ordered_on, due_on, arrived_on, bag or "", number)  # a line may lie in no bag
    return InTransit(*where, item_id, item, name, unit, quantity, still_open, lot, made, expires)


@dataclass(frozen=True, slots=True)
class Found:
    """What was counted of a line: good, damaged, wrong. `left` is still looked for, or `short` once its bag is counted to the end."""

    good: Decimal
    damaged: Decimal
    wrong: Decimal
    left: Decimal
    short: Decimal

    @property
    def counted(self) -> bool:
        """Whether it is counted, or looked for no more: then it is put away as counted, not taken in as listed."""
        return bool(self.good or self.damaged or self.wrong or self.short)


@dataclass(frozen=True, slots=True)
class CrateRow:
    """A crate with how many of its lines are still open."""

    id: int
    code: str
    bench: str
    ordered_on: date | None
    due_on: date | None
    arrived_on: date | None
    lines: int
    open_lines: int


def crates() -> list[CrateRow]:
    """The crates of the workshop in scope that something is still to come of, by due day (none last), then code. One query."""
    counted = Crate.objects.annotate(all_lines=Count("lines"), open_lines=Count("lines", filter=Q(lines__open_quantity__gt=0)))
    columns = ("id", "code", "bench__code", "ordered_on", "due_on", "arrived_on", "all_lines", "open_lines")
    rows = [CrateRow(*row) for row in counted.filter(open_lines__gt=0).values_list(*columns)]
    return sorted(rows, key=lambda crate: (crate.due_on or date.max, crate.code))


MOST_RECEIVED = 30


@dataclass(frozen=True, slots=True)
class ReceivedRow:
    """A crate that nothing is still to come of."""

    id: int
    code: str
    bench: str
    closed_on: date | None
    lines: int


def received() -> list[ReceivedRow]:
    """The crates that nothing is still to come of, or whose counting is closed: the newest thirty. One query."""
    counted = Crate.objects.annotate(all_lines=Count("lines"), open_lines=Count("lines", filter=Q(lines__open_quantity__gt=0)))
    rows = counted.filter(all_lines__gt=0, open_lines=0).order_by("-pk")[:MOST_RECEIVED]
    return [ReceivedRow(*row) for row in rows.values_list("id", "code", "bench__code", "closed_on", "all_lines")]


def packing_list(crate: Crate) -> list[InTransit]:
    """Every line of a crate, open or not, by bag and line. One query."""
    rows = PackingLine.objects.filter(crate=crate).values_list(*_COLUMNS)
    return sorted((_in_transit(*row) for row in rows), key=lambda line: (line.bag, line.line_id))


def packing_line(line: PackingLine) -> InTransit:
    """One line as lists show it. One query."""
    return _in_transit(*PackingLine.objects.filter(pk=line.pk).values_list(*_COLUMNS).get())


def lines_in(bag: Bag) -> list[PackingLine]:
    """The lines of a bag and of the bags in it. One query."""
    inside = Q(bag=bag) | Q(bag__crate=bag.crate_id, bag__path__startswith=f"{bag.path}/")
    return list(PackingLine.objects.filter(inside))


def undated(crate: Crate) -> int:
    """How many open lines are of items that die, while the list states no date: nobody knows their life until it is read. One query."""
    dying = Q(item__kind__in=DYING) | Q(item__life_months__isnull=False)
    return PackingLine.objects.filter(dying, crate=crate, open_quantity__gt=0, made_on=None, expires_on=None).count()
