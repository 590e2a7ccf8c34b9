"""Which lots a recount means, and what it changes. Pure.

A group is one item, lot code and place: the file states all that it holds. Groups that the file does not name stay as they are.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import partial
from typing import TypeAlias

from inventory.shelflife.calc import StatedDate

GOOD = "good"


@dataclass(frozen=True, slots=True)
class Identity:
    """What tells one lot of a bench from another. `code` is as it is compared; blank is no batch known.

    Of a row of a file `state` may be blank, as any date may: then it fits lots of any.
    """

    item: int
    code: str
    made: StatedDate | None = None
    expires: StatedDate | None = None
    opened: date | None = None
    state: str = GOOD

    @property
    def batch(self) -> tuple[int, str]:
        """Item and code, which the lots of one maker's batch share."""
        return self.item, self.code

    @property
    def dates(self) -> tuple[StatedDate | None, StatedDate | None]:
        """What the maker printed, which all lots of a batch share."""
        return self.made, self.expires

    @property
    def settled(self) -> "Identity":
        """With a blank state read as good."""
        return replace(self, state=self.state or GOOD)

    def fits(self, lot: "Identity") -> bool:
        """Whether all that is filled in agrees with `lot`."""
        mine, other = (self.made, self.expires, self.opened, self.state), (lot.made, lot.expires, lot.opened, lot.state)
        return all(said in (None, "", has) for said, has in zip(mine, other, strict=True))

    def __str__(self) -> str:
        """What a person tells them apart by."""
        told = (("made", self.made), ("expires", self.expires), ("opened", self.opened), ("state", self.state))
        return " ".join(f"{name} {value}" for name, value in told if value)


@dataclass(frozen=True, slots=True)
class KnownLot:
    """A lot that is there (`pk`), or that the rows so far have made up (None)."""

    pk: int | None
    identity: Identity


@dataclass(frozen=True, slots=True)
class Count:
    """A row of the file: how much of a lot lies at a place."""

    identity: Identity
    place: str
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class Change:
    """What a lot's holding at a place was and is to be; `index` is of the row that says so, if only by leaving the lot out."""

    lot: KnownLot
    place: str
    before: Decimal
    after: Decimal
    index: int


Held: TypeAlias = Mapping[tuple[int | None, str], Decimal]
Rows: TypeAlias = list[tuple[int, Count]]
Batches: TypeAlias = dict[tuple[int, str], list[KnownLot]]
Refuse: TypeAlias = Callable[[int, str], None]


def changes(counts: Sequence[Count], lots: Iterable[KnownLot], held: Held, refuse: Refuse) -> list[Change]:
    """The holdings that differ from the counts. `refuse` is told the index of each row whose lot is not clear, and why.

    `held` is by lot and place. Rows of one group have different identities: the caller adds up or refuses those that are equal.
    """
    batches: Batches = defaultdict(list)
    for lot in lots:
        batches[lot.identity.batch].append(lot)
    groups: dict[tuple[tuple[int, str], str], Rows] = defaultdict(list)
    for index, count in enumerate(counts):
        groups[count.identity.batch, count.place].append((index, count))
    return [
        change
        for (batch, place), rows in groups.items()
        for change in _group_changes(rows, place, batches[batch], held, refuse)
        if change.before != change.after
    ]


def _group_changes(rows: Rows, place: str, lots: list[KnownLot], held: Held, refuse: Refuse) -> Iterator[Change]:
    found = _match(rows, [lot for lot in lots if held.get((lot.pk, place))], lots)
    for index, count in rows:
        lot = found.get(index) or _new(count.identity, lots, set(found.values()), partial(refuse, index))
        if lot is not None:
            found[index] = lot
            yield Change(lot, place, held.get((lot.pk, place), Decimal(0)), count.quantity, index)
    named = set(found.values())
    for lot in lots:
        if lot not in named and lot.pk is not None:
            yield Change(lot, place, held.get((lot.pk, place), Decimal(0)), Decimal(0), rows[0][0])


def _match(rows: Rows, here: list[KnownLot], lots: list[KnownLot]) -> dict[int, KnownLot]:
    """The lot of each row: the one it spells out, else the only one that fits; what lies at the place goes before the rest."""
    found: dict[int, KnownLot] = {}
    for pool in (here, lots):
        for rule in (_spelled_out, _but_for_dates, _only_fit):
            for index, count in rows:
                left = [lot for lot in pool if lot not in found.values()]
                if index not in found and (lot := rule(count.identity, left)) is not None:
                    found[index] = lot
    return found


def _spelled_out(row: Identity, lots: Iterable[KnownLot]) -> KnownLot | None:
    return next((lot for lot in lots if lot.identity == row.settled), None)


def _but_for_dates(row: Identity, lots: Iterable[KnownLot]) -> KnownLot | None:
    """Lots of one code share their dates, so that a count need not repeat them."""
    alike = [lot for lot in lots if row.code and (lot.identity.opened, lot.identity.state) == (row.opened, row.settled.state)]
    return _only_fit(row, alike)


def _only_fit(row: Identity, lots: Iterable[KnownLot]) -> KnownLot | None:
    fitting = [lot for lot in lots if row.fits(lot.identity)]
    return fitting[0] if len(fitting) == 1 else None


def _new(row: Identity, lots: list[KnownLot], taken: set[KnownLot], refuse: Callable[[str], None]) -> KnownLot | None:
    """A lot that is not there yet, added to `lots`; None where the row says too little, or what can't be."""
    fitting = [lot for lot in lots if row.fits(lot.identity)]
    if len(fitting) > 1 and not taken.issuperset(fitting):
        refuse(f"several lots fit: {'; '.join(str(lot.identity) for lot in fitting)}: fill in what tells them apart")
        return None
    identity = _with_dates_of_batch(row, lots)
    if row.code and any(lot.identity.dates != identity.dates for lot in lots):
        refuse(f"this lot is known with {_dates(lots[0].identity)}: a lot code has the same dates in every row")
        return None
    if any(lot.identity == identity for lot in taken):
        refuse(f"an earlier row here already counts the lot with {identity}: add them up in one row")
        return None
    lots.append(KnownLot(None, identity))
    return lots[-1]


def _with_dates_of_batch(row: Identity, lots: list[KnownLot]) -> Identity:
    if not row.code or not lots:
        return row.settled
    made, expires = lots[0].identity.dates
    return replace(row.settled, made=row.made or made, expires=row.expires or expires)


def _dates(identity: Identity) -> str:
    told = [f"{name} {value}" for name, value in (("made", identity.made), ("expires", identity.expires)) if value]
    return " and ".join(told) or "no dates"
