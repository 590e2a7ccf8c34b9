"""Writers of loans: pieces carried into a borrower's hands by the ledger, and what becomes of them.

Locks are taken as in `booking`: the workshop (to make places), the item, then lots by id.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID, uuid4

from django.db import transaction
from django.utils import timezone

from inventory.catalogue.models import RETURNED
from inventory.common.fields import plain
from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.texts import optional
from inventory.pool import booking as bookings
from inventory.pool import calc, queries, rules
from inventory.pool.booking import NotBooked
from inventory.pool.calc import BOOKED, LENT, NOTHING, Clash, Pot, Span
from inventory.pool.models import Booking, Loan, LoanEnd, PoolRules, Thing
from inventory.stock import queries as stock_queries
from inventory.stock import services as stock
from inventory.stock.models import End, Lot, Place
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member

MOST_CONDITION = 200
KINDS = ("returned", "lost", "worn")
ONE_DAY = timedelta(days=1)


class NotLent(Problem):
    """What can't be lent: it doesn't come back, or is retired."""

    title = "This can't be lent"


class LoanOver(Problem):
    """A loan of which less is out than was to come back."""

    status = 409
    title = "Less than that is out"


class TooLong(FieldProblem):
    """A day past the longest loan, or one renewal too many."""

    status = 409
    title = "Longer than is lent here"


class WaitedFor(Problem):
    """No renewal while somebody waits."""

    status = 409
    title = "Somebody waits for it"


@dataclass(frozen=True, slots=True)
class _Claim:
    """What a loan takes of its borrower's own bookings: the one it is out of, others that it covers, and what is left of the first."""

    booking: Booking | None
    covered: tuple[Booking, ...]
    rest: Decimal


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is to be lent to whom; `thing` where it is a single one."""

    lot: Lot
    thing: Thing | None
    quantity: Decimal
    member: Member
    on: date
    today: date

    @property
    def wanted(self) -> int | None:
        """What it is booked as: the single thing's id, None for counted pieces."""
        return self.thing.pk if self.thing else None


_NONE = _Claim(None, (), NOTHING)


@transaction.atomic
def lend(  # noqa: PLR0913 - what a loan says
    *,
    lot: Lot,
    place: Place,
    quantity: Decimal,
    member: Member,
    on: date,
    due_on: date | None = None,
    bench: Bench | None = None,
    booking: Booking | None = None,
    condition: str = "",
    ref: str = "",
    note: str = "",
    key: UUID,
    by: Member,
    now: datetime,
) -> Loan:
    """Hand pieces of a cleco or tool lot to a member, from the place where they lie. The same key again gives the first loan.

    The borrower's own booking of that day ends as `lent`, whether it is named or found; what it promised beyond stays promised. Not more
    is lent than nobody else was promised until it is due. Without `due_on` it is due when the booking ends, else after the longest
    loan of the rules, else never. A tool out of calibration is lent: the loan's trace says so, and who uses it must judge.
    """
    _may_lend(by, member, lot, place, bench, booking)
    hands = stock.hands_of(member=member, by=by)
    item = bookings.lock_item(lot.item)
    if (known := Loan.objects.filter(key=key).first()) is not None:
        return known
    lot, today = stock.lock([lot])[lot.pk], timezone.localdate(now)
    thing = Thing.objects.filter(lot=lot).first()
    _refuse_unlent(lot, thing)
    stock.refuse_unusable(lot, on)
    asked = _Asked(lot, thing, bookings.whole(item, quantity), member, on, today)
    _refuse_days(asked, due_on)
    claim, due_on = _claim(asked, booking, due_on, by)
    movement = stock.hand_over(
        lot=lot,
        quantity=asked.quantity,
        source=place,
        target=hands,
        on=on,
        by=by,
        note=optional("note", note, stock.MOST_NOTE),
        ref=_ledger(key),
    )
    _refuse_held_for_steps(lot, ref)
    loan = Loan(
        workshop_id=by.workshop_id,
        lot=lot,
        quantity=asked.quantity,
        open=asked.quantity,
        member=member,
        bench=bench or _own_bench(member),
        held_in=hands,
        movement=movement,
        booking=claim.booking,
        out_on=on,
        due_on=due_on,
        condition=optional("condition", condition, MOST_CONDITION),
        ref=optional("reference", ref, stock.MOST_REF),
        note=movement.note,
        key=key,
        by=by,
        at=now,
    )
    changed_by(loan, by).save()
    _settle(claim, today, by, now)
    _keep_condition(thing, loan.condition, by)
    return loan


