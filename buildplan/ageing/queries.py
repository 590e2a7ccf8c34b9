"""What dies on the shelves, beside what the plans need of it: reads with a fixed number of queries."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import overload

from buildplan.ageing.calc import NOTHING, Cost, Use, Worth, could_use, taken, unused, worth
from buildplan.plan import queries as plan
from buildplan.plan.models import Project, StepAfter
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import Line, Need, back
from buildplan.shortfall.trace import RULE
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.models import Bench, UnitCost
from inventory.pool.models import PoolRules
from inventory.shelflife.queries import Expiry, expiries
from inventory.stock.calc import days_to_keep
from inventory.stock.models import State
from inventory.stock.queries import place_text

DEAD, UNKNOWN = "dead", "unknown"  # states of a life, beside the states of a lot


@dataclass(frozen=True, slots=True)
class Asked:
    """Which holdings to show; a blank shows all. `state` is a lot's state, or `dead` or `unknown`."""

    place: str = ""
    item: str = ""
    state: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A holding that ages. `last_day` None is a life that nobody knows; `serves_until` is the last day on which enough of it is left.

    `on_hand` and `unused` are of the whole lot, wherever it lies. `could_use` are needs that could use what would die. `value` is what the
    unused part cost, None where no cost is known.
    """

    expiry: Expiry
    last_day: date | None
    serves_until: date | None
    days_left: int | None
    good: bool
    on_hand: Decimal
    uses: tuple[Use, ...]
    unused: Decimal
    could_use: tuple[Use, ...]
    value: Worth | None

    @property
    def dead(self) -> bool:
        """Its last usable day is past."""
        return self.days_left is not None and self.days_left < 0

    @property
    def taking(self) -> tuple[Use, ...]:
        """The needs that take from this lot."""
        return tuple(use for use in self.uses if use.taken)

    @property
    def late(self) -> tuple[Use, ...]:
        """The needs for which it is dead."""
        return tuple(use for use in self.uses if use.late and not use.taken)

    @property
    def contested(self) -> bool:
        """Projects, netted apart, count on more of the lot than there is."""
        return taken(self.uses) > self.on_hand

    @property
    def trace(self) -> tuple[Reason, ...]:
        """Why it dies on that day, who takes it, what is left of it, and what that is worth."""
        unit = self.expiry.held.unit
        takes = (Reason(f"{_takes(use, unit)} on {use.day}: {use.rule}", f"{use.source}; {RULE}") for use in self.taking)
        left = f"{plain(self.on_hand)} on hand of the lot - {plain(taken(self.uses))} taken: "
        left += "several projects count on the same" if self.contested else f"{plain(self.unused)} {unit} unused"
        value = (self.value.reason,) if self.value else ()
        return (*self.expiry.trace, *takes, Reason(left, "computed; each project is netted by itself"), *value)


@dataclass(frozen=True, slots=True)
class Rows(Sequence[Row]):
    """Rows made when they are looked at: a page shows 25 of thousands, and each is compared with every need of its item."""

    shown: Sequence[Expiry]
    make: Callable[[Expiry], Row]

    def __len__(self) -> int:
        """How many there are."""
        return len(self.shown)

    @overload
    def __getitem__(self, at: int) -> Row: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[Row]: ...
    def __getitem__(self, at: int | slice) -> Row | Sequence[Row]:
        """One, or some."""
        return [self.make(one) for one in self.shown[at]] if isinstance(at, slice) else self.make(self.shown[at])


def _takes(use: Use, unit: str) -> str:
    return f"{use.label} takes {plain(use.taken)} of the {plain(use.quantity)} {unit} that it needs"


@dataclass(frozen=True, slots=True)
class ShelfLife:
    """The page: `rows` by last usable day, the dead first, unknown lives last; `dying` are good, alive, and dead within `days`.

    `left_out` names seams whose sealant can't be reckoned: their needs are missing here.
    """

    today: date
    days: int
    rows: Rows
    dying: tuple[Row, ...]
    left_out: tuple[str, ...]

    @property
    def dead(self) -> int:
        """How many are dead."""
        return sum(one.last_usable_day is not None and one.last_usable_day < self.today for one in self.rows.shown)

    @property
    def unknown(self) -> int:
        """How many have a life that nobody knows."""
        return sum(one.last_usable_day is None for one in self.rows.shown)

    @property
    def dying_value(self) -> tuple[Decimal, str] | None:
        """What the unused parts of the dying are worth together, each lot once, and in what money; None where no cost is known."""
        lots = {row.expiry.held.lot_id: row.value for row in self.dying if row.value}
        money = next((value.currency for value in lots.values()), "")
        return (sum((value.amount for value in lots.values()), NOTHING), money) if lots else None


def shelf_life(asked: Asked, *, days: int, today: date) -> ShelfLife:
    """Every holding whose life ends or isn't known, with the needs of the plans. Twenty-five queries at most."""
    found = expiries(before=date.max)
    shown = [one for one in found if _wanted(one, asked, today)]
    items = {one.held.item_id for one in shown}
    plans = _plans(items, today)
    on_hand, costs = _on_hand(found), _costs(items, today)
    rows = Rows(shown, lambda one: _row(one, plans, on_hand[one.held.lot_id], costs.get(one.held.item_id), today))
    last = today + timedelta(days) if (date.max - today).days > days else date.max
    dying = tuple(rows.make(one) for one in shown if one.held.state == State.GOOD and _between(today, one.last_usable_day, last))
    return ShelfLife(today, days, rows, dying, plans.left_out)


def _between(first: date, day: date | None, last: date) -> bool:
    return day is not None and first <= day <= last


