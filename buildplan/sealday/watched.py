"""The seal days that somebody is to be reminded of, and when what they seal is cured. As many queries for many days as for one."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from buildplan.plan.models import Step, StepAfter
from buildplan.sealday.calc import reachable
from buildplan.sealday.models import SealDay
from buildplan.sealday.planning import Cured, cures
from buildplan.sealday.reading import Facts, NearDays
from inventory.common.reasons import Reason


@dataclass(frozen=True, slots=True)
class Cure:
    """When a sealant of the day is cured. `planned`: some of it is still to be mixed. `frees` are the steps that may go on then."""

    item_id: int
    item: str
    at: datetime
    planned: bool
    frees: tuple[str, ...]
    trace: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Watched:
    """A seal day that is to be done, or is over and may still cure. `to_do` are its steps not done, and those not done before them."""

    id: int
    bench: str
    on: date
    open: bool
    steps: tuple[str, ...]
    to_do: frozenset[int]
    cures: tuple[Cure, ...]


def watched(found: NearDays, through: date) -> tuple[Watched, ...]:
    """Those of the seal days found that are not after `through`, the earliest first. Two queries, none where there are none."""
    facts, days = found.facts, [day for day in found.days if day.on <= through]
    if facts is None or not days:
        return ()
    plan = _plan({row.step.project_id for rows in facts.steps.values() for row in rows})
    by_day: dict[int, list[Cured]] = defaultdict(list)
    for one in cures(facts):
        by_day[one.day.pk].append(one)
    return tuple(_watched(day, facts, plan, by_day[day.pk]) for day in days)


@dataclass(frozen=True, slots=True)
class _Plan:
    """How steps wait for each other: `codes` of those that aren't done, in plan order, whom each comes after, and who comes after it."""

    codes: Mapping[int, str]
    after: Mapping[int, list[int]]
    behind: Mapping[int, list[int]]


def _plan(projects: Iterable[int]) -> _Plan:
    """Two queries."""
    steps = Step.objects.filter(project__in=projects, done=False).order_by("project__code", "position")
    after: dict[int, list[int]] = defaultdict(list)
    behind: dict[int, list[int]] = defaultdict(list)
    for step, first in StepAfter.objects.filter(step__project__in=projects).values_list("step_id", "after_id"):
        after[step].append(first)
        behind[first].append(step)
    return _Plan(dict(steps.values_list("pk", "code")), after, behind)


def _watched(day: SealDay, facts: Facts, plan: _Plan, found: list[Cured]) -> Watched:
    rows = facts.steps.get(day.pk, ())
    own = {row.step_id for row in rows}
    to_do = {row.step_id for row in rows if not row.step.done}
    before = {step for step in reachable(to_do, plan.after) - own if step in plan.codes}
    freed_by = _freed_by(found, plan, own)
    return Watched(
        id=day.pk,
        bench=day.bench.code,
        on=day.on,
        open=day.open,
        steps=tuple(row.step.code for row in rows),
        to_do=frozenset(to_do | before),
        cures=tuple(_cure(one, freed_by, plan) for one in found),
    )


def _freed_by(found: Iterable[Cured], plan: _Plan, own: set[int]) -> dict[int, int]:
    """Which sealant each step that comes next waits for the longest."""
    freed: dict[int, int] = {}
    for one in sorted(found, key=lambda one: one.at):
        for sealed in one.steps:
            freed.update((step, one.item.pk) for step in plan.behind.get(sealed, ()) if step in plan.codes and step not in own)
    return freed


def _cure(one: Cured, freed_by: Mapping[int, int], plan: _Plan) -> Cure:
    frees = tuple(code for step, code in plan.codes.items() if freed_by.get(step) == one.item.pk)
    return Cure(one.item.pk, one.item.code, one.at, one.planned, frees, one.trace)
