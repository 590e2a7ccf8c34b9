"""Reads of what the pool has, who has it, and what is promised. What is asked for many items takes as many queries as for one."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Max, Q, Sum

from inventory.catalogue.models import RETURNED, Item
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.pool import calc
from inventory.pool.calc import BOOKED, LENT, NOTHING, Pot, Span, Turn, Wish
from inventory.pool.models import Booking, Loan, LoanEnd, PoolRules, Thing
from inventory.stock.models import Holding, Lot, State
from inventory.workshop.models import Member, Workshop

LEDGER = "the ledger"
TURN = "their turn: "  # how the history of a booking begins that came out of the line
AS_BOOKED = "as booked"
AS_ENTERED = "as entered with the thing"


@dataclass(frozen=True, slots=True)
class Back:
    """Pieces of a loan that are out no more: `kind` is returned, lost or worn; `place` where they went."""

    id: int
    kind: str
    quantity: Decimal
    on: date
    place: str
    condition: str
    note: str
    by: str


@dataclass(frozen=True, slots=True)
class Out:
    """A loan. `open` pieces of `quantity` are still out; both are in `unit`. `place` stands for the borrower's hands."""

    id: int
    lot_id: int
    lot: str
    item_id: int
    item: str
    name: str
    unit: str
    owner: str  # code of the bench whose it is
    thing_id: int | None
    serial: str
    quantity: Decimal
    open: Decimal
    member_id: int
    member: str
    bench_id: int | None
    bench: str
    place: str
    came_from: str
    out_on: date
    due_on: date | None
    renewals: int
    condition: str
    ref: str
    note: str
    by: str
    booking_id: int | None
    ends: tuple[Back, ...] = ()
    trace: tuple[Reason, ...] = ()

    def overdue(self, today: date) -> bool:
        """Whether it should have been back before today."""
        return bool(self.open) and self.due_on is not None and self.due_on < today


@dataclass(frozen=True, slots=True)
class Promise:
    """A booking. A waiting one holds nothing; `turn` is its place in the line of that item, from 1."""

    id: int
    item_id: int
    item: str
    name: str
    unit: str
    thing_id: int | None
    serial: str
    quantity: Decimal
    first_day: date
    last_day: date
    member_id: int
    member: str
    bench_id: int | None
    bench: str
    ref: str
    note: str
    waiting: bool
    asked_at: datetime
    ended_at: datetime | None
    ended_as: str
    turn: int | None = None
    trace: tuple[Reason, ...] = ()

    def state(self, today: date) -> str:
        """`cancelled`, `lent`, `lapsed`, `waiting` or `booked`. What nobody fetched lapses with its last day, without anybody saying so."""
        if self.ended_as:
            return self.ended_as
        if self.last_day < today:
            return "lapsed"
        return "waiting" if self.waiting else "booked"


@dataclass(frozen=True, slots=True)
class FreeDay:
    """One day of a pool item, in its stock unit: there = lent + booked + free, unless more was promised than is there (`over`)."""

    day: date
    there: Decimal
    lent: Decimal
    booked: Decimal
    free: Decimal
    over: Decimal
    spans: tuple[Span, ...]
    trace: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class PoolItem:
    """What the pool has of an item: `there` in all, of which so many are `lent` and `booked` today."""

    item_id: int
    item: str
    name: str
    kind: str
    unit: str
    there: Decimal
    lent: Decimal
    booked: Decimal
    free: Decimal
    waiting: int


@dataclass(frozen=True, slots=True)
class ThingRow:
    """A single thing, where it is and who has it (`loan_id`, `member`), if anybody."""

    id: int
    lot_id: int
    lot: str
    item_id: int
    item: str
    name: str
    bench: str
    serial: str
    condition: str
    calibrated_on: date | None
    calibrated_until: date | None
    retired_at: datetime | None
    place: str
    loan_id: int | None
    member_id: int | None
    member: str
    due_on: date | None

    def calibration_over(self, today: date) -> bool:
        """Whether its calibration has ended."""
        return self.calibrated_until is not None and self.calibrated_until < today


