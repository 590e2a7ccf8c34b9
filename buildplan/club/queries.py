"""Can a day go ahead? Every project's steps of that day against what its bench and the pool have, in a fixed number of SQL queries.

Twenty where the day fits; eight more where something is missing and the days around it are looked at too.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from buildplan.club import changes
from buildplan.club.calc import NOTHING, Hold, ItemDay, Share, Supply, item_day, trace
from buildplan.club.changes import REACH, Borrow, Change, Move, Scene, Widen, Wider
from buildplan.club.days import Days, Given, Order, Plan, given, on_day, order, within
from buildplan.club.supply import BenchRow, benches, supply
from buildplan.club.words import Words
from buildplan.hardware.calc import clecos_for_row
from buildplan.hardware.models import RivetRow, Stage
from buildplan.hardware.queries import Spacing, cleco_spacings
from buildplan.plan.calc import too_far
from buildplan.plan.models import Project, Step, StepAfter
from buildplan.sealing.models import Seam
from buildplan.shortfall.calc import Need
from buildplan.shortfall.demand import StepDay, StepFacts
from buildplan.shortfall.needs import Demand, expand
from inventory.catalogue.models import RETURNED
from inventory.common.problems import Problem
from inventory.common.reasons import Reason
from inventory.models import Item

CLOSEST = 2  # a row that is planned closer than this stands at final fit, on a curve or in a cure
CHUNK = 10_000  # rows read at once


class DayPast(Problem):
    """Nothing is planned for a day that is over."""

    title = "That day is past"


class DayTooFar(Problem):
    """A day that no plan reaches."""

    title = "That day is too far off"


@dataclass(frozen=True, slots=True)
class StepRow:
    """A step that is to be done on the day; `rule` says why it counts then."""

    id: int
    project: str
    code: str
    title: str
    bench_id: int
    minutes: int | None
    planned_on: date | None
    rule: str

    @property
    def label(self) -> str:
        """Project and step."""
        return f"{self.project}:{self.code}"


@dataclass(frozen=True, slots=True)
class ShareRow:
    """What a step gets of an item, with its names. A step that is done, or of an earlier day, may still hold clecos."""

    share: Share
    step: str
    project: str
    code: str
    bench: str


@dataclass(frozen=True, slots=True)
class Spare:
    """What a bench has of its own and doesn't need that day."""

    bench: BenchRow
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class ItemRow:
    """One item on the day: who gets what, and who else has some to spare."""

    id: int
    code: str
    name: str
    unit: str
    found: ItemDay
    shares: tuple[ShareRow, ...]
    spare: tuple[Spare, ...]
    trace: tuple[Reason, ...]

    @property
    def short(self) -> Decimal:
        """What is missing."""
        return self.found.short


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """A change in words, with what applying it takes. `bench` is whose plan, or whose things, it is about."""

    change: Change
    kind: str
    text: str
    bench: BenchRow
    step: StepRow | None = None
    helps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Proposal:
    """One change, or two together, with which the day goes ahead."""

    changes: tuple[ChangeRow, ...]
    trace: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class GoAhead:
    """Whether a day can go ahead: its steps, what each gets of what comes back, and what would make it fit, the smallest change first."""

    day: date
    today: date
    steps: tuple[StepRow, ...]
    items: tuple[ItemRow, ...]
    proposals: tuple[Proposal, ...]
    benches: tuple[BenchRow, ...]

    @property
    def short(self) -> tuple[ItemRow, ...]:
        """The items of which something is missing."""
        return tuple(row for row in self.items if row.short)

    @property
    def goes(self) -> bool:
        """Nothing is missing."""
        return not self.short

    def wanted(self, bench: int) -> tuple[tuple[ItemRow, ShareRow], ...]:
        """What a bench's steps need of the pool that isn't lent or promised to it yet: what there is to book."""
        return tuple((row, share) for row in self.items for share in row.shares if share.share.bench == bench and share.share.wanted)


