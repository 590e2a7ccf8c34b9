"""Many lines of the ledger, each judged by itself and all written at once.

A scanner sends what was done over hours; what is wrong with one scan must not take the others with it. Each method judges as the
service of its name does and raises as it does, and then has changed nothing. Nothing is written before `write`.

The two reads are SQL of our own: a scanner waits for them with each scan, and the ORM takes longer to build such a query than the
database to answer it (measured by `tests.benchmarks.scans`).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django.db import connection

from inventory.catalogue.models import Item
from inventory.common.fields import PLACES, plain
from inventory.common.inserts import insert
from inventory.common.problems import Problem
from inventory.common.quantities import not_negative, part_of_piece, pieces, positive
from inventory.common.rows import batches
from inventory.common.texts import optional
from inventory.stock import services
from inventory.stock.models import End, Holding, Lot, Movement, Place, SetAside
from inventory.stock.queries import NOTHING
from inventory.stock.services import BadPlace
from inventory.workshop import policy
from inventory.workshop.models import Member

Spot = tuple[int, int]  # a lot and a place, by their ids


class OlderThanCount(Problem):
    """Somebody has counted there since: what happened before is in that count already."""

    status = 409
    title = "Older than a count"


@dataclass(frozen=True, slots=True)
class Told:
    """When something was done, and what is said of it."""

    at: datetime
    on: date
    note: str = ""
    ref: str = ""


@dataclass(frozen=True, slots=True)
class Meant:
    """Which lots may be meant: these, and of these items those on hand or of one of these codes. `of` are all items in question."""

    lots: Collection[int] = ()
    items: Collection[int] = ()
    codes: Collection[str] = ()
    of: Mapping[int, Item] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Moved:
    """A count, a use, a carry or a passing on that wasn't taken back.

    `change` is what it did to the holding, `counted` that it is a count's.
    """

    at: datetime
    change: Decimal
    counted: bool


@dataclass(slots=True)
class _Ledger:
    """What is known of the lots' past."""

    later: dict[Spot, list[_Moved]] = field(default_factory=lambda: defaultdict(list))
    set_aside: dict[int, Decimal] = field(default_factory=dict)
    ends: dict[str, int] = field(default_factory=dict)


@dataclass(slots=True)
class Posted:
    """A movement to be written; it has its id once it is."""

    lot_id: int
    quantity: Decimal
    source_id: int
    target_id: int
    on: date
    at: datetime
    note: str
    ref: str
    pk: int | None = None


_COLUMNS = tuple(column.name for column in fields(Posted) if column.name != "pk")
_HELD = ("lot_id", "place_id", "quantity")


