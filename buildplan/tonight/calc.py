"""The rule that makes a step ready for an evening, and what would unblock one that isn't. Pure: no Django, no clock.

A step is ready where nothing speaks against it: what it comes after is done and cured, all it takes is there today and free, and the
evening has the minutes and the people. Whatever speaks against it is told, not the first thing alone.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from inventory.common.exact import decimal_text
from inventory.common.reasons import ARITHMETIC, Reason

NOTHING = Decimal(0)
ONE_DAY = timedelta(days=1)
CONFLICTS = "the conflicts of text and drawing that aren't settled"
PLAN, ASKED, SEALING, POOL = "the plan", "as asked for this evening", "the seal day", "the pool's bookings"
CURES = "the seal day: the last batch, and the hours of cure as entered from the data sheet"
NETTING = "netting of this step alone"
THERE = "what lies on the bench's own shelves and the shared ones today"


class Kind(StrEnum):
    """What stands against a step, in the order in which it is told."""

    STEP = "step"
    CONFLICT = "conflict"
    CLOSED = "closed"
    CURE = "cure"
    SEAL_DAY = "seal_day"
    SEAM = "seam"
    STOCK = "stock"
    TOOL = "tool"
    MINUTES = "minutes"
    PEOPLE = "people"


@dataclass(frozen=True, slots=True)
class Evening:
    """What there is of time and hands. `minutes` None: nobody said how many."""

    today: date
    minutes: int | None = None
    people: int = 1


@dataclass(frozen=True, slots=True)
class Before:
    """A step that must be done first and isn't; `day` is the one on which it counts."""

    label: str
    title: str
    day: date | None


@dataclass(frozen=True, slots=True)
class Disputed:
    """An open conflict of text and drawing that the step rests on, itself or `through` an item.

    `answered` is the day of the maker's last answer.
    """

    title: str
    answered: date | None = None
    through: str = ""


@dataclass(frozen=True, slots=True)
class Curing:
    """What was sealed before and is wet still; `at` by the workshop's clock. `planned`: some of it is still to be mixed."""

    product: str
    behind: str
    at: datetime
    planned: bool


@dataclass(frozen=True, slots=True)
class Sealing:
    """The open seal day that the step is for. `warm`: its temperature is known."""

    on: date
    warm: bool


@dataclass(frozen=True, slots=True)
class Gain:
    """What will be there more (or less) from a day on: a crate that is due, a loan that comes back. `day` None: nobody said when.

    `pool` is what of it lies with the pool then, and may be booked.
    """

    text: str
    day: date | None
    quantity: Decimal
    pool: Decimal = NOTHING


@dataclass(frozen=True, slots=True)
class Promised:
    """What is booked by somebody else, both days included."""

    who: str
    quantity: Decimal
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Held:
    """Clecos that stand in the holes of a step that is done. `through` is the last day; None: no end of it is known."""

    text: str
    quantity: Decimal
    through: date | None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the step takes of one item, in its stock unit, and what of it is there today.

    `there` is what of it serves today; of what is used up never more than `needed`. Of what comes back `pool` says how much of it lies
    with the pool, where others may have booked it. `spare` is there too, and doesn't count, each with why. `served` says where it is.
    """

    code: str
    unit: str
    returned: bool
    needed: Decimal
    there: Decimal
    pool: Decimal = NOTHING
    gains: tuple[Gain, ...] = ()
    booked: tuple[Promised, ...] = ()
    held: tuple[Held, ...] = ()
    spare: tuple[Reason, ...] = ()
    served: tuple[Reason, ...] = ()
    lead_days: int | None = None
    receiving_days: int = 0


@dataclass(frozen=True, slots=True)
class Asked:
    """A step as the rule sees it. `seams` are faults of seams whose grams can't be told; `unplanned` sealants are of no seal day.

    `closed` is the name of its section where that is closed up.
    """

    label: str
    minutes: int | None = None
    people: int | None = None
    before: tuple[Before, ...] = ()
    disputed: tuple[Disputed, ...] = ()
    curing: tuple[Curing, ...] = ()
    sealing: Sealing | None = None
    seams: tuple[str, ...] = ()
    wanted: tuple[Wanted, ...] = ()
    unplanned: tuple[str, ...] = ()
    closed: str = ""


@dataclass(frozen=True, slots=True)
class Way:
    """What would unblock it, and when; `day` None: no day is known."""

    text: str
    day: date | None


@dataclass(frozen=True, slots=True)
class Block:
    """One thing that stands against a step, what people can look up, and what would change it first. `trace` says the rest."""

    kind: Kind
    text: str
    source: str
    way: Way
    trace: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a step is ready. `trace` is what speaks for it, `blocks` all that stands against it."""

    blocks: tuple[Block, ...]
    trace: tuple[Reason, ...]

    @property
    def ready(self) -> bool:
        """Nothing stands against it."""
        return not self.blocks

    @property
    def nearest(self) -> Way | None:
        """What it waits for longest: all the rest is over by then. One without a day stands for all; None: it is ready."""
        return max((block.way for block in self.blocks), key=lambda way: way.day or date.max, default=None)