def go_ahead(day: date, *, today: date) -> GoAhead:
    """Whether every project's steps of a day have the clecos and tools that they hold."""
    refuse_day(day, today)
    club = _Club.read(day, today)
    holds = club.holds(club.day_steps)
    held = supply({hold.item for hold in holds}, club.benches, today=club.today)
    found = _item_days(holds, held, day)
    short = any(row.short for row in found)
    scene = _scene(club, day) if short else None
    proposals = tuple(_proposal(scene, one, club) for one in changes.find(scene)) if scene is not None else ()
    return GoAhead(day, today, club.rows(club.day_steps), tuple(_item_rows(found, club)), proposals, tuple(club.benches.values()))


def refuse_day(day: date, today: date) -> None:
    """Raise where a day is past, or so far off that nobody plans for it."""
    if day < today:
        raise DayPast(f"{day} is past: ask for {today} or a day to come")
    if why := too_far(day, today):
        raise DayTooFar(why)


def step_days(last: date) -> tuple[dict[int, Given], Order]:
    """The day of every step that has one through `last`, and what comes after what. Two queries."""
    planned = Step.objects.filter(done=False, planned_on__lte=last).order_by("planned_on", "id")
    pairs = order(StepAfter.objects.values_list("step_id", "after_id").iterator(chunk_size=CHUNK))
    dated = planned.values_list("id", "planned_on").iterator(chunk_size=CHUNK)
    return given(((step, day) for step, day in dated if day is not None), pairs.afters), pairs


@dataclass(slots=True)
class _Club:
    """The plans of all projects, as far as they matter for a day and the days around it."""

    day: date
    today: date
    projects: list[Project]
    benches: dict[int, BenchRow]
    items: dict[int, tuple[str, str, str]]
    found: dict[int, Given]
    order: Order
    until: list[tuple[int, int]]  # a step whose clecos another one takes off, and that one
    facts: dict[int, StepFacts] = field(default_factory=dict)
    titles: dict[int, tuple[str, int | None, int]] = field(default_factory=dict)

    @classmethod
    def read(cls, day: date, today: date) -> "_Club":
        """Seven queries."""
        found, pairs = step_days(day + timedelta(days=REACH))
        until = RivetRow.objects.filter(cleco__isnull=False, clecos_until__done=False)
        club = cls(
            day=day,
            today=today,
            projects=list(Project.objects.order_by("code", "id")),
            benches=benches(),
            items=_items(),
            found=found,
            order=pairs,
            until=list(until.values_list("step_id", "clecos_until_id")),
        )
        club._read_facts()
        return club

    def _read_facts(self) -> None:
        wanted = {*self.window, *self.day_steps, *(step for pair in self.until for step in pair)}
        ranks = {project.pk: at for at, project in enumerate(self.projects)}
        columns = ("id", "project_id", "code", "position", "planned_on", "done", "title", "minutes")
        for pk, project, code, position, planned, done, title, minutes in Step.objects.filter(pk__in=wanted).values_list(*columns):
            rank = ranks[project]
            self.facts[pk] = StepFacts(pk, f"{self.projects[rank].code}:{code}", (rank, position), planned, done)
            self.titles[pk] = title, minutes, rank

    @property
    def first(self) -> date:
        """The first day looked at."""
        return max(self.today, self.day - timedelta(days=REACH))

    @property
    def last(self) -> date:
        """The last day looked at."""
        return self.day + timedelta(days=REACH)

    @property
    def window(self) -> Collection[int]:
        """The steps of the days looked at."""
        return within(self.found, self.first, self.last, self.today)

    @property
    def day_steps(self) -> set[int]:
        """The steps of the day, and those that may still hold clecos then."""
        return on_day(self.found, self.day, self.today) | {step for step, frees in self.until if self._still_held(step, frees)}

    def _still_held(self, step: int, frees: int) -> bool:
        begun, ends = self.found.get(step), self.found.get(frees)
        facts = self.facts.get(step)
        begins = begun is not None and begun.day <= self.day
        return (begins or facts is None or facts.done) and (ends is None or max(ends.day, self.today) >= self.day)

    def holds(self, steps: Collection[int], rows: Mapping[tuple[int, str], tuple[int, int]] | None = None) -> list[Hold]:
        """What some steps hold of things that come back, as demand has it. `rows` names the rows of holes. Six queries."""
        days = {step: self._step_day(step) for step in self.facts if step in self.found and not self.facts[step].done}
        counted = {step: days[step] for step in steps if step in days}
        demand = Demand({"step__in": list(steps)}, self.facts, counted, days, self.today, only=frozenset(self.items))
        return [self._hold(item, need, rows or {}) for item, needs in expand(demand).items() for need in needs]

    def _hold(self, item: int, need: Need, rows: Mapping[tuple[int, str], tuple[int, int]]) -> Hold:
        row, frees = rows.get((need.step, need.source), (None, None))
        bench = self.projects[need.order[0]].bench_id
        frees = frees if need.until is not None else None
        return Hold(item, bench, need.order, need.step, need.quantity, need.day, need.through, need.source, need.note, row, frees)

    def _step_day(self, step: int) -> StepDay:
        asked, source = self.found[step]
        rule = "as planned" if source == step else f"{self.label(source)}, which comes after it, is planned for that day"
        if asked >= self.today:
            return StepDay(asked, rule, asked)
        return StepDay(self.today, f"{rule}, for {asked}, which is past: counts on {self.today}", asked)

    def label(self, step: int) -> str:
        """Project and step."""
        return self.facts[step].label if step in self.facts else f"step {step}"

    def row(self, step: int) -> StepRow:
        """A step with its names."""
        facts, (title, minutes, rank) = self.facts[step], self.titles[step]
        project = self.projects[rank]
        code = facts.label.removeprefix(f"{project.code}:")
        rule = self._step_day(step).rule if step in self.found else "done"
        return StepRow(step, project.code, code, title, project.bench_id, minutes, facts.planned, rule)

    def rows(self, steps: Iterable[int]) -> tuple[StepRow, ...]:
        """The steps that are to be done on the day, project by project."""
        here = on_day(self.found, self.day, self.today)
        todo = [step for step in steps if step in here and step in self.facts and not self.facts[step].done]
        return tuple(self.row(step) for step in sorted(todo, key=lambda step: self.facts[step].order))

    def plans(self) -> dict[int, Plan]:
        """What moving a step asks of the others."""
        window = self.window
        return {step: Plan(self.facts[step].planned, self.facts[step].done) for step in window if step in self.facts}


