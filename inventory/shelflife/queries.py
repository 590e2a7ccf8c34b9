"""Reads of what is dying on the shelf, and of what a lot went through."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Max, Min

from inventory.common.reasons import Reason
from inventory.shelflife import keeping
from inventory.shelflife.models import Acceptance, Disposal, Temperature, UpdateTest
from inventory.shelflife.storage import Storage
from inventory.stock.models import Lot
from inventory.stock.queries import Held, holdings


@dataclass(frozen=True, slots=True)
class Expiry:
    """What one place holds of a lot that is dead by a day, or of which nobody knows when it dies (`last_usable_day` None)."""

    held: Held
    last_usable_day: date | None
    limit: str | None
    trace: tuple[Reason, ...]


def expiries(*, before: date) -> list[Expiry]:
    """Lots on hand of any state whose last usable day is on or before `before`, by that day, then item; unknown lives last. Two queries."""
    found = [_expiry(held) for held in holdings()]
    dying = [one for one in found if not one.held.life.known or (one.last_usable_day is not None and one.last_usable_day <= before)]
    return sorted(dying, key=lambda one: (one.last_usable_day or date.max, one.held.item, one.held.lot, one.held.place))


def _expiry(held: Held) -> Expiry:
    life = held.life
    if not life.known:
        unknown = Reason("no printed expiry and no day of make with a life is recorded", f"the dates of the lot and of {held.item}")
        return Expiry(held, None, None, (unknown, *_reasons(held)))
    return Expiry(held, life.last_day, life.limit.rule if life.limit else None, _reasons(held))


def _reasons(held: Held) -> tuple[Reason, ...]:
    return tuple(Reason(f"{limit.rule}: usable through {limit.last_day}", limit.source) for limit in held.life.limits)


@dataclass(frozen=True, slots=True)
class Story:
    """What is known of a lot's life beside its dates. `storage` is None where its item has no rule; tests are those of its whole batch."""

    tests: tuple[UpdateTest, ...]
    acceptances: tuple[Acceptance, ...]
    disposals: tuple[Disposal, ...]
    storage: Storage | None


def story(lot: Lot, *, until: datetime) -> Story:
    """Tests, acceptances and disposals of a lot, the latest first, and what happened to it where it lay. At most eight queries."""
    tests = UpdateTest.objects.filter(lot__item=lot.item_id, lot__code__iexact=lot.code) if lot.code else UpdateTest.objects.filter(lot=lot)
    return Story(
        tuple(tests.select_related("by").order_by("-on", "-pk")),
        tuple(Acceptance.objects.filter(lot=lot).select_related("by", "withdrawn_by").order_by("-pk")),
        tuple(Disposal.objects.filter(lot=lot).select_related("movement__by", "movement__reversed_by").order_by("-pk")),
        keeping.storages([lot], until=until).get(lot.pk),
    )


@dataclass(frozen=True, slots=True)
class Watched:
    """A place with a thermometer: how many readings are on record, and of when the first and last are."""

    path: str
    readings: int
    first: datetime
    last: datetime


def watched() -> list[Watched]:
    """Every place with readings, by path. One query."""
    rows = Temperature.objects.values("place__path").annotate(Count("pk"), Min("at"), Max("at")).order_by("place__path")
    return [Watched(*row) for row in rows.values_list("place__path", "pk__count", "at__min", "at__max")]
