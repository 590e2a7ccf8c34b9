"""From a plan to the day on which each step counts. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple


class StepFacts(NamedTuple):
    """A step as demand sees it. `order` is plan order: project as named, then position in the plan."""

    id: int
    label: str
    order: tuple[int, int]
    planned: date | None
    done: bool


@dataclass(frozen=True, slots=True)
class StepDay:
    """The day on which a step counts, and the rule that gave it. `asked` is that day before one that is past became today."""

    day: date
    rule: str
    asked: date


def step_days(
    steps: Sequence[StepFacts],
    afters: Iterable[tuple[int, int]],
    *,
    before: date | None,
    as_of: date,
) -> dict[int, StepDay]:
    """The day of each step that belongs to the demand before `before` (with None: of all steps not done).

    `afters` are pairs (step, the step it comes after). A step waited for takes the earliest day among itself and those that wait
    for it; done steps have no day of their own but are looked through. A day before `as_of` counts as `as_of`.
    Raises `ValueError` where the steps wait for each other in a ring.
    """
    return within(all_days(steps, afters, undated=before is None, as_of=as_of), before)


def within(days: Mapping[int, StepDay], before: date | None) -> dict[int, StepDay]:
    """The steps whose day is on or before `before`; with None, all of them."""
    return {step: found for step, found in days.items() if before is None or found.asked <= before}


def all_days(steps: Sequence[StepFacts], afters: Iterable[tuple[int, int]], *, undated: bool, as_of: date) -> dict[int, StepDay]:
    """The day of each step not done that has one. `undated` gives one to steps without any date that nobody waits for, too."""
    by_id = {step.id: step for step in steps}
    waiters = _waiters(by_id, afters)
    latest = _latest_planned(steps)
    found: dict[int, StepDay] = {}
    asks: dict[int, StepDay | None] = {}  # the day by which a step wants those it comes after
    for step in _waiters_first(steps, waiters):
        asks[step.id] = pulled = _earliest(asks[waiter] for waiter in waiters[step.id])
        if step.done:
            continue
        own = _own_or_pulled(step, pulled)
        if own is None and undated:
            own = _fallback(latest.get(step.order[0]), as_of)
        if own is not None:
            found[step.id] = own
            asks[step.id] = StepDay(own.day, f"{step.label} waits for it", own.day)
    return {step: _not_before(own, as_of) for step, own in found.items()}


def _waiters(by_id: Mapping[int, StepFacts], afters: Iterable[tuple[int, int]]) -> dict[int, list[int]]:
    """For each step, those that come after it."""
    waiters: dict[int, list[int]] = defaultdict(list)
    for step, after in afters:
        if step in by_id and after in by_id:
            waiters[after].append(step)
    return waiters


def _waiters_first(steps: Sequence[StepFacts], waiters: Mapping[int, list[int]]) -> list[StepFacts]:
    """The steps in an order that names whoever waits before whoever is waited for."""
    by_id = {step.id: step for step in steps}
    waited_for: dict[int, list[int]] = defaultdict(list)
    open_waiters = {step.id: 0 for step in steps}
    for after, found in waiters.items():
        open_waiters[after] = len(found)
        for waiter in found:
            waited_for[waiter].append(after)
    free = [step.id for step in steps if not open_waiters[step.id]]
    for step in free:  # grows as it is read
        for after in waited_for[step]:
            open_waiters[after] -= 1
            if not open_waiters[after]:
                free.append(after)
    if len(free) != len(steps):
        message = "the steps wait for each other in a ring"
        raise ValueError(message)
    return [by_id[step] for step in free]


def _earliest(days: Iterable[StepDay | None]) -> StepDay | None:
    return min((day for day in days if day is not None), key=lambda found: found.day, default=None)


def _own_or_pulled(step: StepFacts, pulled: StepDay | None) -> StepDay | None:
    if step.planned is None or (pulled is not None and pulled.day < step.planned):
        return pulled
    return StepDay(step.planned, "as planned", step.planned)


def _latest_planned(steps: Iterable[StepFacts]) -> dict[int, date]:
    """The latest planned day among the steps not done, for each project."""
    latest: dict[int, date] = {}
    for step in steps:
        if step.planned is not None and not step.done:
            latest[step.order[0]] = max(latest.get(step.order[0], step.planned), step.planned)
    return latest


def _fallback(latest: date | None, as_of: date) -> StepDay:
    """An undated step that nobody waits for counts on its project's latest planned day."""
    if latest is None:
        return StepDay(as_of, "no step of the plan has a date: counts as today", as_of)
    return StepDay(latest, "no date and nobody waits for it: counts on the latest planned day", latest)


def _not_before(found: StepDay, as_of: date) -> StepDay:
    if found.day >= as_of:
        return found
    return StepDay(as_of, f"{found.rule}, for {found.day}, which is past: counts on {as_of}", found.asked)
