"""What is due, as one list: claims that lapse, orders to place, days of sealing, loans, crates to come, lots that die.

Pure: no Django, no clock.
"""

import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

from inventory.common.exact import decimal_text
from inventory.common.reasons import Reason

NETTING = "netting, as on the order sheet"
NAMED = 4  # items that the text of an order names; the others are in its trace
_UNPRINTABLE = frozenset({"Cc", "Cs", "Zl", "Zp"})


class Kind(StrEnum):
    """What a reminder is about, in the order of one day: what is lost first when the day passes stands first."""

    CLAIM = "claim"
    ORDER = "order"
    SEAL_DAY = "seal_day"
    UNCLOSED = "unclosed"  # a seal day that is past and was not closed
    LOAN = "loan"
    BOOKING = "booking"
    CRATE = "crate"
    CURE = "cure"
    EXPIRY = "expiry"


ORDER_OF_DAY = tuple(Kind)


@dataclass(frozen=True, slots=True)
class ClaimDue:
    """A claim clock. `open` differences are claimed by no letter yet; `day` None: no clock is known."""

    crate_id: int
    crate: str
    fault: str
    label: str
    against: str
    day: date | None
    open: int
    drafts: int
    source: str
    link: str


@dataclass(frozen=True, slots=True)
class LotDue:
    """What one place holds of a lot; `day` is its last usable one, None where nobody knows."""

    lot_id: int
    lot: str
    item: str
    unit: str
    quantity: Decimal
    place: str
    state: str
    day: date | None
    trace: tuple[Reason, ...]
    link: str


@dataclass(frozen=True, slots=True)
class OrderDue:
    """An item that a project is short of; `day` is the one to order by, None where the item has no lead time or the need no day."""

    project_id: int
    project: str
    item: str
    unit: str
    short: Decimal
    buy: Decimal
    first_short: date | None
    lead_days: int | None
    receiving_days: int
    not_before: date | None
    day: date | None
    link: str


@dataclass(frozen=True, slots=True)
class CrateDue:
    """A crate on its way, with how many lines are still to come; `day` None: nobody said when."""

    crate_id: int
    crate: str
    bench: str
    lines: int
    day: date | None
    link: str


@dataclass(frozen=True, slots=True)
class Lacking:
    """What steps of a seal day are short of: an item with its quantity, as netting says it."""

    project: str
    item: str
    unit: str
    short: Decimal
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SealDayDue:
    """A seal day that is still to be done, or past and not closed (`past`); `lacking` is what its steps are short of.

    `unknown` are its seams that can't be reckoned: what they lack isn't known.
    """

    day_id: int
    bench: str
    day: date
    past: bool
    steps: tuple[str, ...]
    lacking: tuple[Lacking, ...]
    link: str
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CureDue:
    """When a product of a seal day is cured, and the steps that may go on then. `planned`: it isn't mixed yet, or not all of it."""

    day_id: int
    bench: str
    item_id: int
    item: str
    at: datetime
    day: date
    planned: bool
    frees: tuple[str, ...]
    trace: tuple[Reason, ...]
    link: str


@dataclass(frozen=True, slots=True)
class LoanDue:
    """A pool thing that a member has out. `day` None: nobody said when it is to be back. Mails speak of it `days_before` that day."""

    loan_id: int
    member_id: int
    item: str
    unit: str
    quantity: Decimal
    day: date | None
    days_before: int
    trace: tuple[Reason, ...]
    link: str


@dataclass(frozen=True, slots=True)
class BookingDue:
    """A pool thing that is promised to a member from `day` through `last`."""

    booking_id: int
    member_id: int
    item: str
    unit: str
    quantity: Decimal
    day: date
    last: date
    trace: tuple[Reason, ...]
    link: str


Due = TypeVar("Due", OrderDue, LotDue)