Found = Iterator[Block | Reason]


def judge(step: Asked, evening: Evening) -> Verdict:
    """Whether a step can be done this evening. More minutes, more people or more stock never turn a ready step into a blocked one."""
    found = [one for part in (_order, _dispute, _shut, _cure, _seal, _stock, _time, _hands) for one in part(step, evening)]
    blocks = tuple(one for one in found if isinstance(one, Block))
    return Verdict(blocks, tuple(one for one in found if isinstance(one, Reason)))


def _order(step: Asked, _: Evening) -> Found:
    for one in step.before:
        yield Block(Kind.STEP, f"{one.label} {one.title} must be done first", PLAN, _planned(one))
    if not step.before:
        yield Reason("all that it comes after is done", PLAN)


def _planned(one: Before) -> Way:
    return Way(f"{one.label} counts on {one.day}", one.day) if one.day else Way(f"{one.label} has no planned day", None)


def _dispute(step: Asked, evening: Evening) -> Found:
    for one in step.disputed:
        through = (Reason(f"it takes {one.through}, which rests on that conflict", PLAN),) if one.through else ()
        yield Block(Kind.CONFLICT, f'text and drawing disagree: "{one.title}"', CONFLICTS, _settled(one, evening.today), through)


def _shut(step: Asked, _: Evening) -> Found:
    if step.closed:
        yield Block(
            Kind.CLOSED, f"{step.closed} is closed up", "the closings on record", Way("open the section again, with the reason", None)
        )


def _settled(one: Disputed, today: date) -> Way:
    if one.answered is None:
        return Way("the answer of the maker, which is still to come", None)
    return Way(f"the answer of the maker came on {one.answered}: settle it", today)


def _cure(step: Asked, _: Evening) -> Found:
    for one in step.curing:
        planned = ", as planned," if one.planned else ""
        text = f"{one.product} of {one.behind} is not cured"
        yield Block(Kind.CURE, text, CURES, Way(f"it is cured{planned} on {one.at:%Y-%m-%d} at {one.at:%H:%M}", one.at.date()))
    if not step.curing and not step.before:
        yield Reason("nothing that was sealed before it is known to be curing", CURES)


def _seal(step: Asked, evening: Evening) -> Found:
    yield from (Block(Kind.SEAM, fault, "the seam and the product's data sheet", _correct()) for fault in step.seams)
    if step.unplanned:
        sealants = ", ".join(step.unplanned)
        yield Reason(f"{sealants}: no seal day says the temperature, read the data sheet first", "the product's data sheet")
    if step.sealing is None:
        return
    day = step.sealing.on
    if day > evening.today:
        yield Block(Kind.SEAL_DAY, f"it is sealed on the seal day of {day}, not before", SEALING, Way(f"the seal day of {day}", day))
    elif day < evening.today:
        way = Way("nothing known: move that seal day, or close it", None)
        yield Block(Kind.SEAL_DAY, f"its seal day of {day} is past and not closed", SEALING, way)
    elif not step.sealing.warm:
        way = Way("enter the metal's temperature with the seal day", evening.today)
        yield Block(Kind.SEAL_DAY, "the seal day is today, but its temperature isn't known", SEALING, way)
    else:
        yield Reason("its seal day is today, and the temperature is entered", SEALING)


def _correct() -> Way:
    return Way("nothing known: correct the seam or the catalogue", None)


# What it takes


def _stock(step: Asked, evening: Evening) -> Found:
    for one in step.wanted:
        have = free(replace(one, gains=()), evening.today)  # what comes today, or lies in a crate, is not there yet
        if have < one.needed:
            yield _lacking(one, have, evening)
        else:
            yield from _enough(one, have)


def free(wanted: Wanted, day: date) -> Decimal:
    """What of it is free on a day, as far as is known today: what is there, less what others booked and what other steps hold."""
    gains = [gain for gain in wanted.gains if gain.day is not None and gain.day <= day]
    pool = wanted.pool + sum((gain.pool for gain in gains), NOTHING)
    booked = sum((one.quantity for one in wanted.booked if one.first <= day <= one.last), NOTHING)
    held = sum((one.quantity for one in wanted.held if one.through is None or day <= one.through), NOTHING)
    there = wanted.there + sum((gain.quantity for gain in gains), NOTHING)
    return max(there - min(booked, pool) - held, NOTHING)


def _enough(wanted: Wanted, have: Decimal) -> Iterator[Reason]:
    if wanted.returned:
        yield Reason(f"{wanted.code}: takes {_amount(wanted.needed, wanted)} of {_plain(have)} free today", THERE)
    yield from wanted.served


def _lacking(wanted: Wanted, have: Decimal, evening: Evening) -> Block:
    kind, source = (Kind.TOOL, THERE) if wanted.returned else (Kind.STOCK, NETTING)
    what = "free" if wanted.returned else "usable"
    text = f"{wanted.code}: takes {_amount(wanted.needed, wanted)}, {_plain(have)} {what} today"
    return Block(kind, text, source, _way(wanted, evening.today), (*_taken(wanted, have, evening.today), *wanted.spare, *wanted.served))


