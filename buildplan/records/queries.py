"""Reads behind a step's page: what it needs, and the lots it would take if it were finished on a day."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from buildplan.plan.models import Finish, Step
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall import trace
from buildplan.shortfall.calc import ItemFacts, Line, Need, Stock, Supply, net
from buildplan.shortfall.demand import StepDay, StepFacts
from buildplan.shortfall.needs import Demand, expand, hanging
from buildplan.shortfall.queries import Stocked
from buildplan.shortfall.reading import Reading, read
from inventory.common.quantities import whole_pieces
from inventory.models import Movement
from inventory.shelflife.calc import of_columns
from inventory.stock.calc import days_to_keep


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


def proposals(step: Step, *, on: date, known: Reading | None = None) -> tuple[Proposal, ...]:
    """What finishing `step` on a day would take: first what is set aside for it, then the lots that expire first.

    Thirteen queries; none where what hangs on the step is `known` already.
    """
    found = known or read([step.pk])
    needs = expand(_alone(step, on), found.hanging.of([step.pk]))
    stock = shortfall.supplies_of(found.stocked, step.project.bench_id, found.items, on)
    holdings = _holdings(found.stocked)
    proposed = (_proposal(found.items[item], of, stock.get(item, []), holdings, on) for item, of in needs.items())
    return tuple(sorted(proposed, key=lambda proposal: proposal.item.code))


def needed(step: Step, *, on: date, known: Reading | None = None) -> tuple[tuple[ItemFacts, list[Need]], ...]:
    """What a step takes, done or not, by item, without a look at the stock. Seven queries; none where it is `known` already."""
    hangs = known.hanging.of([step.pk]) if known else hanging([step.pk])
    items = known.items if known else shortfall.items(hangs.items())
    found = expand(replace(_alone(step, on), mixed=False), hangs)
    return tuple(sorted(((items[item], sorted(needs)) for item, needs in found.items()), key=lambda pair: pair[0].code))


@dataclass(frozen=True, slots=True)
class Usable:
    """A lot that a step may take from on a day: what of it is free or held for this step, and the last day on which it serves."""

    item: int
    label: str
    quantity: Decimal
    serves_until: date


def usable(step: Step, wanted: Collection[int], *, on: date, known: Reading | None = None) -> tuple[Usable, ...]:
    """The lots on hand that a step may take from on a day, of these items. Seven queries; none where what hangs on it is `known`."""
    items = known.items if known else shortfall.items(wanted)
    stocked = known.stocked if known else shortfall.stocked_of(wanted)
    found = shortfall.supplies_of(stocked, step.project.bench_id, items, on)
    return tuple(lot for item in wanted for lot in _usable(step, items[item], found.get(item, ()), on))


def _usable(step: Step, item: ItemFacts, supplies: Sequence[Supply], on: date) -> Iterator[Usable]:
    labels = labelled(supplies)
    for supply in supplies:
        stock = Stock(supply, item.rule.min_life_days)
        there = stock.free + (stock.held or {}).get(step.pk, Decimal(0))
        if supply.on_hand and supply.blocked is None and there and stock.serves(on):
            yield Usable(item.id, labels[supply.key], there, stock.serves_until)


def labelled(supplies: Sequence[Supply]) -> dict[int, str]:
    """Each by its code; with its place where that isn't one lot's alone, and with its number where even that isn't."""
    codes = Counter(supply.code for supply in supplies)
    named = {supply.key: supply.code if supply.code and codes[supply.code] == 1 else trace.name(supply) for supply in supplies}
    names = Counter(named.values())
    return {key: name if names[name] == 1 else f"{name}, no. {key}" for key, name in named.items()}


def _alone(step: Step, on: date) -> Demand:
    """The demand of one step, as if it were the only one and its day were `on`: who finishes it now is served first."""
    facts = StepFacts(step.pk, step.code, (0, step.position), on, done=False)
    days = {step.pk: StepDay(on, "finished on this day", on)}
    return Demand({"step": step}, {step.pk: facts}, days, days, on, alone=True, uncut=False)


