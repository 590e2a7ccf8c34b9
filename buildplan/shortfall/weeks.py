"""Stock against need, week by week: what is there, what comes and dies, what is taken, what is left and what is missing. Pure.

The figures are those of netting (`calc.net`), added up from Monday through Sunday, so that picture and order sheet can't differ: of what
is used up the weeks' missing adds up to `short`; of what comes back it is the most that any week lacks.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from itertools import groupby
from operator import attrgetter

from buildplan.shortfall.calc import NOTHING, ONE_DAY, Line, Stock
from buildplan.shortfall.pins import since
from inventory.common.drawing import later
from inventory.common.fields import plain
from inventory.common.reasons import Reason

MOST = 53  # weeks that stand alone, a year; the last one is of all days after them. A starting value of ours
DAYS = 7
SOURCE = "the netting of the order sheet, added up week by week"


@dataclass(frozen=True, slots=True)
class Week:
    """Some days in a row, mostly Monday through Sunday. `last` is the calendar's last day where no end of a need is known.

    `opening` is the usable stock before anything of the week; `came` is due in it, `died` can't serve from some day of it on.
    Of what is used up, `need` is what steps want in it, `missing` what of that nothing serves, and
    opening + came - died - (need - missing) = left. Of what comes back, `need` is the most that is held at once, `missing` the most that
    lacks, and opening + came - died = left.
    """

    first: date
    last: date
    opening: Decimal
    came: Decimal
    died: Decimal
    need: Decimal
    missing: Decimal
    left: Decimal

    @property
    def quiet(self) -> bool:
        """Nothing is needed, comes or dies."""
        return not (self.need or self.came or self.died)

    @property
    def open(self) -> bool:
        """No end of it is known."""
        return self.last == date.max


@dataclass(slots=True)
class _Sums:
    """What happens in a week, while it is being added up."""

    came: Decimal = NOTHING
    died: Decimal = NOTHING
    need: Decimal = NOTHING
    missing: Decimal = NOTHING


Days = tuple[date, date]


def weeks(line: Line) -> tuple[Week, ...]:
    """The weeks from the demand's day through the one of the last need."""
    frames = _frames(line.as_of, max(need.through if line.item.returned else need.day for need in line.needs))
    return tuple(_holding(line, frames) if line.item.returned else _using(line, frames))


def first_short(found: Sequence[Week]) -> Week | None:
    """The first week in which something is missing."""
    return next((week for week in found if week.missing), None)


def rows(found: Sequence[Week]) -> tuple[Week, ...]:
    """The weeks for a table: quiet ones in a row are one."""
    return tuple(_rows(found))


def _rows(found: Sequence[Week]) -> Iterator[Week]:
    for quiet, group in groupby(found, key=attrgetter("quiet")):
        same = list(group)
        yield from [replace(same[0], last=same[-1].last, left=same[-1].left)] if quiet else same


def _frames(as_of: date, last: date) -> list[Days]:
    """Through the Sunday of the week, then from Monday through Sunday; after `MOST` weeks one of all the rest."""
    frames = [(as_of, later(as_of, DAYS - 1 - as_of.weekday()))]
    while frames[-1][1] < last and len(frames) < MOST:
        first = frames[-1][1] + ONE_DAY
        frames.append((first, later(first, DAYS - 1)))
    if frames[-1][1] < last:
        frames.append((frames[-1][1] + ONE_DAY, last))
    return frames


def _at(frames: Sequence[Days], day: date) -> int | None:
    """Which of them a day lies in; one before them counts in the first, one after them in none."""
    if day <= frames[0][1]:
        return 0
    at = 1 + (day - frames[0][1] - ONE_DAY).days // DAYS
    return min(at, len(frames) - 1) if day <= frames[-1][1] else None


@dataclass(slots=True)
class _Ledger:
    """The weeks of what is used up, while they are being added up."""

    frames: Sequence[Days]
    sums: dict[int, _Sums] = field(default_factory=lambda: defaultdict(_Sums))
    opening: Decimal = NOTHING

    def on(self, day: date) -> _Sums:
        """The sums of the week of a day; what happens after the last one is added up for nobody."""
        at = _at(self.frames, day)
        return _Sums() if at is None else self.sums[at]

    def count(self, stock: Stock, counted: Decimal, taken: Decimal) -> None:
        """Add a supply: here or on its way, and dead one day where somebody knows which. What is dead before it is here never counts."""
        as_of, ready, until = self.frames[0][0], stock.supply.ready, stock.serves_until
        if until < max(ready or as_of, as_of):
            return
        if ready is None:
            self.opening += counted
        else:
            self.on(ready).came += counted
        if until < date.max:
            self.on(until + ONE_DAY).died += counted - taken


