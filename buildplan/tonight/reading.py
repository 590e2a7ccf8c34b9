"""What the database says of the steps that might be done this evening: a fixed number of queries, however many they are."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone

from buildplan.plan.models import Project, Step
from buildplan.sealday.models import SealDay
from buildplan.sealday.planning import Cured, cures
from buildplan.sealday.reading import NearDays
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import ItemFacts, Need, Supply
from buildplan.shortfall.demand import StepDay
from buildplan.shortfall.needs import Demand, expand
from buildplan.shortfall.queries import Stocked
from buildplan.shortfall.reading import Plans, Reading, stuck
from inventory.pool import queries as pool
from inventory.pool.queries import Out, Promise

# How many steps are looked at, those that count first: of those that wait for others, and of the rest. Starting values of ours.
LOOK, FIRST = 30, 300
TONIGHT = "tonight"
Needs = Mapping[int, Mapping[int, list[Need]]]


@dataclass(frozen=True, slots=True)
class Sealed:
    """The seal days that are open or may still cure: which step is of which open day, and what is wet until when."""

    days: Mapping[int, SealDay]
    with_it: Mapping[int, frozenset[int]]
    wet: Mapping[int, Sequence[Cured]]


@dataclass(frozen=True, slots=True)
class Lying:
    """What one place holds of a lot of a bench, which may be a shared one. `hands`: it is lent, and this is where."""

    place_id: int
    path: str
    quantity: Decimal
    bench_id: int
    shared: bool
    hands: bool
    good: bool


@dataclass(frozen=True, slots=True)
class Shelves:
    """What there is of the wanted items, by bench and item; where each lot lies; what is lent, and what is booked from today on."""

    items: Mapping[int, ItemFacts]
    sealants: frozenset[int]
    supplies: Mapping[int, Mapping[int, Sequence[Supply]]]
    lots: Mapping[int, Sequence[int]]
    lying: Mapping[int, Sequence[Lying]]
    shared: frozenset[str]
    loans: Mapping[int, Sequence[Out]]
    bookings: Mapping[int, Sequence[Promise]]


@dataclass(frozen=True, slots=True)
class Wants:
    """What each step takes, by step and item; `held` is what done steps still hold, by bench and item. `faults` are of seams, by step."""

    needs: Needs
    held: Mapping[tuple[int, int], Sequence[Need]]
    faults: Mapping[int, Sequence[str]]


def looked_at(found: Plans, project: Project | None) -> tuple[list[int], int]:
    """The steps to be judged, in plan order, and how many more there are.

    Those that nothing has to be done before, and some that wait for others: of both the ones that count first.
    """
    at = None if project is None else next(at for at, one in enumerate(found.projects) if one.pk == project.pk)
    to_do = [pk for pk, step in found.steps.items() if not step.done and at in {None, step.order[0]}]
    to_do.sort(key=lambda pk: (found.every[pk].day if pk in found.every else date.max, found.steps[pk].order))
    waiting = [pk for pk in to_do if found.waits_for(pk)]
    behind = set(waiting)
    chosen = [*[pk for pk in to_do if pk not in behind][:FIRST], *waiting[:LOOK]]
    return sorted(chosen, key=lambda pk: found.steps[pk].order), len(to_do) - len(chosen)


def wants(found: Plans, chosen: Collection[int], today: date, read: Reading | None = None) -> Wants:
    """What some steps take if they are done today, and what is held by others. At most ten queries; three where all of it was read."""
    ids = {*chosen, *(pk for pk in _stuck(read) if pk in found.steps)}
    days = {pk: StepDay(today, TONIGHT, today) for pk in chosen}
    demand = Demand({"step__in": ids}, found.steps, days, found.every, today, alone=True)
    needs: dict[int, dict[int, list[Need]]] = defaultdict(lambda: defaultdict(list))
    held: dict[tuple[int, int], list[Need]] = defaultdict(list)
    for item, of in expand(demand, read.hanging.of(ids) if read and ids <= read.steps else None).items():
        for need in of:
            if need.step in days:
                needs[need.step][item].append(need)
            else:
                held[found.projects[need.order[0]].bench_id, item].append(need)
    faults = {pk: [fault for fault in demand.left_out if f" of {found.steps[pk].label}, " in fault] for pk in chosen}
    return Wants(needs, held, faults)


def shelves(found: Plans, wanted: Wants, chosen: Iterable[int], today: date, read: Reading | None = None) -> Shelves:
    """What there is of all that these steps take. At most fifteen queries; seven less where all of it was read."""
    ids = {item for of in wanted.needs.values() for item in of}
    items, stocked = _stock(ids, read)
    benches = {found.projects[found.steps[pk].order[0]].bench_id for pk in chosen}
    returned = any(items[pk].returned for pk in ids)
    loans: dict[int, list[Out]] = defaultdict(list)
    for out in pool.loans() if returned else ():
        loans[out.item_id].append(out)
    bookings: dict[int, list[Promise]] = defaultdict(list)
    for promise in pool.bookings(first=today, last=date.max) if returned else ():
        if not promise.waiting:
            bookings[promise.item_id].append(promise)
    lots, lying = _lying(stocked)
    return Shelves(
        items=items,
        sealants=frozenset(pk for pk, item in items.items() if item.sealant),
        supplies={bench: shortfall.supplies_of(stocked, bench, items, today) for bench in benches},
        lots=lots,
        lying=lying,
        shared=frozenset(stocked.shared.values()),
        loans=loans,
        bookings=bookings,
    )


def _stuck(read: Reading | None) -> Collection[int]:
    return stuck() if read is None or read.stuck is None else read.stuck


def _stock(wanted: Collection[int], read: Reading | None) -> tuple[Mapping[int, ItemFacts], Stocked]:
    """What was read may hold more; it holds less where blanks are to be cut, which hang on no step."""
    if read is not None and read.items.keys() >= set(wanted):
        return read.items, read.stocked
    return shortfall.items(wanted), shortfall.stocked_of(wanted)


def _lying(stocked: Stocked) -> tuple[dict[int, list[int]], dict[int, list[Lying]]]:
    """The lots of each item, and where each of them lies, by path."""
    lots: dict[int, list[int]] = defaultdict(list)
    lying: dict[int, list[Lying]] = defaultdict(list)
    for lot, item, bench, _, state, quantity, place, *_ in stocked.held:
        if lot not in lying:
            lots[item].append(lot)
        shared, hands = bench in stocked.shared, place in stocked.hands
        lying[lot].append(Lying(place, stocked.paths[place], quantity, bench, shared, hands, state == "good"))
    return lots, lying


def sealed(found: NearDays, now: datetime) -> Sealed:
    """Seal days and cures, from what was read of them. No query."""
    if (facts := found.facts) is None:
        return Sealed({}, {}, {})
    with_it = {day: frozenset(row.step_id for row in rows) for day, rows in facts.steps.items()}
    wet: dict[int, list[Cured]] = defaultdict(list)
    for one in cures(facts):
        for step in one.steps if one.at > now else ():
            wet[step].append(one)
    open_days = {step: day for day in facts.days if day.open for step in with_it.get(day.pk, ())}
    return Sealed(open_days, with_it, wet)


def local(at: datetime) -> datetime:
    """A moment by the workshop's clock."""
    return timezone.localtime(at)


def rows_of(steps: Collection[int]) -> dict[int, Step]:
    """The steps with what a page shows of them. One query."""
    return Step.objects.select_related("project__bench", "section").in_bulk(steps)