@dataclass(frozen=True, slots=True)
class OfMember:
    """A member's own things: what they have, what was promised them, what they wait for, and what they had."""

    out: tuple[Out, ...]
    promised: tuple[Promise, ...]
    waiting: tuple[Promise, ...]
    had: tuple[Out, ...]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to a lot or single thing, for its history. `kind` is lent, returned, lost, worn, renewed, booked or thing."""

    on: date
    kind: str
    text: str
    who: str
    loan_id: int | None = None
    booking_id: int | None = None


def rules(workshop: Workshop) -> PoolRules:
    """The workshop's rules of lending; one that never set any has none, and the row given back is not saved. One query."""
    return PoolRules.objects.filter(workshop=workshop).first() or PoolRules(workshop=workshop)


# Loans

_LOAN = (
    *("id", "lot_id", "lot__code", "lot__item_id", "lot__item__code", "lot__item__name", "lot__item__unit", "lot__bench__code"),
    *("lot__thing__id", "lot__thing__serial", "quantity", "open", "member_id", "member__name", "bench_id", "bench__code"),
    *("held_in__path", "movement__source__path", "out_on", "due_on", "renewals", "condition", "ref", "note", "by__name", "booking_id"),
    *("lot__thing__calibrated_until", "movement_id"),
)
_END = ("loan_id", "id", "kind", "quantity", "on", "movement__target__path", "condition", "note", "by__name", "movement_id")


def loans(*, member: Member | None = None, item: Item | None = None, lot: Lot | None = None, open_only: bool = True) -> list[Out]:
    """Loans of the workshop in scope, what is due first on top (no day last), then the oldest. Two queries."""
    which = Q(open__gt=0) if open_only else Q()
    for name, given in (("member", member), ("lot__item", item), ("lot", lot)):
        which &= Q() if given is None else Q(**{name: given})
    return _outs(which)


def loan(pk: int) -> Out | None:
    """One loan. Two queries."""
    return next(iter(_outs(Q(pk=pk))), None)


def _outs(which: Q) -> list[Out]:
    rows = list(Loan.objects.filter(which).order_by("out_on", "id").values_list(*_LOAN))
    ends: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    if rows:
        loans_found = Loan.objects.filter(which).values("pk")
        for row in LoanEnd.objects.filter(loan__in=loans_found).order_by("id").values_list(*_END):
            ends[row[0]].append(row[1:])
    found = [_out(row, ends[row[0]]) for row in rows]
    return sorted(found, key=lambda out: (out.due_on is None, out.due_on or date.max))


def _out(row: tuple[Any, ...], ends: Sequence[tuple[Any, ...]]) -> Out:
    calibrated_until, movement = row[-2:]
    out = Out(*row[:-2])
    backs = tuple(Back(*end[:-1]) for end in ends)
    trace = (*_lent(out, movement), *(_back(out, end) for end in ends), *_calibration(out, calibrated_until), _still(out))
    return replace(out, serial=out.serial or "", bench=out.bench or "", ends=backs, trace=trace)


def _lent(out: Out, movement: int) -> Iterable[Reason]:
    until = f"until {out.due_on}" if out.due_on else "without a day when it is due"
    renewed = f", renewed {out.renewals} times" if out.renewals > 1 else ", renewed once" if out.renewals else ""
    yield Reason(
        f"{plain(out.quantity)} {out.unit} went from {out.came_from} to {out.member} on {out.out_on}, {until}{renewed}",
        f"{LEDGER}, movement {movement}",
    )
    if out.condition:
        yield Reason(f"condition when lent: {out.condition}", f"as {out.by} said")


def _back(out: Out, end: tuple[Any, ...]) -> Reason:
    _, kind, quantity, on, place, condition, _, by, movement = end
    told = {"returned": f"came back to {place}", "lost": "were lost", "worn": "wore out"}[kind]
    state = f", {condition}" if condition else ""
    return Reason(f"{plain(quantity)} {out.unit} {told} on {on}{state}, as {by} said", f"{LEDGER}, movement {movement}")


def _calibration(out: Out, until: date | None) -> Iterable[Reason]:
    """A tool out of calibration may be lent: what it may be used for is the borrower's and the inspector's to judge."""
    if until is not None and until < out.out_on:
        yield Reason(
            f"its calibration ended on {until}, before it was lent: whoever uses it must judge what it may be used for", AS_ENTERED
        )
    elif until is not None and out.due_on is not None and until < out.due_on:
        yield Reason(f"its calibration ends on {until}, while it is lent", AS_ENTERED)


def _still(out: Out) -> Reason:
    return Reason(f"{plain(out.open)} {out.unit} of {plain(out.quantity)} still out", LEDGER)


# Bookings

