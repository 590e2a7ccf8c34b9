"""Writers of a club's day: taking a proposed change, booking what a day takes, and what shared material costs."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID, uuid5

from django.db import transaction

from buildplan.club import queries
from buildplan.club.changes import REACH, Borrow, Change, Move
from buildplan.hardware import services as hardware
from buildplan.hardware.models import RivetRow
from buildplan.plan import services as plan
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Step
from inventory.catalogue.models import RETURNED
from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.models import Bench, Booking, Item, Member, Thing, UnitCost
from inventory.pool import services as pool
from inventory.workshop import policy

MOST_AMOUNT = Decimal(10) ** 8
FINEST = Decimal("0.000001")
ONE = Decimal(1)


class Stale(Problem):
    """A change that is no longer proposed: somebody changed the day meanwhile."""

    status = 409
    title = "The day has changed"


class NotOurs(Problem):
    """What only the other side can do."""

    title = "Ask them"


def token(changes: Sequence[Change]) -> str:
    """How a form names a proposal."""
    return ";".join(_token(change) for change in changes)


def _token(change: Change) -> str:
    if isinstance(change, Move):
        return f"move:{change.step}:{change.to}"
    if isinstance(change, Borrow):
        return f"borrow:{change.giver}"
    return f"widen:{change.row}:{change.every}"


@transaction.atomic
def take_proposal(*, day: date, named: str, by: Member, today: date) -> tuple[str, ...]:
    """Make a proposed change of a day: its steps are planned anew, its rows spaced wider. What was done, in words.

    The day is looked at again first: what is no longer proposed is refused by `Stale`. What another bench is to lend, it lends itself.
    """
    policy.require(by, "plan")
    found = queries.go_ahead(day, today=today)
    chosen = next((one for one in found.proposals if token([row.change for row in one.changes]) == named), None)
    if chosen is None:
        raise Stale("the day has changed meanwhile, and this is no longer what would make it fit: look at it again")
    for row in chosen.changes:
        _take(row.change, by)
    return tuple(row.text for row in chosen.changes)


def _take(change: Change, by: Member) -> None:
    if isinstance(change, Borrow):
        raise NotOurs("what another bench has is lent by who holds it: ask them")
    if isinstance(change, Move):
        plan.set_planned(step=Step.objects.select_related("project__bench").get(pk=change.step), planned_on=change.to, by=by)
        return
    rows = RivetRow.objects.select_related("step__project__bench", "rivet", "clecos_until")
    row = rows.get(pk=change.row)
    hardware.save_row(
        step=row.step,
        code=row.code,
        rivet=row.rivet,
        holes=row.holes,
        grip=row.grip,
        cleco_every=change.every,
        clecos_until=row.clecos_until,
        by=by,
        row=row,
    )


@transaction.atomic
def book_day(  # noqa: PLR0913 - what is booked, for whom, and when that is
    *, day: date, bench: Bench, key: UUID, wait: bool, by: Member, today: date, now: datetime
) -> list[Booking]:
    """Book of the pool all that a bench's steps of a day need beyond what they have, each for its step: all of it or nothing.

    Refused by `Taken` where others have it, unless `wait`: what isn't free then waits in line. What is booked or waited for already isn't
    booked again.
    """
    policy.require(by, "plan", bench)
    found = queries.go_ahead(day, today=today)
    made = []
    for row, share in found.wanted(bench.pk):
        item, ref = Item.objects.get(pk=row.id), step_ref(share.share.step)
        if Booking.objects.filter(item=item, ref=ref, ended_at=None, waiting=True, first_day__lte=day, last_day__gte=day).exists():
            continue
        last = min(share.share.last, date.fromordinal(min(day.toordinal() + REACH, date.max.toordinal())))
        for number, quantity in enumerate(_lots_of(item, share.share.wanted)):
            made.append(
                pool.book(
                    item=item,
                    quantity=quantity,
                    first_day=day,
                    last_day=last,
                    member=by,
                    bench=bench,
                    ref=ref,
                    note=share.step,
                    key=uuid5(key, f"{ref} {item.pk} {number}"),
                    wait=wait,
                    by=by,
                    today=today,
                    now=now,
                )
            )
    return made


def _lots_of(item: Item, quantity: Decimal) -> Iterator[Decimal]:
    """Single things are promised one by one, counted pieces together."""
    if not Thing.objects.filter(lot__item=item, lot__bench__shared=True, retired_at=None).exists():
        yield quantity
        return
    while quantity > 0:
        yield min(quantity, ONE)
        quantity -= ONE


# Unit costs


@transaction.atomic
def set_unit_cost(*, item: Item, since: date, amount: Decimal, by: Member) -> UnitCost:
    """Say what a stock unit of a shared material costs from a day on, in place of what was said for that day."""
    policy.own(by, item)
    policy.require(by, "keep_stock")
    if item.kind in RETURNED:
        raise FieldProblem("item", f"{item.code} comes back: only what is used up has a cost")
    if not 0 <= amount <= MOST_AMOUNT:
        raise FieldProblem("amount", f"{amount} doesn't do: give 0 or more, at most {MOST_AMOUNT}")
    if amount != amount.quantize(FINEST):
        raise FieldProblem("amount", f"{amount} is finer than a millionth: give at most six decimals")
    Item.objects.select_for_update(no_key=True).get(pk=item.pk)  # two who set the same day come one after the other
    row = UnitCost.objects.filter(item=item, since=since).first() or UnitCost(workshop_id=item.workshop_id, item=item, since=since)
    row.amount = amount
    changed_by(row, by).save()
    return row


@transaction.atomic
def remove_unit_cost(*, cost: UnitCost, by: Member) -> None:
    """Take back what was said of a material's cost from a day on; the cost set before it holds again."""
    policy.own(by, cost)
    policy.require(by, "keep_stock")
    changed_by(cost, by).delete()
