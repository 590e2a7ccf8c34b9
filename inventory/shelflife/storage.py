"""How warm a lot lay, and what that costs of its life. Pure: no Django, no clock.

A reading holds until the next one, for the rule's longest gap at most: after that nobody knows, and the gap is said.
Rules are a workshop's own, from the product's data sheet: manuals differ (T.O. 1-1-700 par. 12.8 stores at or under 80 F; another
manual at or under 25 C and not below 16 C).
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from heapq import heappop, heappush
from itertools import groupby, pairwise

from inventory.shelflife.calc import Limit, mean_kinetic_temperature

COLDEST, HOTTEST = -90.0, 90.0  # what a room, a fridge or a parked car can be; past it a sensor is broken. Ours, not a source's
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Reading:
    """What a thermometer showed: an instant with its zone, and degrees Celsius."""

    at: datetime
    celsius: float


@dataclass(frozen=True, slots=True)
class Stay:
    """Where a lot lay from `start` until just before `end`; no end: it lies there still."""

    place: str
    start: datetime
    end: datetime | None = None


@dataclass(frozen=True, slots=True)
class StorageRule:
    """How an item is to be stored, in Celsius; None where nothing is stated.

    Outside `low` to `high` is an excursion, after which it is used within `use_within_days` of its start. Outside `never_below` to
    `never_above` it is not used any more until somebody has asked: the day it began is its last.
    """

    source: str
    low: float | None = None
    high: float | None = None
    use_within_days: int | None = None
    never_below: float | None = None
    never_above: float | None = None
    longest_gap: timedelta = timedelta(hours=6)


@dataclass(frozen=True, slots=True)
class Excursion:
    """A time in a row outside the rule. `worst` is the reading farthest out; `stop`: outside what is never allowed."""

    place: str
    start: datetime
    end: datetime
    worst: float
    stop: bool


@dataclass(frozen=True, slots=True)
class Gap:
    """A time of a stay that no reading tells of."""

    place: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Storage:
    """What the readings say of a lot. `mean` is the mean kinetic temperature in Celsius: an advisory that lengthens no life."""

    excursions: tuple[Excursion, ...]
    gaps: tuple[Gap, ...]
    limits: tuple[Limit, ...]
    mean: float | None


@dataclass(frozen=True, slots=True)
class _Span:
    start: datetime
    end: datetime
    celsius: float


def check_readings(readings: Sequence[Reading], told: Callable[[datetime], str] = str) -> None:
    """Refuse readings that no thermometer gives, naming which: without a zone, out of order, twice at one time, not finite, too far out.

    `told` writes an instant for people.
    """
    for number, reading in enumerate(readings, start=1):
        if reading.at.tzinfo is None:
            raise ValueError(f"reading {number}: {reading.at} has no time zone")
        if not (math.isfinite(reading.celsius) and COLDEST <= reading.celsius <= HOTTEST):
            raise ValueError(f"reading {number}: {reading.celsius} C is no temperature of a store: a broken sensor, or another unit")
    for number, (before, after) in enumerate(pairwise(readings), start=2):
        if after.at <= before.at:
            raise ValueError(f"reading {number}: {told(after.at)} is not after the one before it ({told(before.at)})")


def storage(stays: Sequence[Stay], readings: Mapping[str, Sequence[Reading]], rule: StorageRule, *, until: datetime) -> Storage:
    """What happened to a lot where it really lay, up to `until`. `readings` are by place, in order of time.

    Of a lot that lay in several places at once the worst counts for all of it: one lot has one life.
    """
    excursions: list[Excursion] = []
    gaps: list[Gap] = []
    spans: list[_Span] = []
    for stay in stays:
        end = min(stay.end or until, until)
        if stay.start >= end:
            continue
        found = list(_spans(readings.get(stay.place, ()), stay.start, end, rule.longest_gap))
        spans += found
        excursions += _excursions(stay.place, found, rule)
        gaps += _gaps(stay.place, found, stay.start, end)
    warmest = (((span.end - span.start) / _HOUR, span.celsius) for span in _warmest(spans))
    mean = mean_kinetic_temperature(warmest) if spans else None
    return Storage(tuple(excursions), tuple(gaps), tuple(_limits(excursions, rule, stays)), mean)


def _warmest(spans: Sequence[_Span]) -> Iterator[_Span]:
    """What the readings say of each moment; of several at one, the warmest."""
    ordered = sorted(spans, key=lambda span: span.start)
    if all(before.end <= after.start for before, after in pairwise(ordered)):
        yield from ordered
        return
    bounds = sorted({bound for span in ordered for bound in (span.start, span.end)})
    open_spans: list[tuple[float, datetime]] = []  # the warmest first
    waiting = iter(ordered)
    following = next(waiting, None)
    for start, end in pairwise(bounds):
        while following is not None and following.start <= start:
            heappush(open_spans, (-following.celsius, following.end))
            following = next(waiting, None)
        while open_spans and open_spans[0][1] <= start:
            heappop(open_spans)
        if open_spans:
            yield _Span(start, end, -open_spans[0][0])


def _spans(readings: Sequence[Reading], start: datetime, end: datetime, longest: timedelta) -> Iterator[_Span]:
    """Each reading until the next, or as long as the longest gap, cut to the stay."""
    ends = [after.at for _, after in pairwise(readings)]
    ends += [end] if readings else []
    for reading, until in zip(readings, ends, strict=True):
        first, last = max(reading.at, start), min(until, reading.at + longest, end)
        if first < last:
            yield _Span(first, last, reading.celsius)


def _excursions(place: str, spans: Sequence[_Span], rule: StorageRule) -> Iterator[Excursion]:
    for judged, group in groupby(_judged(spans, rule), key=lambda pair: pair[0]):
        outside, _ = judged
        if outside is None:
            continue
        found = [span for _, span in group]
        worst = max((span.celsius for span in found), key=lambda celsius: abs(celsius - _middle(rule)))
        yield Excursion(place, found[0].start, found[-1].end, worst, stop=outside == "stop")


def _judged(spans: Sequence[_Span], rule: StorageRule) -> Iterator[tuple[tuple[str | None, int], _Span]]:
    """Each span with how far out it is, and the number of its unbroken run: an excursion doesn't reach across a gap."""
    run = 0
    for before, span in zip([None, *spans], spans, strict=False):
        if before is not None and before.end != span.start:
            run += 1
        yield (_outside(span.celsius, rule), run), span


