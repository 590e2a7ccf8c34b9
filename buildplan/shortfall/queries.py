"""Reads behind the order sheet: a fixed number of SQL queries, whatever the size of plan and stock."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import groupby
from operator import itemgetter
from typing import Any

from django.db.models import Q, QuerySet

from buildplan.plan.calc import STEP_REF
from buildplan.plan.models import Project, Step, StepAfter
from buildplan.shortfall.arrived import of_line, unlisted
from buildplan.shortfall.calc import ItemFacts, Line, Need, Supply, Why, net
from buildplan.shortfall.demand import StepFacts, all_days, within
from buildplan.shortfall.needs import Demand, SeamNotKnown, expand
from inventory.catalogue.models import RETURNED, Kind
from inventory.common.problems import Problem
from inventory.models import Bench, Holding, Item, Loan, PackingLine, Place, SetAside
from inventory.shelflife.calc import of_columns
from inventory.stock.calc import life
from inventory.stock.queries import LIVED, SAYS, rule
from inventory.tallying.queries import Counted, counted, unsettled


class NotOneBench(Problem):
    """Projects are netted together only where they draw on one bench's stock."""

    title = "These projects are not of one bench"


class NoSuchProject(Problem):
    """No project of this workshop has that code."""

    status = 404
    title = "No such project"


@dataclass(frozen=True, slots=True)
class Shortfall:
    """The answer for one demand: every item it needs, by order-by day (none last), then item code."""

    project: str
    before: date | None
    as_of: date
    lines: tuple[Line, ...]

    @property
    def short(self) -> tuple[Line, ...]:
        """The lines on which something is short."""
        return tuple(line for line in self.lines if line.short)


def projects(codes: Iterable[str]) -> list[Project]:
    """The projects of these codes (any case), each once, in the order named. One query."""
    wanted = list(dict.fromkeys(code.strip().upper() for code in codes))
    found = {project.code.upper(): project for project in Project.objects.select_related("bench__workshop")}
    for code in wanted:
        if code not in found:
            known = ", ".join(sorted(project.code for project in found.values())) or "none yet"
            message = f"no project {code} here: the projects are {known}"
            raise NoSuchProject(message)
    return [found[code] for code in wanted]


def shortfall(named: Sequence[Project], *, before: date | None, as_of: date) -> Shortfall:
    """Net the demand of one or several projects of one bench. Seventeen queries, nineteen where pieces are to be cut."""
    bench = _one_bench(named)
    needs = expand(_demand(named, before, as_of))
    found_items = items()
    supplies = stock(bench, found_items, needs, as_of)
    lines = [
        net(found_items[item], found, supplies.get(item, ()), as_of=as_of, receiving_days=bench.workshop.receiving_days)
        for item, found in needs.items()
    ]
    lines.sort(key=_line_order)
    return Shortfall(",".join(project.code for project in named), before, as_of, tuple(lines))


@dataclass(frozen=True, slots=True)
class Touched:
    """What each project is short of some items alone, each project netted by itself; `left_out` names seams that can't be reckoned."""

    found: tuple[tuple[Project, Shortfall], ...]
    left_out: tuple[str, ...]


def shortfall_of(
    wanted: Collection[int] | Mapping[int, ItemFacts], *, before: date | None, as_of: date, projects: Sequence[Project] | None = None
) -> Touched:
    """The lines that `shortfall` has of these items, for every project that needs one of them. Sixteen queries.

    One less where the facts of the items are given, and one where the workshop's `projects` are, each with its bench and workshop.

    Only what is theirs is read: this is what is asked again when a scan has touched them.
    """
    only = frozenset(wanted)
    named = sorted(projects or Project.objects.select_related("bench__workshop"), key=lambda project: project.pk)
    demand = _demand(named, before, as_of, only)
    by_project = _by_project(expand(demand))
    known = wanted if isinstance(wanted, Mapping) else items(only)
    found_items = {item: facts for item, facts in known.items() if any(item in needs for needs in by_project.values())}
    stocked = stocked_of(found_items)
    supplies = {bench: supplies_of(stocked, bench, found_items, as_of) for bench in {named[at].bench_id for at in by_project}}
    found = []
    for at, needs in sorted(by_project.items()):
        project = named[at]
        days = project.bench.workshop.receiving_days
        there = supplies[project.bench_id]
        lines = [net(found_items[item], of, there.get(item, ()), as_of=as_of, receiving_days=days) for item, of in needs.items()]
        found.append((project, Shortfall(project.code, before, as_of, tuple(sorted(lines, key=_line_order)))))
    return Touched(tuple(found), tuple(demand.left_out))