class Batch:
    """Lines of the ledger for some lots. Two queries to begin, one more to judge what moves, two to write.

    `lots` are those that may be meant, by id, each with its item; of `locked` ones nothing changes until the transaction ends.
    """

    def __init__(self, *, meant: Meant, by: Member, since: datetime, locked: bool) -> None:
        """`since` is when the earliest of what follows was done. What moves must be `locked`."""
        self._by, self._since_when = by, since
        self.lots: dict[int, Lot] = {}
        self.of_item: dict[int, list[Lot]] = defaultdict(list)
        self.places: dict[int, Place] = {}
        self._held: dict[int, dict[int, Decimal]] = {}
        self._ledger: _Ledger | None = None
        self._ends: dict[End, Place] = {}
        self._changed: dict[Spot, Decimal] = {}
        self._movements: list[Posted] = []
        if locked and connection.features.has_select_for_update:  # SQLite has one writer: its transaction is the lock
            self._read(Meant(lots=_lock(by, meant)), meant.of)
        else:
            self._read(meant, meant.of)

    def _read(self, meant: Meant, items: Mapping[int, Item]) -> None:
        for *of_lot, place, quantity, path, key, name, hands in _rows(_LYING, self._by, meant):
            lot = self.lots.get(of_lot[0]) or self._lot(of_lot, items)
            if place is not None:
                self._held[lot.pk][place] = _quantity(quantity)
                if place not in self.places:
                    known = {"path": path, "key": key, "name": name, "hands_id": hands}
                    self.places[place] = Place(pk=place, workshop_id=self._by.workshop_id, **known)

    def _lot(self, columns: Sequence[Any], items: Mapping[int, Item]) -> Lot:
        lot = Lot(**dict(zip(_LOT, columns, strict=True)))
        if lot.item_id in items:
            lot.item = items[lot.item_id]
        self.lots[lot.pk] = lot
        self.of_item[lot.item_id].append(lot)
        self._held[lot.pk] = {}
        return lot

    def at(self, lot: Lot, place: Place) -> Decimal:
        """What a place holds of a lot, with all that was judged so far."""
        return self._held[lot.pk].get(place.pk, NOTHING)

    def lies(self, lot: Lot) -> dict[int, Decimal]:
        """What each place holds of a lot, by the place's id, where that is anything."""
        return {place: quantity for place, quantity in self._held[lot.pk].items() if quantity}

    def move(self, *, lot: Lot, quantity: Decimal, source: Place, target: Place, told: Told) -> Posted:
        """Carry `quantity` from one storage place to another."""
        self._allow("use_stock", lot, source, target)
        if source.pk == target.pk:
            raise BadPlace(f"{source.path} is where it lies already: name another place")
        quantity = self._pieces_of(lot, quantity, source)
        self.refuse_older(lot, source, told)
        self.refuse_older(lot, target, told)
        left, then = self.at(lot, source) - quantity, self.at(lot, target) + quantity
        self._refuse_less_than_none(lot, source, left, quantity)
        services.refuse_too_much(lot, target, then)
        return self._post({(lot.pk, source.pk): left, (lot.pk, target.pk): then}, lot, quantity, source, target, told)

    def use(self, *, lot: Lot, quantity: Decimal, place: Place, told: Told) -> Posted:
        """Use up `quantity`, for no step in particular: what is set aside stays so."""
        self._allow("use_stock", lot, place)
        quantity = self._pieces_of(lot, quantity, place)
        services.refuse_unusable(lot, told.on)
        self.refuse_older(lot, place, told)
        left = self.at(lot, place) - quantity
        self._refuse_less_than_none(lot, place, left, quantity)
        everywhere = sum(self._held[lot.pk].values(), NOTHING) - quantity
        services.refuse_set_aside(lot, quantity, everywhere, self._past.set_aside.get(lot.pk, NOTHING))
        return self._post({(lot.pk, place.pk): left}, lot, quantity, place, self._end(End.USED), told)

    def count(self, *, lot: Lot, place: Place, counted: Decimal, told: Told) -> Posted | None:
        """Say what a place held when it was counted. What was used or carried since is kept; None where the ledger agrees.

        What was received since is not: goods are entered when somebody gets to it, often after they were counted.
        """
        self._allow("keep_stock", lot, place)
        counted = pieces(not_negative(counted), lot.item)
        self.refuse_older(lot, place, told)
        since = sum((moved.change for moved in self._since(lot, place, told.at)), NOTHING)
        then = counted + since
        if then < 0:
            unit = lot.item.unit
            raise OlderThanCount(
                f"{services.named(lot)}: {plain(counted)} {unit} were counted in {place.path}, "
                f"and {plain(-since)} {unit} were taken since: count again"
            )
        services.refuse_too_much(lot, place, then)
        more = then - self.at(lot, place)
        if not more:
            return None
        source, target = (self._end(End.COUNTED), place) if more > 0 else (place, self._end(End.COUNTED))
        return self._post({(lot.pk, place.pk): then}, lot, abs(more), source, target, told)

    def refuse_older(self, lot: Lot, place: Place, told: Told) -> None:
        """Raise `OlderThanCount` where somebody has counted there since; for what others write of such a lot too."""
        counted = [moved.at for moved in self._since(lot, place, told.at) if moved.counted]
        if counted:
            raise OlderThanCount(
                f"{services.named(lot)} in {place.path} was counted at {max(counted):%Y-%m-%d %H:%M} UTC, after this was done: "
                "what it changed may be in that count already"
            )

    def write(self) -> None:
        """Write what was judged; the movements have their ids after it."""
        if self._movements:
            same = {"workshop_id": self._by.workshop_id, "by_id": self._by.pk}
            holdings = [(lot, place, quantity) for (lot, place), quantity in self._changed.items()]
            insert(Holding, {"workshop_id": self._by.workshop_id}, _HELD, holdings, instead=(("lot_id", "place_id"), ("quantity",)))
            ids = insert(Movement, same, _COLUMNS, [[getattr(row, name) for name in _COLUMNS] for row in self._movements])
            for row, pk in zip(self._movements, ids, strict=True):
                row.pk = pk
        self._movements, self._changed = [], {}

    def _allow(self, permission: str, lot: Lot, *places: Place) -> None:
        """As the services do. The lot was read as this workshop's, and so is its bench."""
        policy.require(self._by, permission)
        policy.own(self._by, lot, *places)
        policy.require_bench(self._by, lot.bench_id)
        for place in places:
            services.refuse_end(place)
            services.refuse_hands(place)

    def _pieces_of(self, lot: Lot, quantity: Decimal, place: Place) -> Decimal:
        """As the services do: whole pieces, or all that lies there."""
        found = positive(quantity)
        everything = part_of_piece(found, lot.item.unit) and found == self.at(lot, place)
        return found if everything else pieces(found, lot.item)

    def _post(  # noqa: PLR0913 - private: from where to where, and what is said of it
        self, spots: Mapping[Spot, Decimal], lot: Lot, quantity: Decimal, source: Place, target: Place, told: Told
    ) -> Posted:
        movement = Posted(
            lot.pk, quantity, source.pk, target.pk, told.on, told.at, optional("note", told.note, services.MOST_NOTE), told.ref
        )
        for (_, place), then in spots.items():
            self._held[lot.pk][place] = then
        self._changed.update(spots)
        self._movements.append(movement)
        self.places.update({place.pk: place for place in (source, target)})
        for spot, moved in _moved(lot.pk, quantity, told.at, (source.pk, source.end), (target.pk, target.end)):
            self._past.later[spot].append(moved)
        return movement

    @property
    def _past(self) -> _Ledger:
        if self._ledger is None:
            self._ledger = _read_past(self.lots, self._by, self._since_when)
        return self._ledger

    def _end(self, end: End) -> Place:
        if end not in self._ends:
            pk = self._past.ends.get(end.value) or services.end_place(self._by.workshop, end).pk
            said = {"name": end.value, "path": end.value, "key": end.value, "end": end}
            self._ends[end] = Place(pk=pk, workshop_id=self._by.workshop_id, **said)
        return self._ends[end]

    def _since(self, lot: Lot, place: Place, at: datetime) -> list[_Moved]:
        return [moved for moved in self._past.later.get((lot.pk, place.pk), ()) if moved.at > at]

    def _refuse_less_than_none(self, lot: Lot, place: Place, left: Decimal, wanted: Decimal) -> None:
        if left < 0:
            raise services.not_enough(lot, place, left + wanted, wanted)


