"""What a day's steps hold of things that come back, against what each bench and the pool have: who gets what, and what is missing. Pure.

A bench's own things serve its own steps first; then what the pool lent it or promised it; the pool's free pieces go by plan order: project
by project as their codes stand, then as each plan goes. Quantities are `Decimal` in the item's stock unit.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from inventory.common.exact import decimal_text
from inventory.common.reasons import ARITHMETIC, Reason

NOTHING = Decimal(0)
RULE = "own things first, then loans and bookings, then plan order: a starting value of ours"


class Hold(NamedTuple):
    """What a step holds of an item, from one day through another. `order` is the project's place, then plan order.

    `source` is a call-out or a row of holes; `row` that row, `frees` the step that takes its clecos off, where another one does.
    """

    item: int
    bench: int
    order: tuple[int, int]
    step: int
    quantity: Decimal
    first: date
    last: date
    source: str = ""
    note: str = ""
    row: int | None = None
    frees: int | None = None

    def on(self, day: date) -> bool:
        """Whether it is held that day."""
        return self.first <= day <= self.last


class Grant(NamedTuple):
    """Pieces that somebody has (`lent`) or was promised, through the last day. `bench` None is somebody for no bench that is known.

    `giver` is the bench whose they are; None is the pool. `step` is what they are for, where that was said.
    """

    item: int
    quantity: Decimal
    bench: int | None
    giver: int | None
    step: int | None
    first: date
    last: date
    lent: bool
    who: str

    def on(self, day: date) -> bool:
        """Whether it is held that day."""
        return self.first <= day <= self.last


class Piece(NamedTuple):
    """Pieces of one bench that serve through a day; `bench` None is the pool, `last` None is without an end."""

    item: int
    bench: int | None
    quantity: Decimal
    last: date | None = None


@dataclass(frozen=True, slots=True)
class Share:
    """What a step gets of an item: of its bench's own, of what was lent or promised to its bench, of the pool's free pieces."""

    step: int
    bench: int
    needed: Decimal
    own: Decimal
    promised: Decimal
    pool: Decimal
    last: date
    sources: tuple[str, ...] = ()

    @property
    def lacking(self) -> Decimal:
        """What it doesn't get."""
        return self.needed - self.own - self.promised - self.pool

    @property
    def wanted(self) -> Decimal:
        """What of the pool it needs beyond what its bench has: what there is to book."""
        return self.needed - self.own - self.promised


@dataclass(frozen=True, slots=True)
class Stand:
    """How an item stands on a day before any step is served.

    `own` is by bench, less what is lent of it; `promised` by bench, as far as it is there; `there` is all of the pool, of which `lent` and
    `booked` are out or promised and `free` is left.
    """

    own: Mapping[int, Decimal]
    promised: Mapping[int, Decimal]
    there: Decimal
    lent: Decimal
    booked: Decimal
    free: Decimal


@dataclass(frozen=True, slots=True)
class ItemDay:
    """One item on one day: who gets what. `given` are the loans and bookings that hold something of it."""

    item: int
    day: date
    stand: Stand
    shares: tuple[Share, ...]
    given: tuple[Grant, ...]

    @property
    def needed(self) -> Decimal:
        """What all steps hold at once."""
        return sum((share.needed for share in self.shares), NOTHING)

    @property
    def short(self) -> Decimal:
        """What all steps together don't get."""
        return sum((share.lacking for share in self.shares), NOTHING)

    @property
    def from_pool(self) -> Decimal:
        """What the pool's free pieces serve."""
        return sum((share.pool for share in self.shares), NOTHING)


@dataclass(frozen=True, slots=True)
class Supply:
    """Everything that there is: pieces by item, and what is lent or promised of them."""

    pieces: Mapping[int, Sequence[Piece]] = field(default_factory=dict)
    given: Mapping[int, Sequence[Grant]] = field(default_factory=dict)

    def stand(self, item: int, day: date) -> Stand:
        """How an item stands on a day. Bookings are kept in the order in which they were asked for, as far as the pieces reach."""
        own: dict[int, Decimal] = defaultdict(Decimal)
        promised: dict[int, Decimal] = defaultdict(Decimal)
        there = self._there(item, day, own)
        on = [one for one in self.given.get(item, ()) if one.on(day)]
        lent = _lend([one for one in on if one.lent], own, promised)
        booked, left = _keep([one for one in on if not one.lent], max(there - lent, NOTHING), promised)
        return Stand(own, promised, there, lent, booked, left)

    def _there(self, item: int, day: date, own: dict[int, Decimal]) -> Decimal:
        """What the pool has; what benches have goes into `own`."""
        there = NOTHING
        for piece in self.pieces.get(item, ()):
            if piece.last is not None and piece.last < day:
                continue
            if piece.bench is None:
                there += piece.quantity
            else:
                own[piece.bench] += piece.quantity
        return there


