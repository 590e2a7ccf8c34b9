"""Cutting a lot up: what it was leaves the shelf, and each part comes back as a lot of its own."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction

from inventory.catalogue.models import Item
from inventory.common.history import changed_by
from inventory.common.quantities import pieces, positive
from inventory.stock import queries
from inventory.stock.lots import LotData, lock, refuse_other_dates
from inventory.stock.models import End, Lot, Movement, Place
from inventory.stock.movements import Line, allow, pieces_of, post, refuse_set_aside, refuse_unusable
from inventory.stock.places import end_place
from inventory.workshop import policy
from inventory.workshop.models import Member

_STATED = ("code", "made_on", "made_as", "expires_on", "expires_as", "rounding", "opened_on", "state", "passes")
_STORED = ("storage_until", "storage_why")


@dataclass(frozen=True, slots=True)
class Part:
    """What comes out of a cut: so much of an item, and where it is laid."""

    item: Item
    quantity: Decimal
    place: Place


@transaction.atomic
def cut_up(  # noqa: PLR0913 - what lines of the ledger say
    *,
    lot: Lot,
    quantity: Decimal,
    place: Place,
    parts: Sequence[Part],
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> list[Lot]:
    """Cut `quantity` of a good lot up: it goes to the end `cut`, and each part comes from there as a new lot, in the order given.

    A part has its mother's code, dates, tests and storage, and her bench. What the saw took is not counted anywhere. Refused is what is
    set aside for steps. There is no undoing: a saw cut isn't reversed.
    """
    allow(by, "use_stock", lot, place, *(part.place for part in parts))
    policy.own(by, *(part.item for part in parts))
    end, line = end_place(lot.workshop, End.CUT), Line(on, by, note, ref)
    siblings = list(
        Lot.objects.filter(bench=lot.bench_id, item__in={part.item.pk for part in parts}).exclude(code="").filter(code=lot.code)
    )
    locked = lock([lot])[lot.pk]
    refuse_unusable(locked, on)
    post(locked, pieces_of(locked, quantity, place), place, end, line)
    refuse_set_aside(locked, quantity, queries.on_hand(locked), queries.set_aside_for_others(locked, ""))
    made = []
    for part in parts:
        _refuse_other_dates(locked, part.item, siblings)
        made.append(_daughter(locked, part.item, by))
        post(made[-1], pieces(positive(part.quantity), part.item), end, part.place, line)
    return made


@transaction.atomic
def spoil(  # noqa: PLR0913 - what a line of the ledger says
    *,
    lot: Lot,
    quantity: Decimal,
    place: Place,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
) -> Movement:
    """Throw away what was spoiled in the making. Whoever may use stock may: they made it."""
    allow(by, "use_stock", lot, place)
    target = end_place(lot.workshop, End.SCRAPPED)
    locked = lock([lot])[lot.pk]
    return post(locked, pieces_of(locked, quantity, place), place, target, Line(on, by, note, ref))


def _refuse_other_dates(lot: Lot, item: Item, siblings: Sequence[Lot]) -> None:
    same = [one for one in siblings if one.item_id == item.pk]
    if same:
        refuse_other_dates(same, LotData(item.pk, lot.code, lot.made, lot.expires))


def _daughter(lot: Lot, item: Item, by: Member) -> Lot:
    made = Lot(workshop_id=lot.workshop_id, bench=lot.bench, item=item, **{name: getattr(lot, name) for name in (*_STATED, *_STORED)})
    changed_by(made, by).save()
    return made
