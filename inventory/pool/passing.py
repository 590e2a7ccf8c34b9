"""Passing things from bench to bench: one side offers or asks, and the pieces pass once the other side agrees.

They stay where they lie: whose a thing is and where it lies are two questions. Locks: the transfer, the taker's bench, then lots by id.
"""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from inventory.catalogue.models import Item
from inventory.common.fields import plain
from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.quantities import pieces, positive
from inventory.common.rows import find_or_make
from inventory.common.texts import optional
from inventory.pool import calc, queries
from inventory.pool.models import Thing, Transfer
from inventory.shelflife import services as shelflife
from inventory.stock import queries as stocked
from inventory.stock import services as stock
from inventory.stock.models import Holding, Lot, Place, State
from inventory.stock.services import MOST_NOTE, NotEnough, NotUsable
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member


class Answered(Problem):
    """An offer or a wish is answered once."""

    status = 409
    title = "Already answered"


class Lapsed(Problem):
    """The last day to answer it is over."""

    status = 409
    title = "No longer open"


class OpenToAll(Problem):
    """What is offered to everybody, or asked of everybody, nobody declines for all."""

    status = 409
    title = "Nobody to decline for"


class SingleThing(Problem):
    """A single thing of the pool has a card of its own, which names its lot."""

    status = 409
    title = "A single thing of the pool"


class Promised(Problem):
    """What is left couldn't keep the bookings."""

    status = 409
    title = "Promised to somebody"


@transaction.atomic
def offer(  # noqa: PLR0913 - what an offer says
    *, lot: Lot, quantity: Decimal, taker: Bench | None, until: date | None, note: str, key: UUID, by: Member, now: datetime
) -> Transfer:
    """Offer pieces of a lot to another bench, or with no `taker` to all. The same `key` again makes none.

    Refused is more than is there and free; nothing is held for the offer until it is accepted.
    """
    policy.own(by, lot, *_given(taker))
    _require_voice(by, lot.bench)
    quantity = pieces(positive(quantity), lot.item)
    if taker is not None and taker.pk == lot.bench_id:
        raise FieldProblem("taker", f"{stock.named(lot)} is of {taker} already: offer it to another bench")
    _refuse_not_to_give(lot)
    _refuse_not_free(lot, quantity)
    return _made(
        Transfer(item=lot.item, lot=lot, giver=lot.bench, taker=taker, quantity=quantity), until=until, note=note, key=key, by=by, now=now
    )


@transaction.atomic
def ask(  # noqa: PLR0913 - what a wish says
    *,
    item: Item,
    quantity: Decimal,
    taker: Bench,
    giver: Bench | None,
    until: date | None,
    note: str,
    key: UUID,
    by: Member,
    now: datetime,
) -> Transfer:
    """Ask another bench, or with no `giver` all, for pieces of an item. The same `key` again makes none."""
    policy.own(by, item, taker, *_given(giver))
    _require_voice(by, taker)
    if giver is not None and giver.pk == taker.pk:
        raise FieldProblem("giver", f"{taker} asks itself: name another bench, or none to ask all")
    made = Transfer(item=item, giver=giver, taker=taker, asked_by_taker=True, quantity=pieces(positive(quantity), item))
    return _made(made, until=until, note=note, key=key, by=by, now=now)


