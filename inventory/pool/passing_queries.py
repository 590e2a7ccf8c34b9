"""Reads of what is offered from bench to bench and asked for."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Q

from inventory.pool.models import Transfer
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member


@dataclass(frozen=True, slots=True)
class TransferRow:
    """An offer or a wish (`asked_by_taker`), in `unit`; a blank bench is everybody's. `lot_id` is the giver's, `made_id` the taker's.

    `answers` says that the member asked about speaks for the side that answers, `owns` for the side that made it.
    """

    id: int
    item: str
    name: str
    unit: str
    quantity: Decimal
    asked_by_taker: bool
    giver: str
    taker: str
    lot_id: int | None
    lot: str
    until: date | None
    note: str
    by: str
    at: datetime
    ended_as: str
    ended_at: datetime | None
    ended_by: str
    made_id: int | None
    answers: bool
    owns: bool


def open_transfers(*, today: date, member: Member | None = None, bench: Bench | None = None) -> tuple[TransferRow, ...]:
    """What waits for an answer, the earliest to end first; of one bench what it made or may answer. Two queries.

    `member` is who looks: what they may do with each is said.
    """
    which = Q(ended_at=None) & (Q(until=None) | Q(until__gte=today))
    if bench is not None:
        others = Q(giver=None) | Q(taker=None)
        which &= Q(giver=bench) | Q(taker=bench) | others
    rows = _rows(which, member)
    return tuple(sorted(rows, key=lambda row: (row.until or date.max, row.id)))


def ended_transfers(*, since: date, member: Member | None = None) -> tuple[TransferRow, ...]:
    """What was answered, withdrawn or lapsed from a day on, the latest first. Two queries."""
    ended = Q(ended_at__date__gte=since)
    return tuple(sorted(_rows(ended, member), key=lambda row: row.id, reverse=True))


def _rows(which: Q, member: Member | None) -> list[TransferRow]:
    found = Transfer.objects.filter(which).select_related("item", "lot", "giver", "taker", "by", "ended_by").order_by("pk")
    open_to_all = member is not None and policy.allowed(member, "use_stock")
    return [_row(row, member, open_to_all=open_to_all) for row in found]


def _row(row: Transfer, member: Member | None, *, open_to_all: bool) -> TransferRow:
    own, other = (row.taker, row.giver) if row.asked_by_taker else (row.giver, row.taker)
    return TransferRow(
        id=row.pk,
        item=row.item.code,
        name=row.item.name,
        unit=row.item.unit,
        quantity=row.quantity,
        asked_by_taker=row.asked_by_taker,
        giver=row.giver.code if row.giver else "",
        taker=row.taker.code if row.taker else "",
        lot_id=row.lot_id,
        lot=(row.lot.code or "no lot code") if row.lot else "",
        until=row.until,
        note=row.note,
        by=row.by.name,
        at=row.at,
        ended_as=row.ended_as,
        ended_at=row.ended_at,
        ended_by=row.ended_by.name if row.ended_by else "",
        made_id=row.made_id,
        answers=open_to_all if other is None else member is not None and policy.speaks_for(member, other),
        owns=member is not None and own is not None and policy.speaks_for(member, own),
    )
