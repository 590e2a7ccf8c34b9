"""The timeline of lots that age, as places in a picture: the template draws it, the table beside it says the same.

Widths are percent of the picture, heights its own units: text then keeps its size however wide the picture is shown.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from buildplan.ageing.queries import Row
from inventory.common import filters
from inventory.common.drawing import Tick, cut, later, middle, percent, ticks

ROW, TEXT, BAR, THICK, FOOT = 50, 15, 22, 20, 26  # heights: of a row, to its words, to its bar, of the bar, of the days below
SHORTEST, ROOM, LONGEST = 30, 180, 730  # days that the picture shows: at least, for lots that outlive all needs, and at most
SOON = 30
MOST_ITEM, MOST_LOT = 18, 10  # characters before the words at the right are reached, on a phone


@dataclass(frozen=True, slots=True)
class Mark:
    """A need on its day: `taken` where netting takes it from this lot."""

    x: str
    y: int
    words: str
    taken: bool


@dataclass(frozen=True, slots=True)
class Bar:
    """A lot: from today to its last usable day. `kind` is alive, soon, dead or unknown; `beyond`: it ends right of the picture."""

    top: int
    text: int
    width: str
    kind: str
    beyond: bool
    name: str
    words: str
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Timeline:
    """What the template draws. `foot` is where the plot ends and `days_at` where its days are written."""

    bars: tuple[Bar, ...]
    ticks: tuple[Tick, ...]
    height: int
    foot: int
    days_at: int
    last: date


def timeline(rows: Sequence[Row], today: date) -> Timeline | None:
    """The picture of some rows; None without any."""
    if not rows:
        return None
    days = _days(rows, today)
    foot = len(rows) * ROW
    bars = tuple(_bar(row, at * ROW, days, today) for at, row in enumerate(rows))
    return Timeline(bars, ticks(today, days), foot + FOOT, foot, foot + TEXT + 3, later(today, days - 1))


def _days(rows: Sequence[Row], today: date) -> int:
    """How many days the picture shows, today among them: all needs and deaths, but one lot of many years squeezes no other."""
    needed = _furthest((use.day for row in rows for use in row.uses), today)
    last = max(needed, _furthest((row.last_day for row in rows if row.last_day), today))
    return min(max(last, SHORTEST), max(2 * needed, ROOM), LONGEST, (date.max - today).days)


def _furthest(days: Iterable[date], today: date) -> int:
    return max(((day - today).days + 1 for day in days), default=0)


def _bar(row: Row, top: int, days: int, today: date) -> Bar:
    kind, lived = _kind(row), _lived(row)
    return Bar(
        top=top + BAR,
        text=top + TEXT,
        width=percent(100 if lived is None else min(lived, days) * Decimal(100) / days),
        kind=kind,
        beyond=lived is not None and lived > days,
        name=_name(row),
        words=_words(row),
        marks=tuple(_marks(row, top, days, today)),
    )


def _kind(row: Row) -> str:
    if row.days_left is None:
        return "unknown"
    if row.dead:
        return "dead"
    return "soon" if row.days_left <= SOON else "alive"


def _lived(row: Row) -> int | None:
    """The days from today through the last usable one; None where nobody knows."""
    return None if row.days_left is None else max(0, row.days_left + 1)


def _marks(row: Row, top: int, days: int, today: date) -> Iterator[Mark]:
    """Needs in the middle of their days: those that take from the lot, and those for which it is dead."""
    for use in (*row.taking, *row.late):
        at = (use.day - today).days
        if 0 <= at < days:
            yield Mark(percent(middle(at, days)), top + BAR + THICK // 2, f"{use.label}, {use.day}", bool(use.taken))


def _name(row: Row) -> str:
    held = row.expiry.held
    return " ".join(cut(text, most) for text, most in ((held.item, MOST_ITEM), (held.lot, MOST_LOT)) if text)


def _words(row: Row) -> str:
    if row.days_left is None:
        return pgettext("timeline", "life unknown")
    if row.dead:
        return _("dead %(days)s") % {"days": filters.days(-row.days_left)}
    return filters.days(row.days_left) if row.days_left else _("last day")
