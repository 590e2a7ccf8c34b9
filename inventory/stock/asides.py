"""Holding a quantity of a lot for one step."""

from decimal import Decimal

from django.db import transaction

from inventory.common.fields import plain
from inventory.common.history import changed_by
from inventory.common.quantities import pieces, positive
from inventory.common.texts import filled
from inventory.stock import queries
from inventory.stock.lots import lock_lot, named
from inventory.stock.models import Lot, SetAside, State
from inventory.stock.problems import MOST_REF, NotEnough, NotUsable
from inventory.workshop import policy
from inventory.workshop.models import Member


@transaction.atomic
def set_aside(*, lot: Lot, ref: str, quantity: Decimal, by: Member) -> SetAside:
    """Hold `quantity` of a good lot for the step `ref`, instead of what it held for it before.

    Refuses more than is on hand and not held for others. A later count or scrapping may leave less on hand than is set aside.
    """
    policy.require(by, "plan", lot.bench)
    policy.own(by, lot)
    ref, locked = filled("reference", ref, MOST_REF), lock_lot(lot)
    quantity = pieces(positive(quantity), locked.item)
    if locked.state != State.GOOD:
        raise NotUsable(f"{named(locked)} is {locked.state}: only a good lot is set aside")
    _refuse_beyond(locked, ref, quantity)
    row = SetAside.objects.filter(lot=locked, ref=ref).first() or SetAside(workshop_id=lot.workshop_id, lot=locked, ref=ref)
    row.quantity = quantity
    changed_by(row, by).save()
    return row


@transaction.atomic
def release(*, lot: Lot, ref: str, by: Member) -> bool:
    """Give back what is set aside of a lot for the step `ref`; whether anything was."""
    policy.require(by, "plan", lot.bench)
    policy.own(by, lot)
    row = SetAside.objects.filter(lot=lock_lot(lot), ref=ref).first()
    if row is None:
        return False
    changed_by(row, by).delete()
    return True


def _refuse_beyond(lot: Lot, ref: str, quantity: Decimal) -> None:
    there, others = queries.on_hand(lot), queries.set_aside_for_others(lot, ref)
    if others + quantity > there:
        unit, free = lot.item.unit, max(there - others, queries.NOTHING)
        raise NotEnough(
            f"{named(lot)}: {plain(there)} {unit} on hand, {plain(others)} {unit} of it set aside for other steps: "
            f"{plain(free)} {unit} are free and not {plain(quantity)}",
        )