def _holdings(stocked: Stocked) -> dict[int, list[tuple[int, str, Decimal]]]:
    """Where each lot lies: place, path and quantity, by path."""
    found: dict[int, list[tuple[int, str, Decimal]]] = defaultdict(list)
    for lot, *_, quantity, place in (row[:7] for row in stocked.held):
        found[lot].append((place, stocked.paths[place], quantity))
    return found


def _proposal(
    item: ItemFacts,
    needs: Sequence[Need],
    supplies: Sequence[Supply],
    holdings: Mapping[int, Sequence[tuple[int, str, Decimal]]],
    on: date,
) -> Proposal:
    line = net(item, needs, [supply for supply in supplies if supply.on_hand], as_of=on, receiving_days=0)
    taken: dict[int, Decimal] = defaultdict(Decimal)
    for _, supply, quantity in line.served:  # a step may need an item more than once, for rows, seams and a call-out
        taken[supply.key] += quantity
    usable = [supply for supply in supplies if supply.on_hand and supply.blocked is None and _alive(supply, item, on)]
    usable.sort(key=lambda supply: (supply.key not in taken, supply.ending.last_day if supply.ending else date.max, supply.code))
    choices = [] if item.returned else [choice for supply in usable for choice in _choices(supply, item.unit, taken, holdings)]
    return Proposal(item, line.needed, line, tuple(choices))


def _alive(supply: Supply, item: ItemFacts, on: date) -> bool:
    ending = supply.ending
    return ending is None or (ending.last_day - on).days >= days_to_keep(ending, item.rule.min_life_days)


def _choices(
    supply: Supply,
    unit: str,
    taken: Mapping[int, Decimal],
    holdings: Mapping[int, Sequence[tuple[int, str, Decimal]]],
) -> list[Choice]:
    """A lot's places in the order of their paths; the proposal empties one before it starts on the next. Half a piece takes a whole one."""
    left = whole_pieces(taken.get(supply.key, Decimal(0)), unit)
    until = supply.ending.source if supply.ending else "no end of life recorded"
    choices = []
    for place, path, there in holdings.get(supply.key, ()):
        proposed = min(left, there)
        left -= proposed
        choices.append(Choice(supply.key, supply.code, place, path, there, proposed, until))
    return choices


@dataclass(frozen=True, slots=True)
class Took:
    """What a finished step took of a lot."""

    lot: int
    lot_code: str
    item: str
    name: str
    unit: str
    quantity: Decimal
    path: str
    by: str
    at: datetime
    undone_on: date | None
    made_on: date | None = None
    made_as: str = ""
    expires_on: date | None = None
    expires_as: str = ""

    @property
    def dates(self) -> str:
        """What the lot's label states, in words; nothing where it states nothing."""
        made, expires = of_columns(self.made_on, self.made_as), of_columns(self.expires_on, self.expires_as)
        return ", ".join(f"{word} {date}" for word, date in (("made", made), ("expires", expires)) if date)


@dataclass(frozen=True, slots=True)
class Finished:
    """How a step was finished here, with the movements that it made, the first first."""

    finish: Finish
    movements: tuple[Took, ...]


_TOOK = (
    *("lot_id", "lot__code", "lot__item__code", "lot__item__name", "lot__item__unit", "quantity", "source__path"),
    *("by__name", "at", "reversed_by__on"),
    *("lot__made_on", "lot__made_as", "lot__expires_on", "lot__expires_as"),
)


def finishes(step: Step) -> tuple[Finish, ...]:
    """All finishes of a step, what was taken back too, the first first. One query."""
    return tuple(Finish.objects.filter(step=step).select_related("by", "taken_back_by").order_by("pk"))


def finished(found: Iterable[Finish]) -> Finished | None:
    """Of a step's finishes the one that stands, None where it wasn't finished here. One query."""
    finish = next((one for one in found if one.taken_back_at is None), None)
    if finish is None:
        return None
    rows = Movement.objects.filter(ref=finish.ref, reverses=None).order_by("pk").values_list(*_TOOK)
    return Finished(finish, tuple(Took(*row) for row in rows))


def taken_back(found: Sequence[Finish]) -> tuple[Finish, ...]:
    """Of a step's finishes those that were taken back, the latest first. No query."""
    return tuple(one for one in reversed(found) if one.taken_back_at is not None)
