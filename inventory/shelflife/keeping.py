"""Where lots really lay, how warm it was there, and what that costs of their lives: reads."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q, Window
from django.db.models.functions import Lag
from django.utils import timezone

from inventory.common.rows import batches
from inventory.shelflife import storage
from inventory.shelflife.models import StorageRule, Temperature
from inventory.shelflife.storage import Reading, Stay, Storage
from inventory.stock.models import End, Holding, Lot, Movement, Place


@dataclass(frozen=True, slots=True)
class _Moved:
    """A movement that stands: from where, to where, and when it was done, as closely as is known.

    `passed` pieces came from another bench.
    """

    line: int
    quantity: Decimal
    source: int | None
    target: int | None
    left: datetime
    came: datetime
    ref: str
    passed: bool


_Stay = tuple[int, datetime, datetime | None]  # a place, from when, until when


def kept_lots(*, items: Collection[int] | None = None) -> list[Lot]:
    """The lots on hand whose items have a storage rule, with item and bench; of some items or of all. One query."""
    here = Holding.objects.filter(lot=OuterRef("pk"), quantity__gt=0)
    rows = Lot.objects.filter(Exists(here), Exists(StorageRule.objects.filter(item=OuterRef("item"))))
    if items is not None:
        rows = rows.filter(item__in=items)
    return list(rows.order_by("pk"))


def storages(lots: Collection[Lot], *, until: datetime, outside_alone: bool = False) -> dict[int, Storage]:
    """What happened to lots where they lay, up to `until`, by lot; only those whose item has a rule.

    Five queries for up to 500 lots. A place without a thermometer of its own has that of the place it lies in. `outside_alone` reads
    those readings alone that some rule doesn't allow, of a year's log mostly few: excursions and limits are the same, gaps and mean
    are not.
    """
    rules = {row.item_id: as_rule(row) for row in StorageRule.objects.filter(item__in={lot.item_id for lot in lots})}
    kept = [lot for lot in lots if lot.item_id in rules]
    if not kept:
        return {}
    places = {pk: (path, parent) for pk, path, parent in Place.objects.values_list("pk", "path", "parent_id")}
    stays = _all_stays(kept)
    which = _outside(rules.values()) if outside_alone else Q()
    readings = _readings(stays, places, max(rule.longest_gap for rule in rules.values()), until, which)
    return {
        lot.pk: storage.storage(
            [Stay(places[place][0], start, end) for place, start, end in stays.get(lot.pk, ())], readings, rules[lot.item_id], until=until
        )
        for lot in kept
    }


def as_rule(row: StorageRule) -> storage.StorageRule:
    """A row as the arithmetic takes it."""
    low, high, never_below, never_above = (
        None if bound is None else float(bound) for bound in (row.low, row.high, row.never_below, row.never_above)
    )
    gap = timedelta(hours=row.longest_gap_hours)
    return storage.StorageRule(row.source, low, high, row.use_within_days, never_below, never_above, gap)


@dataclass(frozen=True, slots=True)
class _Came:
    """That pieces came from another bench's lot: from which, when, and by which line of the ledger."""

    giver: int
    at: datetime
    line: int


def _all_stays(lots: Collection[Lot]) -> dict[int, list[_Stay]]:
    """Where lots lay, by lot. What came from another bench's lot lay where that one did until then.

    Two queries more for each time that anything passed on.
    """
    moved: dict[int, list[_Moved]] = {}
    came: dict[int, list[_Came]] = {}
    wanted = {lot.pk for lot in lots}
    while wanted:
        moved |= _moved(wanted)
        came |= _came(wanted, moved)
        wanted = {one.giver for lot in wanted for one in came.get(lot, ())} - moved.keys()
    return {lot.pk: list(_with_givers(lot.pk, {at: _stays(found) for at, found in moved.items()}, came)) for lot in lots if lot.pk in moved}


def _with_givers(
    lot: int, stays: Mapping[int, list[_Stay]], came: Mapping[int, list[_Came]], before: _Came | None = None
) -> Iterator[_Stay]:
    """The stays of a lot, and of those that it came from, up to where it passed on itself."""
    for place, start, end in stays.get(lot, ()):
        if before is None:
            yield place, start, end
        elif start < before.at:
            yield place, start, before.at if end is None else min(end, before.at)
    for one in came.get(lot, ()):
        if before is None or one.line < before.line:
            yield from _with_givers(one.giver, stays, came, one)