def _taken(wanted: Wanted, have: Decimal, today: date) -> Iterator[Reason]:
    """Who holds what of it today, and the sum."""
    booked = [one for one in wanted.booked if one.first <= today <= one.last]
    yield from (Reason(f"{one.who} booked {_plain(one.quantity)} through {one.last}", POOL) for one in booked)
    yield from (Reason(f"{_plain(one.quantity)} are held: {one.text}", PLAN) for one in wanted.held)
    if booked or wanted.held:
        off = min(sum((one.quantity for one in booked), NOTHING), wanted.pool)
        held = sum((one.quantity for one in wanted.held), NOTHING)
        yield Reason(f"{_plain(wanted.there)} there - {_plain(off)} booked - {_plain(held)} held: {_plain(have)} free", ARITHMETIC)


def _way(wanted: Wanted, today: date) -> Way:
    """The first day on which enough is free, by what is known today or by an order placed now, whichever comes first."""
    known, order = _known(wanted, today), _order_now(wanted, today)
    found = [way for way in (known, order) if way is not None]
    if found:
        return min(found, key=lambda way: way.day or date.max)
    undated = "; ".join(gain.text for gain in wanted.gains if gain.day is None)
    return Way(f"nothing known{f': {undated}' if undated else ''}; no lead time of {wanted.code} is in the catalogue", None)


def _known(wanted: Wanted, today: date) -> Way | None:
    days = {gain.day for gain in wanted.gains if gain.day} | {one.last + ONE_DAY for one in wanted.booked if one.last < date.max}
    days |= {one.through + ONE_DAY for one in wanted.held if one.through and one.through < date.max}
    day = next((day for day in sorted(days) if day >= today and free(wanted, day) >= wanted.needed), None)
    return None if day is None else Way("; ".join(_until(wanted, today, day)), day)


def _until(wanted: Wanted, today: date, day: date) -> Iterator[str]:
    """What happens until a day that helps."""
    yield from (gain.text for gain in wanted.gains if gain.day is not None and gain.day <= day and gain.quantity > 0)
    booked = (one for one in wanted.booked if one.first <= today <= one.last < day)
    yield from (f"the booking of {one.who} ends on {one.last}" for one in booked)
    freed = (one for one in wanted.held if one.through and one.through < day)
    yield from (f"{_plain(one.quantity)} come free after {one.through}, as planned" for one in freed)


def _order_now(wanted: Wanted, today: date) -> Way | None:
    if wanted.lead_days is None:
        return None
    days = wanted.lead_days + wanted.receiving_days
    if days > (date.max - today).days:
        return None
    day = today + timedelta(days=days)
    how = f"{wanted.lead_days} days of lead time and {wanted.receiving_days} of receiving"
    return Way(f"ordered today it is here on {day}: {how}", day)


# The evening


def _time(step: Asked, evening: Evening) -> Found:
    if step.minutes is None:
        yield Reason("how long it takes isn't in the plan", PLAN)
    elif evening.minutes is None:
        yield Reason(f"takes {step.minutes} minutes; how many you have wasn't said", ASKED)
    elif step.minutes > evening.minutes:
        way = Way(f"an evening of {step.minutes} minutes", evening.today)
        yield Block(Kind.MINUTES, f"takes {step.minutes} minutes, you have {evening.minutes}", ASKED, way)
    else:
        yield Reason(f"takes {step.minutes} of your {evening.minutes} minutes", ASKED)


def _hands(step: Asked, evening: Evening) -> Found:
    needed = step.people or 1
    if needed > evening.people:
        way = Way(f"{needed} people at once", evening.today)
        yield Block(Kind.PEOPLE, f"takes {needed} people, you are {evening.people}", ASKED, way)
    elif step.people is None:
        yield Reason("nobody entered that it takes more than one person", PLAN)
    else:
        yield Reason(f"takes {_people(needed)} of {evening.people} here", ASKED)


def _people(count: int) -> str:
    return "1 person" if count == 1 else f"{count} people"


def fitting(minutes: Iterable[int | None], have: int | None) -> tuple[bool, ...]:
    """Which steps fit the evening one after the other, in this order; one of unknown length fits alone, and nothing after it.

    Where nobody said how long the evening is, the first alone.
    """
    found, left = [], have
    for at, one in enumerate(minutes):
        if have is None:
            found.append(at == 0)
        elif left is None or (one is None and any(found)) or (one or 0) > left:
            found.append(False)
        else:
            found.append(True)
            left = None if one is None else left - one
    return tuple(found)


def _amount(quantity: Decimal, wanted: Wanted) -> str:
    return f"{_plain(quantity)} {wanted.unit}"


def _plain(quantity: Decimal) -> str:
    return decimal_text(Fraction(quantity))
