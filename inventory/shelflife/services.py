"""The only writer of what is known of a lot's life beside its dates: tests, acceptances, storage, disposals.

Locks are taken as `inventory.stock.services` takes them: benches, then lots by id. A place whose log is written is locked before.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django.db import transaction

from inventory.catalogue.models import Item
from inventory.common.fields import rounded
from inventory.common.history import assign, changed_by, create_many, update_many
from inventory.common.problems import Problem
from inventory.common.quantities import positive
from inventory.common.rows import batches
from inventory.common.showing import instant_text
from inventory.common.texts import filled, optional
from inventory.shelflife import keeping, logs
from inventory.shelflife.calc import last_usable_day
from inventory.shelflife.models import Acceptance, Disposal, StorageRule, Temperature, UpdateTest
from inventory.shelflife.storage import COLDEST, HOTTEST, Reading, Storage
from inventory.stock import services as stock
from inventory.stock.models import Lot, Place, State
from inventory.workshop import policy
from inventory.workshop.models import Bench, Member

MOST_TEXT = 200
MOST_FAULTS = 50
FAST = timedelta(minutes=5)  # by how much a sensor's clock may run ahead


class CantBeExtended(Problem):
    """A lot that no test keeps in use."""

    status = 409
    title = "This can't be extended"


class TestedAlready(Problem):
    """A test that stands in the record, or that the record has gone past."""

    status = 409
    title = "This batch was tested already"


class BatchFailed(Problem):
    """A batch that failed stays out of use."""

    status = 409
    title = "This batch failed"


class BadAcceptance(Problem):
    """An acceptance that lifts nothing."""

    title = "This acceptance doesn't do"


class WithdrawnAlready(Problem):
    """An acceptance is withdrawn once."""

    status = 409
    title = "Withdrawn already"


class BadRule(Problem):
    """Bounds that make no sense together."""

    title = "This rule doesn't do"


class BadReadings(Problem):
    """Readings that can't all be kept; `faults` holds each reason."""

    title = "These readings can't be kept"

    def __init__(self, faults: Sequence[str]) -> None:
        """The sentence is all of the reasons, up to fifty."""
        more = f"; and {len(faults) - MOST_FAULTS} more" if len(faults) > MOST_FAULTS else ""
        super().__init__("; ".join(faults[:MOST_FAULTS]) + more)
        self.faults = tuple(faults)
        self.members = {"faults": list(self.faults[:MOST_FAULTS])}


# Update tests


@transaction.atomic
def record_test(  # noqa: PLR0913 - what is to be known of it
    *, lot: Lot, on: date, passed: bool, method: str, by: Member, note: str = ""
) -> UpdateTest:
    """Write down an update test of one lot, which speaks for its maker's whole batch: every lot of the item and code in the workshop.

    A pass adds one pass to each. A fail ends them all at once, and every acceptance of them. Refuses an item that can't be extended
    or whose life isn't known, a lot without a code, and a batch that failed; passes are recorded one by one, in order of their days.
    """
    policy.require(by, "judge_lots", lot.bench)
    method, note = filled("method", method, MOST_TEXT), optional("note", note, MOST_TEXT)
    _refuse_untestable(lot, passed=passed)
    batch = _lock_batch(lot)
    test = UpdateTest(workshop_id=lot.workshop_id, lot=batch[lot.pk], on=on, passed=passed, method=method, by=by, note=note)
    (_pass if passed else _fail)(test, batch)
    test.save(force_insert=True)
    return test


def _refuse_untestable(lot: Lot, *, passed: bool) -> None:
    if not lot.code:
        raise CantBeExtended(f"{stock.named(lot)}: no batch is known of it, so no test speaks for it. An inspector may accept it")
    if passed and lot.item.extend_part is None:
        raise CantBeExtended(f"{lot.item.code} can't be extended by a test, as its storage page says. An inspector may accept it")
    if passed and lot.item.life_months is None:
        raise CantBeExtended(f"the life of {lot.item.code} isn't known: a pass adds a part of it, so write it down first")


def _lock_batch(lot: Lot) -> dict[int, Lot]:
    """Every lot of the maker's batch, held. The benches are locked first, so that nobody takes in more of it meanwhile."""
    list(Bench.objects.select_for_update(no_key=True).filter(workshop=lot.workshop_id).order_by("pk"))
    return stock.lock(Lot.objects.filter(item=lot.item_id, code__iexact=lot.code))


