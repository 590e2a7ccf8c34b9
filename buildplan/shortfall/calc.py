"""Netting: what a demand takes from which lots, and what is then missing. Pure: no Django, no clock.

Needs are served in time order, each first from what is set aside for that very step, then from the usable lot that expires first.
Where a need may be split over lots, no other choice serves more (by exchange; `tests/buildplan/shortfall` checks it against a
maximum flow). Quantities are `Decimal` in the item's stock unit.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum
from heapq import heapify, heappop, heappush
from typing import Any, NamedTuple

from buildplan.shortfall.windows import not_before
from inventory.shelflife.calc import Limit
from inventory.stock.calc import LifeRule, days_to_keep
from inventory.tallying.calc import Gives

NOTHING = Decimal(0)
ONE_DAY = timedelta(days=1)


class Why(StrEnum):
    """Why a quantity doesn't count, in the order in which the first that fits is given."""

    QUARANTINED = "quarantined"
    DISPUTED = "disputed"
    FAILED = "failed"
    UNKNOWN_LIFE = "unknown_life"
    EXPIRED = "expired"
    OTHER_BENCH = "other_bench"
    LENT = "lent"
    SET_ASIDE = "set_aside"
    LATE = "late"


class ItemFacts(NamedTuple):
    """What netting asks of an item. `returned` things come back after their step; `rule` says how long its lots live.

    `sealant` is for who asks of the item beyond netting.
    """

    id: int
    code: str
    name: str
    unit: str
    returned: bool
    pack: Decimal | None
    lead_days: int | None
    rule: LifeRule
    sealant: bool = False


class Need(NamedTuple):
    """What one step takes of an item on a day. `order` is plan order; `source` is where the plan says so, a call-out, row or seam.

    `note` says how the figure was come by, where that isn't plain; `mixed` is what was mixed of it already, beside `quantity`. Needs sort
    as they are served: by day, then in plan order.
    """

    day: date
    order: tuple[int, int]
    step: int
    label: str
    quantity: Decimal
    rule: str
    note: str
    source: str
    until: date | None = None  # a returned thing is held through this day; None is its own day alone
    mixed: Decimal = NOTHING

    @property
    def through(self) -> date:
        """The last day on which a returned thing is held."""
        return self.day if self.until is None or self.until < self.day else self.until


@dataclass(frozen=True, slots=True)
class Told:
    """What was counted of a packing line that is here. `number` is that of the list."""

    line_id: int
    number: str
    gives: Gives[Any]


class Supply(NamedTuple):
    """A lot on hand, or a packing line on its way. `key` tells them apart: a lot's id, a line's id below zero.

    `ready` is the day from which it serves (None: it is here); `ending` what ends its life (None: no end is known of).
    `blocked` says why none of it counts. `aside` are the quantities held for steps. `where` is its places, or the crate's due day.
    What of a crate is counted is a supply for each lot, here but for being put away. `told` is what was counted of its line; a line that
    gives nothing has a supply of nothing to say so.
    """

    key: int
    code: str
    quantity: Decimal
    ready: date | None
    ending: Limit | None
    blocked: Why | None = None
    aside: tuple[tuple[int, Decimal], ...] = ()
    crate: str = ""
    where: str = ""
    note: str = ""
    told: Told | None = None

    @property
    def on_hand(self) -> bool:
        """On the shelf, not on its way or in a crate."""
        return not self.crate

    @property
    def coming(self) -> bool:
        """Still to come, or to be counted; or without a day, so that nobody knows when."""
        return bool(self.crate) and (self.ready is not None or self.blocked is Why.LATE)


