"""Where the goods of each lot went, as far as the ledger can tell, and what a notice says of a lot. Pure: no Django, no clock.

The ledger is walked once, in its order. A parcel is what one place holds of one lot. Of each parcel two sets are kept: the lots whose goods
may be in it, and the lots of whose goods all of it must be. What goes out takes both along, so that a trace reads alike both ways: a lot
went into a use for certain where it is in the second set, and possibly where it is in the first alone.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from inventory.common.reasons import Reason
from inventory.shelflife.calc import StatedDate

STORAGE, CUT, PASSED = "storage", "cut", "passed"
MISSED = frozenset({"counted", "lost"})  # what is missing may have been booked, or found, as another lot of its item
NONE: frozenset[int] = frozenset()


class Certainty(StrEnum):
    """How sure a trace is."""

    CERTAIN = "certain"
    POSSIBLE = "possible"
    NOT = "not"


class Move(NamedTuple):
    """A line of the ledger that stands: what was reversed, and the reverse, are left out. The walk itself needs none of the last four."""

    id: int
    lot: int
    quantity: Decimal
    source: int
    target: int
    ref: str = ""
    on: date = date.min
    by: str = ""
    note: str = ""
    reverses: int | None = None


class LotFact(NamedTuple):
    """What the walk must know of a lot."""

    item: int
    coded: bool


class Goods(NamedTuple):
    """Something on its way: `lots` is what it was taken as, first the lot of the line, then those it could not be told from."""

    may: frozenset[int]
    must: frozenset[int]
    lots: tuple[int, ...] = ()


class Link(NamedTuple):
    """That goods of one lot became, or may have become, another's. `id` is the line of the ledger."""

    id: int
    source: int
    target: int
    how: str  # passed, cut, together, counted
    ref: str


class Out(NamedTuple):
    """What left the stock: used, scrapped, lost, counted away. `place` is where it lay; `together` what it could not be told from."""

    id: int
    lot: int
    quantity: Decimal
    place: int
    end: int
    ref: str
    may: frozenset[int]
    must: frozenset[int]
    together: tuple[int, ...]


@dataclass(slots=True)
class Parcel:
    """What one place holds of one lot. `blurred`: something was taken of it that may have been another lot's."""

    quantity: Decimal
    may: frozenset[int]
    must: frozenset[int]
    blurred: bool = False


@dataclass(frozen=True, slots=True)
class Walk:
    """Everything that the ledger says of where goods went."""

    outs: list[Out]
    held: dict[tuple[int, int], Parcel]
    links: list[Link]
    cuts: dict[str, Goods]
    ever: dict[int, Goods]  # by lot: what was ever in it, and what all of it always was


@dataclass(slots=True)
class _State:
    """What the walk has seen so far."""

    ends: Mapping[int, str]
    lots: Mapping[int, LotFact]
    held: dict[tuple[int, int], Parcel] = field(default_factory=dict)
    here: dict[tuple[int, int], dict[int, None]] = field(default_factory=lambda: defaultdict(dict))  # lots by place and item
    outs: list[Out] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    cuts: dict[str, Goods] = field(default_factory=dict)
    passing: dict[str, list[tuple[Decimal, Goods]]] = field(default_factory=lambda: defaultdict(list))
    ever: dict[int, Goods] = field(default_factory=dict)
    missed: dict[int, dict[tuple[int, int], int]] = field(default_factory=dict)  # item, parcel: the last line that found it short
    seen: dict[int, dict[int, frozenset[int]]] = field(default_factory=lambda: defaultdict(dict))  # item, lot found short: its may then
    own: dict[int, frozenset[int]] = field(default_factory=dict)


def walk(moves: Sequence[Move], ends: Mapping[int, str], lots: Mapping[int, LotFact]) -> Walk:
    """Walk lines of the ledger in their order. `ends` is what each place is; `lots` names every lot of the lines."""
    state = _State(ends, lots, missed=_missed(moves, ends, lots))
    for move in moves:
        _put(state, move, _taken(state, move))
    held = {spot: parcel for spot, parcel in state.held.items() if parcel.quantity > 0}
    return Walk(state.outs, held, state.links, state.cuts, state.ever)