def _pass(test: UpdateTest, batch: Mapping[int, Lot]) -> None:
    name = stock.named(test.lot)
    if any(lot.state == State.FAILED for lot in batch.values()):
        raise BatchFailed(f"{name} failed: no later test brings its batch back")
    last = UpdateTest.objects.filter(lot__in=batch).order_by("-on", "-pk").first()
    if last is not None and test.on <= last.on:
        raise TestedAlready(f"{name}: a test of {last.on} is recorded already. Each pass counts once: the next one is of a later day")
    passes = max(lot.passes for lot in batch.values()) + 1
    changed = [lot for lot in batch.values() if assign(lot, {"passes": passes})]
    update_many(Lot, changed, ["passes"], test.by)


def _fail(test: UpdateTest, batch: Mapping[int, Lot]) -> None:
    changed = [lot for lot in batch.values() if assign(lot, {"state": State.FAILED})]
    if not changed:
        raise BatchFailed(f"{stock.named(test.lot)} failed already, and with it all of its batch here")
    update_many(Lot, changed, ["state"], test.by)
    standing = list(Acceptance.objects.filter(lot__in=batch, withdrawn=None))
    _withdraw(standing, batch, on=test.on, by=test.by, why=f"failed an update test on {test.on}")


# Acceptances


@transaction.atomic
def accept(*, lot: Lot, until: date, reason: str, on: date, by: Member) -> Acceptance:
    """An inspector's word that a lot may be used through `until`, whatever its dates or its storage say.

    It is kept, and withdrawn rather than removed. Refuses a lot that failed. It does not change the lot's state.
    """
    policy.require(by, "accept", lot.bench)
    reason = filled("reason", reason, MOST_TEXT)
    if until < on:
        raise BadAcceptance(f"{until} is before {on}: give the last day on which it may be used")
    locked = stock.lock([lot])[lot.pk]
    if locked.state == State.FAILED:
        raise BatchFailed(f"{stock.named(locked)} failed: no acceptance brings its batch back")
    made = Acceptance.objects.create(workshop_id=lot.workshop_id, lot=locked, on=on, until=until, reason=reason, by=by)
    _stand({locked.pk: locked}, by)
    return made


@transaction.atomic
def withdraw(*, acceptance: Acceptance, on: date, by: Member, why: str = "") -> Acceptance:
    """Take an acceptance back, once; it stays on record."""
    policy.own(by, acceptance)
    policy.require(by, "accept")
    why = optional("reason", why, MOST_TEXT)
    locked = stock.lock([acceptance.lot])
    found = Acceptance.objects.get(pk=acceptance.pk)
    if found.withdrawn is not None:
        raise WithdrawnAlready(f"this acceptance was withdrawn on {found.withdrawn} already")
    _withdraw([found], locked, on=on, by=by, why=why)
    return found


@transaction.atomic
def carry_over(*, source: Lot, target: Lot, by: Member) -> None:
    """Let what inspectors accepted of a lot stand of another one too, which was parted from it: the same pieces on another bench."""
    policy.own(by, source, target)
    locked = stock.lock([source, target])
    copies = list(Acceptance.objects.filter(lot=source, withdrawn=None).order_by("pk"))
    if copies:
        for one in copies:
            one.pk, one.lot = None, locked[target.pk]
        Acceptance.objects.bulk_create(copies)
        _stand({target.pk: locked[target.pk]}, by)


def _withdraw(acceptances: Sequence[Acceptance], lots: Mapping[int, Lot], *, on: date, by: Member, why: str) -> None:
    """The lots are locked."""
    for found in acceptances:
        found.withdrawn, found.withdrawn_by, found.withdrawn_why = on, by, why
    Acceptance.objects.bulk_update(acceptances, ["withdrawn", "withdrawn_by", "withdrawn_why"])
    _stand({found.lot_id: lots[found.lot_id] for found in acceptances}, by)


def _stand(lots: Mapping[int, Lot], by: Member) -> None:
    """Let each lot say until when its standing acceptances reach."""
    standing = Acceptance.objects.filter(lot__in=lots, withdrawn=None)
    reach = dict(standing.order_by("until").values_list("lot_id", "until"))  # of several, the last
    changed = [lot for lot in lots.values() if assign(lot, {"accepted_until": reach.get(lot.pk)})]
    update_many(Lot, changed, ["accepted_until"], by)