@transaction.atomic
def accept(  # noqa: PLR0913 - what the consent has to say
    *, transfer: Transfer, lot: Lot | None, place: Place | None, bench: Bench | None, by: Member, today: date, now: datetime
) -> Transfer:
    """Agree for the other side: the pieces are the taker's at once, and both benches' shortfalls are other ones.

    A wish needs the `lot` that it is given from, an offer to all the `bench` that takes it. With `place` only pieces that lie there
    pass, else from wherever the lot lies, in the order of the paths. Refused are what is set aside for steps, lent or promised, and a lot
    that isn't good. One past its life passes as what it is.
    """
    policy.own(by, transfer, *_given(lot), *_given(place), *_given(bench))
    found = _lock_open(transfer)
    if found.until is not None and found.until < today:
        raise Lapsed(f"it was open until {found.until}: ask whoever made it to make it anew")
    lot = _lot_given(found, lot)
    taker = _taker(found, bench)
    if lot.bench_id == taker.pk:
        raise FieldProblem("bench", f"{stock.named(lot)} is of {taker} already")
    _require_voice(by, lot.bench if found.asked_by_taker else taker)
    _refuse_not_to_give(lot)
    note = f"from {lot.bench.code} to {taker.code}"[:MOST_NOTE]
    parts = _parts(lot, found.quantity, place)
    made = stock.pass_on(lot=lot, parts=parts, bench=taker, on=today, by=by, note=note, ref=found.ref, at=now)
    shelflife.carry_over(source=lot, target=made, by=by)
    _refuse_promised(lot, today)
    found.lot, found.giver, found.taker, found.made = lot, lot.bench, taker, made
    return _ended(found, "done", by, now)


@transaction.atomic
def decline(*, transfer: Transfer, by: Member, now: datetime) -> Transfer:
    """Refuse for the other side: nothing passes."""
    policy.own(by, transfer)
    found = _lock_open(transfer)
    other = found.giver if found.asked_by_taker else found.taker
    if other is None:
        raise OpenToAll("it is open to every bench: leave it be, and it stays open to the others")
    _require_voice(by, other)
    return _ended(found, "declined", by, now)


@transaction.atomic
def withdraw(*, transfer: Transfer, by: Member, now: datetime) -> Transfer:
    """Take an offer or wish of one's own bench back while nobody has answered it."""
    policy.own(by, transfer)
    found = _lock_open(transfer)
    own = found.taker if found.asked_by_taker else found.giver
    if own is not None:
        _require_voice(by, own)
    return _ended(found, "withdrawn", by, now)


def require_answer(*, transfer: Transfer, by: Member) -> None:
    """Raise where the member may not answer for the other side. An offer or wish to all is answered by whoever speaks for some bench."""
    other = transfer.giver if transfer.asked_by_taker else transfer.taker
    if other is None:
        policy.require(by, "use_stock")
    else:
        _require_voice(by, other)


def _given(row: Bench | Lot | Place | None) -> tuple[Bench | Lot | Place, ...]:
    return () if row is None else (row,)


def _require_voice(by: Member, bench: Bench) -> None:
    policy.require(by, "use_stock", bench)
    if not policy.speaks_for(by, bench):
        raise policy.NotAllowed(f"{by.name} doesn't speak for {bench}: ask who holds it")


def _made(row: Transfer, *, until: date | None, note: str, key: UUID, by: Member, now: datetime) -> Transfer:  # noqa: PLR0913 - private
    if until is not None and until < timezone.localdate(now):
        raise FieldProblem("until", f"{until} is over: give a day to come, or none")
    row.workshop_id, row.until, row.note, row.key, row.by, row.at = by.workshop_id, until, optional("note", note, MOST_NOTE), key, by, now

    def save() -> Transfer:
        changed_by(row, by).save(force_insert=True)
        return row

    return find_or_make(lambda: Transfer.objects.filter(key=key).first(), save)[0]


def _lock_open(transfer: Transfer) -> Transfer:
    rows = Transfer.objects.select_for_update(of=("self",)).select_related("item", "lot__item", "lot__bench", "giver", "taker", "ended_by")
    found = rows.get(pk=transfer.pk)
    if found.ended_at is not None:
        who = f" by {found.ended_by.name}" if found.ended_by else ""
        raise Answered(f"it was {_TOLD[found.ended_as]} on {timezone.localdate(found.ended_at)}{who}: nothing passed a second time")
    return found


_TOLD: Mapping[str, str] = {"done": "accepted", "declined": "declined", "withdrawn": "withdrawn", "lapsed": "closed, its last day over,"}


