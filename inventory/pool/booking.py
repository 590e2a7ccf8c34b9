"""Writers of bookings: what is promised for days to come, and who waits for it.

Whoever books, lends or takes in holds the item's row until the transaction ends, so that two never promise the same pieces. Locks are
taken in one order everywhere: the workshop (to make places), the item, then lots by id.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.catalogue.models import RETURNED, Item
from inventory.common.fields import plain
from inventory.common.history import MOST_WHY, changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.quantities import PartOfPiece, positive
from inventory.common.texts import optional
from inventory.pool import calc, queries
from inventory.pool.calc import Clash, Granted, Pot, Span, Wish
from inventory.pool.models import BookedDay, Booking, PoolRules, Thing
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member

MOST_NOTE = 200
MOST_REF = 60
MOST_DAYS = 366  # of one booking: a bound of ours, so that a slip of the year doesn't fill the calendar
MOST_NAMED = 3  # how many of those who have it are named in a message


class Taken(Problem):
    """Others have it, or were promised it, on one of these days."""

    status = 409
    title = "Taken on these days"


class TooMany(Problem):
    """More than the pool has, whoever has it now."""

    status = 409
    title = "The pool has less"


class NotPooled(Problem):
    """A thing that isn't shared, doesn't come back, or is retired."""

    title = "This isn't in the pool"


class NotBooked(Problem):
    """A booking that has ended."""

    status = 409
    title = "This booking has ended"


class Stranger(Problem):
    """Nothing is lent or promised to who isn't an active person of this workshop."""

    title = "Not a member here"


@transaction.atomic
def book(  # noqa: PLR0913 - what a promise says
    *,
    item: Item,
    quantity: Decimal,
    first_day: date,
    last_day: date,
    member: Member,
    bench: Bench | None = None,
    thing: Thing | None = None,
    ref: str = "",
    note: str = "",
    key: UUID,
    wait: bool = False,
    by: Member,
    today: date,
    now: datetime,
) -> Booking:
    """Promise pieces of a pool item, or one single thing, for whole days, both ends included. The same key again gives the first booking.

    Without `thing` counted pieces are promised; where there are only single things, one that is free on all these days. Refuses by
    `Taken` what others have on any of them, unless `wait`: then it joins the line, and gets its turn when something frees up.
    Who already waits comes first.
    """
    _may_book(by, member, item, bench, thing)
    item = lock_item(item)
    if (known := Booking.objects.filter(key=key).first()) is not None:
        return known
    _refuse_unpooled(item, thing)
    quantity = whole(item, quantity)
    _refuse_days(queries.rules(by.workshop), first_day, last_day, today)
    serve(item=item, today=today, by=by)
    asked = Wish(0, member.pk, member.name, quantity, first_day, last_day, now, thing.pk if thing else None)
    found = _find(item, asked, today)
    if isinstance(found, Clash) and not wait:
        raise taken(item, asked.quantity, found, "Ask for other days or for fewer, or join the waiting line")
    booking = Booking(
        workshop_id=by.workshop_id,
        item=item,
        thing_id=found.thing if isinstance(found, Pot) else asked.thing,
        quantity=quantity,
        first_day=first_day,
        last_day=last_day,
        member=member,
        bench=bench,
        ref=optional("reference", ref, MOST_REF),
        note=optional("note", note, MOST_NOTE),
        key=key,
        waiting=isinstance(found, Clash),
        asked_at=now,
        by=by,
    )
    changed_by(booking, by).save()
    _hold_days(booking, first_day)
    return booking


@transaction.atomic
def cancel(*, booking: Booking, by: Member, now: datetime) -> Booking:
    """Give a booking back, or leave the waiting line; who waits gets their turn. Cancelling twice changes nothing more."""
    policy.own(by, booking)
    lock_item(booking.item)
    booking = Booking.objects.select_related("item", "member").get(pk=booking.pk)
    refuse_unless_theirs(by, booking.member, "cancel")
    today = timezone.localdate(now)
    if booking.ended_as == "cancelled":
        return booking
    refuse_ended(booking, today)
    end(booking, "cancelled", by, now)
    serve(item=booking.item, today=today, by=by)
    return booking


def end(booking: Booking, how: str, by: Member, now: datetime, why: str = "") -> None:
    """A booking holds nothing any more. The item is locked."""
    booking.ended_at, booking.ended_as = now, how
    changed_by(booking, by, why).save(update_fields=["ended_at", "ended_as"])
    BookedDay.objects.filter(booking=booking).delete()


