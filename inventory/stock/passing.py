"""Passing goods from one bench to another."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from inventory.common.history import changed_by
from inventory.stock import queries
from inventory.stock.lots import LotData, apart, lock, named, refuse_other_dates
from inventory.stock.models import End, Lot, Place, State
from inventory.stock.movements import Line, pieces_of, post, refuse_hands, refuse_set_aside
from inventory.stock.places import end_place, refuse_end
from inventory.stock.problems import NotUsable
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member


@transaction.atomic
def pass_on(  # noqa: PLR0913 - what lines of the ledger say
    *,
    lot: Lot,
    parts: Sequence[tuple[Place, Decimal]],
    bench: Bench,
    on: date,
    by: Member,
    note: str = "",
    ref: str = "",
    at: datetime | None = None,
) -> Lot:
    """Make pieces of a good lot another bench's, each part where it lies; the lot on `bench` that they belong to from now on.

    That lot has the same code, dates, opening, tests and storage: a life neither starts anew nor ends by passing things on. An
    inspector's acceptance is `shelflife`'s to carry over. Refused is what is set aside for steps. That both benches agree is the caller's
    to know.
    """
    policy.require(by, "use_stock")
    policy.own(by, lot, bench, *(place for place, _ in parts))
    Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)  # two that pass at once make one lot
    siblings = list(Lot.objects.filter(bench=bench, item=lot.item_id, code=lot.code))
    locked = lock([lot, *siblings])[lot.pk]
    if locked.state != State.GOOD:
        raise NotUsable(f"{named(locked)} is {locked.state}: only a good lot passes to another bench")
    made = _same_lot(locked, siblings) or _copied(locked, siblings, bench, by)
    passed, line = end_place(lot.workshop, End.PASSED), Line(on, by, note, ref, at)
    for place, quantity in parts:
        refuse_end(place)
        refuse_hands(place)
        post(locked, pieces_of(locked, quantity, place), place, passed, line)
        post(made, quantity, passed, place, line)
    given = sum((quantity for _, quantity in parts), queries.NOTHING)
    refuse_set_aside(locked, given, queries.on_hand(locked), queries.set_aside_for_others(locked, ""))
    return made


_STATED = ("code", "made_on", "made_as", "expires_on", "expires_as", "rounding")
_LIVED = ("opened_on", "state", "passes", "storage_until", "storage_why")


def _same_lot(lot: Lot, siblings: Iterable[Lot]) -> Lot | None:
    """The lot among those of another bench that has gone through the same, where it is one of which that can be told."""
    same = (one for one in siblings if all(getattr(one, name) == getattr(lot, name) for name in (*_STATED, *_LIVED)))
    return None if apart(lot) else next((one for one in same if not apart(one)), None)


def _copied(lot: Lot, siblings: Sequence[Lot], bench: Bench, by: Member) -> Lot:
    if lot.code and siblings:
        refuse_other_dates(siblings, LotData(lot.item_id, lot.code, lot.made, lot.expires))
    made = Lot(workshop_id=lot.workshop_id, bench=bench, item=lot.item, **{name: getattr(lot, name) for name in (*_STATED, *_LIVED)})
    changed_by(made, by).save()
    return made
