"""The days on which to buy what dies, for each day on which it is short: one purchase for all of them, or how many. Pure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from buildplan.shortfall.calc import ONE_DAY, Line, Need, back, to_buy
from buildplan.shortfall.windows import FRESH, Fresh, Window, fresh_for, not_before, purchases
from inventory.common.fields import plain
from inventory.common.reasons import Reason

PUBLISHED = f"MIL-DTL-5516D par. 6.5: at least {FRESH * 100} % of the life is left on receipt"
BUNDLING = "computed: the fewest days that lie in the window of each short day (intervals stabbed by their earliest end)"


@dataclass(frozen=True, slots=True)
class Purchase:
    """One purchase: the days on which it can be made, the needs it serves, what they stay short of, and whole packs of that."""

    window: Window
    needs: tuple[Need, ...]
    quantity: Decimal
    buy: Decimal

    @property
    def steps(self) -> str:
        """The steps with their days."""
        return _steps(self.needs)


@dataclass(frozen=True, slots=True)
class Buying:
    """The window of a line: `not_before` to `order_by`. `moved_by` says which dates move it, where no day lies in it.

    `purchases` are the fewest that serve every short day; `unserved` are needs that no purchase reaches in time and alive.
    """

    window: Window
    moved_by: str
    purchases: tuple[Purchase, ...]
    unserved: tuple[Need, ...]

    @property
    def several_days(self) -> bool:
        """More than one day is short."""
        days = {need.day for purchase in self.purchases for need in purchase.needs} | {need.day for need in self.unserved}
        return len(days) > 1

    @property
    def words(self) -> str:
        """How many purchases do, as a sentence says it."""
        if self.unserved and not self.purchases:
            return "no purchase comes in time and fresh enough"
        first = "one purchase serves them all" if len(self.purchases) == 1 else f"{len(self.purchases)} purchases are needed"
        return f"{first}, save for {_steps(self.unserved)}, which none reaches" if self.unserved else first


def buying(line: Line) -> Buying | None:
    """When to buy what dies; None where nothing is short, it has no life, or no lead time is known."""
    if line.not_before is None or line.order_by is None:
        return None
    window = Window(line.not_before, line.order_by)
    by_day = _windows(line)
    served = _served(by_day, line.as_of)
    made = tuple(_purchase(line, bought, days) for bought, days in served)
    unserved = tuple(need for need, _ in line.missing if not any(need.day in days for _, days in served))
    return Buying(window, _moved_by(line, window) if window.empty else "", made, unserved)


def why(line: Line) -> Iterator[Reason]:
    """The arithmetic of `not_before`, an empty window with what moves it, and how many purchases do."""
    months = line.item.rule.life_months
    if not months or line.last_short is None:
        return
    fresh = fresh_for(line.last_short, life_months=months, min_life_days=line.item.rule.min_life_days)
    if line.item.lead_days is None:
        yield Reason("no not-before day: no lead time is known", f"lead_days of {line.item.code} is blank in the catalogue")
        return
    found = buying(line)
    if found is None or fresh is None:
        yield Reason(f"no day is too early: {months} months before {line.last_short} is before the calendar", PUBLISHED)
        return
    yield Reason(_sum(line, fresh), f"{PUBLISHED}; life_months, min_life_days and lead_days of the catalogue")
    if found.moved_by:
        both = f"no day to buy: not before {line.not_before} is after order by {line.order_by}"
        yield Reason(f"{both}; {found.moved_by}", "computed from the two dates")
    if found.several_days:
        parts = "; ".join(f"{plain(one.quantity)} {line.item.unit} {_span(one.window)} for {one.steps}" for one in found.purchases)
        yield Reason(f"short on several days: {found.words}{': ' if parts else ''}{parts}", BUNDLING)


def _sum(line: Line, fresh: Fresh) -> str:
    last = f"{line.last_short} (the last short day)"
    if line.item.rule.min_life_days:
        last = f"{last} + {line.item.rule.min_life_days} days of life that must be left = {fresh.last}"
    life = f"a life of {line.item.rule.life_months} months to then, from {fresh.start}, is {fresh.days} days"
    left = f"{FRESH * 100} % of them, rounded down, are {fresh.left}"
    return f"not before {line.not_before} = {fresh.last} - {fresh.left} days - {line.item.lead_days} days lead time: {last}; {life}; {left}"


def _windows(line: Line) -> dict[date, Window]:
    """The window of each short day by itself."""
    days = dict.fromkeys(need.day for need, _ in line.missing) or dict.fromkeys(day for day in (line.first_short, line.last_short) if day)
    return {day: Window(_not_before(line, day), _order_by(line, day)) for day in days}


def _not_before(line: Line, day: date) -> date | None:
    rule = line.item.rule
    return not_before(day, life_months=rule.life_months or 0, min_life_days=rule.min_life_days, lead_days=line.item.lead_days or 0)


def _order_by(line: Line, day: date) -> date:
    return back(day, (line.item.lead_days or 0) + line.receiving_days)


def _served(by_day: dict[date, Window], as_of: date) -> list[tuple[Window, set[date]]]:
    """The fewest purchases with the short days that each serves, a day by the first that does."""
    left = {day: _from_now(window, as_of) for day, window in by_day.items() if not window.empty}
    found = []
    for bought in purchases(list(left.values())):
        days = {day for day, window in left.items() if window.holds(bought)}
        left = {day: window for day, window in left.items() if day not in days}
        found.append((bought, days))
    return found


def _from_now(window: Window, as_of: date) -> Window:
    """Nothing is bought before today; what should have been ordered by now is ordered today, late as it is."""
    return Window(max(window.first or as_of, as_of), max(window.last or as_of, as_of))


def _purchase(line: Line, bought: Window, days: set[date]) -> Purchase:
    needs = [(need, short) for need, short in line.missing if need.day in days]
    quantity = sum((short for _, short in needs), Decimal(0))
    return Purchase(bought, tuple(need for need, _ in needs), quantity, to_buy(quantity, line.item.pack)[0])


def _moved_by(line: Line, window: Window) -> str:
    """Which date moves an empty window, and how far."""
    if line.first_short is None or line.last_short is None or window.first is None or window.last is None:
        return ""
    gap = window.first - window.last
    earlier = _latest(line, line.last_short - gap, window.last)
    if earlier is None or line.first_short == line.last_short:
        life = line.item.rule
        least = f" or fewer than {life.min_life_days} days that must be left" if life.min_life_days else ""
        days = f"{gap.days} day{'' if gap.days == 1 else 's'}"
        allowance = f"a receiving allowance under {line.receiving_days} days"
        return f"no date of a step moves it: what comes has {days} of life too few; a fresher delivery, {allowance}{least} would do"
    last, first = _on(line, line.last_short), _on(line, line.first_short)
    return f"it opens if {last} comes on {earlier} or before, or {first} on {line.first_short + gap} or later; or buy more than once"


def _latest(line: Line, day: date, order_by: date) -> date | None:
    """The latest day, from `day` down, for which an order on `order_by` isn't too early; months differ by a few days."""
    while line.first_short is not None and day >= line.first_short:
        first = _not_before(line, day)
        if first is None or first <= order_by:
            return day
        day -= ONE_DAY
    return None


def _on(line: Line, day: date) -> str:
    labels = dict.fromkeys(need.label for need, _ in line.missing if need.day == day)
    return f"{', '.join(labels) or 'what is short'} on {day}"


def _steps(needs: Sequence[Need]) -> str:
    return ", ".join(dict.fromkeys(f"{need.label} on {need.day}" for need in needs))


def _span(window: Window) -> str:
    if window.first == window.last:
        return f"on {window.first}"
    return f"from {window.first} to {window.last}"