def line_of(named: Sequence[Project], wanted: int, *, before: date | None, as_of: date) -> Line | None:
    """The line that `shortfall` of these projects has of one item; None where no step of the demand needs it. At most fifteen queries.

    Only what is the item's is read. A seam of it whose grams can't be told is refused, as there.
    """
    bench, only = _one_bench(named), frozenset({wanted})
    demand = _demand(named, before, as_of, only, prefixed=len(named) > 1)
    needs = expand(demand).get(wanted)
    if demand.left_out:
        message = f"{demand.left_out[0]}. Nothing is reckoned without it"
        raise SeamNotKnown(message)
    if not needs:
        return None
    facts = items(only)
    supplies = stock_of(bench, facts, as_of).get(wanted, ())
    return net(facts[wanted], needs, supplies, as_of=as_of, receiving_days=bench.workshop.receiving_days)


def demand_of(named: Sequence[Project], wanted: Collection[int], *, as_of: date) -> Demand:
    """What these projects need of some items in all, for `expand`; seams that can't be reckoned are left out and named. Two queries."""
    return _demand(named, None, as_of, frozenset(wanted))


def stock_of(bench: Bench, items: Mapping[int, ItemFacts], as_of: date) -> dict[int, list[Supply]]:
    """`stock` of these items alone: nothing else is read. Six queries."""
    return supplies_of(stocked_of(items.keys()), bench.pk, items, as_of)


def supplies_of(stocked: "Stocked", bench: int, items: Mapping[int, ItemFacts], as_of: date) -> dict[int, list[Supply]]:
    """What a bench may draw on of these items on a day, from what `stocked_of` read: for one bench and day, and for another. No query."""
    return _supplies(stocked, bench, items, items, as_of)


def _by_project(needs: Mapping[int, Sequence[Need]]) -> dict[int, dict[int, list[Need]]]:
    """Needs by the place of their project among those named, then by item."""
    found: dict[int, dict[int, list[Need]]] = defaultdict(lambda: defaultdict(list))
    for item, of in needs.items():
        for need in of:
            found[need.order[0]][item].append(need._replace(order=(0, need.order[1])))  # netted alone: the only one named
    return found


def _line_order(line: Line) -> tuple[date, str]:
    return line.order_by or date.max, line.item.code


def _one_bench(named: Sequence[Project]) -> Bench:
    benches = {project.bench_id: project.bench for project in named}
    if len(benches) != 1:
        names = ", ".join(f"{project.code} of {project.bench.code}" for project in named)
        message = f"{names}: only projects of one bench are netted together; ask for them one by one"
        raise NotOneBench(message)
    return next(iter(benches.values()))


def _demand(
    named: Sequence[Project], before: date | None, as_of: date, only: frozenset[int] | None = None, *, prefixed: bool | None = None
) -> Demand:
    steps = _steps(named, prefixed=only is None and len(named) > 1 if prefixed is None else prefixed)
    afters = _afters(named)
    every = all_days(steps, afters, undated=before is None, as_of=as_of)
    by_id = {step.id: step for step in steps}
    return Demand({"step__project__in": named}, by_id, within(every, before), every, as_of, only=only, afters=afters)


def _steps(named: Sequence[Project], *, prefixed: bool) -> list[StepFacts]:
    order = {project.pk: (at, f"{project.code}:" if prefixed else "") for at, project in enumerate(named)}
    rows = Step.objects.filter(project__in=named).values_list("id", "project_id", "code", "position", "planned_on", "done")
    return [
        StepFacts(pk, order[project][1] + code, (order[project][0], position), planned, done)
        for pk, project, code, position, planned, done in rows.iterator()
    ]


def _afters(named: Sequence[Project]) -> list[tuple[int, int]]:
    return list(StepAfter.objects.filter(step__project__in=named).values_list("step_id", "after_id"))


def items(only: Collection[int] | None = None) -> dict[int, ItemFacts]:
    """What netting asks of every item of the workshop, or of some. One query."""
    columns = ("id", "code", "name", "unit", "kind", "pack", "lead_days", *SAYS)
    rows = Item.objects.filter(_of("pk", only)).values_list(*columns)
    return {row[0]: _item(row) for row in rows}


def _of(column: str, only: Collection[int] | None) -> Q:
    """One IN list, however long: both engines take tens of thousands, and a workshop hasn't more items."""
    return Q() if only is None else Q(**{f"{column}__in": only})


