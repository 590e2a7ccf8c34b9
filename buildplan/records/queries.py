"""Reads behind a step's page: what it needs, and the lots it would take if it were finished on a day."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.plan.models import Step
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import ItemFacts, Line, Need, Supply, net
from inventory.models import Holding


@dataclass(frozen=True, slots=True)
class Choice:
    """One lot in one place that the step may take from, with what netting proposes of it."""

    lot: int
    lot_code: str
    place: int
    path: str
    there: Decimal
    proposed: Decimal
    until: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a step takes of one item. `line.short` is what no usable lot covers on that day."""

    item: ItemFacts
    needed: Decimal
    line: Line
    choices: tuple[Choice, ...]


def proposals(step: Step, *, on: date) -> tuple[Proposal, ...]:
    """What finishing `step` on a day would take: first what is set aside for it, then the lots that expire first. Eight queries."""
    bench = step.project.bench
    items = shortfall.items()
    needs = {
        item: [Need(on, (0, step.position), step.pk, step.code, quantity, "finished on this day", rounding)]
        for item, quantity, rounding in step.call_outs.order_by("item__code").values_list("item_id", "quantity", "rounding")
    }
    stock = shortfall.stock(bench, items, needs, on)
    holdings = _holdings(needs)
    return tuple(_proposal(items[item], found, stock.get(item, []), holdings, on) for item, found in needs.items())


def _holdings(items: Mapping[int, Sequence[Need]]) -> dict[int, list[tuple[int, str, Decimal]]]:
    """Where each lot of these items lies: place, path and quantity, by lot."""
    found: dict[int, list[tuple[int, str, Decimal]]] = defaultdict(list)
    rows = Holding.objects.filter(lot__item__in=items, quantity__gt=0).order_by("place__path")
    for lot, place, path, quantity in rows.values_list("lot_id", "place_id", "place__path", "quantity"):
        found[lot].append((place, path, quantity))
    return found


def _proposal(
    item: ItemFacts,
    needs: Sequence[Need],
    supplies: Sequence[Supply],
    holdings: Mapping[int, Sequence[tuple[int, str, Decimal]]],
    on: date,
) -> Proposal:
    line = net(item, needs, [supply for supply in supplies if supply.on_hand], as_of=on, receiving_days=0)
    taken = {supply.key: quantity for _, supply, quantity in line.served}
    usable = [supply for supply in supplies if supply.on_hand and supply.blocked is None and _alive(supply, item, on)]
    usable.sort(key=lambda supply: (supply.key not in taken, supply.ending.last_day if supply.ending else date.max, supply.code))
    choices = [] if item.returned else [choice for supply in usable for choice in _choices(supply, taken, holdings)]
    return Proposal(item, line.needed, line, tuple(choices))


def _alive(supply: Supply, item: ItemFacts, on: date) -> bool:
    return supply.ending is None or (supply.ending.last_day - on).days >= item.min_life_days


def _choices(
    supply: Supply,
    taken: Mapping[int, Decimal],
    holdings: Mapping[int, Sequence[tuple[int, str, Decimal]]],
) -> list[Choice]:
    """A lot's places in the order of their paths; the proposal empties one before it starts on the next."""
    left = taken.get(supply.key, Decimal(0))
    until = supply.ending.source if supply.ending else "no end of life recorded"
    choices = []
    for place, path, there in holdings.get(supply.key, ()):
        proposed = min(left, there)
        left -= proposed
        choices.append(Choice(supply.key, supply.code, place, path, there, proposed, until))
    return choices
