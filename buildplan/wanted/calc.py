"""In which order to count the bags of a crate, so that what can be claimed is found first. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from inventory.common.exact import decimal_text
from inventory.common.reasons import ARITHMETIC, Reason

NOTHING = Decimal(0)
NETTING = "needs in time order, first expired first out"
LIST = "the packing list"
_PLACES = 7  # thousandths of a unit, at ten-thousandths of its price


@dataclass(frozen=True, slots=True)
class ClockFacts:
    """Until when something can be claimed. `what` names the fault and the addressee; `source` is where the clock is written."""

    what: str
    last_day: date
    source: str


@dataclass(frozen=True, slots=True)
class LineFacts:
    """What a bag should hold of one item and nobody has found yet. `needed_on` is the first day on which a step waits for it.

    `price` is of one stock unit; None where the list doesn't say.
    """

    item: str
    unit: str
    left: Decimal
    price: Decimal | None = None
    needed_on: date | None = None
    needed_by: str = ""


@dataclass(frozen=True, slots=True)
class BagFacts:
    """A bag with its own lines; `id` None is what lies in no bag."""

    id: int | None
    path: str
    lines: tuple[LineFacts, ...]


@dataclass(frozen=True, slots=True)
class BagInOrder:
    """A bag in its turn. `worth` is of what is still to be found and has a price; `unpriced` is how many lines have none."""

    id: int | None
    path: str
    lines: int
    last_day: date | None
    needed_on: date | None
    needed_by: str
    worth: Decimal
    unpriced: int
    trace: tuple[Reason, ...]


def order_bags(bags: Iterable[BagFacts], clocks: Iterable[ClockFacts], *, today: date) -> tuple[BagInOrder, ...]:
    """The bags that hold something not found yet, in the order to count them.

    First what can be claimed until the earliest day, then what a step waits for first, then what is worth most. A clock that has
    lapsed hurries nobody any more. What has no price counts as none: it is never guessed.
    """
    running = sorted((clock for clock in clocks if clock.last_day >= today), key=lambda clock: (clock.last_day, clock.what))
    return tuple(sorted((_turn(bag, running, today) for bag in bags if _left(bag)), key=_rank))


def _left(bag: BagFacts) -> list[LineFacts]:
    return [line for line in bag.lines if line.left]


def _rank(bag: BagInOrder) -> tuple[date, date, Decimal, int, str]:
    return bag.last_day or date.max, bag.needed_on or date.max, -bag.worth, -bag.unpriced, bag.path


def _turn(bag: BagFacts, running: Sequence[ClockFacts], today: date) -> BagInOrder:
    lines = _left(bag)
    waited = sorted((line for line in lines if line.needed_on), key=lambda line: (line.needed_on or date.max, line.item))
    priced = [line for line in lines if line.price is not None]
    worth = sum((line.left * (line.price or NOTHING) for line in priced), NOTHING)
    trace = (*_claims(running, today), *_needs(waited), *_worth(priced, len(lines) - len(priced), worth))
    first = waited[0] if waited else None
    return BagInOrder(
        bag.id,
        bag.path,
        len(lines),
        running[0].last_day if running else None,
        first.needed_on if first else None,
        first.needed_by if first else "",
        worth,
        len(lines) - len(priced),
        trace,
    )


def _claims(running: Sequence[ClockFacts], today: date) -> Iterator[Reason]:
    """The clock that ends first; the others run longer and change nothing."""
    if not running:
        yield Reason("no claim clock runs: none is known, none has started or all have lapsed", "the clocks of the crate's sender")
    for clock in running[:1]:
        left = (clock.last_day - today).days
        until = "today is the last day" if not left else "1 day left" if left == 1 else f"{left} days left"
        yield Reason(f"{clock.what} can be claimed until {clock.last_day}: {until}", clock.source)


def _needs(waited: Sequence[LineFacts]) -> Iterator[Reason]:
    if not waited:
        yield Reason("no step waits for anything in it", NETTING)
        return
    first = waited[0]
    more = f"; steps wait for {len(waited) - 1} more of its items" if len(waited) > 1 else ""
    yield Reason(f"{first.needed_by} waits for {first.item} on {first.needed_on}{more}", NETTING)


def _worth(priced: Sequence[LineFacts], unpriced: int, worth: Decimal) -> Iterator[Reason]:
    if priced:
        dearest = max(priced, key=lambda line: (line.left * (line.price or NOTHING), line.item))
        of = f"{plain(dearest.left)} {dearest.unit} of {dearest.item} at {plain(dearest.price or NOTHING)}"
        yield Reason(f"worth {plain(worth)}: the dearest is {of}", f"prices of {LIST}, {ARITHMETIC}")
    if unpriced:
        lines = "1 line has" if unpriced == 1 else f"{unpriced} lines have"
        yield Reason(f"{lines} no price, and {'counts' if unpriced == 1 else 'count'} as none", LIST)


def plain(value: Decimal) -> str:
    """A quantity or an amount as people write it."""
    return decimal_text(Fraction(value), _PLACES)