def clecos() -> frozenset[int]:
    """Which items are clecos. One query."""
    return frozenset(Item.objects.filter(kind=Kind.CLECO).values_list("pk", flat=True))


def _item(row: tuple[Any, ...]) -> ItemFacts:
    pk, code, name, unit, kind, pack, lead_days, *life_rule = row
    return ItemFacts(pk, code, name, unit, kind in RETURNED, pack, lead_days, rule(kind, *life_rule), kind == Kind.SEALANT)


def stock(bench: Bench, items: Mapping[int, ItemFacts], wanted: Mapping[int, Any], as_of: date) -> dict[int, list[Supply]]:
    """What the workshop holds and expects of the wanted items, by item. Seven queries."""
    return _supplies(_stocked(), bench.pk, items, wanted, as_of)


@dataclass(frozen=True, slots=True)
class Stocked:
    """What netting reads of stock: lots on hand, lines on their way, and what it must know to place them.

    `shared` names the shared benches by id, `paths` the places; `hands` are those of them that are somebody's hands, told of some items
    alone. `held` is by lot and path. `counted` is what was counted of the lines, and of what no list has.
    """

    shared: Mapping[int, str]
    paths: Mapping[int, str]
    aside: Mapping[int, list[tuple[int, Decimal]]]
    lent: Mapping[int, list[tuple[int | None, int, Decimal]]]
    held: Iterable[tuple[Any, ...]]
    lines: Iterable[tuple[Any, ...]]
    counted: Counted
    hands: frozenset[int] = frozenset()


_LOT = ("lot_id", "lot__item_id", "lot__bench_id", "lot__code", "lot__state", "quantity", "place_id")
_LINE = (
    *("id", "item_id", "crate__bench_id", "crate__code", "crate__due_on", "crate__arrived_on", "crate__closed_on", "bag__counted_on"),
    *("number", "quantity", "open_quantity", "lot_code"),
)
_DATES = ("made_on", "made_as", "expires_on", "expires_as")
_HELD = (*_LOT, *(f"lot__{name}" for name in (*_DATES, *LIVED)))


def _stocked() -> Stocked:
    """The rows of every item, which are read as they come. Seven queries."""
    return Stocked(
        shared=_shared(),
        paths=dict(Place.objects.values_list("id", "path")),
        aside=_set_asides(None),
        lent=_lent(_loans(None)),
        held=_held(None).values_list(*_HELD).iterator(),
        lines=_lines(None).iterator(),
        counted=counted(),
    )


def stocked_of(only: Collection[int]) -> Stocked:
    """The rows of some items alone, kept for several benches and days. Six queries."""
    held, loans = list(_held(only).values_list(*_HELD, "place__path", "place__hands_id")), _loans(only)
    return Stocked(
        shared=_shared(),
        paths={**{row[6]: row[-2] for row in held}, **{row[2]: row[-1] for row in loans}},
        aside=_set_asides(only),
        lent=_lent(loans),
        held=[row[:-2] for row in held],
        lines=list(_lines(only)),
        counted=counted(only),
        hands=frozenset(row[6] for row in held if row[-1] is not None),
    )


def _shared() -> dict[int, str]:
    return dict(Bench.objects.filter(shared=True).values_list("pk", "code"))


def _held(only: Collection[int] | None) -> QuerySet[Holding]:
    return Holding.objects.filter(_of("lot__item", only), quantity__gt=0).order_by("lot_id", "place__path")


def _lines(only: Collection[int] | None) -> QuerySet[PackingLine, tuple[Any, ...]]:
    return PackingLine.objects.filter(unsettled(only)).values_list(*_LINE, *_DATES)


def _supplies(rows: Stocked, bench: int, items: Mapping[int, ItemFacts], wanted: Mapping[int, Any], as_of: date) -> dict[int, list[Supply]]:
    """What a bench may draw on, and what else is worth asking for, by item."""
    found: dict[int, list[Supply]] = defaultdict(list)
    ours = {bench, *rows.shared}
    for _, group in groupby(rows.held, key=itemgetter(0)):
        held = list(group)
        item = held[0][1]
        if item in wanted:
            found[item].extend(_lot(held, items[item], bench, ours, rows))
    for row in rows.lines:
        if row[1] in wanted and row[2] in ours:
            found[row[1]].extend(of_line(row, items[row[1]], rows.counted.lines.get(row[0]), as_of))
    for one in rows.counted.unlisted:
        if one.item_id in wanted and one.bench_id in ours:
            found[one.item_id].append(unlisted(one, items[one.item_id], as_of))
    return found


