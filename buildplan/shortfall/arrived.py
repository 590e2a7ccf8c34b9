"""What crates give: lines on their way, and lines of crates that are here, as far as they are counted. Reads nothing."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from buildplan.shortfall.calc import ItemFacts, Supply, Told, Why
from inventory.shelflife.calc import of_columns
from inventory.stock.calc import life
from inventory.tallying.calc import Counts, gives
from inventory.tallying.queries import LotRead, Unlisted

NOT_COUNTED: Counts[LotRead | None] = Counts()
# Keys of supplies, beyond those of packing lines: the lots counted of a line, then what no list has.
LOTS = 1000  # of one line at most
COUNTED, UNLISTED = -(10**15), -(10**30)


def of_line(row: tuple[Any, ...], item: ItemFacts, counts: Counts[LotRead | None] | None, as_of: date) -> Sequence[Supply]:
    """What a packing line gives: on the crate's due day what isn't here, from its arrival what is still to count, at once what is good.

    `counts` None: nothing of it was counted.
    """
    pk, _, _, crate, due, arrived, closed, bag_counted, number, listed, still_open, *read = row
    lot: LotRead = tuple(read)
    done = closed is not None or bag_counted is not None
    if counts is None and arrived is None and not done:
        return (_coming(pk, crate, due, still_open, lot, item, as_of),)
    found = gives(listed=listed, still_open=still_open, counts=_named(counts or NOT_COUNTED, lot), done=done)
    told = Told(pk, number, found)
    parts = [one._replace(told=told) for one in _counted(pk, crate, arrived, found.good, found.disputed, item, as_of)]
    if found.to_count and arrived is None:
        parts.append(_coming(pk, crate, due, found.to_count, lot, item, as_of))
    elif found.to_count or not parts:
        where = f"{_arrived(arrived)}, still to count" if found.to_count else _arrived(arrived)
        ready = as_of if arrived is None else max(arrived, as_of)
        parts.append(_supply(-pk, crate, where, found.to_count, lot, item)._replace(ready=ready, told=told))
    return parts


def unlisted(one: Unlisted, item: ItemFacts, as_of: date) -> Supply:
    """What was counted in a crate that doesn't list it: putting away takes it in like the rest."""
    where = f"{_arrived(one.arrived_on)}, counted, not on its list"
    return _here(_supply(UNLISTED - one.first, one.crate, where, one.quantity, one.lot, item), one.arrived_on, as_of, damaged=one.damaged)


def _named(counts: Counts[LotRead | None], listed: LotRead) -> Counts[LotRead]:
    """A count that names no lot is of the one that the packing list states."""
    waiting, spoiled = ([(lot or listed, quantity) for lot, quantity in rows] for rows in (counts.waiting, counts.spoiled))
    return Counts(counts.good, counts.damaged, counts.wrong, counts.taken_in, tuple(waiting), tuple(spoiled))


def _counted(  # noqa: PLR0913 - a line, and what was counted of it
    pk: int,
    crate: str,
    arrived: date | None,
    good: Mapping[LotRead, Decimal],
    disputed: Mapping[LotRead, Decimal],
    item: ItemFacts,
    as_of: date,
) -> Iterator[Supply]:
    lots = [*((False, lot, quantity) for lot, quantity in good.items()), *((True, lot, quantity) for lot, quantity in disputed.items())]
    for at, (damaged, lot, quantity) in enumerate(lots):
        where = f"{_arrived(arrived)}, counted"
        yield _here(_supply(COUNTED - pk * LOTS - at, crate, where, quantity, lot, item), arrived, as_of, damaged=damaged)


def _here(supply: Supply, arrived: date | None, as_of: date, *, damaged: bool) -> Supply:
    """Counted: what is good serves as if it were put away, and its label has been read, so that an unknown life is known to be unknown."""
    if damaged:
        return supply._replace(blocked=Why.DISPUTED, note="")
    if supply.note:
        return supply._replace(blocked=Why.UNKNOWN_LIFE, note="")
    return supply._replace(ready=None if arrived is None or arrived <= as_of else arrived)


def _arrived(arrived: date | None) -> str:
    return "here" if arrived is None else f"arrived {arrived}"


def _coming(pk: int, crate: str, due: date | None, quantity: Decimal, lot: LotRead, item: ItemFacts, as_of: date) -> Supply:  # noqa: PLR0913
    found = _supply(-pk, crate, _due(due, as_of), quantity, lot, item)
    return found._replace(blocked=Why.LATE) if due is None else found._replace(ready=max(due, as_of))


def _supply(key: int, crate: str, where: str, quantity: Decimal, lot: LotRead, item: ItemFacts) -> Supply:  # noqa: PLR0913
    code, made_on, made_as, expires_on, expires_as = lot
    found = life(item.rule, of_columns(made_on, made_as), of_columns(expires_on, expires_as), None)
    note = "" if found.known else "its date must be read on arrival"
    return Supply(key, code, quantity, None, found.limit, crate=crate, where=where, note=note)


def _due(due: date | None, as_of: date) -> str:
    if due is None:
        return "no due day"
    return f"due {due}" if due >= as_of else f"due {due}, overdue: counts from {as_of}"
