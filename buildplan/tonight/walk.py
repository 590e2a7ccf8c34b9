"""One walk through the shelves for the steps that somebody chose: place by place, each lot once. A fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.plan.models import Step
from buildplan.shortfall.calc import NOTHING, Need, Supply
from buildplan.shortfall.reading import plans
from buildplan.tonight import reading
from buildplan.tonight.desk import Desk, needed, on_hand
from buildplan.tonight.lies import Lies, carried, used, walk_order
from buildplan.tonight.queries import desk_for
from inventory.common.problems import Problem
from inventory.models import Bench, Member


class NoSuchStep(Problem):
    """A step was asked for that isn't in this workshop."""

    status = 404
    title = "No such step"


@dataclass(frozen=True, slots=True)
class Pick:
    """What to take of one lot from one place, and for which steps. `key` tells it apart."""

    key: str
    item_id: int
    item: str
    name: str
    unit: str
    lot_id: int
    lot: str
    place_id: int
    quantity: Decimal
    returned: bool
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """One place of the walk."""

    path: str
    picks: tuple[Pick, ...]


@dataclass(frozen=True, slots=True)
class Short:
    """What the shelves don't give, and which steps go without."""

    item: str
    unit: str
    quantity: Decimal
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Walk:
    """The whole walk, for the steps of those chosen that aren't done. `asked` are the ids of all that were chosen, in order."""

    steps: tuple[Step, ...]
    stops: tuple[Stop, ...]
    short: tuple[Short, ...]
    asked: tuple[int, ...] = ()

    @property
    def picks(self) -> int:
        """How many lines there are to tick off."""
        return sum(len(stop.picks) for stop in self.stops)

    @property
    def picked(self) -> tuple[tuple[str, Pick], ...]:
        """Every line with its place, in the order of the walk."""
        return tuple((stop.path, pick) for stop in self.stops for pick in stop.picks)

    @property
    def lines(self) -> tuple[Pick, ...]:
        """Every line, in the order of the walk."""
        return tuple(pick for _, pick in self.picked)

    @property
    def minutes(self) -> int:
        """How long the steps take together, as far as the plan says."""
        return sum(step.minutes or 0 for step in self.steps)


def walk(steps: Sequence[int], *, today: date, member: Member | None = None) -> Walk:
    """What to fetch for these steps, in plan order served one after the other. At most 29 queries.

    What is used up adds up. What comes back is fetched once for the step that takes most of it, and beside that what stays in the holes.
    """
    found = plans(today)
    if strange := [pk for pk in steps if pk not in found.steps]:
        raise NoSuchStep(f"no step {strange[0]} here: go back to Tonight and choose again")
    chosen = sorted((pk for pk in set(steps) if not found.steps[pk].done), key=lambda pk: found.steps[pk].order)
    asked = tuple(sorted(set(steps)))
    if not chosen:
        return Walk((), (), (), asked)
    rows = reading.rows_of(chosen)
    desk = desk_for(found, chosen, today, member)
    stops: dict[str, list[Pick]] = defaultdict(list)
    short: list[Short] = []
    taken: dict[int, Decimal] = defaultdict(Decimal)
    for bench, of_bench in _by_bench(desk, chosen):
        for item, needs in of_bench:
            _fetch(desk, bench, item, needs, _Fetched(stops, short, taken))
    ordered = (Stop(path, tuple(stops[path])) for path in sorted(stops, key=walk_order))
    return Walk(tuple(rows[pk] for pk in chosen), tuple(ordered), tuple(short), asked)


def list_of(steps: Iterable[int]) -> str:
    """What names the list of these steps: the same for everybody who chose them."""
    return ",".join(str(pk) for pk in sorted(set(steps)))


def _by_bench(desk: Desk, chosen: Iterable[int]) -> Iterator[tuple[Bench, list[tuple[int, list[Need]]]]]:
    benches: dict[int, Bench] = {}
    needs: dict[int, dict[int, list[Need]]] = defaultdict(lambda: defaultdict(list))
    for step in chosen:
        bench = desk.project(step).bench
        benches[bench.pk] = bench
        for item, of in desk.items(step):
            needs[bench.pk][item].extend(of)
    for pk, bench in benches.items():
        yield bench, sorted(needs[pk].items(), key=lambda pair: desk.shelves.items[pair[0]].code)


@dataclass(frozen=True, slots=True)
class _Fetched:
    """What is fetched so far, by place; what is short; what was taken of each lot."""

    stops: dict[str, list[Pick]]
    short: list[Short]
    taken: dict[int, Decimal]


def _fetch(desk: Desk, bench: Bench, item: int, needs: Sequence[Need], so_far: _Fetched) -> None:
    facts = desk.shelves.items[item]
    labels = tuple(dict.fromkeys(need.label for need in needs if need.quantity))
    if facts.returned:
        wanted = _at_once(needs, desk.today)
        lies: Sequence[Lies] = carried(desk, bench, item, wanted)
        by_lot: Mapping[int, tuple[str, ...]] = {}
    else:
        wanted = needed(needs)
        line = desk.line(bench, item, needs, list(_left(on_hand(desk.supplies(bench, item)), so_far.taken)))
        lies, by_lot = list(used(desk, line.served)), _for_whom((need.label, supply) for need, supply, _ in line.served)
    lacking = wanted - sum((one.quantity for one in lies), NOTHING)
    if lacking:
        so_far.short.append(Short(facts.code, facts.unit, lacking, labels))
    for one in lies:
        so_far.taken[one.lot_id] += NOTHING if facts.returned else one.quantity
        said = (f"{one.lot_id}-{one.place_id}", item, facts.code, facts.name, facts.unit)
        lies_in = (one.lot_id, one.lot, one.place_id, one.quantity, facts.returned)
        so_far.stops[one.path].append(Pick(*said, *lies_in, by_lot.get(one.lot_id, labels)))


def _at_once(needs: Iterable[Need], today: date) -> Decimal:
    """The most that is held of a thing that comes back: steps are done one after the other, and some leave it in their holes."""
    stays = [need for need in needs if need.through > today]
    by_step: dict[int, Decimal] = defaultdict(Decimal)
    for need in needs:
        if need.through <= today:
            by_step[need.step] += need.quantity
    return needed(stays) + max(by_step.values(), default=NOTHING)


def _left(supplies: Iterable[Supply], taken: Mapping[int, Decimal]) -> Iterator[Supply]:
    """What another bench's steps of this walk didn't take of shared lots already."""
    return (supply._replace(quantity=max(supply.quantity - taken.get(supply.key, NOTHING), NOTHING)) for supply in supplies)


def _for_whom(served: Iterable[tuple[str, Supply]]) -> dict[int, tuple[str, ...]]:
    found: dict[int, dict[str, None]] = defaultdict(dict)
    for label, supply in served:
        found[supply.key][label] = None
    return {lot: tuple(labels) for lot, labels in found.items()}