def _lot(held: Sequence[tuple[Any, ...]], item: ItemFacts, asking: int, ours: set[int], rows: Stocked) -> Sequence[Supply]:
    """One lot over all its places, what is lent apart; nothing where it is another bench's and not worth asking for."""
    pk, _, bench, code, state, _, _, made_on, made_as, expires_on, expires_as, *lived = held[0]
    found = life(item.rule, of_columns(made_on, made_as), of_columns(expires_on, expires_as), *lived)
    blocked = Why(state) if state != "good" else None if found.known else Why.UNKNOWN_LIFE
    theirs, lent = bench not in ours, pk in rows.lent and blocked is None
    if theirs:
        if blocked is not None:
            return ()
        blocked = Why.OTHER_BENCH
    quantity, where = held[0][5], rows.paths[held[0][6]]
    if len(held) > 1:
        quantity = sum((row[5] for row in held), Decimal(0))
        where = ", ".join(rows.paths[row[6]] for row in held)
    whole = Supply(pk, code, quantity, None, found.limit, blocked, tuple(rows.aside.get(pk, ())), "", where)
    if not lent:
        return (whole,)
    parts = _parts([(row[6], row[5]) for row in held], rows.lent[pk], asking, theirs=theirs)
    return [_part(whole, why, part, rows.paths) for why, part in parts]


def _part(whole: Supply, why: Why | None, part: "Lies", paths: Mapping[int, str]) -> Supply:
    """Some of a lot; what is set aside of it is not of what is lent."""
    quantity = sum((there for _, there in part), Decimal(0))
    where = ", ".join(paths[place] for place, _ in part)
    return whole._replace(quantity=quantity, where=where, blocked=why, aside=() if why is Why.LENT else whole.aside)


Lies = Sequence[tuple[int, Decimal]]  # places, and what each holds of a lot
Lent = Sequence[tuple[int | None, int, Decimal]]  # to which bench, in which place, how much
Parts = Sequence[tuple[Why | None, Lies]]


def _parts(lies: Lies, lent: Lent, asking: int, *, theirs: bool) -> Parts:
    """A good lot of which some is lent: what the asking bench may count on, and what not, with why.

    What is lent to it is its own for so long. Of another bench's lot the rest is listed as that bench's, wherever it is.
    """
    away = _by_place(one for one in lent if (one[0] == asking) is theirs)
    rest = [(place, there - away.get(place, Decimal(0))) for place, there in lies]
    found: Parts = [(Why.OTHER_BENCH, rest), (None, [*away.items()])] if theirs else [(Why.LENT, [*away.items()]), (None, rest)]
    parts = ((why, [(place, there) for place, there in part if there]) for why, part in found)
    return [(why, part) for why, part in parts if part]


def _by_place(lent: Iterable[tuple[int | None, int, Decimal]]) -> dict[int, Decimal]:
    found: dict[int, Decimal] = defaultdict(Decimal)
    for _, place, quantity in lent:
        found[place] += quantity
    return found


def _loans(only: Collection[int] | None) -> list[tuple[int, int | None, int, Decimal, str]]:
    """Lot, bench that has it, place in whose hands it lies, how much, path of the place."""
    rows = Loan.objects.filter(_of("lot__item", only), open__gt=0).order_by("id")
    return list(rows.values_list("lot_id", "bench_id", "held_in_id", "open", "held_in__path"))


def _lent(loans: Iterable[tuple[int, int | None, int, Decimal, str]]) -> dict[int, list[tuple[int | None, int, Decimal]]]:
    """What is lent of each lot: to which bench, in whose hands it lies, how much."""
    found: dict[int, list[tuple[int | None, int, Decimal]]] = defaultdict(list)
    for lot, bench, place, quantity, _ in loans:
        found[lot].append((bench, place, quantity))
    return found


def _set_asides(only: Collection[int] | None) -> dict[int, list[tuple[int, Decimal]]]:
    """What is held for steps, by lot, the oldest first."""
    aside: dict[int, list[tuple[int, Decimal]]] = defaultdict(list)
    rows = SetAside.objects.filter(_of("lot__item", only)).order_by("id")
    for lot, ref, quantity in rows.values_list("lot_id", "ref", "quantity"):
        aside[lot].append((int(ref.removeprefix(STEP_REF)), quantity))
    return aside