class Stock:
    """A supply while it is being allocated: what is still free, and what is still held for whom."""

    __slots__ = ("free", "held", "serves_until", "supply")

    def __init__(self, supply: Supply, min_life_days: int) -> None:
        """Split a supply into what is held for steps and what is free; where a count left less, the oldest holds come first."""
        self.supply = supply
        ending = supply.ending
        self.serves_until = date.max if ending is None else back(ending.last_day, days_to_keep(ending, min_life_days))
        self.free = supply.quantity
        self.held: dict[int, Decimal] | None = None  # most lots hold nothing: no dict for those
        if supply.aside:
            self.held = {}
            for step, quantity in supply.aside:
                self.held[step] = min(quantity, self.free)
                self.free -= self.held[step]

    @property
    def left(self) -> Decimal:
        """What nobody took."""
        return self.free if self.held is None else self.free + sum(self.held.values(), NOTHING)

    def serves(self, day: date) -> bool:
        """Whether it is alive and here on a day."""
        return self.serves_until >= day and (self.supply.ready is None or self.supply.ready <= day)


Served = tuple[Need, Supply, Decimal]  # one allocation: a plain tuple, since a large plan makes tens of thousands
Missing = tuple[Need, Decimal]  # what a need stays short of; of what comes back, days are short and not needs
Held = tuple[date, Decimal, Decimal]  # from that day on: what steps hold at once, and what is there


@dataclass(frozen=True, slots=True)
class Line:
    """The answer for one item. Quantities are in its stock unit."""

    item: ItemFacts
    needed: Decimal
    usable: Decimal
    in_transit: Decimal
    short: Decimal
    first_short: date | None
    order_by: date | None
    buy: Decimal
    packs: int | None
    unusable: tuple[tuple[Why, Decimal], ...]
    needs: tuple[Need, ...]
    served: tuple[Served, ...]
    blocked: tuple[tuple[Why, Supply, Decimal], ...]
    as_of: date
    receiving_days: int
    not_before: date | None = None
    peak_day: date | None = None
    held: tuple[Held, ...] = ()  # of a returned thing, day by day where anything changes
    missing: tuple[Missing, ...] = ()
    last_short: date | None = None
    supplies: tuple[Supply, ...] = field(default=(), compare=False, repr=False)  # all that was looked at, in any order

    @property
    def steps(self) -> tuple[str, ...]:
        """All steps of the demand that need the item, by day, then in plan order."""
        return tuple(dict.fromkeys(need.label for need in self.needs))


def net(item: ItemFacts, needs: Iterable[Need], supplies: Iterable[Supply], *, as_of: date, receiving_days: int) -> Line:
    """Net one item's needs against its supplies. Needs may come in any order; there must be at least one."""
    ordered = sorted(needs)
    stocks = [Stock(supply, item.rule.min_life_days) for supply in supplies]
    result = _hold(ordered, stocks) if item.returned else _consume(ordered, stocks)
    order_by = _order_by(result.first_short, item.lead_days, receiving_days)
    buy, packs = to_buy(result.short, item.pack)
    blocked = tuple(_blocked(ordered, stocks, result.first_short, keeps=item.returned))
    return Line(
        item=item,
        needed=result.needed,
        usable=result.usable,
        in_transit=result.in_transit,
        short=result.short,
        first_short=result.first_short,
        order_by=order_by,
        buy=buy,
        packs=packs,
        unusable=_totals(blocked),
        needs=tuple(ordered),
        served=tuple(result.served),
        blocked=blocked,
        as_of=as_of,
        receiving_days=receiving_days,
        not_before=_not_before(item, result.last_short),
        peak_day=result.peak_day,
        held=result.held,
        missing=tuple(result.missing),
        last_short=result.last_short,
        supplies=tuple([stock.supply for stock in stocks]),
    )


def to_buy(short: Decimal, pack: Decimal | None) -> tuple[Decimal, int | None]:
    """What to buy, and in how many whole packs; no pack, no rounding."""
    if pack is None:
        return short, None
    packs = int((short / pack).to_integral_value(ROUND_CEILING))
    return packs * pack, packs


def _order_by(first_short: date | None, lead_days: int | None, receiving_days: int) -> date | None:
    if first_short is None or lead_days is None:
        return None
    return back(first_short, lead_days + receiving_days)