@dataclass(frozen=True, slots=True)
class Facts:
    """All that a workshop is to be reminded of. `left_out` are seams that can't be reckoned, so their orders are not here.

    Loans and bookings are their members' own: who is told of them is said by `own`. `to_look_at` counts what makers' notices ask to look at
    and nobody has.
    """

    claims: tuple[ClaimDue, ...] = ()
    orders: tuple[OrderDue, ...] = ()
    crates: tuple[CrateDue, ...] = ()
    lots: tuple[LotDue, ...] = ()
    left_out: tuple[str, ...] = ()
    seal_days: tuple[SealDayDue, ...] = ()
    cures: tuple[CureDue, ...] = ()
    loans: tuple[LoanDue, ...] = ()
    bookings: tuple[BookingDue, ...] = ()
    to_look_at: int = 0

    def own(self, member: int) -> "Facts":
        """What one member is told: of loans and bookings theirs alone, of all else everything."""
        loans = tuple(one for one in self.loans if one.member_id == member)
        return replace(self, loans=loans, bookings=tuple(one for one in self.bookings if one.member_id == member))


@dataclass(frozen=True, slots=True)
class Reminder:
    """One thing that is due on a day. `key` stays the same while the thing does; `about` are the codes it is about; `link` is its page.

    Mails speak of it from `since` on, where that is said.
    """

    day: date
    kind: Kind
    key: str
    text: str
    link: str
    about: tuple[str, ...]
    trace: tuple[Reason, ...]
    since: date | None = None

    def days_left(self, today: date) -> int:
        """Days until then: 0 on the day itself, below 0 it is over."""
        return (self.day - today).days


def reminders(facts: Facts, *, through: date) -> tuple[Reminder, ...]:
    """What is due through a day, and all that is overdue: by day, then kind and text, each thing once."""
    found = (
        *(*_claims(facts.claims), *_orders(facts.orders), *_crates(facts.crates), *_lots(facts.lots)),
        *(*_seal_days(facts.seal_days), *_cures(facts.cures), *_loans(facts.loans), *_bookings(facts.bookings)),
    )
    once = {(one.kind, one.key): one for one in found if one.day <= through}
    return tuple(sorted(once.values(), key=lambda one: (one.day, ORDER_OF_DAY.index(one.kind), one.text, one.key)))


def to_do(found: Iterable[Reminder], today: date) -> tuple[Reminder, ...]:
    """What somebody can still do something about. A lot that died is no news on the day after: the list of expiries keeps it.

    A loan is spoken of from the day on that the club's rules of lending say.
    """
    return tuple(one for one in found if (one.kind != Kind.EXPIRY or one.day >= today) and (one.since is None or one.since <= today))


def undated(facts: Facts) -> tuple[str, ...]:
    """What has no day to be reminded of, in sentences: silence about it would look like nothing to do."""
    found = [
        _count(sum(one.day is None for one in facts.claims), "claim clock is", "claim clocks are", "not known"),
        _count(len({one.lot_id for one in facts.lots if one.day is None}), "lot", "lots", "on hand of unknown life"),
        _count(sum(one.day is None for one in facts.orders), "item", "items", "short without a lead time or a day of need"),
        _count(sum(one.day is None for one in facts.crates), "crate", "crates", "on the way without a due day"),
        _count(sum(one.day is None for one in facts.loans), "loan of yours", "loans of yours", "without a day to be back"),
        _count(facts.to_look_at, "thing", "things", "to look at for makers' notices"),
        _count(len(facts.left_out), "seam", "seams", "that can't be reckoned, so what they lack is not in the orders"),
    ]
    return tuple(text for text in found if text)


def said(days_left: int) -> str:
    """How long is left, in words."""
    if days_left == 0:
        return "today"
    count = "1 day" if abs(days_left) == 1 else f"{abs(days_left)} days"
    return f"in {count}" if days_left > 0 else f"{count} ago"