# Storage


@transaction.atomic
def save_rule(  # noqa: PLR0913 - what a data sheet says of storage
    *,
    item: Item,
    source: str,
    by: Member,
    now: datetime,
    low: Decimal | None = None,
    high: Decimal | None = None,
    use_within_days: int | None = None,
    never_below: Decimal | None = None,
    never_above: Decimal | None = None,
    longest_gap_hours: int = 6,
) -> StorageRule:
    """Set how an item is to be stored, in Celsius, and reckon its lots anew by it."""
    policy.own(by, item)
    policy.require(by, "keep_stock")
    bounds = {"low": low, "high": high, "never_below": never_below, "never_above": never_above}
    _refuse_bounds(bounds, use_within_days)
    item = Item.objects.select_for_update(no_key=True).get(pk=item.pk)  # two at once make one rule
    row = StorageRule.objects.filter(item=item).first() or StorageRule(workshop_id=item.workshop_id, item=item)
    said = {**bounds, "use_within_days": use_within_days, "longest_gap_hours": longest_gap_hours}
    if assign(row, {**said, "source": filled("source", source, MOST_TEXT)}) or row.pk is None:
        changed_by(row, by).save()
    reckon_storage(by=by, until=now, items=[item.pk], corrected=True)
    return row


@transaction.atomic
def remove_rule(*, rule: StorageRule, by: Member) -> None:
    """Forget a rule. What it cost its lots is taken back with it."""
    policy.own(by, rule)
    policy.require(by, "keep_stock")
    lots = stock.lock(Lot.objects.filter(item=rule.item_id, storage_until__isnull=False))
    changed = [lot for lot in lots.values() if assign(lot, {"storage_until": None, "storage_why": ""})]
    update_many(Lot, changed, ["storage_until", "storage_why"], by)
    changed_by(rule, by).delete()


def _refuse_bounds(bounds: Mapping[str, Decimal | None], use_within_days: int | None) -> None:
    stated = [(name, bound) for name in ("never_below", "low", "high", "never_above") if (bound := bounds[name]) is not None]
    if not stated:
        raise BadRule("no bound is stated: give at least one temperature")
    for name, bound in stated:
        if not COLDEST <= bound <= HOTTEST:
            raise BadRule(f"{bound} C is no temperature of a store ({name}): a Fahrenheit figure?")
    for (first, lower), (second, upper) in pairwise(stated):
        if lower > upper or (lower == upper and {first, second} != {"never_below", "low"} and {first, second} != {"high", "never_above"}):
            raise BadRule(f"{first} {lower} C and {second} {upper} C leave nothing between them")
    if use_within_days is not None and bounds["low"] is None and bounds["high"] is None:
        raise BadRule("days of use after an excursion need a bound that it is outside of: give the lowest or highest temperature")


@dataclass(frozen=True, slots=True)
class Logged:
    """What became of readings: how many are new, were there already, or were corrected; and the lots whose life that changed."""

    added: int
    known: int
    corrected: int
    changed: tuple[Lot, ...]


@transaction.atomic
def log_temperatures(  # noqa: PLR0913 - what a log says, and what of it can't be read
    *,
    place: Place,
    readings: Sequence[Reading],
    by: Member,
    now: datetime,
    corrects: bool = False,
    rows: Sequence[str] = (),
    faults: Sequence[str] = (),
) -> Logged:
    """Keep the readings of a place, all or nothing, and reckon by them what lies there.

    A reading that is there already is passed over. Another value for its time is refused unless the log `corrects`, which storekeepers
    may say; only then may what storage costs a lot grow less. `rows` name the readings of a file; `faults` say what is wrong with its
    other rows, and are told with all the rest.
    """
    policy.own(by, place)
    policy.require(by, "keep_stock" if corrects else "log_temperatures")
    stock.refuse_end(place)
    Place.objects.select_for_update(no_key=True).get(pk=place.pk)  # one log at a time
    known = _known(place, readings)
    rows = rows or logs.numbered(readings)
    found = [*faults, *logs.faulty(readings, rows, instant_text), *_to_come(readings, rows, now)]
    found += [] if corrects else _differing(readings, rows, known)
    if found or not readings:
        raise BadReadings(found or ["no reading is given"])
    said = {reading.at: rounded_celsius(reading) for reading in readings}
    new = [
        Temperature(workshop_id=place.workshop_id, place=place, at=at, celsius=celsius) for at, celsius in said.items() if at not in known
    ]
    other = [known[at] for at, celsius in said.items() if at in known and assign(known[at], {"celsius": celsius})]
    create_many(new, by)
    update_many(Temperature, other, ["celsius"], by)
    changed = reckon_storage(by=by, until=now, corrected=bool(other)) if new or other else []
    return Logged(len(new), len(readings) - len(new) - len(other), len(other), tuple(changed))