def _not_before(item: ItemFacts, last_short: date | None) -> date | None:
    """Only what has a life can be bought too early, and only a known lead time tells when it arrives."""
    months = item.rule.life_months
    if last_short is None or not months or item.lead_days is None:
        return None
    return not_before(last_short, life_months=months, min_life_days=item.rule.min_life_days, lead_days=item.lead_days)


def back(day: date, days: int) -> date:
    """`days` before `day`; the calendar's first day where that lies before it."""
    return date.fromordinal(max(1, day.toordinal() - days))


@dataclass(slots=True)
class _Result:
    """What netting found for one item, before packs and dates."""

    needed: Decimal
    usable: Decimal
    in_transit: Decimal
    short: Decimal
    first_short: date | None
    last_short: date | None
    served: list[Served]
    missing: list[Missing] = field(default_factory=list)
    peak_day: date | None = None
    held: tuple[Held, ...] = ()


def draw(needs: Iterable[Need], stocks: Sequence[Stock]) -> tuple[Served, ...]:
    """Serve needs of what is used up, as netting does; the stocks are left with what nobody took."""
    return tuple(_consume(sorted(needs), stocks).served)


def _consume(needs: Sequence[Need], stocks: Sequence[Stock]) -> _Result:
    """Serve needs that use things up, in time order."""
    usable = [stock for stock in stocks if stock.supply.blocked is None]
    held = _held(usable)
    shelf = _Shelf(usable)
    served: list[Served] = []
    missing: list[Missing] = []
    needed, short = NOTHING, NOTHING
    for need in needs:
        needed += need.quantity
        left = _take_held(need, held[need.step], served) if need.step in held else need.quantity
        left = shelf.take(need, left, served)
        if left:
            short += left
            missing.append((need, left))
    first_short, last_short = (missing[0][0].day, missing[-1][0].day) if missing else (None, None)
    here = sum((quantity for _, supply, quantity in served if not supply.crate), NOTHING)
    return _Result(needed, here, needed - short - here, short, first_short, last_short, served, missing)


def _held(stocks: Iterable[Stock]) -> dict[int, list[Stock]]:
    """The supplies that hold something for a step, by step, the first to serve first."""
    held: dict[int, list[Stock]] = defaultdict(list)
    for stock in stocks:
        for step in stock.held or ():
            held[step].append(stock)
    return {step: sorted(found, key=_rank) for step, found in held.items()}


def _take_held(need: Need, stocks: Iterable[Stock], served: list[Served]) -> Decimal:
    """Serve a need from what is set aside for its step; give back what it still wants."""
    left = need.quantity
    for stock in stocks:
        held = stock.held or {}
        took = min(left, held[need.step])
        if took and stock.serves(need.day):
            held[need.step] -= took
            left -= took
            served.append((need, stock.supply, took))
    return left


Rank = tuple[date, bool, date, str, int, Stock]


def _rank(stock: Stock) -> Rank:
    """Which of two usable supplies serves first: the one that expires first, then on hand, then due earlier, then by lot code."""
    supply = stock.supply
    return (stock.serves_until, supply.crate != "", supply.ready or date.min, supply.code, supply.key, stock)


class _Shelf:
    """The free stock as days go by: supplies come in when they are ready, and leave when they are empty or dead."""

    def __init__(self, stocks: Sequence[Stock]) -> None:
        self._here = [_rank(stock) for stock in stocks if stock.supply.ready is None]
        heapify(self._here)
        coming = [(stock.supply.ready, stock.supply.key, stock) for stock in stocks if stock.supply.ready is not None]
        self._coming = sorted(coming, reverse=True)

    def take(self, need: Need, left: Decimal, served: list[Served]) -> Decimal:
        """Serve `left` of a need; give back what stays short. Needs must come in time order."""
        day, here, coming = need.day, self._here, self._coming
        while coming and coming[-1][0] <= day:
            heappush(here, _rank(coming.pop()[2]))
        while left and here:
            stock = here[0][5]
            if not stock.free or stock.serves_until < day:
                heappop(here)
                continue
            took = min(left, stock.free)
            stock.free -= took
            left -= took
            served.append((need, stock.supply, took))
        return left