def printable(text: str) -> str:
    """`text` on one line: control characters and line breaks become blanks, for calendars and mails refuse them."""
    return "".join(" " if unicodedata.category(char) in _UNPRINTABLE else char for char in text)


def _count(count: int, one: str, many: str, what: str) -> str:
    return f"{count} {one if count == 1 else many} {what}" if count else ""


def _claims(found: Iterable[ClaimDue]) -> Iterator[Reminder]:
    for one in found:
        if one.day is None:
            continue
        against = f" from {one.against}" if one.against else ""
        state = _count(one.open, "difference", "differences", "still to be claimed") or "nothing found so far"
        drafts = _count(one.drafts, "draft", "drafts", "to be sent")
        text = f"{one.crate}: last day to claim {one.label}{against}; {state}{f', {drafts}' if drafts else ''}"
        reason = Reason(f"{one.label} can be claimed{against} until {one.day}", one.source or "the sender's claim clocks")
        yield _reminder(one.day, Kind.CLAIM, f"{one.crate_id}:{one.fault}", text, one.link, (one.crate,), (reason,))


def _orders(found: Iterable[OrderDue]) -> Iterator[Reminder]:
    """One a project and day, whatever the number of items: they are one sitting at the order sheet."""
    for (project, day), ones in _grouped(found, lambda one: one.project_id):
        items = tuple(dict.fromkeys(one.item for one in sorted(ones, key=lambda one: one.item)))
        more = len(items) - NAMED
        named = ", ".join(items[:NAMED]) + (f" and {more} more" if more > 0 else "")
        trace = tuple(dict.fromkeys(_order_reason(one) for one in sorted(ones, key=lambda one: one.item)))
        yield _reminder(day, Kind.ORDER, f"{project}:{day}", f"{ones[0].project}: last day to order {named}", ones[0].link, items, trace)


def _order_reason(one: OrderDue) -> Reason:
    first = f" from {one.first_short}" if one.first_short else ""
    early = f", not before {one.not_before}" if one.not_before else ""
    text = f"{one.item}: {_plain(one.short)} {one.unit} short{first}; buy {_plain(one.buy)}{early}"
    days = (one.lead_days or 0) + one.receiving_days
    return Reason(text, f"{days} days before: {one.lead_days} of lead time and {one.receiving_days} of receiving")


def _crates(found: Iterable[CrateDue]) -> Iterator[Reminder]:
    for one in found:
        if one.day is None:
            continue
        lines = _count(one.lines, "line", "lines", "to come") or "no list yet"
        reason = Reason(f"{one.crate} is due on {one.day} and is not here", "the crate's due day")
        text = f"{one.crate} for {one.bench} is due: {lines}"
        yield _reminder(one.day, Kind.CRATE, f"{one.crate_id}", text, one.link, (one.crate,), (reason,))


def _lots(found: Iterable[LotDue]) -> Iterator[Reminder]:
    """One a lot, wherever it lies."""
    for (lot, day), ones in _grouped(found, lambda one: one.lot_id):
        first = ones[0]
        total = sum((one.quantity for one in ones), Decimal(0))
        places = ", ".join(dict.fromkeys(one.place for one in ones))
        name = f"lot {first.lot}" if first.lot else "a lot without code"
        state = "" if first.state == "good" else f", {first.state}"
        text = f"{first.item}, {name}: last usable day of {_plain(total)} {first.unit} in {places}{state}"
        yield _reminder(day, Kind.EXPIRY, f"{lot}", text, first.link, (first.item,), first.trace)


