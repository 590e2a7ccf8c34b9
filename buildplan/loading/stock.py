"""stock: how much lies where. Without a recount it only adds."""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from itertools import chain
from typing import TypeVar

from buildplan.loading.cells import Cells, Reading, check_life, fitting
from buildplan.loading.items import Codes, amount_of, item_of, joined, too_much, warn_of_part
from buildplan.loading.problems import Problems
from buildplan.loading.records import shown
from buildplan.loading.recount import GOOD, Change, Count, Held, Identity, KnownLot, changes
from buildplan.loading.tables import Table
from buildplan.loading.values import BadValue
from inventory.catalogue.calc import key
from inventory.common.problems import Problem
from inventory.common.rows import batches
from inventory.models import Bench, Holding, Lot, Member, Place
from inventory.shelflife.calc import of_columns
from inventory.stock.models import State
from inventory.stock.services import LotData, count_many, ensure_places, make_lots, place_key, receive_many

CODE_LENGTH = 80
PLACE_LENGTH = 400
WRITTEN_AT_ONCE = 2000  # what is built to be written is let go after so many rows
ZERO = "to say that none is left, correct the holding on the Shelves page"
LOT_COLUMNS = ("pk", "item_id", "code", "made_on", "made_as", "expires_on", "expires_as", "opened_on", "state")

Line = TypeVar("Line")


@dataclass(frozen=True, slots=True)
class StockRow:
    """A row read well, or several that were added up. Code and place as written; in the count they are as they are compared."""

    where: str
    unit: str
    code: str
    place: str
    rounding: str
    count: Count


@dataclass(frozen=True, slots=True)
class Job:
    """Whose stock it is, who loads it and when, and what the ledger says of it."""

    bench: Bench
    by: Member
    on: date
    note: str
    ref: str


@dataclass(slots=True)
class Lots:
    """The lots that rows name, made where they are not there: `ids` are of those that are."""

    job: Job
    ids: dict[Identity, int]
    made: int = 0

    def of(self, wanted: Mapping[Identity, LotData]) -> dict[Identity, Lot]:
        """The lots of these identities."""
        new = {identity: data for identity, data in wanted.items() if identity not in self.ids}
        there = {identity: self.ids[identity] for identity in wanted if identity in self.ids}
        lots = _lots_by_id(there.values())
        made = dict(zip(new, make_lots(bench=self.job.bench, lots=list(new.values()), by=self.job.by), strict=True))
        self.ids.update((identity, lot.pk) for identity, lot in made.items())
        self.made += len(made)
        return made | {identity: lots[pk] for identity, pk in there.items()}


def read(table: Table, codes: Codes, reading: Reading, *, recount: bool) -> list[StockRow]:
    """The rows read well. Those without a lot code that name one lot and place are added up; others that do are refused."""
    found: dict[tuple[Identity, str], StockRow] = {}
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        stock = _row(cells, codes, recount=recount)
        if stock is not None:
            spot = stock.count.identity, stock.count.place
            found[spot] = _added(cells, found[spot], stock) if spot in found else stock
    return list(found.values())


def refuse_known(rows: Iterable[StockRow], bench: Bench, problems: Problems) -> None:
    """Without a recount a lot code has one pair of dates in a file, and is not of an earlier one."""
    known = {lot.identity.batch for lot in lots_of(bench) if lot.identity.code}
    first: dict[tuple[int, str], StockRow] = {}
    for stock in rows:
        identity = stock.count.identity
        if identity.batch in known:
            text = f"{shown(stock.code)} is on bench {bench.code} already: to say how much lies where, load with --recount"
            problems.add_error(f"{stock.where}: lot: {text}")
        elif identity.code:
            _refuse_other_dates(stock, first.setdefault(identity.batch, stock), problems)


def add(rows: Sequence[StockRow], job: Job) -> dict[str, int]:
    """Receive all rows; what has no lot code goes to the lot that is like it, if there is one."""
    lots = Lots(job, {lot.identity: lot.pk for lot in lots_of(job.bench) if lot.pk is not None and not lot.identity.code})
    roundings = _roundings(rows)
    for batch in batches(_together(rows, lambda stock: stock.count.identity), WRITTEN_AT_ONCE):
        # Backwards, so that the first row says how a code is written.
        data = {stock.count.identity: _data(stock, stock.count.identity, roundings) for stock in reversed(batch)}
        found = lots.of(data)
        places = ensure_places(workshop=job.bench.workshop, paths=dict.fromkeys(stock.place for stock in batch), by=job.by)
        deliveries = [(found[stock.count.identity], places[stock.place], stock.count.quantity) for stock in batch]
        receive_many(deliveries=deliveries, on=job.on, by=job.by, note=job.note, ref=job.ref)
    return {"lots": lots.made, "movements": len(rows)}


def recount(rows: Sequence[StockRow], job: Job, problems: Problems) -> dict[str, int]:
    """Make the places that rows name hold what they say; the differences come from and go to the count."""

    def refuse(index: int, text: str) -> None:
        problems.add_error(f"{rows[index].where}: lot: {text}")

    present = lots_of(job.bench)
    found = changes([stock.count for stock in rows], present, _held(present), refuse)
    if problems.error_count:
        return {}
    lots, roundings = Lots(job, {}), _roundings(rows)
    batched = batches(_together(found, lambda change: change.lot), WRITTEN_AT_ONCE)
    moved = sum(_count(batch, rows, lots, roundings) for batch in batched)
    return {"lots": lots.made, "movements": moved}