def _lot_given(transfer: Transfer, lot: Lot | None) -> Lot:
    """The giver's lot: of an offer the one offered, of a wish the one named."""
    if transfer.lot is not None:
        if lot is not None and lot.pk != transfer.lot_id:
            raise FieldProblem("lot", f"{stock.named(transfer.lot)} is what was offered: leave this out")
        return transfer.lot
    if lot is None:
        raise FieldProblem("lot", f"say which lot of {transfer.item.code} it is given from")
    if lot.item_id != transfer.item_id:
        raise FieldProblem("lot", f"{stock.named(lot)} isn't what was asked for: name a lot of {transfer.item.code}")
    if transfer.giver is not None and lot.bench_id != transfer.giver_id:
        raise FieldProblem("lot", f"{stock.named(lot)} is of {lot.bench}, and {transfer.giver} was asked")
    return lot


def _taker(transfer: Transfer, bench: Bench | None) -> Bench:
    """The bench that takes: of a wish the one that asked, of an offer to all the one named."""
    if transfer.asked_by_taker or transfer.taker is None:
        taker = transfer.taker or bench
    else:
        taker = transfer.taker
        if bench is not None and bench.pk != taker.pk:
            raise FieldProblem("bench", f"it is offered to {taker}")
    if taker is None:
        raise FieldProblem("bench", "say which bench takes it")
    return taker


def _refuse_not_to_give(lot: Lot) -> None:
    if lot.state != State.GOOD:
        raise NotUsable(f"{stock.named(lot)} is {lot.state}: only a good lot passes to another bench")
    if Thing.objects.filter(lot=lot, retired_at=None).exists():
        raise SingleThing(f"{stock.named(lot)} is a single thing of the pool: lend it, or retire it first")


def _here(lot: Lot) -> list[tuple[Place, Decimal]]:
    """Where a lot lies that isn't lent, by path."""
    rows = Holding.objects.filter(lot=lot, quantity__gt=0, place__hands=None).select_related("place").order_by("place__path")
    return [(row.place, row.quantity) for row in rows]


def _refuse_not_free(lot: Lot, quantity: Decimal) -> None:
    there, aside = sum((held for _, held in _here(lot)), stocked.NOTHING), stocked.set_aside_for_others(lot, "")
    if quantity > max(there - aside, stocked.NOTHING):
        unit = lot.item.unit
        raise NotEnough(f"{stock.named(lot)}: {plain(there)} {unit} are here, {plain(aside)} {unit} of them set aside for steps")


def _parts(lot: Lot, quantity: Decimal, place: Place | None) -> list[tuple[Place, Decimal]]:
    """What passes of each place. What is read here may be overtaken: the ledger itself refuses what isn't there."""
    left, parts = quantity, []
    for here, there in _here(lot):
        if left and (place is None or place.pk == here.pk):
            parts.append((here, min(left, there)))
            left -= min(left, there)
    if left:
        where, unit = place.path if place else "all places together", lot.item.unit
        raise NotEnough(f"{stock.named(lot)}: {where} hold {plain(quantity - left)} {unit}, and {plain(quantity)} {unit} are to pass")
    return parts


def _refuse_promised(lot: Lot, today: date) -> None:
    """What is left on shared benches must keep what is promised of it."""
    if not lot.bench.shared:
        return
    for pot in queries.pots([lot.item_id], today=today)[lot.item_id]:
        if (found := calc.clash(pot, stocked.NOTHING, today, None)) is not None:
            who = " and ".join(dict.fromkeys(span.who for span in found.spans))
            raise Promised(f"then too little of {lot.item.code} is left for {who} on {found.day}: move that booking first")


def _ended(transfer: Transfer, how: str, by: Member, now: datetime) -> Transfer:
    transfer.ended_at, transfer.ended_as, transfer.ended_by = now, how, by
    changed_by(transfer, by).save()
    return transfer
