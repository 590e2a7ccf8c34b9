"""What lies on a bench's shelves and no plan of that bench needs: what could be offered, and whom to ask."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.plan.models import Project
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import ItemFacts, Need, Served, Stock, Supply, draw
from buildplan.shortfall.needs import expand
from inventory.common.fields import plain
from inventory.common.problems import NotHere
from inventory.common.reasons import Reason
from inventory.models import Bench, Lot, Member

NETTED = "netting of all steps not done, with a day or without"
MOST_STEPS = 5  # named in a reason


@dataclass(frozen=True, slots=True)
class Spare:
    """What of a lot nobody needs, in `unit`, with why. `until` is what ends its life, blank where nothing does."""

    lot_id: int
    lot: str
    item: str
    name: str
    unit: str
    where: str
    there: Decimal
    spare: Decimal
    until: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Surplus:
    """The surplus of a bench by item, what expires first first. `left_out` are seams that can't be reckoned: they may need some of it."""

    bench: Bench
    as_of: date
    spares: tuple[Spare, ...]
    left_out: tuple[str, ...]


def bench_asked(code: str, benches: Sequence[Bench], member: Member) -> Bench | None:
    """The bench of a code, in any case; without one the member's own, else the first. A code that no bench has is a 404."""
    if not code:
        held = set(member.benches.values_list("bench_id", flat=True))
        return next((bench for bench in benches if bench.pk in held), benches[0] if benches else None)
    found = next((bench for bench in benches if bench.code.upper() == code.strip().upper()), None)
    if found is None:
        known = ", ".join(bench.code for bench in benches)
        raise NotHere(f"no bench {code} here: the benches are {known}")
    return found


def surplus(bench: Bench, *, as_of: date) -> Surplus:
    """What of a bench's own usable stock is neither needed by its plans nor set aside. Nineteen queries at most.

    All its projects are netted together, as the order sheet does. What comes back after a step isn't listed: the pool lends that.
    """
    items = {pk: item for pk, item in shortfall.items().items() if not item.returned}
    demand = shortfall.demand_of(list(Project.objects.filter(bench=bench).order_by("pk")), items, as_of=as_of)
    needs = expand(demand)
    own = frozenset(Lot.objects.filter(bench=bench).values_list("pk", flat=True))
    supplies = shortfall.stock(bench, items, items, as_of)
    found = (
        spare
        for pk, of in supplies.items()
        if own.intersection(supply.key for supply in of)
        for spare in spares(items[pk], needs.get(pk, ()), of, own, as_of)
    )
    return Surplus(bench, as_of, tuple(sorted(found, key=lambda spare: spare.item)), tuple(demand.left_out))


def spares(item: ItemFacts, needs: Sequence[Need], supplies: Iterable[Supply], own: frozenset[int], as_of: date) -> Iterator[Spare]:
    """What the needs of an item leave of the lots of `own`, and nobody holds. Pure."""
    stocks = [Stock(supply, item.rule.min_life_days) for supply in supplies]
    taken: dict[int, list[Served]] = defaultdict(list)
    for served in draw(needs, stocks):
        taken[served[1].key].append(served)
    for stock in sorted(stocks, key=lambda one: one.serves_until):
        supply = stock.supply
        if supply.key in own and supply.blocked is None and stock.free and stock.serves(as_of):
            yield Spare(
                lot_id=supply.key,
                lot=supply.code,
                item=item.code,
                name=item.name,
                unit=item.unit,
                where=supply.where,
                there=supply.quantity,
                spare=stock.free,
                until=supply.ending.source if supply.ending else "",
                reasons=tuple(_reasons(item, stock, taken[supply.key])),
            )


def _reasons(item: ItemFacts, stock: Stock, taken: Sequence[Served]) -> Iterator[Reason]:
    supply, unit = stock.supply, item.unit
    yield Reason(f"{plain(supply.quantity)} {unit} on hand in {supply.where}", "the ledger")
    if taken:
        total = sum((quantity for _, _, quantity in taken), Decimal(0))
        steps = list(dict.fromkeys(need.label for need, _, _ in taken))
        more = f" and {len(steps) - MOST_STEPS} more" if len(steps) > MOST_STEPS else ""
        yield Reason(f"{plain(total)} {unit} of it for {', '.join(steps[:MOST_STEPS])}{more}", NETTED)
    if held := sum((stock.held or {}).values(), Decimal(0)):
        yield Reason(f"{plain(held)} {unit} more of it are set aside", "set-asides of steps")
    yield Reason(f"{plain(stock.free)} {unit} are left", NETTED)