def lots_of(bench: Bench) -> list[KnownLot]:
    """Every lot of a bench, as loading tells them apart. One query."""
    found = []
    for pk, item, code, *rest in Lot.objects.filter(bench=bench).order_by("pk").values_list(*LOT_COLUMNS).iterator(chunk_size=2000):
        made_on, made_as, expires_on, expires_as, opened, state = rest
        found.append(
            KnownLot(pk, Identity(item, key(code), of_columns(made_on, made_as), of_columns(expires_on, expires_as), opened, state))
        )
    return found


def _row(cells: Cells, codes: Codes, *, recount: bool) -> StockRow | None:
    item = item_of(cells, codes)
    amount = amount_of(cells, item, zero=ZERO if recount else "")
    warn_of_part(cells, amount, item)
    place = cells.need("place", _place)
    code = cells.text_if_any("lot", CODE_LENGTH)
    made, expires, opened = cells.stated("made"), cells.stated("expires"), cells.day("opened")
    state = cells.choice("state", State.values) if cells.row["state"] else ""
    if item is not None:
        check_life(cells, made, expires, opened, item.life_months, item.open_life_days)
    if cells.faulty:
        return None
    identity = Identity(item.pk, key(code), made, expires, opened, state or ("" if recount else GOOD))
    return StockRow(cells.row.where, item.unit, code, place[0], amount.rounding, Count(identity, place[1], amount.quantity))


@lru_cache(maxsize=4096)  # a file has many rows of few places, which then share their texts
def _place(text: str) -> tuple[str, str]:
    """A place's path as written, and as it is compared."""
    path = fitting(text, most=PLACE_LENGTH)
    try:
        return path, place_key(path)
    except Problem as problem:
        raise BadValue(f"{shown(path)}: {problem}") from problem


def _added(cells: Cells, first: StockRow, second: StockRow) -> StockRow:
    if second.code:
        cells.fault("lot", f"{shown(second.code)} is already on {first.where} with the same place: add them up in one row")
        return first
    total = first.count.quantity + second.count.quantity
    if fault := too_much(total, first.unit):
        cells.fault("quantity", fault)
    return replace(first, count=replace(first.count, quantity=total), rounding=joined(first.rounding, second.rounding))


def _refuse_other_dates(stock: StockRow, first: StockRow, problems: Problems) -> None:
    mine, other = stock.count.identity, first.count.identity
    if mine.dates != other.dates:
        column = "expires" if mine.made == other.made else "made"
        text = f"{shown(stock.code)} has another date on {first.where}: a lot code has the same dates in every row"
        problems.add_error(f"{stock.where}: {column}: {text}")


def _roundings(rows: Iterable[StockRow]) -> dict[Identity, str]:
    found: dict[Identity, str] = {}
    for stock in rows:
        if stock.rounding:
            found[stock.count.identity] = joined(found.get(stock.count.identity, ""), stock.rounding)
    return found


def _data(stock: StockRow, identity: Identity, roundings: Mapping[Identity, str]) -> LotData:
    rounding = roundings.get(stock.count.identity, "")
    return LotData(identity.item, stock.code, identity.made, identity.expires, identity.opened, identity.state, rounding)


def _count(batch: Sequence[Change], rows: Sequence[StockRow], lots: Lots, roundings: Mapping[Identity, str]) -> int:
    """Write some of the changes; how many movements that took."""
    job, paths = lots.job, [rows[change.index].place for change in batch]
    new = lots.of(
        {change.lot.identity: _data(rows[change.index], change.lot.identity, roundings) for change in batch if change.lot.pk is None}
    )
    there = _lots_by_id(change.lot.pk for change in batch if change.lot.pk is not None)
    places = ensure_places(workshop=job.bench.workshop, paths=dict.fromkeys(paths), by=job.by)
    found = [new[change.lot.identity] if change.lot.pk is None else there[change.lot.pk] for change in batch]
    counts = [(lot, places[path], change.after) for lot, path, change in zip(found, paths, batch, strict=True)]
    return len(count_many(counts=counts, on=job.on, by=job.by, note=job.note, ref=job.ref))


def _together(rows: Iterable[Line], lot: Callable[[Line], Hashable]) -> Iterable[Line]:
    """The rows of each lot one after the other: each batch of rows reads all that its lots hold, wherever that lies."""
    found: dict[Hashable, list[Line]] = defaultdict(list)
    for row in rows:
        found[lot(row)].append(row)
    return chain.from_iterable(found.values())


def _held(lots: Iterable[KnownLot]) -> Held:
    """What each place holds of these lots. Joined here: a database without fresh statistics, as after a large load, joins slowly."""
    ids, keys = {lot.pk for lot in lots}, dict(Place.objects.values_list("pk", "key"))
    rows = Holding.objects.filter(quantity__gt=0).values_list("lot_id", "place_id", "quantity")
    return {(lot, keys[place]): quantity for lot, place, quantity in rows.iterator(chunk_size=2000) if lot in ids}


def _lots_by_id(ids: Iterable[int]) -> dict[int, Lot]:
    found: dict[int, Lot] = {}
    for batch in batches(set(ids)):
        found.update(Lot.objects.in_bulk(batch))
    return found