def _moved(lot: int, quantity: Decimal, at: datetime, source: tuple[int, str], target: tuple[int, str]) -> Iterator[tuple[Spot, _Moved]]:
    """What a line of the ledger did to either end, where it is a count, a use, a carry, a cut, or passes from bench to bench."""
    ends = {source[1], target[1]}
    counted = End.COUNTED in ends
    if counted or not ends.isdisjoint({End.PASSED, End.CUT}) or (source[1] == End.STORAGE and target[1] in {End.STORAGE, End.USED}):
        yield (lot, source[0]), _Moved(at, -quantity, counted)
        yield (lot, target[0]), _Moved(at, quantity, counted)


# The reads. Names in them are ours; values are never written into the text. A plus before a column keeps SQLite, which has no statistics
# unless somebody asks for them, from looking there first: all lots are of the workshop, and nearly all movements reverse none.

_LOT = tuple(column.attname for column in Lot._meta.concrete_fields)  # noqa: SLF001 - Django's documented API
_NAMES = {model.__name__.lower(): model._meta.db_table for model in (Holding, Lot, Movement, Place, SetAside)}  # noqa: SLF001 - likewise
_LYING = """
    SELECT {lot_columns}, held.place_id, held.quantity, place.path, place.key, place.name, place.hands_id
    FROM {lot} lot
        LEFT JOIN {holding} held ON held.lot_id = lot.id AND held.quantity > 0
        LEFT JOIN {place} place ON place.id = held.place_id
    WHERE +lot.workshop_id = %s AND ({which})
    ORDER BY lot.id, place.key
"""
_IDS = "SELECT lot.id FROM {lot} lot WHERE +lot.workshop_id = %s AND ({which})"
_TO_LOCK = f"{_IDS} ORDER BY lot.id FOR NO KEY UPDATE"
_BY_ID = "lot.id IN ({marks})"
_OF_ITEM = "lot.item_id IN ({marks}) AND (EXISTS (SELECT 1 FROM {holding} h WHERE h.lot_id = lot.id AND h.quantity > 0){coded})"
# A line that was taken back never happened, nor did its reverse. The first part gives the columns their types.
_PAST = """
    SELECT 'moved', m.lot_id, m.source_id, source."end", m.target_id, target."end", m.quantity, m.at
    FROM {movement} m
        JOIN {place} source ON source.id = m.source_id
        JOIN {place} target ON target.id = m.target_id
        LEFT JOIN {movement} undoing ON undoing.reverses_id = m.id
    WHERE m.lot_id IN ({marks}) AND m.at > %s AND +m.reverses_id IS NULL AND undoing.id IS NULL
    UNION ALL SELECT 'aside', lot_id, 0, '', 0, '', SUM(quantity), NULL FROM {setaside} WHERE lot_id IN ({marks}) GROUP BY lot_id
    UNION ALL SELECT 'end', 0, id, "end", 0, '', 0, NULL FROM {place}
        WHERE workshop_id = %s AND "end" IN ('used', 'counted') AND key = "end"
"""


