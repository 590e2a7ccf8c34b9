"""Setting aside the lots of a day's plan for its steps, and giving them back."""

from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from fractions import Fraction

from buildplan.plan.calc import step_ref
from buildplan.records.used import in_grams
from buildplan.sealday.dayview import PlannedBatch
from buildplan.sealday.models import SealDay
from buildplan.sealday.queries import plan_of
from buildplan.sealing.calc import portions
from inventory.catalogue.models import Kind
from inventory.common.fields import rounded
from inventory.common.history import changed_by
from inventory.models import Item, Lot, Member, SetAside
from inventory.stock import services as stock

Spot = tuple[int, str]  # a lot, and the step as the ledger names it


def hold_anew(*, day: SealDay, by: Member) -> bool:
    """Make what is set aside of sealants for the day's steps what its plan says; whether that is anything.

    What was set aside for them by hand is replaced. Nothing is held of what is still on its way.
    """
    planned = plan_of(day)
    units = {item.pk: item.unit for item in Item.objects.filter(pk__in=[product.item_id for product in planned.products])}
    wanted: dict[Spot, Decimal] = {}
    for product in planned.products:
        factor = in_grams(units[product.item_id]) or Fraction(1)
        wanted |= _of_product(product.batches, factor)
    _put(day, wanted, by)
    return bool(wanted)


def release_held(*, day: SealDay, by: Member, lots: Collection[int] | None = None) -> None:
    """Give back what is set aside of sealants for the day's steps, of some lots or of all."""
    for row in _held(day):
        if lots is None or row.lot_id in lots:
            stock.release(lot=row.lot, ref=row.ref, by=by)


def _held(day: SealDay) -> list[SetAside]:
    refs = [step_ref(step) for step in day.steps.values_list("step_id", flat=True)]
    rows = SetAside.objects.filter(ref__in=refs, lot__item__kind=Kind.SEALANT)
    return list(rows.select_related("lot__bench").order_by("lot_id", "pk"))


def _of_product(batches: Collection[PlannedBatch], factor: Fraction) -> dict[Spot, Decimal]:
    """What each step gets of each lot, in the stock unit; what a lot gives is rounded once, however many share it."""
    given: dict[int, Fraction] = {}
    found: dict[Spot, Decimal] = {}
    for lot, step, grams in _portions(batches):
        start = given.get(lot, Fraction(0))
        given[lot] = start + grams
        quantity = rounded(given[lot] / factor) - rounded(start / factor)
        found[lot, step_ref(step)] = found.get((lot, step_ref(step)), Decimal(0)) + quantity
    return {spot: quantity for spot, quantity in found.items() if quantity}


def _portions(batches: Collection[PlannedBatch]) -> Iterator[tuple[int, int, Fraction]]:
    for batch in batches:
        for part in portions([lot.grams for lot in batch.lots], [share.grams for share in batch.shares], {}):
            if (lot := batch.lots[part.lot].lot_id) is not None:
                yield lot, batch.shares[part.share].step_id, part.grams


def _put(day: SealDay, wanted: Mapping[Spot, Decimal], by: Member) -> None:
    """What shrinks goes first, so that what grows finds it free."""
    present = {(row.lot_id, row.ref): row for row in _held(day)}
    lots = stock.lock([*Lot.objects.filter(pk__in={lot for lot, _ in wanted}), *(row.lot for row in present.values())])
    for (lot, ref), row in present.items():
        if (lot, ref) not in wanted:
            stock.release(lot=row.lot, ref=ref, by=by)
    grown = {spot: quantity - (present[spot].quantity if spot in present else 0) for spot, quantity in wanted.items()}
    for spot in sorted(grown, key=lambda spot: (grown[spot], spot)):
        if grown[spot]:
            stock.set_aside(lot=lots[spot[0]], ref=spot[1], quantity=wanted[spot], by=by)


def give_back(day: SealDay, by: Member) -> None:
    """Give back all that is held for the day, and hold nothing for it any more. The day is locked."""
    if day.held:
        release_held(day=day, by=by)
        day.held = False
        changed_by(day, by).save(update_fields=["held"])