def _items() -> dict[int, tuple[str, str, str]]:
    """The things that come back: code, name, unit. One query."""
    rows = Item.objects.filter(kind__in=RETURNED).values_list("id", "code", "name", "unit")
    return {pk: (code, name, unit) for pk, code, name, unit in rows}


# What the day's steps get


def _item_days(holds: Sequence[Hold], supply: Supply, day: date) -> list[ItemDay]:
    by_item: dict[int, list[Hold]] = defaultdict(list)
    for hold in holds:
        if hold.on(day):
            by_item[hold.item].append(hold)
    return [item_day(item, day, held, supply) for item, held in by_item.items()]


def _item_rows(found: Sequence[ItemDay], club: _Club) -> list[ItemRow]:
    """What is missing first, then by code."""
    benches = {bench.id: bench.name for bench in club.benches.values()}
    rows = [_item_row(one, club, benches) for one in found]
    return sorted(rows, key=lambda row: (not row.short, row.code))


def _item_row(found: ItemDay, club: _Club, benches: Mapping[int, str]) -> ItemRow:
    code, name, unit = club.items[found.item]
    labels = {share.step: club.label(share.step) for share in found.shares}
    shares = tuple(_share_row(share, club) for share in found.shares)
    return ItemRow(found.item, code, name, unit, found, shares, tuple(_spare(found, club)), trace(found, labels, benches, unit))