def _using(line: Line, frames: Sequence[Days]) -> Iterator[Week]:
    ledger = _Ledger(frames)
    for need in line.needs:
        ledger.on(need.day).need += need.quantity
    for need, quantity in line.missing:
        ledger.on(need.day).missing += quantity
    for stock, counted, taken in _counted(line):
        ledger.count(stock, counted, taken)
    opening = ledger.opening
    for at, (first, last) in enumerate(frames):
        sums = ledger.sums[at]
        left = opening + sums.came - sums.died - (sums.need - sums.missing)
        yield Week(first, last, opening, sums.came, sums.died, sums.need, sums.missing, left)
        opening = left


def _counted(line: Line) -> Iterator[tuple[Stock, Decimal, Decimal]]:
    """Each usable supply, with what of it counts, and what is taken. What is set aside and its step doesn't take counts for nobody."""
    taken: dict[tuple[int, int], Decimal] = defaultdict(Decimal)
    for need, supply, quantity in line.served:
        taken[supply.key, need.step] += quantity
    in_all: dict[int, Decimal] = defaultdict(Decimal)
    for (key, _), quantity in taken.items():
        in_all[key] += quantity
    for supply in line.supplies:
        if supply.blocked is None:
            stock = Stock(supply, line.item.rule.min_life_days)
            yield stock, supply.quantity - _idle(stock, taken), in_all[supply.key]


def _idle(stock: Stock, taken: Mapping[tuple[int, int], Decimal]) -> Decimal:
    """A step takes what is set aside for it before anything else, so what it took of the supply is that first."""
    held = stock.held or {}
    return sum((quantity - min(quantity, taken.get((stock.supply.key, step), NOTHING)) for step, quantity in held.items()), NOTHING)


def _holding(line: Line, frames: Sequence[Days]) -> Iterator[Week]:
    """Weeks of what comes back: what changes on a day holds until the next change."""
    days = since(line.held, line.as_of)
    held, there = days[0][1], days[0][2]
    at = 1
    for first, last in frames:
        opening, sums = there, _Sums(need=held, missing=max(held - there, NOTHING))
        if at < len(days) and days[at][0] == first:
            sums.need = sums.missing = NOTHING  # what was held until yesterday is of the week before
        while at < len(days) and days[at][0] <= last:
            _, held, now = days[at]
            sums.came += max(now - there, NOTHING)
            sums.died += max(there - now, NOTHING)
            sums.need, sums.missing = max(sums.need, held), max(sums.missing, held - now)
            there, at = now, at + 1
        yield Week(first, last, opening, sums.came, sums.died, sums.need, sums.missing, there)


def why(line: Line, found: Sequence[Week]) -> Iterator[Reason]:
    """How the weeks came by their figures: those in which anything happens, and the sum that the order sheet has."""
    for week in found:
        if not week.quiet:
            yield Reason(f"{_days(week)}: {_sum_of(week, line.item.unit, returned=line.item.returned)}", SOURCE)
    yield _total(line, found)


def _days(week: Week) -> str:
    return f"from {week.first} on" if week.open else f"{week.first} through {week.last}"


def _sum_of(week: Week, unit: str, *, returned: bool) -> str:
    changes = "".join(f" {sign} {plain(quantity)} {what}" for sign, quantity, what in _changes(week) if quantity)
    missing = f", {plain(week.missing)} missing" if week.missing else ""
    if returned:
        return f"{plain(week.opening)} {unit} there{changes} = {plain(week.left)}; {plain(week.need)} held at once at most{missing}"
    taken = f" - {plain(week.need - week.missing)} taken" if week.need else ""
    wanted = f"; {plain(week.need)} needed{missing}" if week.need else ""
    return f"{plain(week.opening)} {unit} usable{changes}{taken} = {plain(week.left)} left{wanted}"


def _changes(week: Week) -> tuple[tuple[str, Decimal, str], ...]:
    return ("+", week.came, "due"), ("-", week.died, "that can't serve any more")


def _total(line: Line, found: Sequence[Week]) -> Reason:
    short = first_short(found)
    if short is None:
        return Reason("nothing is missing in any week, and nothing is short on the order sheet", SOURCE)
    words = "the most that is missing" if line.item.returned else "missing in all weeks together"
    return Reason(f"{words}: {plain(line.short)} {line.item.unit}, short on the order sheet, first in the week of {short.first}", SOURCE)