def _missed(moves: Iterable[Move], ends: Mapping[int, str], lots: Mapping[int, LotFact]) -> dict[int, dict[tuple[int, int], int]]:
    found: dict[int, dict[tuple[int, int], int]] = defaultdict(dict)
    for move in moves:
        if ends[move.target] in MISSED:
            found[lots[move.lot].item][move.lot, move.source] = move.id
    return found


def _taken(state: _State, move: Move) -> Goods:
    """What a line takes from where it lay."""
    end = state.ends[move.source]
    if end == STORAGE:
        return _from_shelf(state, move)
    if end == CUT:
        return state.cuts.get(move.ref, Goods(NONE, NONE))
    if end == PASSED:
        return _passed(state, move)
    if end in MISSED:
        return _found(state, move)
    return Goods(NONE, NONE)


def _itself(state: _State, lot: int) -> frozenset[int]:
    found = state.own.get(lot)
    if found is None:
        found = state.own[lot] = frozenset((lot,))
    return found


def _from_shelf(state: _State, move: Move) -> Goods:
    """Of a lot without a code nobody can tell it from what else of its item lay in the same place."""
    lot, place = move.lot, move.source
    fact, parcel = state.lots[lot], state.held.get((lot, place))
    own = _itself(state, lot)
    goods = Goods(own, own, (lot,)) if parcel is None else Goods(parcel.may, parcel.must, (lot,))
    if not fact.coded and len(there := state.here[place, fact.item]) > 1:
        beside = [state.held[one, place] for one in there if one != lot]
        may = goods.may.union(*(one.may for one in beside))
        must = goods.must.intersection(*(one.must for one in beside))
        goods = Goods(may, must, (lot, *(one for one in there if one != lot)))
        if parcel is not None:
            parcel.blurred = True
    if parcel is not None:
        _lower(state, move, parcel, fact.item)
    return goods


def _lower(state: _State, move: Move, parcel: Parcel, item: int) -> None:
    """What is used up by the ledger is gone, unless another lot's may have been taken in its stead."""
    parcel.quantity -= move.quantity
    if parcel.quantity <= 0 and not parcel.blurred:
        del state.held[move.lot, move.source]
        state.here[move.source, item].pop(move.lot, None)


def _passed(state: _State, move: Move) -> Goods:
    """What one bench gave under the same reference: the first of that quantity, else whatever waits there."""
    waiting = state.passing[move.ref]
    for at, (quantity, goods) in enumerate(waiting):
        if quantity == move.quantity and goods.lots and state.lots[goods.lots[0]].item == state.lots[move.lot].item:
            del waiting[at]
            return goods
    return Goods(NONE, NONE)


def _found(state: _State, move: Move) -> Goods:
    """A count found more than there should be: it may be what was, or will be, missed of any lot of the item."""
    item = state.lots[move.lot].item
    may: set[int] = set()
    lots: dict[int, None] = {}
    for lot, then in state.seen[item].items():
        may |= then
        lots[lot] = None
    for (lot, place), last in state.missed.get(item, {}).items():
        parcel = state.held.get((lot, place))
        if last > move.id and parcel is not None:
            may |= parcel.may
            lots[lot] = None
    before = state.ever.get(move.lot)  # or what was written off of the lot itself
    return Goods(frozenset(may) | (before.may if before else NONE), NONE, tuple(lots))


def _put(state: _State, move: Move, goods: Goods) -> None:
    """What a line brings to where it goes."""
    end = state.ends[move.target]
    if end == STORAGE:
        _on_shelf(state, move, goods)
    elif end == CUT:
        before = state.cuts.get(move.ref)
        lots = goods.lots if before is None else (*before.lots, *goods.lots)
        state.cuts[move.ref] = goods if before is None else Goods(before.may | goods.may, before.must & goods.must, lots)
    elif end == PASSED:
        state.passing[move.ref].append((move.quantity, goods))
    else:
        state.outs.append(Out(move.id, move.lot, move.quantity, move.source, move.target, move.ref, goods.may, goods.must, goods.lots[1:]))
        if end in MISSED:
            seen, item = state.seen[state.lots[move.lot].item], move.lot
            seen[item] = seen.get(item, NONE) | goods.may