def _share_row(share: Share, club: _Club) -> ShareRow:
    row = club.row(share.step)
    return ShareRow(share, row.label, row.project, row.code, club.benches[share.bench].name)


def _spare(found: ItemDay, club: _Club) -> Iterable[Spare]:
    needs: dict[int, Decimal] = defaultdict(Decimal)
    for share in found.shares:
        needs[share.bench] += share.needed
    for bench in club.benches.values():
        left = found.stand.own.get(bench.id, NOTHING) - needs[bench.id]
        if left > 0:
            yield Spare(bench, left)


# What would make it fit


def _scene(club: _Club, day: date) -> Scene:
    """The days around, with all that their steps hold. Sixteen queries."""
    steps = {*club.window, *(step for step, _ in club.until if club.facts[step].done)}
    rows, wider = _rows(club, steps)
    holds = club.holds(steps, rows)
    held = supply({hold.item for hold in holds}, club.benches, today=club.today)
    days = Days(club.order, club.found, club.plans(), club.today)
    orders = {step: facts.order for step, facts in club.facts.items()}
    benches = tuple(bench.id for bench in club.benches.values() if not bench.shared)
    return Scene(day, club.today, tuple(holds), held, days, orders, wider, benches)


def _rows(club: _Club, steps: Collection[int]) -> tuple[dict[tuple[int, str], tuple[int, int]], tuple[Wider, ...]]:
    """The rows of holes by step and source, and the wider spacings that those of the day may take. Three queries."""
    here = on_day(club.found, club.day, club.today)
    sealed = set(Seam.objects.filter(step__in=here).values_list("step_id", flat=True))
    spacings = cleco_spacings()
    columns = ("id", "step_id", "code", "holes", "cleco_every", "cleco_id", "clecos_until_id")
    rows: dict[tuple[int, str], tuple[Any, ...]] = {}
    wider: list[Wider] = []
    for pk, step, code, holes, every, cleco, until in RivetRow.objects.filter(step__in=steps, cleco__isnull=False).values_list(*columns):
        rows[step, f"row {code}"] = pk, until
        if step in here and step not in sealed and until is None and not club.facts[step].done:
            wider += [Wider(pk, step, cleco, every, *one) for one in _wider(holes, every, spacings)]
    return rows, tuple(wider)


def _wider(holes: int, every: int, spacings: Iterable[Spacing]) -> Iterable[tuple[int, str, Decimal]]:
    """The wider spacings that are usual at a stage of work, each with that stage and what it frees.

    A row planned in every hole is taken to stand at final fit, on a curve or in a cure, where that is the practice: it stays as it is.
    """
    if every < CLOSEST:
        return
    for spacing in sorted(spacings, key=lambda one: one.every):
        freed = clecos_for_row(holes, every) - clecos_for_row(holes, spacing.every) if spacing.every > every else 0
        if freed > 0 and spacing.stage in {Stage.FIT_UP, Stage.MATCH_DRILL}:
            yield spacing.every, spacing.stage, Decimal(freed)


def _proposal(scene: Scene, found: Sequence[Change], club: _Club) -> Proposal:
    words = Words(
        day=scene.day,
        label=club.label,
        items={pk: (code, unit) for pk, (code, _, unit) in club.items.items()},
        benches={bench.id: bench.name for bench in club.benches.values()},
        holders={bench.id: tuple(name for _, name in bench.holders) for bench in club.benches.values()},
    )
    rows = tuple(_change_row(one, club, words) for one in found)
    return Proposal(rows, tuple(reason for one in found for reason in words.why(one, scene)))


def _change_row(change: Change, club: _Club, words: Words) -> ChangeRow:
    match change:
        case Move(step=step):
            row = club.row(step)
            return ChangeRow(change, "move", words.text(change), club.benches[row.bench_id], row)
        case Widen(step=step):
            row = club.row(step)
            return ChangeRow(change, "widen", words.text(change), club.benches[row.bench_id], row)
        case Borrow(giver=giver):
            return ChangeRow(change, "borrow", words.text(change), club.benches[giver])