def _came(lots: Collection[int], moved: Mapping[int, list[_Moved]]) -> dict[int, list[_Came]]:
    """From which lots of other benches pieces came, by lot: both lines of a passing on have one reference."""
    refs = {one.ref: (lot, one) for lot in lots for one in moved.get(lot, ()) if one.passed}
    found: dict[int, list[_Came]] = defaultdict(list)
    for batch in batches(sorted(refs)):
        rows = Movement.objects.filter(ref__in=batch, target__end=End.PASSED).values_list("ref", "lot_id").distinct()
        for ref, giver in rows:
            lot, one = refs[ref]
            found[lot].append(_Came(giver, one.came, one.line))
    return found


def _moved(lots: Collection[int]) -> dict[int, list[_Moved]]:
    """The movements of lots that were not undone, by lot."""
    found: dict[int, list[_Moved]] = defaultdict(list)
    names = ("id", "lot_id", "quantity", "source_id", "source__end", "target_id", "target__end", "at", "on", "ref")
    for batch in batches(sorted(lots)):
        rows = Movement.objects.filter(lot__in=batch, reverses=None, reversed_by=None).order_by("id")
        for line, lot, quantity, source, source_end, target, target_end, at, on, ref in rows.values_list(*names):
            left, came = _when(at, on)
            ends = (source if source_end == End.STORAGE else None, target if target_end == End.STORAGE else None)
            found[lot].append(_Moved(line, quantity, *ends, left, came, ref, passed=source_end == End.PASSED))
    return found


def _when(at: datetime, on: date) -> tuple[datetime, datetime]:
    """When goods left and came. Of a movement that was written down on another day only the day is known: they count as in both places."""
    if timezone.localdate(at) == on:
        return at, at
    midnight = timezone.make_aware(datetime.combine(on, time.min))
    return midnight + timedelta(days=1), midnight


def _stays(moved: Iterable[_Moved]) -> list[_Stay]:
    """From when to when each place held anything of a lot."""
    changes: dict[int, list[tuple[datetime, Decimal]]] = defaultdict(list)
    for one in moved:
        if one.target is not None:
            changes[one.target].append((one.came, one.quantity))
        if one.source is not None:
            changes[one.source].append((one.left, -one.quantity))
    return [(place, start, end) for place, found in changes.items() for start, end in _held(sorted(found))]


def _held(changes: Iterable[tuple[datetime, Decimal]]) -> Iterator[tuple[datetime, datetime | None]]:
    total, since = Decimal(0), None
    for at, change in changes:
        total += change
        if since is None and total > 0:
            since = at
        elif since is not None and total <= 0:
            yield since, at
            since = None
    if since is not None:
        yield since, None


def _readings(
    stays: Mapping[int, list[_Stay]],
    places: Mapping[int, tuple[str, int | None]],
    longest: timedelta,
    until: datetime,
    which: Q,
) -> dict[str, list[Reading]]:
    """The readings for each place where anything lay, by its path."""
    lain = {place for found in stays.values() for place, _, _ in found}
    first = min((start for found in stays.values() for _, start, _ in found), default=until)
    watched = set(Temperature.objects.filter(place__in=_with_outer(lain, places)).values_list("place_id", flat=True).distinct())
    rows = Temperature.objects.filter(place__in=watched, at__gte=first - longest, at__lte=until).order_by("at")
    if which:
        rows = rows.annotate(before=Window(Lag("celsius"), partition_by="place_id", order_by="at")).filter(which)
    shown: dict[int, list[Reading]] = defaultdict(list)
    for place, at, celsius in rows.values_list("place_id", "at", "celsius"):
        shown[place].append(Reading(timezone.localtime(at), float(celsius)))
    by_path = ((places[place][0], next((outer for outer in _outward(place, places) if outer in watched), None)) for place in lain)
    return {path: shown[thermometer] for path, thermometer in by_path if thermometer is not None}


def _outside(rules: Collection[storage.StorageRule]) -> Q:
    """Readings that one of the rules doesn't allow, and the next after each, which ends it."""
    lows = [bound for rule in rules for bound in (rule.low, rule.never_below) if bound is not None]
    highs = [bound for rule in rules for bound in (rule.high, rule.never_above) if bound is not None]
    which = Q()
    for name in ("celsius", "before"):
        which |= Q(**{f"{name}__lt": max(lows)}) if lows else Q()
        which |= Q(**{f"{name}__gt": min(highs)}) if highs else Q()
    return which


def _with_outer(lain: Iterable[int], places: Mapping[int, tuple[str, int | None]]) -> set[int]:
    return {outer for place in lain for outer in _outward(place, places)}


def _outward(place: int, places: Mapping[int, tuple[str, int | None]]) -> Iterator[int]:
    """A place, then what it lies in, outward."""
    at: int | None = place
    while at is not None:
        yield at
        at = places[at][1]