def _seal_days(found: Iterable[SealDayDue]) -> Iterator[Reminder]:
    """Before its day what is missing for it; from the day after on that it is to be closed."""
    for one in found:
        steps = _count(len(one.steps), "step", "steps", f"({', '.join(one.steps[:NAMED])}{', ...' if len(one.steps) > NAMED else ''})")
        if one.past:
            text = f"Seal day of {one.bench} is past and not closed: say what was done, and what was left"
            reason = Reason(f"planned for {one.day} with {steps or 'no step'}, neither closed nor called off", "the seal day")
            yield _reminder(one.day, Kind.UNCLOSED, f"{one.day_id}", text, one.link, one.steps, (reason,))
            continue
        missing = _count(len(one.lacking), "thing", "things", "missing for it") or "nothing is missing for it"
        if one.unknown:
            seams = _count(len(one.unknown), "seam", "seams", "of it can't be reckoned")
            missing = f"{seams}, so what is missing isn't known"
        text = f"Seal day of {one.bench}: {steps or 'no step yet'}; {missing}"
        yield _reminder(one.day, Kind.SEAL_DAY, f"{one.day_id}", text, one.link, one.steps, _lacking(one))


def _lacking(one: SealDayDue) -> Iterator[Reason]:
    for fault in one.unknown:
        yield Reason(fault, "the seam's sizes and its product's data sheet")
    if not one.lacking and not one.unknown:
        yield Reason(f"no step of {one.day} is short of anything", NETTING)
    for lack in one.lacking:
        yield Reason(f"{lack.item}: {_plain(lack.short)} {lack.unit} short for {', '.join(lack.steps)}", f"{NETTING} of {lack.project}")


def _cures(found: Iterable[CureDue]) -> Iterator[Reminder]:
    """One a product of a day: what may be gone on with then."""
    for one in found:
        named = ", ".join(one.frees[:NAMED]) + (f" and {len(one.frees) - NAMED} more" if len(one.frees) > NAMED else "")
        goes_on = f"{named} may go on" if named else "no step waits for it"
        text = f"{one.item} of {one.bench} is cured{', as planned,' if one.planned else ''} at {one.at:%H:%M}: {goes_on}"
        yield _reminder(one.day, Kind.CURE, f"{one.day_id}:{one.item_id}", text, one.link, (one.item, *one.frees), one.trace)


def _loans(found: Iterable[LoanDue]) -> Iterator[Reminder]:
    for one in found:
        if one.day is None:
            continue
        text = f"{_plain(one.quantity)} {one.unit} of {one.item} {_are(one.quantity)} to be back"
        before = _count(one.days_before, "day", "days", "before on") or "that day on"
        reason = Reason(f"due on {one.day}: mails speak of it from {before}", "the club's rules of lending")
        made = _reminder(one.day, Kind.LOAN, f"{one.loan_id}", text, one.link, (one.item,), (*one.trace, reason))
        yield replace(made, since=one.day - timedelta(days=min(one.days_before, (one.day - date.min).days)))


def _bookings(found: Iterable[BookingDue]) -> Iterator[Reminder]:
    for one in found:
        text = f"{_plain(one.quantity)} {one.unit} of {one.item} {_are(one.quantity)} yours through {one.last}: to be fetched"
        yield _reminder(one.day, Kind.BOOKING, f"{one.booking_id}", text, one.link, (one.item,), one.trace)


def _are(quantity: Decimal) -> str:
    return "is" if quantity == 1 else "are"


def _grouped(found: Iterable[Due], of: Callable[[Due], int]) -> Iterator[tuple[tuple[int, date], list[Due]]]:
    groups: dict[tuple[int, date], list[Due]] = defaultdict(list)
    for one in found:
        if one.day is not None:
            groups[of(one), one.day].append(one)
    yield from groups.items()


def _plain(quantity: Decimal) -> str:
    return decimal_text(Fraction(quantity))


def _reminder(  # noqa: PLR0913 - its parts, in order
    day: date, kind: Kind, key: str, text: str, link: str, about: Iterable[str], trace: Iterable[Reason]
) -> Reminder:
    reasons = tuple(Reason(printable(one.text), printable(one.source)) for one in trace)
    return Reminder(day, kind, key, printable(text), link, tuple(about), reasons)
