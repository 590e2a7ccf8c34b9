"""Many counts by scan, each judged by itself and all written at once: what `services.tally` does for one.

The read is SQL of our own, for the reason that `inventory.stock.batch` gives.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import connection

from inventory.catalogue.models import Item
from inventory.common.fields import PLACES, plain
from inventory.common.inserts import insert
from inventory.common.quantities import pieces, positive
from inventory.common.rows import batches
from inventory.common.texts import optional
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.shelflife.calc import StatedDate
from inventory.stock import services as stock
from inventory.tallying import services
from inventory.tallying.calc import NOTHING
from inventory.tallying.models import How, Tally
from inventory.workshop import policy
from inventory.workshop.models import Member

Where = tuple[int, int]  # a crate and an item, by their ids


@dataclass(frozen=True, slots=True)
class Counted:
    """What was counted, and what its label says of the lot."""

    item: Item
    quantity: Decimal
    lot_code: str = ""
    made: StatedDate | None = None
    expires: StatedDate | None = None
    note: str = ""


@dataclass(slots=True)
class _Line:
    """A packing line as it stands: `found` is all that was counted of it, `corrected` when somebody last said how many there are.

    `found` is looked up only where an item has several lines: it tells them apart.
    """

    pk: int
    bag_id: int | None
    path: str
    quantity: Decimal
    lot_code: str
    corrected: datetime | None
    found: Decimal = NOTHING


@dataclass(slots=True)
class Row:
    """A tally to be written; it has its id once it is."""

    crate_id: int
    bag_id: int | None
    item_id: int
    quantity: Decimal
    lot_code: str
    note: str
    at: datetime
    request_key: UUID
    line_id: int | None = None
    made_on: date | None = None
    made_as: str = "day"
    expires_on: date | None = None
    expires_as: str = "day"
    pk: int | None = None


_COLUMNS = tuple(column.name for column in fields(Row) if column.name != "pk")


class Batch:
    """Counts in some crates, which are held until the transaction ends. Three queries to begin at most, one to write."""

    def __init__(self, *, wanted: Collection[Where], by: Member) -> None:
        """`wanted` are the items to be counted, with the crate of each."""
        self._by = by
        self._closed = _locked_crates({crate for crate, _ in wanted}, by)
        self._lines = _lines(wanted, by)
        self._rows: list[Row] = []

    def tally(self, *, crate: Crate, bag: Bag | None, counted: Counted, at: datetime, request_key: UUID) -> Row:
        """Count more of an item in a bag, or in none: see `services.tally`, which finds its line by the same rule."""
        policy.require(self._by, "tally")
        policy.own(self._by, crate, counted.item)
        policy.require_bench(self._by, crate.bench_id)
        if (closed_on := self._closed[crate.pk]) is not None:
            raise services.CountingClosed(f"counting of crate {crate.code} was closed on {closed_on}: open it again to count more")
        row = _row(crate, bag, counted, at, request_key)
        line = self._line_of(crate, bag, counted)
        if line is not None:
            self._refuse_older(line, row, at)
            row.line_id, line.found = line.pk, line.found + row.quantity
            row.bag_id = line.bag_id or row.bag_id
        self._rows.append(row)
        return row

    def write(self) -> None:
        """Write what was counted; the tallies have their ids after it."""
        if self._rows:
            same = {"workshop_id": self._by.workshop_id, "by_id": self._by.pk, "how": How.SCAN.value}
            ids = insert(Tally, same, _COLUMNS, [[getattr(row, name) for name in _COLUMNS] for row in self._rows])
            for row, pk in zip(self._rows, ids, strict=True):
                row.pk = pk
        self._rows = []

    def _line_of(self, crate: Crate, bag: Bag | None, counted: Counted) -> _Line | None:
        near = [line for line in self._lines.get((crate.pk, counted.item.pk), ()) if _is_near(line, bag)]
        return min(near, key=lambda line: services.rank(line, bag, counted.lot_code, line.found), default=None)

    def _refuse_older(self, line: _Line, row: Row, at: datetime) -> None:
        if line.corrected is not None and line.corrected > at:
            raise services.OlderThanCorrection(
                f"{plain(row.quantity)} of what was counted at {at:%Y-%m-%d %H:%M} UTC, but somebody said how many there are in all at "
                f"{line.corrected:%Y-%m-%d %H:%M}: look into the bag, then say how many there are in all"
            )


def _row(crate: Crate, bag: Bag | None, counted: Counted, at: datetime, request_key: UUID) -> Row:
    lot_code, note = optional("lot code", counted.lot_code, stock.MOST_CODE), optional("note", counted.note, services.MOST_NOTE)
    quantity = pieces(positive(counted.quantity), counted.item)
    row = Row(crate.pk, bag.pk if bag else None, counted.item.pk, quantity, lot_code, note, at, request_key)
    if counted.made or counted.expires:
        services.set_dates(row, counted.made, counted.expires)
    return row


def _is_near(line: _Line, bag: Bag | None) -> bool:
    """In the bag, in one inside it, or in none."""
    return line.bag_id is None or (bag is not None and (line.bag_id == bag.pk or line.path.startswith(f"{bag.path}/")))


_NAMES = {model.__name__.lower(): model._meta.db_table for model in (Bag, Crate, PackingLine, Tally)}  # noqa: SLF001 - Django's documented API
_CRATES = "SELECT id, closed_on FROM {crate} WHERE workshop_id = %s AND id IN ({marks}) ORDER BY id"
# The plus keeps SQLite from reading all lines of the workshop. A correction counts unless it was taken back; what takes one back is none.
_LINES = """
    SELECT line.id, line.bag_id, bag.path, line.quantity, line.lot_code, line.crate_id, line.item_id,
        (SELECT MAX(t.at) FROM {tally} t LEFT JOIN {tally} undoing ON undoing.undoes_id = t.id
         WHERE t.line_id = line.id AND t.correction AND undoing.id IS NULL)
    FROM {packingline} line LEFT JOIN {bag} bag ON bag.id = line.bag_id
    WHERE +line.workshop_id = %s AND line.crate_id IN ({crates}) AND line.item_id IN ({items})
    ORDER BY line.id
