"""The smallest change that lets a day go ahead. Pure.

Three kinds of change, the smaller kind first: one step goes to another day, the nearest on which it fits; one row of holes takes its clecos
wider; a bench lends what is free that day. One change is smaller than two. No change may leave another day worse off than it was, in the
days looked at (two weeks before and behind, a starting value of ours). Pairs are tried among the twelve smallest changes of each kind (ours
too). Where neither one nor two changes do, none is proposed.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations, islice, permutations
from typing import NamedTuple

from buildplan.club.calc import NOTHING, Hold, ItemDay, Supply, item_day, short
from buildplan.club.days import Days

REACH = 14  # days before and behind the day: ours
PAIRED = 12  # changes of each kind that are tried in pairs: ours
ONE_DAY = timedelta(days=1)

Place = tuple[int, date]  # an item on a day


@dataclass(frozen=True, slots=True)
class Move:
    """A step goes from one day to another; `along` are steps that take their day from it, and so go too."""

    step: int
    was: date
    to: date
    along: tuple[int, ...] = ()

    @property
    def days(self) -> int:
        """How far it goes."""
        return abs((self.to - self.was).days)


@dataclass(frozen=True, slots=True)
class Widen:
    """A row of holes takes a cleco in every `every`-th hole instead of every `was`-th, which `stage` of the work allows."""

    row: int
    step: int
    item: int
    was: int
    every: int
    stage: str
    freed: Decimal


class Taken(NamedTuple):
    """Pieces of an item for a bench."""

    item: int
    taker: int
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Borrow:
    """A bench lends things of its own that its own steps leave free that day."""

    giver: int
    taken: tuple[Taken, ...]

    @property
    def pieces(self) -> Decimal:
        """How many in all."""
        return sum((one.quantity for one in self.taken), NOTHING)


Change = Move | Widen | Borrow


@dataclass(frozen=True, slots=True)
class Wider:
    """A spacing that a row may take: how many clecos it frees, and at which stage of the work it is usual."""

    row: int
    step: int
    item: int
    was: int
    every: int
    stage: str
    freed: Decimal


@dataclass(frozen=True, slots=True)
class Scene:
    """A day that doesn't go ahead as planned, with the days around it.

    `holds` are of all items that the day's steps hold, on all days of the window. `orders` gives each step's place in the serving order.
    `wider` are the spacings that rows of the day's steps may take, `benches` those that may lend.
    """

    day: date
    today: date
    holds: tuple[Hold, ...]
    supply: Supply
    days: Days
    orders: Mapping[int, tuple[int, int]]
    wider: tuple[Wider, ...] = ()
    benches: tuple[int, ...] = ()
    reach: int = REACH

    @property
    def first(self) -> date:
        """The first day looked at."""
        return max(self.today, _later(self.day, -self.reach))

    @property
    def last(self) -> date:
        """The last day looked at."""
        return _later(self.day, self.reach)


def find(scene: Scene) -> tuple[tuple[Change, ...], ...]:
    """What would let the day go ahead, the smallest first: single changes, or where none does the smallest pair. Nothing where it fits."""
    search = _Search(scene)
    if not search.lacking:
        return ()
    moves = [search.nearest(step) for step in search.candidates()]
    fitting = [found.fitting for found in moves if found.fitting is not None]
    single = [*sorted(fitting, key=search.size), *(one for one in search.others(whole=True) if search.fits((one,)))]
    if single:
        return tuple((one,) for one in single)
    helping = sorted((found.helping for found in moves if found.helping is not None), key=search.size)[:PAIRED]
    others = search.others(whole=False)
    parts = [*helping, *_few(others, Widen), *_few(others, Borrow)]
    pairs = [pair for pair in combinations(parts, 2) if search.compatible(pair) and search.fits(pair)]
    pairs += [(one, far) for one, other in permutations(helping, 2) if (far := search.beside(one, other.step)) is not None]
    return (min(pairs, key=search.pair_size),) if pairs else ()


def _few(changes: Iterable[Change], kind: type[Change]) -> list[Change]:
    return list(islice((one for one in changes if isinstance(one, kind)), PAIRED))


@dataclass(frozen=True, slots=True)
class _Nearest:
    """The nearest day to which a step's going lets the whole day go ahead, and the nearest that helps at all."""

    fitting: Move | None
    helping: Move | None