@transaction.atomic
def take_in(  # noqa: PLR0913 - what is said of what comes back
    *,
    loan: Loan,
    kind: str,
    quantity: Decimal,
    place: Place | None = None,
    condition: str = "",
    note: str = "",
    key: UUID,
    on: date,
    by: Member,
    now: datetime,
) -> LoanEnd:
    """Pieces of a loan are out no more: `returned` to a place (where they came from, unless one is named), `lost`, or `worn` out.

    The same key again gives the first answer. Who waits gets their turn. A single thing that is gone is retired.
    """
    policy.own(by, loan, *([place] if place else []))
    item = bookings.lock_item(loan.lot.item)
    if (known := LoanEnd.objects.filter(key=key).first()) is not None:
        return known
    loan = _current(loan)
    _refuse_unless_keeper(by, loan, "take it in")
    quantity = bookings.whole(item, quantity)
    _refuse_more_than_out(loan, quantity)
    _refuse_before(loan, on)
    movement = stock.hand_over(
        lot=loan.lot,
        quantity=quantity,
        source=loan.held_in,
        target=_where_to(loan, kind, place),
        on=on,
        by=by,
        note=optional("note", note, stock.MOST_NOTE),
        ref=_ledger(loan.key),
    )
    loan.open -= quantity
    changed_by(loan, by).save(update_fields=["open"])
    condition = optional("condition", condition, MOST_CONDITION)
    ended = LoanEnd.objects.create(
        workshop_id=by.workshop_id,
        loan=loan,
        kind=kind,
        quantity=quantity,
        movement=movement,
        condition=condition,
        note=movement.note,
        key=key,
        on=on,
        by=by,
        at=now,
    )
    _after(loan, kind, condition, by, now)
    return ended


@transaction.atomic
def renew(*, loan: Loan, due_on: date, on: date, by: Member) -> Loan:
    """Let a loan be due later: who borrowed it asks, or who keeps the stock. `on` is the day it is asked.

    Refuses what the rules don't allow, days on which others were promised it, and (unless the rules say otherwise) a thing that
    somebody waits for.
    """
    policy.own(by, loan)
    bookings.lock_item(loan.lot.item)
    loan = _current(loan)
    _refuse_unless_keeper(by, loan, "renew it")
    if not loan.open:
        raise LoanOver("nothing of this loan is out any more: lend it anew")
    if loan.due_on is None:
        raise FieldProblem("due_on", "this loan has no day when it is due, so it needs no renewal")
    if due_on <= max(loan.due_on, on):
        raise FieldProblem("due_on", f"{due_on} is no later: it is due on {loan.due_on}, so name a day after {max(loan.due_on, on)}")
    if loan.lot.bench.shared:
        _refuse_renewal(loan, due_on, on)
    loan.due_on, loan.renewals = due_on, loan.renewals + 1
    changed_by(loan, by).save(update_fields=["due_on", "renewals"])
    return loan


# Who, what and when


def _may_lend(  # noqa: PLR0913 - private: every row that was named
    by: Member, member: Member, lot: Lot, place: Place, bench: Bench | None, booking: Booking | None
) -> None:
    policy.own(by, lot, place, member, *(row for row in (bench, booking) if row is not None))
    theirs = by.pk == member.pk or not lot.bench.shared
    policy.require(by, "use_stock" if theirs else "keep_stock", lot.bench)  # of one's own bench one lends as one likes
    bookings.refuse_stranger(member)
    stock.refuse_hands(place)
    if bench is not None and not any(policy.speaks_for(who, bench) for who in (member, by)):
        raise policy.NotAllowed(f"{member.name} doesn't hold bench {bench.name}: name one of theirs, or none")


