"""The day on which each step counts, for all plans at once, and what moving one step does to the days of others. Pure.

The rule is that of demand (`shortfall.demand`): a step takes the earliest planned day among itself and all that wait for it, however far
on; done steps have no day of their own, but are looked through. Here the planned days are handed on from the earliest, each step is
visited once, and nothing beyond the last day that matters is looked at: the plans of a whole club in one pass.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple


class Given(NamedTuple):
    """The day that a step takes, and the step whose planned day it is: itself, or one that waits for it."""

    day: date
    source: int


@dataclass(frozen=True, slots=True)
class Order:
    """Which steps come after which: for each step, those that it comes after, and those that wait for it."""

    afters: Mapping[int, list[int]]
    waiters: Mapping[int, list[int]]


@dataclass(frozen=True, slots=True)
class Plan:
    """What is known of a step whose day matters."""

    planned: date | None
    done: bool


def order(pairs: Iterable[tuple[int, int]]) -> Order:
    """From pairs (step, the step that it comes after)."""
    afters: dict[int, list[int]] = {}
    waiters: dict[int, list[int]] = {}
    for step, after in pairs:
        if step in afters:
            afters[step].append(after)
        else:
            afters[step] = [after]
        if after in waiters:
            waiters[after].append(step)
        else:
            waiters[after] = [step]
    return Order(afters, waiters)


def given(planned: Iterable[tuple[int, date]], afters: Mapping[int, list[int]]) -> dict[int, Given]:
    """The day of each step that has one. `planned` are the steps not done with a day, the earliest first.

    A step that is done is among them where one that isn't waits for it: the caller knows which are.
    """
    found: dict[int, Given] = {}
    for source, day in planned:
        if source in found:
            continue
        mine = found[source] = Given(day, source)
        left = [source]
        while left:
            for after in afters.get(left.pop(), ()):
                if after not in found:
                    found[after] = mine
                    left.append(after)
    return found


@dataclass(slots=True)
class Days:
    """The days of the steps that matter, so that a move can be tried. `plans` are those of every step that has a day in the window."""

    order: Order
    found: Mapping[int, Given]
    plans: Mapping[int, Plan]
    today: date

    def on(self, step: int) -> date | None:
        """The day on which a step counts: one that is past counts today. None: none that is known of."""
        asked = self.asked(step)
        return None if asked is None else max(asked, self.today)

    def asked(self, step: int) -> date | None:
        """The same before a day that is past became today."""
        found = self.found.get(step)
        return None if found is None else found.day

    def may_move(self, step: int, to: date) -> bool:
        """Whether a step can take another day, while what it comes after, and what waits for it, stay as they are planned."""
        plan, now = self.plans.get(step), self.on(step)
        if plan is None or plan.done or now is None or to < self.today or to == now:
            return False
        if to > now:
            return all(self._waits_long_enough(waiter, to) for waiter in self.order.waiters.get(step, ()))
        return all(planned <= to for planned in self._planned_before(step))

    def _waits_long_enough(self, waiter: int, to: date) -> bool:
        asked = self.asked(waiter)
        return asked is None or asked >= to

    def _planned_before(self, step: int) -> Iterator[date]:
        """The planned days of what a step comes after: of the next ones that have one, looking through those that don't or are done."""
        left, seen = list(self.order.afters.get(step, ())), set()
        while left:
            after = left.pop()
            if after in seen or after not in self.plans:
                continue  # its day lies before all that matters here
            seen.add(after)
            plan = self.plans[after]
            if plan.done or plan.planned is None:
                left.extend(self.order.afters.get(after, ()))
            else:
                yield plan.planned

    def moved(self, moves: Mapping[int, date]) -> dict[int, date]:
        """Which steps then count on which other day, as `asked`: those moved, and those that take their day from them."""
        changed: dict[int, date | None] = {}
        left = list(moves)
        while left:
            step = left.pop()
            now = self._asked_with(step, moves, changed)
            before = changed.get(step, self.asked(step))
            if now == before and (step in changed or step not in moves):
                continue
            changed[step] = now
            left.extend(self.order.afters.get(step, ()))
        return {step: day for step, day in changed.items() if day is not None and day != self.asked(step)}

    def _asked_with(self, step: int, moves: Mapping[int, date], changed: Mapping[int, date | None]) -> date | None:
        plan = self.plans.get(step)
        if plan is None and step not in moves:
            return self.asked(step)  # its day lies outside of what is looked at
        own = moves.get(step, plan.planned if plan is not None and not plan.done else None)
        pulled = [changed.get(waiter, self.asked(waiter)) for waiter in self.order.waiters.get(step, ())]
        return min((day for day in (own, *pulled) if day is not None), default=None)


def on_day(found: Mapping[int, Given], day: date, today: date) -> set[int]:
    """The steps that count on a day: on today itself, those too whose day is past."""
    if day == today:
        return {step for step, one in found.items() if one.day <= day}
    return {step for step, one in found.items() if one.day == day}


def within(found: Mapping[int, Given], first: date, last: date, today: date) -> Collection[int]:
    """The steps that count from a day through another."""
    from_past = first <= today
    return {step for step, one in found.items() if one.day <= last and (from_past or one.day >= first)}