class _Search:
    """One search: what each bench needs on each day is reckoned once, and a change only touches its own days."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self._by_item: dict[int, list[Hold]] = defaultdict(list)
        self._by_step: dict[int, list[Hold]] = defaultdict(list)
        self._freed_by: dict[int, list[Hold]] = defaultdict(list)
        for hold in scene.holds:
            self._by_item[hold.item].append(hold)
            self._by_step[hold.step].append(hold)
            if hold.frees is not None:
                self._freed_by[hold.frees].append(hold)
        self._needs: dict[Place, dict[int, Decimal]] = {}
        self._short: dict[Place, Decimal] = {}
        self.lacking = self._lacking()

    def _lacking(self) -> dict[int, Decimal]:
        found = {item: self.short((item, self.scene.day)) for item in self._by_item}
        return {item: quantity for item, quantity in found.items() if quantity}

    def needs(self, place: Place) -> dict[int, Decimal]:
        """What each bench needs of an item on a day, as planned."""
        if place not in self._needs:
            item, day = place
            needs: dict[int, Decimal] = defaultdict(Decimal)
            for hold in self._by_item[item]:
                if hold.on(day):
                    needs[hold.bench] += hold.quantity
            self._needs[place] = needs
        return self._needs[place]

    def short(self, place: Place) -> Decimal:
        """What is missing of an item on a day, as planned."""
        if place not in self._short:
            self._short[place] = short(self.needs(place), self.scene.supply.stand(*place))
        return self._short[place]

    def candidates(self) -> list[int]:
        """The steps of the day that hold something that is missing, take it off, or set the day of one that does: the last served first."""
        scene = self.scene
        held = [hold for item in self.lacking for hold in self._by_item[item] if hold.on(scene.day)]
        found = {hold.step for hold in held} | {hold.frees for hold in held if hold.frees is not None}
        found |= {scene.days.found[step].source for step in found if step in scene.days.found}
        here = [step for step in found if scene.days.on(step) == scene.day]
        return sorted(here, key=self._order, reverse=True)

    def nearest(self, step: int) -> _Nearest:
        """Where a step would go: to the nearest day, a later one before an earlier one as near."""
        helping = None
        for to in self._nearest_days():
            move = self._move(step, to)
            if move is None:
                continue
            after = self._after((move,))
            if self._worse(after):
                continue
            if self._enough(after):
                return _Nearest(move, helping or move)
            if helping is None and self._helps(after):
                helping = move
        return _Nearest(None, helping)

    def beside(self, first: Move, step: int) -> Move | None:
        """The nearest day to which a second step goes so that both together do."""
        for to in self._nearest_days():
            move = self._move(step, to)
            if move is not None and self.compatible((first, move)) and self.fits((first, move)):
                return move
        return None

    def _nearest_days(self) -> Iterator[date]:
        scene = self.scene
        for distance in range(1, scene.reach + 1):
            for to in (_later(scene.day, distance), _later(scene.day, -distance)):
                if scene.first <= to <= scene.last and to != scene.day:
                    yield to

    def _move(self, step: int, to: date) -> Move | None:
        days = self.scene.days
        if not days.may_move(step, to):
            return None
        moved = days.moved({step: to})
        if moved.get(step) != to:
            return None  # another step that waits for it sets its day
        along = tuple(sorted((one for one in moved if one != step and not days.plans[one].done), key=self._order))
        return Move(step, self.scene.day, to, along)

    def _order(self, step: int) -> tuple[int, int]:
        return self.scene.orders.get(step, (0, 0))

    def others(self, *, whole: bool) -> list[Change]:
        """Changes of the other kinds, the smaller first; `whole` are those that might do alone."""
        rows = [Widen(one.row, one.step, one.item, one.was, one.every, one.stage, one.freed) for one in self.scene.wider]
        useful: list[Change] = [one for one in rows if one.item in self.lacking]
        lent = (self._borrow(bench) for bench in self.scene.benches)
        useful += [one for one in lent if one is not None and (not whole or len(one.taken) >= len(self.lacking))]
        return sorted(useful, key=self.size)

    def _borrow(self, giver: int) -> Borrow | None:
        """What a bench could lend of all that is missing; None where it has nothing to spare."""
        taken = [one for item in self.lacking for one in self._spared(giver, item)]
        return Borrow(giver, tuple(taken)) if taken else None

    def _spared(self, giver: int, item: int) -> Iterator[Taken]:
        """What of an item a bench could lend to each bench that lacks it, who is served last first."""
        place = item, self.scene.day
        own = self.scene.supply.stand(*place).own.get(giver, NOTHING)
        spare = own - self.needs(place).get(giver, NOTHING)
        lacking: dict[int, Decimal] = defaultdict(Decimal)
        for share in reversed(self._item_day(item).shares):
            lacking[share.bench] += share.lacking
        for taker, missing in lacking.items():
            lent = min(spare, missing) if taker != giver else NOTHING
            if lent > 0:
                spare -= lent
                yield Taken(item, taker, lent)

    def _item_day(self, item: int) -> ItemDay:
        return item_day(item, self.scene.day, self._by_item[item], self.scene.supply)

    def fits(self, changes: Sequence[Change]) -> bool:
        """Whether the day then goes ahead, and no other is worse off."""
        after = self._after(changes)
        return not self._worse(after) and self._enough(after)

    def compatible(self, pair: Sequence[Change]) -> bool:
        """A row takes one spacing, and doesn't go while it does; two steps may go where neither takes its day from the other."""
        moves = {step for one in pair if isinstance(one, Move) for step in (one.step, *one.along)}
        if sum(1 + len(one.along) for one in pair if isinstance(one, Move)) > len(moves):
            return False
        rows = [one for one in pair if isinstance(one, Widen)]
        return len({one.row for one in rows}) == len(rows) and not any(one.step in moves for one in rows)

    def _after(self, changes: Sequence[Change]) -> dict[Place, Decimal]:
        """What is missing where the changes touch anything."""
        needs, lent = self._changed_needs(changes), _lent(changes)
        touched = {(item, day) for item, day, _ in needs} | {(item, self.scene.day) for item, _ in lent}
        return {place: self._short_with(place, needs, lent) for place in touched}

    def _short_with(self, place: Place, needs: Mapping[tuple[int, date, int], Decimal], lent: Mapping[tuple[int, int], Decimal]) -> Decimal:
        item, day = place
        now = dict(self.needs(place))
        for (of, on, bench), more in needs.items():
            if (of, on) == place:
                now[bench] = now.get(bench, NOTHING) + more
        if day == self.scene.day:  # what a bench lends is missing there, and there for the other
            for (of, bench), more in lent.items():
                if of == item:
                    now[bench] = now.get(bench, NOTHING) + more
        return short(now, self.scene.supply.stand(item, day))

    def _changed_needs(self, changes: Sequence[Change]) -> dict[tuple[int, date, int], Decimal]:
        """By how much what a bench needs of an item on a day changes."""
        moves = {one.step: one.to for one in changes if isinstance(one, Move)}
        freed = {one.row: one.freed for one in changes if isinstance(one, Widen)}
        moved = self.scene.days.moved(moves) if moves else {}
        touched = {id(hold): hold for step in moved for hold in (*self._by_step[step], *self._freed_by[step])}
        rows = {one.step for one in changes if isinstance(one, Widen)}
        touched |= {id(hold): hold for step in rows for hold in self._by_step[step] if hold.row in freed}
        found: dict[tuple[int, date, int], Decimal] = defaultdict(Decimal)
        for hold in touched.values():
            for one, sign in ((hold, -1), (self._changed(hold, moved, freed), 1)):
                for day in self._days_of(one):
                    found[one.item, day, one.bench] += sign * one.quantity
        return {key: more for key, more in found.items() if more}

    def _changed(self, hold: Hold, moved: Mapping[int, date], freed: Mapping[int, Decimal]) -> Hold:
        first, last = hold.first, hold.last
        if hold.step in moved and not self._is_done(hold.step):
            first = max(moved[hold.step], self.scene.today)
            last = first if hold.frees is None else last
        if hold.frees is not None and hold.frees in moved:
            last = max(moved[hold.frees], self.scene.today)
        quantity = hold.quantity - freed.get(hold.row, NOTHING) if hold.row is not None else hold.quantity
        return hold._replace(first=first, last=max(first, last), quantity=quantity)

    def _is_done(self, step: int) -> bool:
        plan = self.scene.days.plans.get(step)
        return plan is not None and plan.done

    def _days_of(self, hold: Hold) -> Iterator[date]:
        day, last = max(hold.first, self.scene.first), min(hold.last, self.scene.last)
        while day <= last:
            yield day
            day += ONE_DAY

    def _worse(self, after: Mapping[Place, Decimal]) -> bool:
        return any(missing > self.short(place) for place, missing in after.items())

    def _enough(self, after: Mapping[Place, Decimal]) -> bool:
        return not any(after.get((item, self.scene.day), missing) for item, missing in self.lacking.items())

    def _helps(self, after: Mapping[Place, Decimal]) -> bool:
        return any(after.get((item, self.scene.day), missing) < missing for item, missing in self.lacking.items())

    def size(self, change: Change) -> tuple[object, ...]:
        """How large a change is: by its kind, then by what it asks of people; last who is served last, who gives way first."""
        if isinstance(change, Move):
            return 0, change.days, self._holds_promise(change.step), change.to < change.was, _reversed(self._order(change.step))
        if isinstance(change, Widen):
            return 1, change.every - change.was, _reversed(self._order(change.step)), change.row
        return 2, change.pieces, change.giver

    def _holds_promise(self, step: int) -> bool:
        """Whether something that is missing was lent or booked for this very step: who asked first isn't asked to go first."""
        day = self.scene.day
        return any(one.step == step and one.on(day) for item in self.lacking for one in self.scene.supply.given.get(item, ()))

    def pair_size(self, pair: Sequence[Change]) -> tuple[object, ...]:
        """The larger of the two counts first, then the other."""
        larger, smaller = sorted(map(self.size, pair), reverse=True)
        return larger, smaller


def _lent(changes: Iterable[Change]) -> dict[tuple[int, int], Decimal]:
    """What lending adds to the need of who gives, and takes from that of who gets, by item and bench."""
    found: dict[tuple[int, int], Decimal] = defaultdict(Decimal)
    for change in changes:
        if isinstance(change, Borrow):
            for one in change.taken:
                found[one.item, change.giver] += one.quantity
                found[one.item, one.taker] -= one.quantity
    return found


def _reversed(order: tuple[int, int]) -> tuple[int, int]:
    return -order[0], -order[1]


def _later(day: date, days: int) -> date:
    """So many days after a day, within the calendar."""
    return date.fromordinal(min(max(1, day.toordinal() + days), date.max.toordinal()))