def serve(*, item: Item, today: date, by: Member) -> list[Booking]:
    """Give those who wait for an item their turn, as far as it is free; the history of each says why. The item is locked."""
    line = {row.pk: row for row in _line(item, today)}
    if not line:
        return []
    had = queries.last_had([item.pk]).get(item.pk, {})
    found = calc.serve([_wish(row, today) for row in line.values()], had, queries.pots([item.pk], today=today)[item.pk])
    return [_grant(line[granted.wish.id], granted, by) for granted in found]


def replant(*, item: Item, today: date, by: Member) -> None:
    """Something of the pool is gone: of the bookings that no longer fit, those that were asked for last wait again. The item is locked."""
    found = {pot.thing: _lent_only(pot) for pot in queries.pots([item.pk], today=today)[item.pk]}
    rows = Booking.objects.filter(item=item, ended_at=None, last_day__gte=today).select_related("member")
    for row in rows.order_by("asked_at", "pk"):
        pot, wish = found.get(row.thing_id), _wish(row, today)
        if pot is None or (not row.waiting and calc.clash(pot, row.quantity, wish.first, wish.last) is not None):
            _put_back(row, by)
        elif not row.waiting:
            found[row.thing_id] = pot.having(_span(row))
    serve(item=item, today=today, by=by)


def _lent_only(pot: Pot) -> Pot:
    return replace(pot, spans=tuple(span for span in pot.spans if span.what == calc.LENT))


def lock_item(item: Item) -> Item:
    """The item as it is now, held until the transaction ends: nobody promises or lends any of it meanwhile."""
    return Item.objects.select_for_update(no_key=True).get(pk=item.pk)


def whole(item: Item, quantity: Decimal) -> Decimal:
    """`quantity`, above zero and whole: what comes back is lent by the piece."""
    found = positive(quantity)
    if found != found.to_integral_value():
        raise PartOfPiece("quantity", f"{plain(found)} of {item.code}: what comes back is lent by the whole piece")
    return found


def taken(item: Item, quantity: Decimal, found: Clash, what_would_do: str) -> Taken:
    """What is said where others have it: who, when, and what would do."""
    spans = sorted(found.spans, key=lambda span: (-span.quantity, span.first))
    named = [calc.said(span) for span in spans[:MOST_NAMED]]
    more = [f"{len(spans) - MOST_NAMED} more"] if len(spans) > MOST_NAMED else []
    free = f"{plain(found.free)} of {plain(found.there)} are free on {found.day} and not {plain(quantity)}"
    return Taken(f"{item.code}: {free}: {' and '.join((*named, *more))}. {what_would_do}")


def refuse_stranger(member: Member) -> None:
    """Raise `Stranger` where nobody stands behind a member, or they have left."""
    if member.user_id is None and member.active:
        raise Stranger(f"{member.name} is this workshop's own hand and no person: name who has it")
    if not member.active:
        raise Stranger(f"{member.name} is no active member here: invite them again, or name who has it")


def refuse_unless_theirs(by: Member, member: Member, what: str) -> None:
    """Raise `NotAllowed` unless it is the member's own, or `by` keeps the stock."""
    if by.pk != member.pk:
        if not policy.allowed(by, "keep_stock"):
            raise policy.NotAllowed(f"this is {member.name}'s: they or who keeps the stock may {what} it")
    elif not by.active:
        policy.require(by, "read")


def refuse_ended(booking: Booking, today: date) -> None:
    """Raise `NotBooked` where a booking holds nothing any more."""
    if booking.ended_as:
        raise NotBooked(f"this booking was {booking.ended_as} on {booking.ended_at:%Y-%m-%d}: make a new one")
    if booking.last_day < today:
        raise NotBooked(f"this booking lapsed with its last day, {booking.last_day}: make a new one")


def _may_book(by: Member, member: Member, item: Item, bench: Bench | None, thing: Thing | None) -> None:
    policy.own(by, item, member, *(row for row in (bench, thing) if row is not None))
    policy.require(by, "use_stock" if by.pk == member.pk else "keep_stock")
    refuse_stranger(member)


