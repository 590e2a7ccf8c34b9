"""When to buy what dies: not so late that a step waits, not so early that it is dead before its last use. Pure.

What arrives has at least a stated part of its life left: 85 % where nothing else is agreed (MIL-DTL-5516D par. 6.5).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from inventory.shelflife.calc import StatedDate

FRESH = Fraction(85, 100)


@dataclass(frozen=True, slots=True)
class Window:
    """The days on which to buy, both included. `first` is None where nothing is too early, `last` where no lead time is known."""

    first: date | None
    last: date | None

    @property
    def empty(self) -> bool:
        """No day does."""
        return self.first is not None and self.last is not None and self.first > self.last

    def holds(self, other: "Window") -> bool:
        """Every day of `other` is one of these."""
        return (self.first or date.min) <= (other.first or date.min) and (other.last or date.max) <= (self.last or date.max)


@dataclass(frozen=True, slots=True)
class Fresh:
    """What must live through `last`: a whole life up to there starts on `start` and has `days`; `left` of them are left on arrival."""

    start: date
    last: date
    days: int
    left: int

    def ordered(self, lead_days: int) -> date | None:
        """The first day on which an order arrives that fresh; None where that is before the calendar."""
        first = self.last.toordinal() - self.left - lead_days
        return date.fromordinal(first) if first >= 1 else None


def fresh_for(last_short: date, *, life_months: int, min_life_days: int, fresh: Fraction = FRESH) -> Fresh | None:
    """How fresh what arrives is for the last day that is short; None where a life up to there leaves the calendar.

    It must live through D = `last_short` + `min_life_days`. Its whole life of months, counted back from D, is L days; what arrives
    has at least floor(`fresh` x L) of them left.
    """
    ordinal = last_short.toordinal() + min_life_days
    if ordinal > date.max.toordinal():
        return None
    last = date.fromordinal(ordinal)
    try:
        start = StatedDate(last).plus_months(-life_months)
    except ValueError:
        return None
    days = (last - start).days
    return Fresh(start, last, days, days * fresh.numerator // fresh.denominator)


def not_before(last_short: date, *, life_months: int, min_life_days: int, lead_days: int, fresh: Fraction = FRESH) -> date | None:
    """The first day on which an order arrives fresh enough for the last day that is short; None where that is before the calendar."""
    found = fresh_for(last_short, life_months=life_months, min_life_days=min_life_days, fresh=fresh)
    return None if found is None else found.ordered(lead_days)


def purchases(windows: Sequence[Window]) -> list[Window]:
    """The fewest purchases that serve every window, each as the days on which it can be made.

    By the earliest end first: a window joins the purchase before it as long as one day does for all of them (the classic
    stabbing of intervals, which is optimal). An empty window can't be served and is left out.
    """
    possible = sorted((window for window in windows if not window.empty), key=lambda window: window.last or date.max)
    found: list[Window] = []
    for window in possible:
        shared = _shared(found[-1], window) if found else None
        if shared is None:
            found.append(window)
        else:
            found[-1] = shared
    return found


def _shared(one: Window, other: Window) -> Window | None:
    first = max(one.first or date.min, other.first or date.min)
    last = min(one.last or date.max, other.last or date.max)
    if first > last:
        return None
    return Window(None if first == date.min else first, None if last == date.max else last)
