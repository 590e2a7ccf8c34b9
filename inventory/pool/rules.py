"""Writers of what a club agrees on, and of its single things."""

from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from inventory.catalogue.models import RETURNED
from inventory.common.fields import plain
from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.texts import optional
from inventory.pool import booking
from inventory.pool.models import PoolRules, Thing
from inventory.stock import queries as stock_queries
from inventory.stock import services as stock
from inventory.stock.models import Lot
from inventory.workshop import policy
from inventory.workshop.models import Member, Workshop

MOST_SERIAL = 80
MOST_CONDITION = 200
MOST_FIGURE = 80
MOST_CURRENCY = 12
MOST_RULE = 3660  # days: ten years, so that a slip doesn't go unseen


class ListedAlready(Problem):
    """A lot is one single thing."""

    status = 409
    title = "Listed already"


class NotOneThing(Problem):
    """A single thing is a lot of one piece that comes back."""

    title = "This isn't one thing"


@transaction.atomic
def set_rules(  # noqa: PLR0913 - what a club agrees on
    *,
    workshop: Workshop,
    by: Member,
    longest_days: int | None = None,
    renewals: int | None = None,
    renew_while_waited: bool = False,
    remind_days: int = 1,
    book_ahead_days: int | None = None,
    deposit: str = "",
    fee: str = "",
    currency: str = "",
) -> PoolRules:
    """Write down the rules of lending, all of them; None is no limit. Loans and bookings made before stay as they are."""
    policy.own(by, workshop)
    policy.require(by, "manage")
    Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)
    rules = PoolRules.objects.filter(workshop=workshop).first() or PoolRules(workshop=workshop)
    rules.longest_days = _days("longest_days", longest_days, least=1)
    rules.renewals = _days("renewals", renewals, least=0)
    rules.renew_while_waited = renew_while_waited
    rules.remind_days = _days("remind_days", remind_days, least=0) or 0
    rules.book_ahead_days = _days("book_ahead_days", book_ahead_days, least=0)
    rules.deposit = optional("deposit", deposit, MOST_FIGURE)
    rules.fee = optional("fee", fee, MOST_FIGURE)
    rules.currency = optional("currency", currency, MOST_CURRENCY)
    changed_by(rules, by).save()
    return rules


def _days(name: str, value: int | None, *, least: int) -> int | None:
    if value is not None and not least <= value <= MOST_RULE:
        raise FieldProblem(name, f"{value} doesn't do: give {least} to {MOST_RULE}, or leave it blank for no limit")
    return value


@transaction.atomic
def add_thing(  # noqa: PLR0913 - what is known of it
    *,
    lot: Lot,
    serial: str = "",
    condition: str = "",
    calibrated_on: date | None = None,
    calibrated_until: date | None = None,
    by: Member,
    today: date | None = None,
) -> Thing:
    """List a lot of one piece as a single thing, booked by itself from now on. Who had booked any such piece gets it where it is free."""
    policy.require(by, "keep_stock", lot.bench)
    policy.own(by, lot)
    item = booking.lock_item(lot.item)
    locked = stock.lock([lot])[lot.pk]
    _refuse_not_one(locked)
    thing = Thing(workshop_id=lot.workshop_id, lot=locked)
    _say(thing, serial, condition, calibrated_on, calibrated_until)
    changed_by(thing, by).save()
    booking.replant(item=item, today=today or timezone.localdate(), by=by)
    return thing


@transaction.atomic
def change_thing(  # noqa: PLR0913 - what is known of it
    *, thing: Thing, serial: str, condition: str, calibrated_on: date | None, calibrated_until: date | None, by: Member
) -> Thing:
    """Write down what is known of a single thing now; its history keeps what was."""
    policy.require(by, "keep_stock", thing.lot.bench)
    policy.own(by, thing)
    thing = Thing.objects.select_for_update(of=("self",), no_key=True).select_related("lot__item").get(pk=thing.pk)
    _say(thing, serial, condition, calibrated_on, calibrated_until)
    changed_by(thing, by).save()
    return thing


@transaction.atomic
def retire_thing(*, thing: Thing, by: Member, now: datetime, condition: str = "") -> Thing:
    """Lend a thing no more, from now on. Who was promised it waits for another of its kind, and gets it where one is free."""
    policy.require(by, "keep_stock", thing.lot.bench)
    policy.own(by, thing)
    item = booking.lock_item(thing.lot.item)
    thing = Thing.objects.select_related("lot__item").get(pk=thing.pk)
    if thing.retired_at is None:
        retire(thing, by, now, condition)
        booking.replant(item=item, today=timezone.localdate(now), by=by)
    return thing


def retire(thing: Thing, by: Member, now: datetime, condition: str = "") -> None:
    """Mark a thing as lent no more. The item is locked."""
    thing.retired_at = now
    thing.condition = optional("condition", condition, MOST_CONDITION) or thing.condition
    changed_by(thing, by).save()


def _say(thing: Thing, serial: str, condition: str, on: date | None, until: date | None) -> None:
    thing.serial = optional("serial number", serial, MOST_SERIAL)
    thing.condition = optional("condition", condition, MOST_CONDITION)
    thing.calibrated_on, thing.calibrated_until = on, until
    if on is not None and until is not None and until < on:
        raise FieldProblem("calibrated_until", f"calibration can't end on {until}, before it was done on {on}")


def _refuse_not_one(lot: Lot) -> None:
    if lot.item.kind not in RETURNED:
        raise NotOneThing(f"{lot.item.code} is {lot.item.get_kind_display()}: only clecos and tools are lent, since they come back")
    if Thing.objects.filter(lot=lot).exists():
        raise ListedAlready(f"{stock.named(lot)} is listed as a single thing already: change it there")
    if (there := stock_queries.on_hand(lot)) != 1:
        raise NotOneThing(
            f"{stock.named(lot)}: {plain(there)} {lot.item.unit} are on hand; a single thing is a lot of 1, so give each its own lot"
        )