def _refuse_unless_keeper(by: Member, loan: Loan, what: str) -> None:
    """Who borrowed it; who keeps the stock; of a bench's own thing, whoever it is."""
    own = not loan.lot.bench.shared and policy.speaks_for(by, loan.lot.bench)
    if not own:
        bookings.refuse_unless_theirs(by, loan.member, what.removesuffix(" it"))


def _refuse_unlent(lot: Lot, thing: Thing | None) -> None:
    if lot.item.kind not in RETURNED:
        raise NotLent(f"{lot.item.code} is {lot.item.get_kind_display()}: only clecos and tools are lent, since they come back")
    if thing is not None and thing.retired_at is not None:
        raise NotLent(f"{thing} was retired on {thing.retired_at:%Y-%m-%d}: lend another")


def _refuse_days(asked: _Asked, due_on: date | None) -> None:
    if asked.on > asked.today:
        raise FieldProblem("on", f"{asked.on} is to come, and a loan begins when it is handed over: book it for that day")
    if due_on is not None and due_on < max(asked.on, asked.today):
        raise FieldProblem("due_on", f"{due_on} is past: name a day from {asked.today} on")


def _refuse_long(due_on: date, on: date, agreed: PoolRules) -> None:
    if agreed.longest_days is not None and (due_on - on).days > agreed.longest_days:
        last = on + timedelta(days=agreed.longest_days)
        raise TooLong("due_on", f"{due_on} is longer than the longest loan here, {agreed.longest_days} days: name {last} or before")


def _own_bench(member: Member) -> Bench | None:
    """The bench of who holds one: what they borrow serves its plan."""
    held = list(Bench.objects.filter(holders__member=member, shared=False)[:2])
    return held[0] if len(held) == 1 else None


def _refuse_held_for_steps(lot: Lot, ref: str) -> None:
    """What is held for other steps stays on the shelf."""
    others = stock_queries.set_aside_for_others(lot, ref)
    if others and (left := stock_queries.on_hand(lot) - _in_hands(lot)) < others:
        unit, stays = lot.item.unit, plain(max(left, NOTHING))
        held = f"{plain(others)} {unit} are set aside for other steps, and {stays} {unit} would be left"
        raise stock.SetAsideForOthers(f"{stock.named(lot)}: {held}: lend fewer, or release some")


def _in_hands(lot: Lot) -> Decimal:
    return sum(lot.holdings.filter(place__hands__isnull=False).values_list("quantity", flat=True), NOTHING)


# What was promised


def _claim(asked: _Asked, booking: Booking | None, due_on: date | None, by: Member) -> tuple[_Claim, date | None]:
    """What the loan takes of its borrower's bookings, and when it is due. Refuses what others were promised meanwhile."""
    lot = asked.lot
    if not lot.bench.shared:
        if booking is not None:
            raise NotBooked(f"{stock.named(lot)} is {lot.bench.name}'s own, and this booking is of the pool: lend without it")
        return _NONE, due_on
    agreed = queries.rules(by.workshop)
    if due_on is not None:
        _refuse_long(due_on, asked.on, agreed)
    bookings.serve(item=lot.item, today=asked.today, by=by)
    mine = _bookings_of(asked)
    chosen = _chosen(mine, booking, asked)
    if due_on is None:
        due_on = chosen.last_day if chosen else _due(agreed, asked)
    claim = _take(mine, chosen, asked, due_on)
    _refuse_promised(asked, claim, due_on)
    return claim, due_on


def _due(agreed: PoolRules, asked: _Asked) -> date | None:
    """After the longest loan, where there is one."""
    return None if agreed.longest_days is None else max(asked.on + timedelta(days=agreed.longest_days), asked.today)


