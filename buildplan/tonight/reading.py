"""What the database says of the steps that might be done this evening: a fixed number of queries, however many they are."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Q
from django.utils import timezone

from buildplan.hardware.models import RivetRow
from buildplan.plan.models import Project, Step, StepAfter
from buildplan.sealday.models import SealDay
from buildplan.sealday.planning import Cured, cures
from buildplan.sealday.reading import MOST_CURE, Facts, read_mixing
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import ItemFacts, Need, Supply
from buildplan.shortfall.demand import StepDay, StepFacts
from buildplan.shortfall.needs import Demand, expand
from inventory.catalogue.models import Kind
from inventory.models import Bench, Holding, Item
from inventory.pool import queries as pool
from inventory.pool.queries import Out, Promise

# How many steps are looked at, those that count first: of those that wait for others, and of the rest. Starting values of ours.
LOOK, FIRST = 30, 300
TONIGHT = "tonight"
Needs = Mapping[int, Mapping[int, list[Need]]]


@dataclass(frozen=True, slots=True)
class Plans:
    """All plans of the workshop. `steps` are labelled by project where there are several; `every` is the day on which each counts.

    `after` says whom a step comes after.
    """

    projects: Sequence[Project]
    steps: Mapping[int, StepFacts]
    every: Mapping[int, StepDay]
    after: Mapping[int, Sequence[int]]

    def waits_for(self, step: int) -> list[int]:
        """The steps not done that a step comes after, in plan order."""
        return sorted((one for one in self.after.get(step, ()) if not self.steps[one].done), key=lambda one: self.steps[one].order)

    def sealed_before(self, step: int) -> Iterator[int]:
        """What a step comes after, through steps that are done as far back as they go; an undone one ends the chain."""
        left, seen = list(self.after.get(step, ())), set()
        while left:
            one = left.pop()
            if one not in seen:
                seen.add(one)
                yield one
                left.extend(self.after.get(one, ()) if self.steps[one].done else ())


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


def plans(today: date) -> Plans:
    """Every plan. Four queries."""
    projects = list(Project.objects.select_related("bench__workshop").order_by("code"))
    demand = shortfall.demand_of(projects, (), as_of=today)
    after: dict[int, list[int]] = defaultdict(list)
    for step, first in StepAfter.objects.filter(step__project__in=projects).values_list("step_id", "after_id"):
        after[step].append(first)
    return Plans(projects, _labelled(projects, demand.steps), demand.every, after)


def _labelled(projects: Sequence[Project], steps: Mapping[int, StepFacts]) -> Mapping[int, StepFacts]:
    if len(projects) == 1:
        return steps
    return {pk: step._replace(label=f"{projects[step.order[0]].code}:{step.label}") for pk, step in steps.items()}


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


def wants(found: Plans, chosen: Collection[int], today: date) -> Wants:
    """What some steps take if they are done today, and what is held by others. Seven queries."""
    stuck = RivetRow.objects.filter(step__done=True, clecos_until__done=False).values_list("step_id", flat=True)
    ids = {*chosen, *(pk for pk in stuck if pk in found.steps)}
    days = {pk: StepDay(today, TONIGHT, today) for pk in chosen}
    demand = Demand({"step__in": ids}, found.steps, days, found.every, today, alone=True)
    needs: dict[int, dict[int, list[Need]]] = defaultdict(lambda: defaultdict(list))
    held: dict[tuple[int, int], list[Need]] = defaultdict(list)
    for item, of in expand(demand).items():
        for need in of:
            if need.step in days:
                needs[need.step][item].append(need)
            else:
                held[found.projects[need.order[0]].bench_id, item].append(need)
    faults = {pk: [fault for fault in demand.left_out if f" of {found.steps[pk].label}, " in fault] for pk in chosen}
    return Wants(needs, held, faults)


def shelves(found: Plans, wanted: Wants, chosen: Iterable[int], today: date) -> Shelves:
    """What there is of all that these steps take. At most eighteen queries."""
    ids = {item for of in wanted.needs.values() for item in of}
    items = shortfall.items(ids)
    benches = {found.projects[found.steps[pk].order[0]].bench_id for pk in chosen}
    returned = {pk for pk, item in items.items() if item.returned}
    loans: dict[int, list[Out]] = defaultdict(list)
    for out in pool.loans() if returned else ():
        loans[out.item_id].append(out)
    bookings: dict[int, list[Promise]] = defaultdict(list)
    for promise in pool.bookings(first=today, last=date.max) if returned else ():
        if not promise.waiting:
            bookings[promise.item_id].append(promise)
    lots, lying = _lying(ids)
    return Shelves(
        items=items,
        sealants=frozenset(Item.objects.filter(pk__in=ids, kind=Kind.SEALANT).values_list("pk", flat=True)),
        supplies=shortfall.stocks_of(benches, items, today),
        lots=lots,
        lying=lying,
        shared=frozenset(Bench.objects.filter(shared=True).values_list("code", flat=True)),
        loans=loans,
        bookings=bookings,
    )


def _lying(items: Collection[int]) -> tuple[dict[int, list[int]], dict[int, list[Lying]]]:
    rows = Holding.objects.filter(lot__item__in=items, quantity__gt=0).order_by("place__path", "lot_id")
    lots: dict[int, list[int]] = defaultdict(list)
    lying: dict[int, list[Lying]] = defaultdict(list)
    columns = ("lot_id", "lot__item_id", "place_id", "place__path", "quantity", "lot__bench_id", "lot__bench__shared")
    for lot, item, place, path, quantity, bench, shared, hands, state in rows.values_list(*columns, "place__hands_id", "lot__state"):
        if lot not in lying:
            lots[item].append(lot)
        lying[lot].append(Lying(place, path, quantity, bench, shared, hands is not None, state == "good"))
    return lots, lying


def sealed(today: date, now: datetime) -> Sealed:
    """Seal days and cures. Eleven queries at most, one where there is none."""
    since = today - min(MOST_CURE, today - date.min)
    which = Q(closed_at=None) | Q(on__gte=since)
    days = list(SealDay.objects.filter(which, called_off_at=None).select_related("bench").order_by("on", "pk"))
    if not days:
        return Sealed({}, {}, {})
    return _sealed(read_mixing(days), now)


def _sealed(facts: Facts, now: datetime) -> Sealed:
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
