"""Reads of a plan: its sections and steps, what is done, what is ready, what waits for what."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from operator import itemgetter
from typing import Any

from django.db.models import Count, Q

from buildplan.plan.models import Hand, Project, Section, Step, StepAfter


@dataclass(frozen=True, slots=True)
class StepRow:
    """A step of a plan as the page lists it. `waits_for` are the codes of the steps that it comes after and that aren't done."""

    id: int
    code: str
    title: str
    planned_on: date | None
    minutes: int | None
    hand: str
    done: bool
    done_on: date | None
    waits_for: tuple[str, ...]

    @property
    def ready(self) -> bool:
        """All that it comes after is done."""
        return not self.done and not self.waits_for


@dataclass(frozen=True, slots=True)
class SectionRow:
    """A section with its steps, in plan order. `closed_at` is set while it is closed up."""

    id: int
    name: str
    steps: tuple[StepRow, ...]
    closed_at: datetime | None = None

    @property
    def done(self) -> int:
        """How many of its steps are done."""
        return sum(step.done for step in self.steps)


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A step before or after another one."""

    code: str
    title: str
    done: bool
    done_on: date | None


@dataclass(frozen=True, slots=True)
class Around:
    """What a step comes after, and what waits for it."""

    afters: tuple[Neighbour, ...]
    befores: tuple[Neighbour, ...]

    @property
    def missing(self) -> tuple[Neighbour, ...]:
        """What it comes after and isn't done."""
        return tuple(step for step in self.afters if not step.done)


@dataclass(frozen=True, slots=True)
class CalledOut:
    """What the plans call out for a step."""

    item: str
    name: str
    quantity: Decimal
    unit: str
    rounding: str


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a project has come."""

    project: Project
    steps: int
    done: int


def sections(project: Project) -> list[SectionRow]:
    """The whole plan by sections. Three queries."""
    waiting = _waiting(project)
    steps: dict[int, list[StepRow]] = defaultdict(list)
    columns = ("id", "section_id", "code", "title", "planned_on", "minutes", "hand", "done", "done_on")
    for row in Step.objects.filter(project=project).order_by("position").values_list(*columns):
        steps[row[1]].append(_step(row, waiting))
    rows = Section.objects.filter(project=project).order_by("position").values_list("id", "name", "closed_at")
    return [SectionRow(pk, name, tuple(steps[pk]), closed_at) for pk, name, closed_at in rows if steps[pk]]


def _waiting(project: Project) -> dict[int, list[str]]:
    """The codes of the undone steps that each step comes after."""
    waiting: dict[int, list[str]] = defaultdict(list)
    rows = StepAfter.objects.filter(step__project=project, after__done=False).order_by("after__position")
    for step, after in rows.values_list("step_id", "after__code"):
        waiting[step].append(after)
    return waiting


def _step(row: tuple[Any, ...], waiting: Mapping[int, Sequence[str]]) -> StepRow:
    pk, _, code, title, planned_on, minutes, hand, done, done_on = row
    return StepRow(pk, code, title, planned_on, minutes, "" if hand == Hand.NONE else hand, done, done_on, tuple(waiting.get(pk, ())))


def around(step: Step) -> Around:
    """The steps that `step` comes after, and those that wait for it. One query."""
    columns = ("code", "title", "done", "done_on")
    first, then = (f"after__{column}" for column in columns), (f"step__{column}" for column in columns)
    pairs = StepAfter.objects.filter(Q(step=step) | Q(after=step))
    rows = list(pairs.values_list("step_id", "after__position", "step__position", *first, *then))
    afters = sorted((row for row in rows if row[0] == step.pk), key=itemgetter(1))
    befores = sorted((row for row in rows if row[0] != step.pk), key=itemgetter(2))
    return Around(tuple(Neighbour(*row[3:7]) for row in afters), tuple(Neighbour(*row[7:]) for row in befores))


def called_out(step: Step) -> list[CalledOut]:
    """The call-outs of a step, by item. One query."""
    columns = ("item__code", "item__name", "quantity", "item__unit", "rounding")
    return [CalledOut(*row) for row in step.call_outs.order_by("item__code").values_list(*columns)]


def progress() -> list[Progress]:
    """Every project of the workshop in scope with how many of its steps are done, by code. One query."""
    rows = Project.objects.select_related("bench__workshop").order_by("code")
    counted = rows.annotate(all_steps=Count("steps"), done_steps=Count("steps", filter=Q(steps__done=True)))
    return [Progress(project, project.all_steps, project.done_steps) for project in counted]


def siblings(project: Project) -> list[Project]:
    """The other projects of the same bench, by code. One query."""
    return list(Project.objects.filter(bench_id=project.bench_id).exclude(pk=project.pk).order_by("code"))


def step_codes(projects: Sequence[Project]) -> dict[int, tuple[str, str, int]]:
    """Project code, step code and section of every step, by its id. One query."""
    rows = Step.objects.filter(project__in=projects).values_list("id", "project__code", "code", "section_id")
    return {pk: (project, code, section) for pk, project, code, section in rows.iterator()}


def section_choices(projects: Sequence[Project]) -> list[tuple[int, str]]:
    """The sections of some projects with their names, in plan order; the project's code stands before it where there are several.

    One query.
    """
    order = {project.pk: at for at, project in enumerate(projects)}
    rows = Section.objects.filter(project__in=projects).order_by("position").values_list("id", "name", "project_id", "project__code")
    several = len(projects) > 1
    found = sorted(rows, key=lambda row: order[row[2]])
    return [(pk, f"{code}: {name}" if several else name) for pk, name, _, code in found]