_BOOKING = (
    *("id", "item_id", "item__code", "item__name", "item__unit", "thing_id", "thing__serial", "quantity", "first_day", "last_day"),
    *("member_id", "member__name", "bench_id", "bench__code", "ref", "note", "waiting", "asked_at", "ended_at", "ended_as"),
)


def bookings(*, first: date, last: date, item: Item | None = None) -> list[Promise]:
    """What is promised or waited for on any day from `first` to `last`, by day, then who asked first. Five queries at most."""
    which = Q(ended_at=None, first_day__lte=last, last_day__gte=first)
    return _promises(which if item is None else which & Q(item=item))


def booking(pk: int) -> Promise | None:
    """One booking, ended ones too. At most five queries."""
    return next(iter(_promises(Q(pk=pk))), None)


def _promises(which: Q) -> list[Promise]:
    rows = Booking.objects.filter(which).order_by("first_day", "asked_at", "id").values_list(*_BOOKING)
    found = [_promise(row) for row in rows]
    if not found:
        return found
    found = _served(found)
    if not any(promise.waiting and not promise.ended_as for promise in found):
        return found
    line = {turn.wish.id: turn for turns in lines({promise.item_id for promise in found}).values() for turn in turns}
    return [_in_line(promise, line.get(promise.id)) for promise in found]


def _promise(row: tuple[Any, ...]) -> Promise:
    promise = Promise(*row)
    asked = f"{promise.member} asked on {promise.asked_at:%Y-%m-%d}"
    what = f"{plain(promise.quantity)} {promise.unit} from {promise.first_day} through {promise.last_day}"
    trace = (Reason(f"{asked} for {what}", AS_BOOKED),)
    return replace(promise, serial=promise.serial or "", bench=promise.bench or "", trace=trace)


def _served(promises: Sequence[Promise]) -> list[Promise]:
    """Of those that came out of the line, why it was their turn. One query."""
    rows = Booking.history.filter(id__in=[promise.id for promise in promises], history_change_reason__startswith=TURN)
    why = dict(rows.order_by("history_id").values_list("id", "history_change_reason"))
    return [
        replace(promise, trace=(*promise.trace, Reason(why[promise.id], calc.FAIR)))
        if promise.id in why and not promise.waiting
        else promise
        for promise in promises
    ]


def _in_line(promise: Promise, turn: Turn | None) -> Promise:
    if turn is None:
        return promise
    return replace(promise, turn=turn.place, trace=(*promise.trace, turn.reason))


def waiting(item: Item | None = None) -> list[Promise]:
    """Who waits, item by item in the order of their turns. Five queries at most."""
    which = Q(ended_at=None, waiting=True)
    found = _promises(which if item is None else which & Q(item=item))
    return sorted(found, key=lambda promise: (promise.item, promise.turn or 0))


def lines(items: Collection[int], *, today: date | None = None) -> dict[int, tuple[Turn, ...]]:
    """The waiting line of each item, whose days aren't over `today`. Three queries."""
    live = Q() if today is None else Q(last_day__gte=today)
    rows = Booking.objects.filter(live, item__in=items, ended_at=None, waiting=True).order_by("id")
    wishes: dict[int, list[Wish]] = defaultdict(list)
    columns = ("item_id", "id", "member_id", "member__name", "quantity", "first_day", "last_day", "asked_at", "thing_id")
    for item, *wish in rows.values_list(*columns):
        wishes[item].append(Wish(*wish))
    had = last_had(items) if wishes else {}
    return {item: calc.turns(of, had.get(item, {})) for item, of in wishes.items()}


def last_had(items: Collection[int]) -> dict[int, dict[int, date]]:
    """Each member's last day with a pool item: the last return of a loan, or the last day of a booking; `date.max` who has some still.

    What was cancelled was never had. Two queries.
    """
    found: dict[int, dict[int, date]] = defaultdict(dict)
    of_loans = Loan.objects.filter(lot__item__in=items, lot__bench__shared=True).values("lot__item_id", "member_id")
    for item, member, out, last in of_loans.annotate(out=Max("open"), last=Max("ends__on")).values_list(
        "lot__item_id", "member_id", "out", "last"
    ):
        found[item][member] = date.max if out else last
    promised = Booking.objects.filter(item__in=items, waiting=False, ended_as__in=["", "lapsed"]).values("item_id", "member_id")
    for item, member, last in promised.annotate(last=Max("last_day")).values_list("item_id", "member_id", "last"):
        found[item][member] = max(last, found[item].get(member, date.min))
    return found