def _lend(lent: Iterable[Grant], own: dict[int, Decimal], promised: dict[int, Decimal]) -> Decimal:
    """Take what is out from whose it is, and give it to who has it; what of it is the pool's."""
    out = NOTHING
    for one in lent:
        if one.giver is None:
            out += one.quantity
        else:
            own[one.giver] -= one.quantity
        if one.bench is not None:
            promised[one.bench] += one.quantity
    return out


def _keep(asked: Iterable[Grant], left: Decimal, promised: dict[int, Decimal]) -> tuple[Decimal, Decimal]:
    """Promise what is booked as far as the pieces reach: what is booked in all, and what is left."""
    booked = NOTHING
    for one in asked:
        kept = min(one.quantity, left)
        left -= kept
        booked += one.quantity
        if one.bench is not None:
            promised[one.bench] += kept
    return booked, left


def short(needed: Mapping[int, Decimal], stand: Stand) -> Decimal:
    """What is missing on a day, from what each bench needs: the figure alone, for the many days that a search looks at."""
    lacking = NOTHING
    for bench, quantity in needed.items():
        has = max(stand.own.get(bench, NOTHING), NOTHING) + stand.promised.get(bench, NOTHING)
        if quantity > has:
            lacking += quantity - has
    return max(lacking - stand.free, NOTHING)


def item_day(item: int, day: date, holds: Iterable[Hold], supply: Supply) -> ItemDay:
    """Who gets what of an item on a day. `holds` are those of the item; the ones that don't hold that day are passed over."""
    stand = supply.stand(item, day)
    by_step: dict[tuple[tuple[int, int], int, int], list[Hold]] = defaultdict(list)
    for hold in holds:
        if hold.on(day):
            by_step[hold.order, hold.step, hold.bench].append(hold)
    own = {bench: max(quantity, NOTHING) for bench, quantity in stand.own.items()}
    promised, free = dict(stand.promised), stand.free
    shares = []
    for (_, step, bench), held in sorted(by_step.items(), key=lambda pair: pair[0]):
        needed = sum((hold.quantity for hold in held), NOTHING)
        mine = min(needed, own.get(bench, NOTHING))
        own[bench] = own.get(bench, NOTHING) - mine
        kept = min(needed - mine, promised.get(bench, NOTHING))
        promised[bench] = promised.get(bench, NOTHING) - kept
        pool = min(needed - mine - kept, free)
        free -= pool
        last = max(hold.last for hold in held)
        shares.append(Share(step, bench, needed, mine, kept, pool, last, tuple(_said(hold) for hold in held)))
    given = tuple(one for one in supply.given.get(item, ()) if one.on(day))
    return ItemDay(item, day, stand, tuple(shares), given)


def _said(hold: Hold) -> str:
    return f"{hold.source}: {hold.note}" if hold.note else hold.source


def trace(found: ItemDay, steps: Mapping[int, str], benches: Mapping[int, str], unit: str) -> tuple[Reason, ...]:
    """What is there, who holds what of it, and who gets what, with the rule. `steps` and `benches` are what people call them."""
    return (*_there(found, benches, unit), *_given(found, benches), *_shares(found, steps, unit))


def _there(found: ItemDay, benches: Mapping[int, str], unit: str) -> Iterable[Reason]:
    stand = found.stand
    for bench in dict.fromkeys(share.bench for share in found.shares):
        if own := max(stand.own.get(bench, NOTHING), NOTHING):
            yield Reason(f"{benches[bench]} has {_text(own)} {unit} of its own", "good and on hand, less what it lent")
    figures = f"{_text(stand.there)} there - {_text(stand.lent)} lent - {_text(stand.booked)} booked"
    yield Reason(f"the pool: {figures}, {_text(stand.free)} {unit} free", ARITHMETIC)


def _given(found: ItemDay, benches: Mapping[int, str]) -> Iterable[Reason]:
    for one in found.given:
        told = "has" if one.lent else "booked"
        until = "without a day when they come back" if one.last == date.max else f"through {one.last}"
        whose = "" if one.giver is None else f" of {benches[one.giver]}'s"
        whom = "" if one.bench is None else f" for {benches[one.bench]}"
        yield Reason(f"{one.who} {told} {_text(one.quantity)}{whose}{whom}, {until}", "lent" if one.lent else "as booked")


def _shares(found: ItemDay, steps: Mapping[int, str], unit: str) -> Iterable[Reason]:
    for share in found.shares:
        parts = [("of its bench's own", share.own), ("lent or booked to it", share.promised), ("of the pool", share.pool)]
        got = ", ".join(f"{_text(quantity)} {whence}" for whence, quantity in parts if quantity) or "nothing"
        lacking = f"; {_text(share.lacking)} {unit} are missing" if share.lacking else ""
        needs = f"{steps[share.step]} holds {_text(share.needed)} ({'; '.join(share.sources)})"
        yield Reason(f"{needs}: {got}{lacking}", RULE)


def _text(quantity: Decimal) -> str:
    return decimal_text(Fraction(quantity), 3)