_HOW = {CUT: "cut", PASSED: "passed", STORAGE: "together", "counted": "counted", "lost": "counted"}


def _on_shelf(state: _State, move: Move, goods: Goods) -> None:
    """The lot of the line is in it for certain, save where it was carried without a code from among others."""
    lot, own = move.lot, _itself(state, move.lot)
    blurred = len(goods.lots) > 1 and state.ends[move.source] == STORAGE
    may = goods.may if lot in goods.may else goods.may | own
    must = goods.must if blurred or lot in goods.must else goods.must | own
    key = (lot, move.target)
    parcel = state.held.get(key)
    if parcel is None:
        state.held[key] = Parcel(move.quantity, may, must)
        state.here[move.target, state.lots[lot].item][lot] = None
    else:
        parcel.quantity += move.quantity
        if parcel.may is not may:
            parcel.may = parcel.may | may
        if parcel.must is not must:
            parcel.must = parcel.must & must
    _remember(state, move, Goods(may, must), goods.lots)


def _remember(state: _State, move: Move, goods: Goods, lots: Iterable[int]) -> None:
    lot, before = move.lot, state.ever.get(move.lot)
    if before is None:
        state.ever[lot] = goods
    elif before.may is not goods.may or before.must is not goods.must:
        state.ever[lot] = Goods(before.may | goods.may, before.must & goods.must)
    how = _HOW.get(state.ends[move.source], "")
    for at, one in enumerate(lots):
        if one != lot:
            state.links.append(Link(move.id, one, lot, how if at == 0 or how == "counted" else "together", move.ref))


def route(links: Iterable[Link], start: int, target: int, before: int) -> tuple[Link, ...]:
    """How goods of the lot `start` came to be the lot `target`, by lines up to `before`: the way that was there first."""
    came: dict[int, Link | None] = {start: None}
    for link in links:
        if link.id > before or target in came:
            break
        if link.source in came and link.target not in came:
            came[link.target] = link
    found: list[Link] = []
    at = came.get(target)
    while at is not None:
        found.append(at)
        at = came[at.source]
    return tuple(reversed(found))


# What a notice says of a lot


class Verdict(StrEnum):
    """Whether a notice means something."""

    AFFECTED = "affected"
    POSSIBLY = "possibly"
    NOT = "not"


@dataclass(frozen=True, slots=True)
class Named:
    """What a notice names: all of it that is given must hold. Codes are compared whatever their case."""

    codes: tuple[str, ...] = ()
    made_from: date | None = None
    made_to: date | None = None
    packed_from: date | None = None
    packed_to: date | None = None

    @property
    def folded(self) -> frozenset[str]:
        """The codes as they are compared."""
        return frozenset(code.casefold() for code in self.codes)


@dataclass(frozen=True, slots=True)
class Window:
    """Days between which something was packed, as far as they are known, and how that is known."""

    first: date | None
    last: date | None
    source: str


@dataclass(frozen=True, slots=True)
class Judged:
    """What a notice says of one lot, and why."""

    verdict: Verdict
    reasons: tuple[Reason, ...]


NOTICE = "the notice"
LEDGER = "the lot's own record"
_Said = tuple[bool | None, Reason]


def judge(named: Named, code: str, made: StatedDate | None, packed: Sequence[Window]) -> Judged:
    """Whether a notice means a lot of one of its items. What isn't known is never guessed: it stays possible."""
    coded = _by_code(named, code)
    dated = [one for one in (_by_made(named, made), _by_packed(named, packed)) if one is not None]
    if coded is None and not dated:
        return Judged(Verdict.AFFECTED, (Reason("the notice names the item whatever its lot", NOTICE),))
    if coded is not None and coded[0] is not None:
        return _of_code(coded[0], coded[1], [reason for held, reason in dated if held is False])
    said = [coded, *dated] if coded else dated
    held = [one for one, _ in said]
    verdict = Verdict.NOT if False in held else Verdict.POSSIBLY if None in held else Verdict.AFFECTED
    wanted = {Verdict.NOT: False, Verdict.POSSIBLY: None, Verdict.AFFECTED: True}[verdict]
    return Judged(verdict, tuple(reason for one, reason in said if one is wanted))