# What is free


def pots(items: Collection[int], *, today: date) -> dict[int, tuple[Pot, ...]]:
    """What can be booked of each item, counted pieces first, and who holds what of it from today on. Three queries.

    There count the good pieces on shared benches, lent or not; a retired thing doesn't. A loan that is overdue, or has no day when it is
    due, holds its pieces without an end: nobody said when they come back.
    """
    there: dict[int, dict[int | None, Decimal]] = {item: {} for item in items}
    serials: dict[int | None, str] = {}
    for item, thing, serial, retired, quantity in _there(items):
        if retired is None:
            there[item][thing] = there[item].get(thing, NOTHING) + quantity
            serials[thing] = serial or ""
    spans = _spans(items, today)
    return {
        item: tuple(_pot(thing, of[thing], spans[item, thing], serials) for thing in sorted(of, key=_first)) for item, of in there.items()
    }


def _first(thing: int | None) -> int:
    return thing or 0


def _pot(thing: int | None, there: Decimal, spans: Iterable[Span], serials: Mapping[int | None, str]) -> Pot:
    return Pot(thing, there, tuple(spans), serials[thing] if thing else "")


def _there(items: Collection[int]) -> Iterable[tuple[Any, ...]]:
    held = Holding.objects.filter(lot__item__in=items, lot__bench__shared=True, lot__state=State.GOOD, quantity__gt=0)
    return held.values_list("lot__item_id", "lot__thing__id", "lot__thing__serial", "lot__thing__retired_at", "quantity")


def _spans(items: Collection[int], today: date) -> dict[tuple[int, int | None], list[Span]]:
    found: dict[tuple[int, int | None], list[Span]] = defaultdict(list)
    out = Loan.objects.filter(lot__item__in=items, lot__bench__shared=True, lot__state=State.GOOD, open__gt=0).order_by("id")
    for item, thing, pk, who, quantity, first, due in out.values_list(
        "lot__item_id", "lot__thing__id", "id", "member__name", "open", "out_on", "due_on"
    ):
        found[item, thing].append(Span(LENT, pk, who, quantity, first, due if due is not None and due >= today else None))
    held = Booking.objects.filter(item__in=items, ended_at=None, waiting=False, last_day__gte=today).order_by("id")
    for row in held.values_list("item_id", "thing_id", "id", "member__name", "quantity", "first_day", "last_day"):
        found[row[0], row[1]].append(Span(BOOKED, *row[2:]))
    return found


def free(item: Item, first: date, last: date, *, today: date | None = None) -> tuple[FreeDay, ...]:
    """What is free of a pool item on each day from `first` to `last`. Loans are overdue as of `today`, else of `first`. Three queries."""
    return free_of([item.pk], first, last, today=today)[item.pk]


def free_of(items: Collection[int], first: date, last: date, *, today: date | None = None) -> dict[int, tuple[FreeDay, ...]]:
    """`free` of many items, by id, in the same three queries."""
    return {item: _free_days(of, first, last) for item, of in pots(items, today=today or first).items()}


def _free_days(found: Sequence[Pot], first: date, last: date) -> tuple[FreeDay, ...]:
    there = sum((pot.there for pot in found), NOTHING)
    spans = [span for pot in found for span in pot.spans]
    return tuple(
        FreeDay(day.day, day.there, day.lent, day.booked, day.free, day.over, day.spans, day.trace)
        for day in calc.days(there, spans, first, last)
    )


def pool_items() -> list[Item]:
    """The clecos and tools that lie on shared benches, or are lent from there, by code. One query."""
    held = Q(kind__in=RETURNED, lots__bench__shared=True, lots__holdings__quantity__gt=0)
    return list(Item.objects.filter(held).distinct().order_by("code"))


def pool_stock(*, today: date) -> list[PoolItem]:
    """What the pool has and what of it is free today, by code. Five queries."""
    items = pool_items()
    days = free_of([item.pk for item in items], today, today)
    lined = Booking.objects.filter(ended_at=None, waiting=True, last_day__gte=today)
    waits = Counter(lined.values_list("item_id", flat=True))
    found = []
    for item in items:
        day = days[item.pk][0]
        of = (item.pk, item.code, item.name, item.kind, item.unit)
        found.append(PoolItem(*of, day.there, day.lent, day.booked, day.free, waits[item.pk]))
    return found