def _rows(sql: str, by: Member, meant: Meant) -> Iterator[tuple[Any, ...]]:
    """The rows of lots that may be meant; one statement for each 500 lots and for each 500 items."""
    columns = ", ".join(f'lot."{column}"' for column in _LOT)
    for which, values in _parts(meant):
        with connection.cursor() as cursor:
            cursor.execute(sql.format(lot_columns=columns, which=which, **_NAMES), [by.workshop_id, *values])
            yield from cursor.fetchall()


def _parts(meant: Meant) -> Iterator[tuple[str, Sequence[Any]]]:
    coded = f" OR lot.code IN ({_marks(meant.codes)})" if meant.codes else ""
    for batch in batches(sorted(set(meant.lots))):
        yield _BY_ID.format(marks=_marks(batch)), batch
    for batch in batches(sorted(set(meant.items))):
        yield _OF_ITEM.format(marks=_marks(batch), coded=coded, **_NAMES), [*batch, *meant.codes]


def _lock(by: Member, meant: Meant) -> list[int]:
    """Hold the lots until the transaction ends, in the order of their ids, before anything is read of them."""
    ids = sorted({row[0] for row in _rows(_IDS, by, meant)})
    for batch in batches(ids):
        with connection.cursor() as cursor:
            cursor.execute(_TO_LOCK.format(which=_BY_ID.format(marks=_marks(batch)), **_NAMES), [by.workshop_id, *batch])
    return ids


def _read_past(lots: Iterable[int], by: Member, since: datetime) -> _Ledger:
    found = _Ledger()
    for batch in batches(lots):
        values = [*batch, connection.ops.adapt_datetimefield_value(since), *batch, by.workshop_id]
        with connection.cursor() as cursor:
            cursor.execute(_PAST.format(marks=_marks(batch), **_NAMES), values)
            for row in cursor.fetchall():
                _keep(found, *row)
    return found


def _keep(found: _Ledger, kind: str, lot: int, *row: Any) -> None:
    source, source_end, target, target_end, quantity, at = row
    if kind == "end":
        found.ends[source_end] = source
    elif kind == "aside":
        found.set_aside[lot] = _quantity(quantity)
    else:
        for spot, moved in _moved(lot, _quantity(quantity), _instant(at), (source, source_end), (target, target_end)):
            found.later[spot].append(moved)


def _marks(values: Collection[object]) -> str:
    return ", ".join(["%s"] * len(values))


def _quantity(thousandths: int) -> Decimal:
    return Decimal(int(thousandths)).scaleb(-PLACES)


def _instant(value: datetime | str) -> datetime:
    """SQLite keeps text, in UTC and without saying so."""
    found = datetime.fromisoformat(value) if isinstance(value, str) else value
    return found if found.tzinfo else found.replace(tzinfo=UTC)
