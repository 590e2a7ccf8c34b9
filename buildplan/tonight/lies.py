"""Where the things of a step lie: lot by lot, place by place. Reads nothing."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from buildplan.shortfall.calc import Served, Stock
from buildplan.tonight.desk import NOTHING, Desk, on_hand
from buildplan.tonight.reading import Lying
from inventory.models import Bench

DIGITS = re.compile(r"(\d+)")


@dataclass(frozen=True, slots=True)
class Lies:
    """What to take of one lot from one place."""

    lot_id: int
    lot: str
    place_id: int
    path: str
    quantity: Decimal


def walk_order(path: str) -> list[tuple[int, int, str]]:
    """Paths as one walks along the shelves: drawer 2 comes before drawer 10."""
    return [(0, int(part), "") if part.isdigit() and part.isascii() else (1, 0, part.casefold()) for part in DIGITS.split(path) if part]


def used(desk: Desk, served: Iterable[Served]) -> Iterator[Lies]:
    """What netting takes of each lot, one place emptied before the next."""
    taken: dict[tuple[int, str], Decimal] = defaultdict(Decimal)
    for _, supply, quantity in served:
        taken[supply.key, supply.code] += quantity
    for (lot, code), quantity in taken.items():
        places = ((one, one.quantity) for one in desk.shelves.lying.get(lot, ()) if not one.hands)
        yield from _from_places(lot, code, places, quantity)


def _from_places(lot: int, code: str, places: Iterable[tuple[Lying, Decimal]], wanted: Decimal) -> Iterator[Lies]:
    left = wanted
    for one, there in places:
        took = min(left, there)
        left -= took
        if took:
            yield Lies(lot, code, one.place_id, one.path, took)


def carried(desk: Desk, bench: Bench, item: int, wanted: Decimal) -> tuple[Lies, ...]:
    """Where so many of a thing that comes back are: what is lent to the bench first, then its own, then the pool's."""
    left, found = wanted, []
    for _, one in sorted(_carriable(desk, bench, item), key=lambda pair: (pair[0], walk_order(pair[1].path), pair[1].lot)):
        took = min(left, one.quantity)
        left -= took
        if took:
            found.append(Lies(one.lot_id, one.lot, one.place_id, one.path, took))
    return tuple(found)


def _carriable(desk: Desk, bench: Bench, item: int) -> Iterator[tuple[int, Lies]]:
    """All that the bench may carry off, each with its rank."""
    lent = {(out.lot_id, out.place): out.open for out in desk.loans(bench, item, to_us=True)}
    for lot, code in _usable(desk, bench, item).items():
        for one in desk.shelves.lying.get(lot, ()):
            quantity = min(one.quantity, lent.get((lot, one.path), NOTHING)) if one.hands else one.quantity
            if quantity and (one.hands or one.shared or one.bench_id == bench.pk):
                rank = 0 if one.hands else 1 if one.bench_id == bench.pk else 2
                yield rank, Lies(lot, code, one.place_id, one.path, quantity)


def _usable(desk: Desk, bench: Bench, item: int) -> dict[int, str]:
    rule = desk.shelves.items[item].rule
    supplies = (supply for supply in on_hand(desk.supplies(bench, item)) if supply.blocked is None)
    return {supply.key: supply.code for supply in supplies if Stock(supply, rule.min_life_days).serves(desk.today)}


def pool_of(desk: Desk, item: int) -> Decimal:
    """What lies with the pool and isn't lent: what others may have booked."""
    rows = (one for lot in desk.shelves.lots.get(item, ()) for one in desk.shelves.lying[lot])
    return sum((one.quantity for one in rows if one.shared and one.good and not one.hands), NOTHING)