def _hold(needs: Sequence[Need], stocks: Sequence[Stock]) -> _Result:
    """Compare what steps hold at once with what is there, day by day."""
    there = [stock for stock in stocks if stock.supply.blocked is None]
    needed, short, peak_day, first_short = NOTHING, NOTHING, None, None
    days = tuple(_day_by_day(needs, there))
    for day, held, have in days:
        if held > needed:
            needed, peak_day = held, day
        if held > have:
            short = max(short, held - have)
            first_short = first_short or day
    own = sum((stock.supply.quantity for stock in there if stock.supply.on_hand), NOTHING)
    usable = min(own, needed - short)
    return _Result(needed, usable, needed - short - usable, short, first_short, _last_short(days), [], [], peak_day, days)


def _last_short(days: Sequence[Held]) -> date | None:
    """The last day on which more is held than is there: a figure stays until the next one."""
    at = next((at for at in reversed(range(len(days))) if days[at][1] > days[at][2]), None)
    if at is None:
        return None
    return date.max if at + 1 == len(days) else days[at + 1][0] - ONE_DAY


def _day_by_day(needs: Iterable[Need], stocks: Iterable[Stock]) -> Iterator[Held]:
    """Each day on which what is held or what is there changes, with both."""
    held: dict[date, Decimal] = defaultdict(Decimal)
    there: dict[date, Decimal] = defaultdict(Decimal)
    for need in needs:
        held[need.day] += need.quantity
        if need.through < date.max:
            held[need.through + ONE_DAY] -= need.quantity
    for stock in stocks:
        there[stock.supply.ready or date.min] += stock.supply.quantity
        if stock.serves_until < date.max:
            there[max(stock.serves_until + ONE_DAY, stock.supply.ready or date.min)] -= stock.supply.quantity
    holding, having = NOTHING, NOTHING
    for day in sorted(held.keys() | there.keys()):
        holding += held[day]
        having += there[day]
        yield day, holding, having


def _blocked(
    needs: Sequence[Need],
    stocks: Iterable[Stock],
    first_short: date | None,
    *,
    keeps: bool,
) -> Iterator[tuple[Why, Supply, Decimal]]:
    """What doesn't count, each quantity under the first reason that fits; `needs` stand in time order.

    `keeps`: the item comes back, so nothing was taken.
    """
    last_need = needs[-1].day
    for stock in stocks:
        supply = stock.supply
        if supply.coming:
            found = _late(stock, first_short)
        elif supply.blocked is Why.OTHER_BENCH:
            found = (Why.OTHER_BENCH, stock.free if stock.serves_until >= last_need else NOTHING)
        elif supply.blocked is not None and (supply.blocked is not Why.LENT or stock.serves_until >= last_need):
            found = (supply.blocked, supply.quantity)
        elif stock.serves_until < last_need:
            found = (Why.EXPIRED, supply.quantity if keeps else stock.left)
        elif keeps or not stock.held:
            continue
        else:
            found = (Why.SET_ASIDE, _withheld(stock, needs))
        if found[1]:
            yield found[0], supply, found[1]


def _late(stock: Stock, first_short: date | None) -> tuple[Why, Decimal]:
    """What is on its way without a due day, or left over of what comes after the first short day."""
    ready = stock.supply.ready
    late = ready is None or (first_short is not None and ready > first_short)
    return Why.LATE, stock.left if late else NOTHING


def _withheld(stock: Stock, needs: Iterable[Need]) -> Decimal:
    """What is still held for one step and would serve another of this demand."""
    wanting = {need.step for need in needs}
    return sum((left for step, left in (stock.held or {}).items() if wanting - {step}), NOTHING)


def _totals(blocked: Iterable[tuple[Why, Supply, Decimal]]) -> tuple[tuple[Why, Decimal], ...]:
    totals: dict[Why, Decimal] = {}
    for why, _, quantity in blocked:
        totals[why] = totals.get(why, NOTHING) + quantity
    return tuple((why, totals[why]) for why in Why if why in totals)