def _of_code(is_named: bool, reason: Reason, against: Sequence[Reason]) -> Judged:
    """A code that is known decides, unless its dates speak against it."""
    if is_named and against:
        clash = Reason("its code is named, and its dates are not those of the notice: ask the maker which holds", NOTICE)
        return Judged(Verdict.POSSIBLY, (reason, *against, clash))
    return Judged(Verdict.AFFECTED if is_named else Verdict.NOT, (reason,))


def _by_code(named: Named, code: str) -> _Said | None:
    if not named.codes:
        return None
    if not code:
        return None, Reason("it has no lot code: it may be of one of the lots that the notice names", LEDGER)
    if code.casefold() in named.folded:
        return True, Reason(f"its lot code {code} is among those that the notice names", NOTICE)
    return False, Reason(f"its lot code {code} is not among those that the notice names", NOTICE)


def _by_made(named: Named, made: StatedDate | None) -> _Said | None:
    if named.made_from is None and named.made_to is None:
        return None
    period = _period("made", named.made_from, named.made_to)
    if made is None:
        return None, Reason(f"nobody knows when it was made, and the notice is of what was {period}", LEDGER)
    held = _within(first_day(made), made.last_day, named.made_from, named.made_to)
    words = {True: "within", False: "outside", None: "partly within"}[held]
    return held, Reason(f"made {made}: {words} what was {period}", LEDGER)


def first_day(stated: StatedDate) -> date:
    """The first day that a stated date may mean."""
    months = {"month": 0, "quarter": 2}.get(stated.precision)
    day = stated.last_day
    return day if months is None else day.replace(month=day.month - months, day=1)


def _by_packed(named: Named, packed: Sequence[Window]) -> _Said | None:
    if named.packed_from is None and named.packed_to is None:
        return None
    period = _period("packed", named.packed_from, named.packed_to)
    if not packed:
        return None, Reason(f"nobody knows when it was packed, and the notice is of what was {period}", LEDGER)
    each = [(_within(one.first, one.last, named.packed_from, named.packed_to), one) for one in packed]
    answers = {held for held, _ in each}
    held = next(iter(answers)) if len(answers) == 1 else None
    told = "; ".join(dict.fromkeys(_packed_text(one) for _, one in each))
    words = {True: "within", False: "outside", None: "it may be within"}[held]
    return held, Reason(f"{told}: {words} what was {period}", "; ".join(dict.fromkeys(one.source for _, one in each)))


def _packed_text(one: Window) -> str:
    if one.first and one.last:
        return f"packed from {one.first} to {one.last}"
    return f"packed by {one.last}" if one.last else f"packed after {one.first}" if one.first else "packed on a day that isn't known"


def _period(what: str, first: date | None, last: date | None) -> str:
    if first and last:
        return f"{what} from {first} to {last}"
    return f"{what} from {first} on" if first else f"{what} up to {last}"


def _within(first: date | None, last: date | None, low: date | None, high: date | None) -> bool | None:
    """Whether days that are known to lie from `first` to `last` lie within a period; None where that can't be told."""
    if (low is not None and last is not None and last < low) or (high is not None and first is not None and first > high):
        return False
    inside = (low is None or (first is not None and first >= low)) and (high is None or (last is not None and last <= high))
    return True if inside else None


def of_use(lot: Verdict, certainty: Certainty) -> Verdict:
    """What a notice says of a use, by what it says of the lot, and how sure it is that the lot went there."""
    if Verdict.NOT in (lot, certainty):
        return Verdict.NOT
    sure = lot == Verdict.AFFECTED and certainty == Certainty.CERTAIN
    return Verdict.AFFECTED if sure else Verdict.POSSIBLY