def _wanted(one: Expiry, asked: Asked, today: date) -> bool:
    held = one.held
    texts = (held.item, held.name, held.lot)
    if asked.place and place_text(asked.place) not in place_text(held.place):
        return False
    if asked.item and not any(asked.item.casefold() in text.casefold() for text in texts):
        return False
    if asked.state == UNKNOWN:
        return one.last_usable_day is None
    if asked.state == DEAD:
        return one.last_usable_day is not None and one.last_usable_day < today
    return not asked.state or held.state == asked.state


def _on_hand(found: Iterable[Expiry]) -> dict[int, Decimal]:
    """What there is of each lot, wherever it lies."""
    totals: dict[int, Decimal] = defaultdict(Decimal)
    for one in found:
        totals[one.held.lot_id] += one.held.quantity
    return totals


def _costs(items: Collection[int], today: date) -> dict[int, Cost]:
    """What a stock unit of each item costs today; none where nobody set it. Two queries."""
    rules = PoolRules.objects.first()
    currency = rules.currency if rules else ""
    rows = UnitCost.objects.filter(item__in=items, since__lte=today).order_by("since").values_list("item_id", "amount", "since")
    return {item: Cost(amount, since, currency) for item, amount, since in rows}  # of several, the last


@dataclass(frozen=True, slots=True)
class _Plans:
    """What all plans need of some items, each project netted by itself."""

    lines: Mapping[int, Sequence[tuple[Project, Line]]]
    codes: Mapping[int, tuple[str, str, int]]
    waits_for: Mapping[int, Sequence[str]]
    shared: frozenset[str]
    left_out: tuple[str, ...]
    several: bool


def _plans(items: Collection[int], today: date) -> _Plans:
    touched = shortfall.shortfall_of(items, before=None, as_of=today)
    lines: dict[int, list[tuple[Project, Line]]] = defaultdict(list)
    for project, netted in touched.found:
        for line in netted.lines:
            lines[line.item.id].append((project, line))
    named = [project for project, _ in touched.found]
    return _Plans(
        lines=lines,
        codes=plan.step_codes(named),
        waits_for=_waits_for(named),
        shared=frozenset(Bench.objects.filter(shared=True).values_list("code", flat=True)),
        left_out=touched.left_out,
        several=len(named) > 1,
    )


def _waits_for(named: Sequence[Project]) -> dict[int, list[str]]:
    """The codes of the steps not done that each step comes after. One query."""
    waits: dict[int, list[str]] = defaultdict(list)
    rows = StepAfter.objects.filter(step__project__in=named, after__done=False).order_by("after__position")
    for step, after in rows.values_list("step_id", "after__code"):
        waits[step].append(after)
    return waits


def _row(one: Expiry, plans: _Plans, on_hand: Decimal, cost: Cost | None, today: date) -> Row:
    uses = tuple(use for project, line in plans.lines.get(one.held.item_id, ()) for use in _uses(one, project, line, plans))
    ordered = tuple(sorted(uses, key=lambda use: (use.day, use.label)))
    last, left = one.last_usable_day, unused(on_hand, ordered)
    good = one.held.state == State.GOOD
    return Row(
        expiry=one,
        last_day=last,
        serves_until=_serves_until(one, plans),
        days_left=None if last is None else (last - today).days,
        good=good,
        on_hand=on_hand,
        uses=ordered,
        unused=left,
        could_use=could_use(left, ordered) if good and last is not None and last >= today else (),
        value=worth(left, one.held.unit, cost),
    )


def _serves_until(one: Expiry, plans: _Plans) -> date | None:
    """The last day on which it serves: what must be left of its life is taken off."""
    limit = one.held.life.limit
    if limit is None or one.last_usable_day is None:
        return None
    line = next((line for _, line in plans.lines.get(one.held.item_id, ())), None)
    return one.last_usable_day if line is None else back(limit.last_day, days_to_keep(limit, line.item.rule.min_life_days))


def _uses(one: Expiry, project: Project, line: Line, plans: _Plans) -> Iterator[Use]:
    """What each step of a project needs of the item, with what netting takes for it from this lot."""
    ours = project.bench.code == one.held.bench or one.held.bench in plans.shared
    until = _serves_until(one, plans)
    got: dict[int, Decimal] = defaultdict(Decimal)
    for need, supply, quantity in line.served:
        if supply.key == one.held.lot_id:
            got[need.step] += quantity
    lacks: dict[int, Decimal] = defaultdict(Decimal)
    for need, quantity in line.missing:
        lacks[need.step] += quantity
    for step, needs in _by_step(line.needs).items():
        yield _use(needs, project, plans, got[step], lacks[step], ours=ours, until=until)


def _by_step(needs: Iterable[Need]) -> dict[int, list[Need]]:
    """A step with several seams or rows needs the item once."""
    found: dict[int, list[Need]] = defaultdict(list)
    for need in needs:
        found[need.step].append(need)
    return found


def _use(  # noqa: PLR0913 - what a step needs, with all that is known of it
    needs: Sequence[Need], project: Project, plans: _Plans, got: Decimal, lacks: Decimal, *, ours: bool, until: date | None
) -> Use:
    first = needs[0]
    code = plans.codes[first.step][1]
    return Use(
        label=f"{project.code}:{code}" if plans.several else code,
        project=project.code,
        step=code,
        day=first.day,
        quantity=sum((need.quantity for need in needs), NOTHING),
        taken=got,
        missing=lacks,
        late=until is not None and first.day > until,
        ours=ours,
        waits_for=tuple(plans.waits_for.get(first.step, ())),
        rule=first.rule,
        source=", ".join(dict.fromkeys(need.source for need in needs)),
    )
