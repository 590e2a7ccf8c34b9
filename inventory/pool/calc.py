"""Who may have what when: what is held at once, what is free, and whose turn it is. Pure: no Django, no clock.

Days are whole and both ends count: what is promised from Friday to Saturday is free again on Sunday.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from inventory.common.exact import decimal_text
from inventory.common.reasons import ARITHMETIC, Reason

NOTHING = Decimal(0)
ONE_DAY = timedelta(days=1)
LENT, BOOKED = "lent", "booked"
FAIR = "a club's fair turn, a starting value of ours: longest without first"


@dataclass(frozen=True, slots=True)
class Span:
    """Pieces that somebody has or was promised, from the first day to the last, both included; `last` None is without an end.

    `id` is the loan's or booking's, `what` says which of the two.
    """

    what: str
    id: int
    who: str
    quantity: Decimal
    first: date
    last: date | None

    def on(self, day: date) -> bool:
        """Whether it holds that day."""
        return self.first <= day and (self.last is None or day <= self.last)


@dataclass(frozen=True, slots=True)
class Pot:
    """What is booked as one: the counted pieces of an item (`thing` None), or one single thing."""

    thing: int | None
    there: Decimal
    spans: tuple[Span, ...] = ()
    name: str = ""

    def without(self, *gone: Span) -> "Pot":
        """The same pot as if these were not there."""
        return replace(self, spans=tuple(span for span in self.spans if span not in gone))

    def having(self, span: Span) -> "Pot":
        """The same pot with one more held."""
        return replace(self, spans=(*self.spans, span))


@dataclass(frozen=True, slots=True)
class Clash:
    """Why a pot can't give what is asked: on `day`, the first such, `free` of `there` are left since `spans` hold the rest."""

    day: date
    there: Decimal
    free: Decimal
    spans: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Wish:
    """A waiting booking."""

    id: int
    member: int
    who: str
    quantity: Decimal
    first: date
    last: date
    asked_at: datetime
    thing: int | None = None


@dataclass(frozen=True, slots=True)
class Turn:
    """Where a wish stands in the line, from 1, and why."""

    wish: Wish
    place: int
    reason: Reason


@dataclass(frozen=True, slots=True)
class Granted:
    """A wish that gets its turn, and of which pot."""

    wish: Wish
    thing: int | None
    reason: Reason = field(compare=False)


def held(spans: Iterable[Span], day: date) -> Decimal:
    """What is held on a day."""
    return sum((span.quantity for span in spans if span.on(day)), NOTHING)


def peak(spans: Sequence[Span], first: date, last: date | None) -> tuple[Decimal, date]:
    """The most held at once on any day from `first` to `last` (None: whenever), and the earliest such day."""
    days = [first, *sorted(span.first for span in spans if first < span.first and (last is None or span.first <= last))]
    found = [(held(spans, day), day) for day in days]  # it only ever rises where a span begins
    most = max(quantity for quantity, _ in found)
    return most, next(day for quantity, day in found if quantity == most)


def clash(pot: Pot, quantity: Decimal, first: date, last: date | None) -> Clash | None:
    """The first day from `first` to `last` on which the pot has not `quantity` more to give; None where it has on each."""
    days = [first, *sorted(span.first for span in pot.spans if first < span.first and (last is None or span.first <= last))]
    for day in days:
        free = pot.there - held(pot.spans, day)
        if free < quantity:
            return Clash(day, pot.there, max(free, NOTHING), tuple(span for span in pot.spans if span.on(day)))
    return None


def find(pots: Sequence[Pot], quantity: Decimal, first: date, last: date | None, thing: int | None) -> Pot | Clash | None:
    """The first pot that can give `quantity` on all these days, else the clash that comes latest; None where no pot is that large.

    Counted pieces come before single things, and a single thing gives one.
    """
    asked = [pot for pot in pots if (thing is None or pot.thing == thing) and pot.there >= quantity]
    clashes = []
    for pot in asked:
        if (found := clash(pot, quantity, first, last)) is None:
            return pot
        clashes.append(found)
    return max(clashes, key=lambda one: one.day, default=None)


def turns(waiting: Iterable[Wish], had: Mapping[int, date]) -> tuple[Turn, ...]:
    """The line: who is longest without comes first. `had` is each member's last day with one (`date.max`: still).

    Who never had one is longest without; ties by when they asked.
    """
    line = sorted(waiting, key=lambda wish: (had.get(wish.member, date.min), wish.asked_at, wish.id))
    return tuple(Turn(wish, at, Reason(_why(wish, had.get(wish.member)), FAIR)) for at, wish in enumerate(line, 1))


def _why(wish: Wish, last: date | None) -> str:
    asked = f"asked on {wish.asked_at:%Y-%m-%d}"
    if last is None:
        return f"{wish.who} never had one; {asked}"
    if last == date.max:
        return f"{wish.who} has one still; {asked}"
    return f"{wish.who} had one last until {last}; {asked}"


def serve(waiting: Iterable[Wish], had: Mapping[int, date], pots: Sequence[Pot]) -> tuple[Granted, ...]:
    """Who gets their turn now. After each the line is made anew, since who was just served is no longer the longest without.

    A wish that doesn't fit is passed over: what it waits for would lie idle.
    """
    left, lasts, now, found = list(waiting), dict(had), list(pots), []
    while (granted := _next(turns(left, lasts), now)) is not None:
        wish = granted.wish
        found.append(granted)
        left.remove(wish)
        lasts[wish.member] = max(lasts.get(wish.member, date.min), wish.last)
        now = [pot.having(_span(wish)) if pot.thing == granted.thing else pot for pot in now]
    return tuple(found)


def _next(line: Sequence[Turn], pots: Sequence[Pot]) -> Granted | None:
    for turn in line:
        wish = turn.wish
        pot = find(pots, wish.quantity, wish.first, wish.last, wish.thing)
        if isinstance(pot, Pot):
            return Granted(wish, pot.thing, turn.reason)
    return None


def _span(wish: Wish) -> Span:
    return Span(BOOKED, wish.id, wish.who, wish.quantity, wish.first, wish.last)


@dataclass(frozen=True, slots=True)
class Day:
    """One day of a pool item. `over` is what was promised beyond what is there."""

    day: date
    there: Decimal
    lent: Decimal
    booked: Decimal
    free: Decimal
    over: Decimal
    spans: tuple[Span, ...]
    trace: tuple[Reason, ...]


def days(there: Decimal, spans: Sequence[Span], first: date, last: date) -> Iterator[Day]:
    """Each day from `first` to `last`: what is there, lent, booked, and free."""
    for at in range((last - first).days + 1):
        day = first + timedelta(days=at)
        on = tuple(span for span in spans if span.on(day))
        lent = sum((span.quantity for span in on if span.what == LENT), NOTHING)
        booked = sum((span.quantity for span in on if span.what == BOOKED), NOTHING)
        left = there - lent - booked
        text = f"{_plain(there)} there - {_plain(lent)} lent - {_plain(booked)} booked = {_plain(left)}"
        reasons = (*(Reason(said(span), span.what) for span in on), Reason(text, ARITHMETIC))
        yield Day(day, there, lent, booked, max(left, NOTHING), max(-left, NOTHING), on, reasons)


def said(span: Span) -> str:
    """Who holds how many, and until when."""
    has = "has" if span.what == LENT else "booked"
    until = f"until {span.last}" if span.last else "without a day when they come back"
    return f"{span.who} {has} {_plain(span.quantity)} from {span.first} {until}"


def _plain(value: Decimal) -> str:
    return decimal_text(Fraction(value))
