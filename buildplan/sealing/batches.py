"""A day's sealant in batches that the people present can place within the work life, each from one lot where it can be. Pure. Grams.

A batch that takes one lot only makes first-expired-first-out fall short: it may leave no lot whole for the next batch. Up to
`MOST_EXACT` batches are solved exactly, whatever the number of lots; more by two greedy ways, with a bound on what any way could meet.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from inventory.common.exact import Exact, decimal_text, finite, not_negative, positive, thousandths, whole
from inventory.common.reasons import ARITHMETIC, Reason

MOST_EXACT = 12
_MOST_BATCHES = 1000
_METHOD = "the most grams each from one lot, then the lot that expires first"


@dataclass(frozen=True, slots=True)
class Need:
    """A batch to mix, from one lot, on a day."""

    grams: Exact
    on: date


@dataclass(frozen=True, slots=True)
class LotLeft:
    """What is left of a lot, usable from `first_day` through `last_day`; None is as soon as anybody asks."""

    code: str
    grams: Exact
    last_day: date
    first_day: date | None = None


@dataclass(frozen=True, slots=True)
class Assignment:
    """For each need, in the order given, the code of its lot or None.

    `met` is the grams met, `bound` what no way could exceed; `exact` where no choice meets more.
    """

    lots: tuple[str | None, ...]
    met: Fraction
    bound: Fraction
    exact: bool
    reason: Reason


@dataclass(frozen=True, slots=True)
class Part:
    """What a batch takes of one lot."""

    lot: str
    grams: Decimal


@dataclass(frozen=True, slots=True)
class Batch:
    """One mix: its grams, and the lots it comes from (one where it can be)."""

    grams: Decimal
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class DayPlan:
    """Batches in the order to mix; `short` is what no lot usable that day holds.

    `exact` where no other choice of lots for batches of these sizes gets more grams from one lot each.
    """

    batches: tuple[Batch, ...]
    short: Decimal
    exact: bool
    reasons: tuple[Reason, ...]


_Day = tuple[tuple[Batch, ...], bool, Reason]


@dataclass(frozen=True, slots=True)
class _Problem:
    grams: tuple[Fraction, ...]
    days: tuple[date, ...]
    lots: tuple[LotLeft, ...]  # oldest first
    held: tuple[Fraction, ...]

    def fits(self, need: int, lot: int) -> bool:
        """Whether the lot is usable on the day, and holds as much."""
        return _usable(self.lots[lot], self.days[need]) and self.grams[need] <= self.held[lot]


def largest_batch(people: int, grams_per_person_hour: Exact, life_hours: float | Exact) -> Decimal:
    """What `people` place within one work life, rounded down to a thousandth. Refuses what comes to nothing.

    Hours in binary are read as they are written, 0.3 as 3/10: rounding down would else lose a thousandth.
    """
    hands, pace = whole("people", people, least=1), positive("grams_per_person_hour", grams_per_person_hour)
    hours = positive("life_hours", Fraction(repr(finite("life_hours", life_hours))) if isinstance(life_hours, float) else life_hours)
    count = math.floor(hours * hands * pace * 1000)
    if not count:
        raise ValueError("life_hours: not a thousandth of a gram is placed within it")
    return thousandths(count)


def batch_sizes(total: Exact, most: Exact) -> tuple[Decimal, ...]:
    """`total` in as few batches of at most `most` as will do, even to a thousandth, the larger first; they add up exactly."""
    count, limit = _count("total", total), math.floor(positive("most", most) * 1000)
    batches = -(-count // limit) if limit else _MOST_BATCHES + 1
    if batches > _MOST_BATCHES:
        raise ValueError(f"most: over {_MOST_BATCHES} batches, that is no day's work")
    size, larger = divmod(count, batches)
    return tuple(thousandths(size + (at < larger)) for at in range(batches))


def assign_lots(needs: Sequence[Need], lots: Iterable[LotLeft]) -> Assignment:
    """Give each need one lot so that the most grams are met; then the oldest lots go first.

    Exact for up to `MOST_EXACT` needs. `ValueError` names `needs` or `lots` where a quantity makes no sense.
    """
    oldest = _oldest_first(lots)
    problem = _Problem(
        tuple(positive("needs: grams", need.grams) for need in needs),
        tuple(need.on for need in needs),
        oldest,
        tuple(not_negative("lots: grams", lot.grams) for lot in oldest),
    )
    if len(needs) <= MOST_EXACT:
        return _answer(problem, _exactly(problem), None)
    greedy = max((_first_fit(problem, _by_day(problem)), _first_fit(problem, _by_size(problem))), key=lambda chosen: _met(problem, chosen))
    return _answer(problem, greedy, _divisible_bound(problem))


def plan_day(total: Exact, on: date, most: Exact, lots: Iterable[LotLeft], *, least: Exact = 0) -> DayPlan:
    """Batches for `total` grams on a day, none over `most` (see `largest_batch`), each from one lot where it can be.

    Even batches first; if not each of those has a lot to itself, batches cut to what the lots hold, oldest first, unless one would be
    under `least` (see `smallest_batch`); else even batches of which some mix two lots, and say so.
    """
    usable = _oldest_first(lot for lot in lots if _usable(lot, on))
    wanted = _count("total", total)
    there = min(wanted, sum(_thousandths_held(lot) for lot in usable))
    short = wanted - there
    if not there:
        return DayPlan((), thousandths(short), exact=True, reasons=_day_reasons(on, short, ()))
    sizes = batch_sizes(thousandths(there), most)
    found = assign_lots([Need(size, on) for size in sizes], usable)
    batches, exact, reason = _one_lot_each(sizes, found, usable, most, not_negative("least", least))
    return DayPlan(batches, thousandths(short), exact, (reason, *_day_reasons(on, short, batches)))


def _oldest_first(lots: Iterable[LotLeft]) -> tuple[LotLeft, ...]:
    oldest = tuple(sorted(lots, key=lambda lot: (lot.last_day, lot.code)))
    if len({lot.code for lot in oldest}) < len(oldest):
        raise ValueError("lots: one code twice, so that no batch could say which it takes")
    return oldest


def _usable(lot: LotLeft, on: date) -> bool:
    return on <= lot.last_day and (lot.first_day is None or lot.first_day <= on)


def _count(name: str, grams: Exact) -> int:
    count = positive(name, grams) * 1000
    if count.denominator != 1:
        raise ValueError(f"{name}: finer than a thousandth of a gram")
    return int(count)


def _thousandths_held(lot: LotLeft) -> int:
    return math.floor(not_negative("lots: grams", lot.grams) * 1000)


def _exactly(problem: _Problem) -> list[int | None]:
    """The best choice of lots, by the least (lot, grams taken of it) at which each set of needs can be met, lots taken oldest first.

    A state that has touched less can do whatever one that has touched more can, so that one state a set is enough.
    """
    size = len(problem.grams)
    best: list[tuple[int, Fraction] | None] = [None] * (1 << size)
    came: list[tuple[int, int]] = [(-1, -1)] * (1 << size)
    best[0] = (0, Fraction(0))
    for done, state in enumerate(best):
        if state is None:
            continue
        for need in range(size):
            after = done | 1 << need
            if after == done or (reached := _next_state(problem, state, need)) is None:
                continue
            held = best[after]
            if held is None or reached < held:
                best[after], came[after] = reached, (need, reached[0])
    return _walk_back(_best_set(problem, best), came, size)


def _next_state(problem: _Problem, state: tuple[int, Fraction], need: int) -> tuple[int, Fraction] | None:
    lot, taken = state
    grams = problem.grams[need]
    if lot < len(problem.lots) and problem.fits(need, lot) and taken + grams <= problem.held[lot]:
        return lot, taken + grams
    later = (at for at in range(lot + 1, len(problem.lots)) if problem.fits(need, at))
    return next(((at, grams) for at in later), None)


def _best_set(problem: _Problem, best: Sequence[tuple[int, Fraction] | None]) -> int:
    """The set of needs with the most grams; then the one that touches least of the newer lots."""
    sums = [Fraction(0)] * len(best)
    for done in range(1, len(best)):
        last = done & -done
        sums[done] = sums[done ^ last] + problem.grams[last.bit_length() - 1]
    reached = ((-sums[done], state, done) for done, state in enumerate(best) if state is not None)
    return min(reached)[2]


def _walk_back(done: int, came: Sequence[tuple[int, int]], size: int) -> list[int | None]:
    chosen: list[int | None] = [None] * size
    while done:
        need, lot = came[done]
        chosen[need] = lot
        done ^= 1 << need
    return chosen


def _by_day(problem: _Problem) -> list[int]:
    return sorted(range(len(problem.grams)), key=lambda need: (problem.days[need], need))


def _by_size(problem: _Problem) -> list[int]:
    return sorted(range(len(problem.grams)), key=lambda need: (-problem.grams[need], problem.days[need], need))


def _first_fit(problem: _Problem, order: Iterable[int]) -> list[int | None]:
    left = list(problem.held)
    chosen: list[int | None] = [None] * len(problem.grams)
    for need in order:
        lot = next((at for at in range(len(left)) if problem.fits(need, at) and problem.grams[need] <= left[at]), None)
        if lot is not None:
            chosen[need] = lot
            left[lot] -= problem.grams[need]
    return chosen


def _met(problem: _Problem, chosen: Sequence[int | None]) -> Fraction:
    return sum((grams for grams, lot in zip(problem.grams, chosen, strict=True) if lot is not None), Fraction(0))


def _divisible_bound(problem: _Problem) -> Fraction:
    """What could be met if a need might take several lots: in time order from the oldest, which is then the most possible."""
    left = list(problem.held)
    met = Fraction(0)
    for need in _by_day(problem):
        short = problem.grams[need]
        for at, lot in enumerate(problem.lots):
            taken = min(short, left[at]) if _usable(lot, problem.days[need]) else Fraction(0)
            left[at] -= taken
            short -= taken
        met += problem.grams[need] - short
    return met


def _answer(problem: _Problem, chosen: Sequence[int | None], bound: Fraction | None) -> Assignment:
    met = _met(problem, chosen)
    most = met if bound is None else bound
    codes = tuple(None if lot is None else problem.lots[lot].code for lot in chosen)
    if met == most:
        return Assignment(codes, met, met, exact=True, reason=Reason(f"{_METHOD}: the best there is", ARITHMETIC))
    text = f"over {MOST_EXACT} batches: {decimal_text(met, 3)} g each from one lot; no way could meet more than {decimal_text(most, 3)} g"
    return Assignment(codes, met, most, exact=False, reason=Reason(text, ARITHMETIC))


def _one_lot_each(sizes: Sequence[Decimal], found: Assignment, lots: Sequence[LotLeft], most: Exact, least: Fraction) -> _Day:
    if None not in found.lots:
        return tuple(Batch(size, (Part(str(code), size),)) for size, code in zip(sizes, found.lots, strict=True)), True, found.reason
    cut = _cut_to_lots(sum(sizes, Decimal(0)), lots, most)
    if all(batch.grams >= least for batch in cut):
        return cut, True, Reason("cut to what each lot holds, oldest first, so that none mixes lots", ARITHMETIC)
    return _mixed(sizes, found, lots), found.exact, found.reason


def _cut_to_lots(total: Decimal, lots: Sequence[LotLeft], most: Exact) -> tuple[Batch, ...]:
    batches: list[Batch] = []
    left = _count("total", total)
    for lot in lots:
        if taken := min(left, _thousandths_held(lot)):
            batches.extend(Batch(size, (Part(lot.code, size),)) for size in batch_sizes(thousandths(taken), most))
            left -= taken
    return tuple(batches)


def _mixed(sizes: Sequence[Decimal], found: Assignment, lots: Sequence[LotLeft]) -> tuple[Batch, ...]:
    left = {lot.code: _thousandths_held(lot) for lot in lots}
    planned = list(zip(sizes, found.lots, strict=True))
    for size, code in planned:  # first what has a lot to itself, so that nothing else takes it away
        if code is not None:
            left[code] -= _count("total", size)
    return tuple(Batch(size, _take(left, size) if code is None else (Part(code, size),)) for size, code in planned)


def _take(left: dict[str, int], size: Decimal) -> tuple[Part, ...]:
    parts = []
    wanted = _count("total", size)
    for code, held in left.items():
        if taken := min(held, wanted):
            parts.append(Part(code, thousandths(taken)))
            left[code] -= taken
            wanted -= taken
    return tuple(parts)


def _day_reasons(on: date, short: int, batches: Sequence[Batch]) -> tuple[Reason, ...]:
    reasons = []
    if mixed := sum(len(batch.parts) > 1 for batch in batches):
        reasons.append(Reason(f"{mixed} of {len(batches)} batches mix lots: no one lot is left that holds them", ARITHMETIC))
    if short:
        reasons.append(Reason(f"{thousandths(short)} g short: no lot usable on {on} holds it", ARITHMETIC))
    return tuple(reasons)