"""
_SUMS = "SELECT line_id, SUM(quantity) FROM {tally} WHERE line_id IN ({marks}) GROUP BY line_id"


def _locked_crates(ids: Iterable[int], by: Member) -> dict[int, Any]:
    """On which day each was closed; locked in the order of their ids. SQLite has one writer: its transaction is the lock."""
    found: dict[int, Any] = {}
    lock = " FOR NO KEY UPDATE" if connection.features.has_select_for_update else ""
    for batch in batches(sorted(ids)):
        found.update(_fetch(_CRATES.format(marks=_marks(batch), **_NAMES) + lock, [by.workshop_id, *batch]))
    return found


def _lines(wanted: Collection[Where], by: Member) -> dict[Where, list[_Line]]:
    found: dict[Where, list[_Line]] = defaultdict(list)
    crates = sorted({crate for crate, _ in wanted})
    for items in batches(sorted({item for _, item in wanted})):
        sql = _LINES.format(crates=_marks(crates), items=_marks(items), **_NAMES)
        for pk, bag, path, quantity, lot_code, crate, item, corrected in _fetch(sql, [by.workshop_id, *crates, *items]):
            found[crate, item].append(_Line(pk, bag, path or "", _quantity(quantity), lot_code, _instant(corrected)))
    _add_sums({line.pk: line for lines in found.values() if len(lines) > 1 for line in lines})
    return found


def _add_sums(lines: Mapping[int, _Line]) -> None:
    for batch in batches(lines):
        for pk, total in _fetch(_SUMS.format(marks=_marks(batch), **_NAMES), [*batch]):
            lines[pk].found = _quantity(total)


def _fetch(sql: str, values: list[Any]) -> Iterator[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        yield from cursor.fetchall()


def _marks(values: Collection[object]) -> str:
    return ", ".join(["%s"] * len(values))


def _quantity(thousandths: int) -> Decimal:
    return Decimal(int(thousandths)).scaleb(-PLACES) if thousandths else NOTHING


def _instant(value: datetime | str | None) -> datetime | None:
    """SQLite keeps text, in UTC and without saying so."""
    found = datetime.fromisoformat(value) if isinstance(value, str) else value
    return found.replace(tzinfo=UTC) if found is not None and found.tzinfo is None else found
