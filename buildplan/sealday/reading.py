"""What the database says of a bench's seal days up to one: read in a fixed number of queries, whatever the size of plan and stock."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Protocol, TypeVar

from django.db.models import Q

from buildplan.hardware.models import RivetRow
from buildplan.plan.models import CallOut, Project, Step
from buildplan.sealday.models import DayCheck, DayMix, DayPerson, DayProduct, DayStep, SealDay
from buildplan.sealing import supplies
from buildplan.sealing.models import SealingSupply, Seam
from buildplan.sealing.queries import MixRow, mixed_grams, mixes
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import ItemFacts, Need, Supply
from buildplan.shortfall.demand import StepDay, StepFacts
from buildplan.shortfall.needs import expand
from inventory.catalogue.models import Kind
from inventory.models import Holding, Item
from inventory.shelflife.keeping import kept_lots, storages

MOST_CURE = timedelta(days=60)  # ours: no sealant cures longer, so days over before that hold nothing up


@dataclass(frozen=True, slots=True)
class Lying:
    """What one place holds of a lot, in the item's stock unit. `warm` says what it lay through there; blank where nothing is known."""

    place_id: int
    path: str
    quantity: Decimal
    warm: str


@dataclass(frozen=True, slots=True)
class Facts:
    """The seal days of a bench through the one asked for, the earliest first, and what they and the plans of that bench say.

    `steps`, `people` and `mixes` are by day, steps in plan order; `data` by day and item; `seams` and `call_outs` of sealants by step.
    `needs` are what all steps not done of the bench's projects need of these sealants; `supplies` what there is of them.
    `planned` are the days on which all steps not done count, `afters` the pairs (step, the step it comes after).
    """

    day: SealDay
    days: tuple[SealDay, ...]
    steps: Mapping[int, Sequence[DayStep]]
    people: Mapping[int, Sequence[DayPerson]]
    data: Mapping[tuple[int, int], DayProduct]
    mixes: Mapping[int, Sequence[MixRow]]
    seams: Mapping[int, Sequence[Seam]]
    call_outs: Mapping[int, Sequence[CallOut]]
    mixed: Mapping[tuple[int, int], Decimal]
    items: Mapping[int, Item]
    netted: Mapping[int, ItemFacts]
    needs: Mapping[int, Sequence[Need]]
    left_out: tuple[str, ...]
    supplies: Mapping[int, Sequence[Supply]]
    lying: Mapping[int, Sequence[Lying]]
    projects: Sequence[Project]
    plan: Mapping[int, StepFacts]
    planned: Mapping[int, StepDay]
    afters: Sequence[tuple[int, int]]

    @property
    def own_steps(self) -> Sequence[DayStep]:
        """The steps of the day asked for."""
        return self.steps.get(self.day.pk, ())


def read(day: SealDay, *, now: datetime | None) -> Facts:
    """All of it. `now` is until when temperature logs count; None leaves them out. Thirty queries at most."""
    days = _days(day)
    steps = _by_day(DayStep.objects.filter(day__in=days).select_related("step__project").order_by("step__project__code", "step__position"))
    ids = {row.step_id for rows in steps.values() for row in rows}
    seams = _by_step(Seam.objects.filter(step__in=ids).select_related("sealant").order_by("position", "pk"))
    call_outs = _by_step(CallOut.objects.filter(step__in=ids, item__kind=Kind.SEALANT).select_related("item").order_by("pk"))
    mixed_on = _mixes(days)
    items = _items(seams, call_outs, mixed_on)
    projects = list(Project.objects.filter(bench_id=day.bench_id).select_related("bench__workshop").order_by("code"))
    demand = shortfall.demand_of(projects, items, as_of=date.min)
    netted = shortfall.items(items)
    supplies_of = shortfall.stock_of(days[-1].bench, netted, date.min)
    return Facts(
        day=days[-1],
        days=days,
        steps=steps,
        people=_by_day(DayPerson.objects.filter(day__in=days).order_by("comes", "name")),
        data={(row.day_id, row.item_id): row for row in DayProduct.objects.filter(day__in=days)},
        mixes=mixed_on,
        seams=seams,
        call_outs=call_outs,
        mixed=mixed_grams(step__in=ids),
        items=items,
        netted=netted,
        needs=expand(demand),
        left_out=tuple(demand.left_out),
        supplies=supplies_of,
        lying=_lying(items, now),
        projects=projects,
        plan=demand.steps,
        planned=demand.every,
        afters=demand.afters,
    )


def _days(day: SealDay) -> tuple[SealDay, ...]:
    """The days that the one asked for must know of: open ones that come first, and those over whose batches may still cure."""
    asked = SealDay.objects.select_related("bench__workshop", "by", "closed_by", "called_off_by").get(pk=day.pk)
    earlier = Q(closed_at=None) | Q(on__gte=asked.on - MOST_CURE)
    rows = SealDay.objects.filter(earlier, bench_id=asked.bench_id, on__lt=asked.on, called_off_at=None)
    return (*rows.order_by("on", "pk"), asked)


class _OfDay(Protocol):
    day_id: int


class _OfStep(Protocol):
    step_id: int


DayRow = TypeVar("DayRow", bound=_OfDay)
StepRow = TypeVar("StepRow", bound=_OfStep)


def _by_day(rows: Iterable[DayRow]) -> dict[int, list[DayRow]]:
    found: dict[int, list[DayRow]] = defaultdict(list)
    for row in rows:
        found[row.day_id].append(row)
    return found