def _bookings_of(asked: _Asked) -> list[Booking]:
    rows = Booking.objects.filter(member=asked.member, item=asked.lot.item_id, ended_at=None, waiting=False, last_day__gte=asked.today)
    return list(rows.select_related("member").order_by("first_day", "pk"))


def _chosen(mine: Sequence[Booking], named: Booking | None, asked: _Asked) -> Booking | None:
    """The booking that is named, else the borrower's own of that day."""
    if named is not None:
        found = next((row for row in mine if row.pk == named.pk), None)
        if found is None:
            raise _not_theirs(named, asked.today)
        return found
    return next((row for row in mine if row.thing_id == asked.wanted and row.first_day <= asked.today), None)


def _not_theirs(named: Booking, today: date) -> Problem:
    named = Booking.objects.select_related("member", "item").get(pk=named.pk)
    bookings.refuse_ended(named, today)
    waits = "waits its turn" if named.waiting else f"is {named.member.name}'s, of {named.item.code}"
    return NotBooked(f"this booking {waits}: lend without it, or name one of the borrower's for this item")


def _take(mine: Sequence[Booking], chosen: Booking | None, asked: _Asked, due_on: date | None) -> _Claim:
    """The chosen booking, and the borrower's others that the loan covers whole, as far as its pieces go."""
    rest = max(chosen.quantity - asked.quantity, NOTHING) if chosen else NOTHING
    spans = [_span(chosen, chosen.quantity - rest)] if chosen and chosen.thing_id == asked.wanted else []
    covered: list[Booking] = []
    for row in mine:
        whole = due_on is None or row.last_day <= due_on
        more = [*spans, _span(row, row.quantity)]
        if row is not chosen and row.thing_id == asked.wanted and whole and _peak(more, row) <= asked.quantity:
            covered.append(row)
            spans = more
    return _Claim(chosen, tuple(covered), rest)


def _peak(spans: Sequence[Span], row: Booking) -> Decimal:
    return calc.peak(spans, row.first_day, row.last_day)[0]


def _span(row: Booking, quantity: Decimal) -> Span:
    return Span(BOOKED, row.pk, row.member.name, quantity, row.first_day, row.last_day)


def _refuse_promised(asked: _Asked, claim: _Claim, due_on: date | None) -> None:
    """Raise `Taken` where somebody was promised on one of these days what is to be lent."""
    pot = _pot(asked.lot, asked.wanted, asked.today)
    taken = {row.pk for row in (claim.booking, *claim.covered) if row is not None}
    pot = pot.without(*(span for span in pot.spans if span.what == BOOKED and span.id in taken))
    if claim.booking is not None and claim.rest and claim.booking.thing_id == asked.wanted:
        pot = pot.having(_span(claim.booking, claim.rest))
    if (found := calc.clash(pot, asked.quantity, asked.today, due_on)) is not None:
        raise bookings.taken(asked.lot.item, asked.quantity, found, _what_would_do(found, asked.today))


def _pot(lot: Lot, thing: int | None, today: date) -> Pot:
    pots = queries.pots([lot.item_id], today=today)[lot.item_id]
    return next((pot for pot in pots if pot.thing == thing), Pot(thing, NOTHING))


def _what_would_do(found: Clash, today: date) -> str:
    fewer = f"{plain(found.free)} or fewer, or " if found.free else ""
    if found.day > today:
        return f"Lend {fewer}until {found.day - ONE_DAY}"
    return f"Lend {fewer}book it for when it is free"


def _settle(claim: _Claim, today: date, by: Member, now: datetime) -> None:
    """The bookings that the loan took end as lent; what the first promised beyond it stays promised."""
    for row in claim.covered:
        bookings.end(row, "lent", by, now, "covered by a loan of these days")
    first = claim.booking
    if first is None:
        return
    bookings.end(first, "lent", by, now)
    if claim.rest:
        rest = Booking(
            workshop_id=first.workshop_id,
            item_id=first.item_id,
            quantity=claim.rest,
            first_day=max(first.first_day, today),
            last_day=first.last_day,
            member=first.member,
            bench_id=first.bench_id,
            ref=first.ref,
            note=first.note,
            key=uuid4(),
            asked_at=first.asked_at,
            by=by,
        )
        changed_by(rest, by, "what a loan left of a booking").save()


