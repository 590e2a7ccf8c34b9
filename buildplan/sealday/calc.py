"""Who is there and when, which step gets what of a batch, and what waits for a cure. Pure: no Django, no clock."""

import math
from collections import deque
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

HOUR = 3600


@dataclass(frozen=True, slots=True)
class Presence:
    """When anybody is there. `hands` are the fewest at once while anybody is; `hours` how long that is, `together` all people's added up.

    `gaps` are the times between `first` and `last` at which nobody is.
    """

    hands: int
    hours: Fraction
    together: Fraction
    gaps: tuple[tuple[time, time], ...]
    first: time | None
    last: time | None


def presence(spans: Iterable[tuple[time, time]]) -> Presence:
    """What people's hours come to: each is there from the first of two times until just before the second.

    `ValueError` names `goes` where somebody goes before they come.
    """
    kept = [(_seconds(comes), _seconds(goes)) for comes, goes in spans]
    if any(goes <= comes for comes, goes in kept):
        raise ValueError("goes: must be after they come")
    bounds = sorted({bound for span in kept for bound in span})
    stretches = [(start, end, _there(kept, start)) for start, end in pairwise(bounds)]
    manned = [stretch for stretch in stretches if stretch[2]]
    return Presence(
        hands=min((there for _, _, there in manned), default=0),
        hours=Fraction(sum(end - start for start, end, _ in manned), HOUR),
        together=Fraction(sum(goes - comes for comes, goes in kept), HOUR),
        gaps=tuple((_time(start), _time(end)) for start, end, there in stretches if not there),
        first=_time(bounds[0]) if bounds else None,
        last=_time(bounds[-1]) if bounds else None,
    )


def hours_of(comes: time, goes: time) -> Fraction:
    """How long somebody is there."""
    return Fraction(_seconds(goes) - _seconds(comes), HOUR)


def _seconds(moment: time) -> int:
    return moment.hour * HOUR + moment.minute * 60 + moment.second


def _time(seconds: int) -> time:
    hours, rest = divmod(seconds, HOUR)
    return time(hours, *divmod(rest, 60))


def _there(spans: Iterable[tuple[int, int]], moment: int) -> int:
    return sum(comes <= moment < goes for comes, goes in spans)


def share_out(sizes: Sequence[Decimal], needs: Sequence[tuple[int, Decimal]]) -> tuple[tuple[tuple[int, Decimal], ...], ...]:
    """What of each batch is for which need, both in order, by running sums: a batch begins where the one before it ended.

    The shares of a batch add up to it exactly. What the batches leave over of the needs is the last needs'. `ValueError` names `sizes`
    where they come to more than the needs.
    """
    if sum(sizes, Decimal(0)) > sum((grams for _, grams in needs), Decimal(0)):
        raise ValueError("sizes: more than is needed")
    waiting = deque((key, grams) for key, grams in needs if grams > 0)
    return tuple(tuple(_shares(size, waiting)) for size in sizes)


def _shares(size: Decimal, waiting: deque[tuple[int, Decimal]]) -> Iterator[tuple[int, Decimal]]:
    """What a batch gives to the needs that wait, which lose it."""
    while size > 0:
        key, grams = waiting.popleft()
        taken = min(size, grams)
        size -= taken
        if taken < grams:
            waiting.appendleft((key, grams - taken))
        yield key, taken


def reachable(start: Iterable[int], links: Mapping[int, Collection[int]]) -> frozenset[int]:
    """All that `links` lead to, directly or through others; what is started from only where a link leads back to it."""
    found: set[int] = set()
    open_ends = list(start)
    while open_ends:
        for after in links.get(open_ends.pop(), ()):
            if after not in found:
                found.add(after)
                open_ends.append(after)
    return frozenset(found)


def cured(last: datetime, hours: Fraction) -> datetime:
    """When a batch mixed at `last` is cured, rounded up to a minute: sooner would be too soon."""
    exact = last + timedelta(seconds=math.ceil(hours * HOUR))
    whole = exact.replace(second=0, microsecond=0)
    return whole if whole == exact else whole + timedelta(minutes=1)