def _by_step(rows: Iterable[StepRow]) -> dict[int, list[StepRow]]:
    found: dict[int, list[StepRow]] = defaultdict(list)
    for row in rows:
        found[row.step_id].append(row)
    return found


def _mixes(days: Collection[SealDay], *, bare: bool = False) -> dict[int, list[MixRow]]:
    """The batches of each day in the order written down, those that were taken back too; `bare` without lots and shares."""
    by_id = {row.id: row for row in mixes(seal_day__day__in=days, bare=bare)}
    found: dict[int, list[MixRow]] = defaultdict(list)
    for mix, day in DayMix.objects.filter(mix__in=by_id).order_by("mix_id").values_list("mix_id", "day_id"):
        found[day].append(by_id[mix])
    return found


def _items(
    seams: Mapping[int, Sequence[Seam]], call_outs: Mapping[int, Sequence[CallOut]], mixed_on: Mapping[int, Sequence[MixRow]]
) -> dict[int, Item]:
    """The sealants of the days, by id. A query only where one was mixed that no step names."""
    named = {seam.sealant_id: seam.sealant for rows in seams.values() for seam in rows}
    named |= {row.item_id: row.item for rows in call_outs.values() for row in rows}
    named |= Item.objects.in_bulk({mix.item_id for rows in mixed_on.values() for mix in rows} - named.keys())
    return dict(sorted(named.items()))


def _lying(items: Collection[int], now: datetime | None) -> dict[int, list[Lying]]:
    """Where each lot of these items lies: first where nothing is known against it, then by path."""
    rows = list(Holding.objects.filter(lot__item__in=items, quantity__gt=0).values_list("lot_id", "place_id", "place__path", "quantity"))
    warm = _warm(items, now, [lot for lot, *_ in rows])
    found: dict[int, list[Lying]] = defaultdict(list)
    for lot, place, path, quantity in rows:
        found[lot].append(Lying(place, path, quantity, warm.get((lot, path), "")))
    return {lot: sorted(there, key=lambda one: (one.warm, one.path)) for lot, there in found.items()}


def _warm(items: Collection[int], now: datetime | None, lots: Sequence[int]) -> dict[tuple[int, str], str]:
    """What lots that lie in several places went through in each of them, by lot and path. Seven queries at most."""
    if now is None:
        return {}
    split = {lot for lot in lots if lots.count(lot) > 1}
    kept = [lot for lot in kept_lots(items=items) if lot.pk in split]
    return {
        (lot, found.place): f"{found.worst:g} C from {found.start:%Y-%m-%d %H:%M}"
        for lot, storage in storages(kept, until=now, outside_alone=True).items()
        for found in storage.excursions
    }


@dataclass(frozen=True, slots=True)
class Around:
    """What hangs on the day itself: cleco rows, titles of other steps, ticks, supplies."""

    rows: Sequence[RivetRow]
    others: Mapping[int, Step]
    checks: Sequence[DayCheck]
    supplies: Sequence[SealingSupply]


def around(facts: Facts, others: Collection[int]) -> Around:
    """Read what the day's own page shows beside its sealants; `others` are steps to be named. Four queries."""
    ids = [row.step_id for row in facts.own_steps]
    rows = RivetRow.objects.filter(step__in=ids).exclude(cleco=None).select_related("cleco", "clecos_until", "step")
    return Around(
        rows=list(rows.order_by("step__project__code", "step__position", "position", "pk")),
        others=Step.objects.select_related("project").in_bulk(others),
        checks=list(DayCheck.objects.filter(day=facts.day).select_related("ticked_by").order_by("pk")),
        supplies=supplies.listed(),
    )


def read_mixing(days: Sequence[SealDay]) -> Facts:
    """What tells when the sealants of some days are cured, of whatever benches; shelves and lots are left out. Nine queries."""
    steps = _by_day(DayStep.objects.filter(day__in=days).select_related("step__project").order_by("step__project__code", "step__position"))
    ids = {row.step_id for rows in steps.values() for row in rows}
    seams = _by_step(Seam.objects.filter(step__in=ids).select_related("sealant").order_by("position", "pk"))
    call_outs = _by_step(CallOut.objects.filter(step__in=ids, item__kind=Kind.SEALANT).select_related("item").order_by("pk"))
    mixed_on = _mixes(days, bare=True)
    return Facts(
        day=days[-1],
        days=tuple(days),
        steps=steps,
        people=_by_day(DayPerson.objects.filter(day__in=days).order_by("comes", "name")),
        data={(row.day_id, row.item_id): row for row in DayProduct.objects.filter(day__in=days)},
        mixes=mixed_on,
        seams=seams,
        call_outs=call_outs,
        mixed=mixed_grams(step__in=ids),
        items=_items(seams, call_outs, mixed_on),
        netted={},
        needs={},
        left_out=(),
        supplies={},
        lying={},
        projects=(),
        plan={},
        planned={},
        afters=(),
    )


@dataclass(frozen=True, slots=True)
class NearDays:
    """The seal days that are open or may still cure, the earliest first, with what tells when. `facts` is None where there is none."""

    facts: Facts | None

    @property
    def days(self) -> tuple[SealDay, ...]:
        """All of them."""
        return self.facts.days if self.facts else ()


def near_days(today: date) -> NearDays:
    """Those of every bench. Ten queries at most, one where there is none."""
    which = Q(closed_at=None) | Q(on__gte=today - min(MOST_CURE, today - date.min))
    days = list(SealDay.objects.filter(which, called_off_at=None).select_related("bench").order_by("on", "pk"))
    return NearDays(read_mixing(days) if days else None)