def _refuse_renewal(loan: Loan, due_on: date, on: date) -> None:
    agreed = queries.rules(loan.workshop)
    if agreed.renewals is not None and loan.renewals >= agreed.renewals:
        raise TooLong(
            "due_on", f"it was renewed {loan.renewals} times, and {agreed.renewals} are allowed here: take it in and lend it anew"
        )
    _refuse_long(due_on, on, agreed)
    thing = Thing.objects.filter(lot=loan.lot_id).first()
    if not agreed.renew_while_waited:
        _refuse_waited_for(loan, thing, due_on, on)
    pot = _pot(loan.lot, thing.pk if thing else None, on)
    pot = pot.without(*(span for span in pot.spans if span.what == LENT and span.id == loan.pk))
    if (found := calc.clash(pot, loan.open, on, due_on)) is not None:
        last = max(found.day - ONE_DAY, on)
        raise bookings.taken(loan.lot.item, loan.open, found, f"Name {last} or before, or bring some back first")


def _refuse_waited_for(loan: Loan, thing: Thing | None, due_on: date, on: date) -> None:
    line = queries.lines([loan.lot.item_id], today=on).get(loan.lot.item_id, ())
    for turn in line:
        wish = turn.wish
        meant = wish.thing is None or (thing is not None and wish.thing == thing.pk)
        if meant and wish.first <= due_on and wish.member != loan.member_id:
            raise WaitedFor(
                f"{wish.who} waits for {plain(wish.quantity)} from {wish.first}: bring it back by {loan.due_on}, then book it again"
            )


# What comes back


def _current(loan: Loan) -> Loan:
    return Loan.objects.select_related("lot__item", "lot__bench", "member", "held_in", "movement__source", "workshop").get(pk=loan.pk)


def _refuse_more_than_out(loan: Loan, quantity: Decimal) -> None:
    if quantity > loan.open:
        unit, out = loan.lot.item.unit, plain(loan.open)
        back = f"of {plain(loan.quantity)} {unit} lent {out} {unit} are still out"
        raise LoanOver(f"{back}: {plain(quantity)} {unit} can't come back. What is more than lent is counted in on its shelf")


def _refuse_before(loan: Loan, on: date) -> None:
    if on < loan.out_on:
        raise FieldProblem("on", f"{on} is before it was lent on {loan.out_on}: give that day or a later one")


def _where_to(loan: Loan, kind: str, place: Place | None) -> Place:
    if kind not in KINDS:
        raise FieldProblem("kind", f"{kind!r} is no way in which a loan ends: there are {', '.join(KINDS)}")
    if kind == "returned":
        return place or loan.movement.source
    return stock.end_place(loan.workshop, End.LOST if kind == "lost" else End.SCRAPPED)


def _after(loan: Loan, kind: str, condition: str, by: Member, now: datetime) -> None:
    """What follows from pieces that are out no more: a thing's condition, its end, and whose turn it is."""
    today, thing = timezone.localdate(now), Thing.objects.filter(lot=loan.lot_id).first()
    gone = kind != "returned"
    if thing is not None and gone and not stock_queries.on_hand(loan.lot):
        rules.retire(thing, by, now, condition or ("lost" if kind == "lost" else "worn out"))
    else:
        _keep_condition(thing, condition, by)
    if loan.lot.bench.shared:
        (bookings.replant if gone else bookings.serve)(item=loan.lot.item, today=today, by=by)


def _keep_condition(thing: Thing | None, condition: str, by: Member) -> None:
    if thing is not None and condition and condition != thing.condition:
        thing.condition = condition
        changed_by(thing, by).save(update_fields=["condition"])


def _ledger(key: UUID) -> str:
    """How the ledger names a loan."""
    return f"loan:{key}"