def _refuse_unpooled(item: Item, thing: Thing | None) -> None:
    if item.kind not in RETURNED:
        raise NotPooled(f"{item.code} is {item.get_kind_display()}: only clecos and tools are lent, since they come back")
    if thing is None:
        return
    thing = Thing.objects.select_related("lot__bench").get(pk=thing.pk)  # as it is now: somebody may have retired it
    lot = thing.lot
    if lot.item_id != item.pk:
        raise NotPooled(f"{thing} is no {item.code}: name the item that it is")
    if not lot.bench.shared:
        raise NotPooled(f"{thing} is {lot.bench.name}'s own: only what lies on a shared bench is booked; ask them")
    if thing.retired_at is not None:
        raise NotPooled(f"{thing} was retired on {thing.retired_at:%Y-%m-%d}: book another")


def _refuse_days(rules: PoolRules, first: date, last: date, today: date) -> None:
    if first < today:
        raise FieldProblem("first_day", f"{first} is past: book from {today} on")
    if last < first:
        raise FieldProblem("last_day", f"{last} is before {first}: both days are included, so for one day give it twice")
    most = rules.longest_days if rules.longest_days is not None else MOST_DAYS
    if (last - first).days > most:
        raise FieldProblem("last_day", f"{first} to {last} is longer than the longest loan here, {most} days: end by {_later(first, most)}")
    ahead = rules.book_ahead_days
    if ahead is not None and (last - today).days > ahead:
        raise FieldProblem("last_day", f"{last} is further ahead than the {ahead} days that are booked here: end by {_later(today, ahead)}")


def _later(day: date, days: int) -> date:
    return day + timedelta(days=days)


def _find(item: Item, asked: Wish, today: date) -> Pot | Clash:
    pots = queries.pots([item.pk], today=today)[item.pk]
    found = calc.find(pots, asked.quantity, asked.first, asked.last, asked.thing)
    if found is None:
        raise _too_many(item, asked, pots)
    return found


def _too_many(item: Item, asked: Wish, pots: Sequence[Pot]) -> TooMany:
    counted = sum((pot.there for pot in pots if pot.thing is None), calc.NOTHING)
    single = sum(1 for pot in pots if pot.thing is not None)
    if asked.thing is not None:
        return TooMany(f"this {item.code} is not there, or can't be used: book another")
    if single and asked.quantity > 1:
        return TooMany(f"the pool has {single} single {item.code}: book them one by one")
    return TooMany(f"the pool has {plain(counted)} of {item.code} and not {plain(asked.quantity)}, whoever has them now")


def _hold_days(booking: Booking, first: date) -> None:
    """The days of a single thing, each a row that the database keeps once."""
    if booking.thing_id is None or booking.waiting:
        return
    days = [first + timedelta(days=at) for at in range((booking.last_day - first).days + 1)]
    rows = [BookedDay(workshop_id=booking.workshop_id, booking=booking, thing_id=booking.thing_id, day=day) for day in days]
    try:
        with transaction.atomic():
            BookedDay.objects.bulk_create(rows)
    except IntegrityError as error:
        raise Taken(f"{booking.thing} was just promised to somebody else on one of these days: look again") from error


def _line(item: Item, today: date) -> Iterable[Booking]:
    rows = Booking.objects.filter(item=item, ended_at=None, waiting=True, last_day__gte=today)
    return rows.select_related("member").order_by("pk")


def _wish(row: Booking, today: date) -> Wish:
    first = max(row.first_day, today)
    return Wish(row.pk, row.member_id, row.member.name, row.quantity, first, row.last_day, row.asked_at, row.thing_id)


def _span(row: Booking) -> Span:
    return Span(calc.BOOKED, row.pk, row.member.name, row.quantity, row.first_day, row.last_day)


def _grant(row: Booking, granted: Granted, by: Member) -> Booking:
    row.waiting, row.thing_id = False, granted.thing
    changed_by(row, by, f"{queries.TURN}{granted.reason.text}"[:MOST_WHY]).save(update_fields=["waiting", "thing"])
    _hold_days(row, granted.wish.first)
    return row


def _put_back(row: Booking, by: Member) -> None:
    if (row.waiting, row.thing_id) == (True, None):
        return  # it waits for any such thing already
    row.waiting, row.thing_id = True, None
    changed_by(row, by, "what was promised is gone").save(update_fields=["waiting", "thing"])
    BookedDay.objects.filter(booking=row).delete()