def rounded_celsius(reading: Reading) -> Decimal:
    """As the column keeps it."""
    return Decimal(str(round(reading.celsius, 2)))


def _known(place: Place, readings: Sequence[Reading]) -> dict[datetime, Temperature]:
    found: dict[datetime, Temperature] = {}
    for batch in batches({reading.at for reading in readings}):
        found.update((row.at, row) for row in Temperature.objects.filter(place=place, at__in=batch))
    return found


def _to_come(readings: Sequence[Reading], rows: Sequence[str], now: datetime) -> list[str]:
    return [
        f"{row}: {instant_text(reading.at)} is still to come: is it in another zone?"
        for reading, row in zip(readings, rows, strict=True)
        if reading.at.tzinfo is not None and reading.at > now + FAST
    ]


def _differing(readings: Sequence[Reading], rows: Sequence[str], known: Mapping[datetime, Temperature]) -> list[str]:
    named = ((row, reading, known[reading.at]) for row, reading in zip(rows, readings, strict=True) if reading.at in known)
    return [
        f"{row}: at {instant_text(reading.at)} {there.celsius} C is on record, not {rounded_celsius(reading)} C: "
        "say that the log corrects what is there"
        for row, reading, there in named
        if there.celsius != rounded_celsius(reading)
    ]


@transaction.atomic
def reckon_storage(*, by: Member, until: datetime, items: Sequence[int] | None = None, corrected: bool = False) -> list[Lot]:
    """Set on each lot on hand the day that its storage ends its life, from where it lay and what was read there; the lots it changed.

    Run again it finds the same. Unless rules or readings were `corrected` it only shortens. An acceptance that an excursion came after
    is withdrawn: it was given without knowing of it.
    """
    lots = stock.lock(keeping.kept_lots(items=items))
    found = keeping.storages(lots.values(), until=until, outside_alone=True)
    changed = [lots[pk] for pk, one in found.items() if assign(lots[pk], _storage(lots[pk], one, corrected=corrected))]
    update_many(Lot, changed, ["storage_until", "storage_why"], by)
    _withdraw_overtaken(lots, found, by)
    return changed


def _storage(lot: Lot, found: Storage, *, corrected: bool) -> dict[str, Any]:
    limit = last_usable_day(found.limits)
    before = lot.storage_until
    if before is not None and not corrected and (limit is None or limit.last_day >= before):
        return {}
    return {"storage_until": limit and limit.last_day, "storage_why": limit.source[:MOST_TEXT] if limit else ""}


def _withdraw_overtaken(lots: Mapping[int, Lot], found: Mapping[int, Storage], by: Member) -> None:
    accepted = [lot for lot in lots.values() if lot.accepted_until is not None and lot.pk in found and found[lot.pk].limits]
    overtaken: dict[date, list[Acceptance]] = {}
    for one in Acceptance.objects.filter(lot__in=accepted, withdrawn=None):
        later = [excursion.start.date() for excursion in found[one.lot_id].excursions if excursion.start.date() > one.on]
        if later:
            overtaken.setdefault(max(later), []).append(one)
    for day, acceptances in overtaken.items():
        _withdraw(acceptances, lots, on=day, by=by, why="an excursion of storage came after it")


# Disposal


@transaction.atomic
def dispose(  # noqa: PLR0913 - what is to be known of it
    *, lot: Lot, place: Place, quantity: Decimal, mass_g: Decimal, way: str, on: date, by: Member, note: str = ""
) -> Disposal:
    """Scrap goods, and write down their mass and the way they went. Which way is right, local rules say: none is proposed."""
    way, note = filled("way", way, MOST_TEXT), optional("note", note, MOST_TEXT)
    mass = positive(rounded(mass_g))
    movement = stock.scrap(lot=lot, quantity=quantity, place=place, on=on, by=by, note=note)
    return Disposal.objects.create(workshop_id=lot.workshop_id, lot=lot, movement=movement, mass_g=mass, way=way, note=note)