# Single things, members, histories

_THING = (
    *("id", "lot_id", "lot__code", "lot__item_id", "lot__item__code", "lot__item__name", "lot__bench__code", "serial", "condition"),
    *("calibrated_on", "calibrated_until", "retired_at"),
)


def things(*, item: Item | None = None, retired: bool = False) -> list[ThingRow]:
    """The single things, by item and serial number; with `retired` those too that are lent no more. Three queries."""
    which = Q() if retired else Q(retired_at=None)
    rows = Thing.objects.filter(which if item is None else which & Q(lot__item=item)).order_by("lot__item__code", "serial", "id")
    lying = dict(Holding.objects.filter(lot__thing__isnull=False, quantity__gt=0).order_by("id").values_list("lot_id", "place__path"))
    out = Loan.objects.filter(lot__thing__isnull=False, open__gt=0).values_list("lot_id", "id", "member_id", "member__name", "due_on")
    has = {of[0]: of[1:] for of in out}
    found = ((*row, lying.get(row[1], ""), *has.get(row[1], (None, None, "", None))) for row in rows.values_list(*_THING))
    return [ThingRow(*row) for row in found]


def of_member(member: Member, *, today: date) -> OfMember:
    """A member's own things. At most seven queries."""
    found = _outs(Q(member=member))
    promised = _promises(Q(member=member, ended_at=None, last_day__gte=today))
    return OfMember(
        tuple(out for out in found if out.open),
        tuple(promise for promise in promised if not promise.waiting),
        tuple(promise for promise in promised if promise.waiting),
        tuple(out for out in found if not out.open),
    )


def history(lot: Lot) -> list[Event]:
    """What happened to a lot or single thing in the pool, the latest first. Four queries."""
    found = [event for out in _outs(Q(lot=lot)) for event in _of_loan(out)]
    booked = (
        Booking.objects.filter(thing__lot=lot)
        .order_by("id")
        .values_list("id", "asked_at", "first_day", "last_day", "member__name", "ended_as")
    )
    for pk, asked_at, first, last, who, ended in booked:
        text = f"booked from {first} through {last}{f', {ended}' if ended else ''}"
        found.append(Event(asked_at.date(), "booked", text, who, booking_id=pk))
    return sorted((*found, *_of_thing(lot)), key=lambda event: event.on, reverse=True)


def _of_loan(out: Out) -> Iterable[Event]:
    until = f" until {out.due_on}" if out.due_on else ""
    state = f", {out.condition}" if out.condition else ""
    yield Event(out.out_on, "lent", f"{plain(out.quantity)} {out.unit} lent{until}{state}", out.member, out.id)
    for back in out.ends:
        told = {"returned": f"came back to {back.place}", "lost": "lost", "worn": "worn out"}[back.kind]
        state = f", {back.condition}" if back.condition else ""
        yield Event(back.on, back.kind, f"{plain(back.quantity)} {out.unit} {told}{state}", out.member, out.id)


def _of_thing(lot: Lot) -> Iterable[Event]:
    versions = Thing.history.filter(lot_id=lot.pk).order_by("history_id")
    last: tuple[Any, ...] | None = None
    for at, who, *now in versions.values_list(
        "history_date", "history_user__name", "serial", "condition", "calibrated_on", "calibrated_until", "retired_at"
    ):
        if last is None or tuple(now) != last:
            yield Event(at.date(), "thing", _said_of_thing(*now), who or "")
        last = tuple(now)


def _said_of_thing(serial: str, condition: str, on: date | None, until: date | None, retired: datetime | None) -> str:
    parts = [
        f"serial number {serial}" if serial else "",
        condition,
        f"calibrated {on}" if on else "",
        f"calibration until {until}" if until else "",
    ]
    return ", ".join(part for part in (*parts, "retired" if retired else "") if part) or "listed as a single thing"


def lent_now(lot: Lot) -> Decimal:
    """How many pieces of a lot are out. One query."""
    return Loan.objects.filter(lot=lot).aggregate(total=Sum("open"))["total"] or NOTHING


def open_loans(lots: Iterable[Lot]) -> list[Loan]:
    """The loans of these lots that aren't over, the oldest first, with all that taking them in asks for. One query."""
    rows = Loan.objects.filter(lot__in=list(lots), open__gt=0).order_by("out_on", "pk")
    return list(rows.select_related("lot__item", "lot__bench", "member", "held_in", "movement__source"))