def _outside(celsius: float, rule: StorageRule) -> str | None:
    if _beyond(celsius, rule.never_below, rule.never_above):
        return "stop"
    return "out" if _beyond(celsius, rule.low, rule.high) else None


def _beyond(celsius: float, low: float | None, high: float | None) -> bool:
    return (low is not None and celsius < low) or (high is not None and celsius > high)


def _middle(rule: StorageRule) -> float:
    bounds = [bound for bound in (rule.low, rule.high) if bound is not None]
    return sum(bounds) / len(bounds) if bounds else 0.0


def _gaps(place: str, spans: Sequence[_Span], start: datetime, end: datetime) -> Iterator[Gap]:
    known = start
    for span in spans:
        if span.start > known:
            yield Gap(place, known, span.start)
        known = span.end
    if known < end:
        yield Gap(place, known, end)


def _limits(excursions: Iterable[Excursion], rule: StorageRule, stays: Sequence[Stay]) -> Iterator[Limit]:
    for found in excursions:
        day = found.start.date()
        said = f"{found.worst:g} C in {found.place} from {found.start:%Y-%m-%d %H:%M}"
        if any(stay.place != found.place and stay.start < found.end and (stay.end or found.end) > found.start for stay in stays):
            said += ", the worst of the places it lay in then, and one lot has one life"
        if found.stop:
            yield Limit("storage", day, f"{said}: outside what is never allowed, so ask the maker ({rule.source})")
        elif rule.use_within_days is not None:
            yield Limit("storage", _plus(day, rule.use_within_days), f"{said}: use within {rule.use_within_days} days ({rule.source})")


def _plus(day: date, days: int) -> date:
    return min(day, date.max - timedelta(days=days)) + timedelta(days=days)
