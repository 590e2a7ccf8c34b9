"""What a page reads once and its parts share: all plans, what hangs on some of their steps, and the stock of what those take."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from buildplan.hardware.models import RivetRow
from buildplan.plan.models import Project
from buildplan.plan.place import Place, place
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import ItemFacts
from buildplan.shortfall.demand import StepDay, StepFacts
from buildplan.shortfall.needs import Hanging, hanging
from buildplan.shortfall.queries import Stocked


@dataclass(frozen=True, slots=True)
class Plans:
    """All plans of the workshop. `steps` are labelled by project where there are several; `every` is the day on which each counts.

    `after` says whom a step comes after.
    """

    projects: Sequence[Project]
    steps: Mapping[int, StepFacts]
    every: Mapping[int, StepDay]
    after: Mapping[int, Sequence[int]]

    def waits_for(self, step: int) -> list[int]:
        """The steps not done that a step comes after, in plan order."""
        return sorted((one for one in self.after.get(step, ()) if not self.steps[one].done), key=lambda one: self.steps[one].order)

    def sealed_before(self, step: int) -> Iterator[int]:
        """What a step comes after, through steps that are done as far back as they go; an undone one ends the chain."""
        left, seen = list(self.after.get(step, ())), set()
        while left:
            one = left.pop()
            if one not in seen:
                seen.add(one)
                yield one
                left.extend(self.after.get(one, ()) if self.steps[one].done else ())

    def place_of(self, step: int) -> Place:
        """What a step waits for and what waits for it, in layers."""
        done = {pk for pk, one in self.steps.items() if one.done}
        return place(step, self.after, done, {pk: one.order for pk, one in self.steps.items()})

    def startable(self, steps: Collection[int]) -> list[int]:
        """Those of some steps that aren't done and that nothing has to be done before."""
        return [pk for pk in steps if not self.steps[pk].done and not self.waits_for(pk)]


def plans(today: date) -> Plans:
    """Every plan. Three queries."""
    projects = list(Project.objects.select_related("bench__workshop").order_by("code"))
    demand = shortfall.demand_of(projects, (), as_of=today)
    after: dict[int, list[int]] = defaultdict(list)
    for step, first in demand.afters:
        after[step].append(first)
    return Plans(projects, _labelled(projects, demand.steps), demand.every, after)


def _labelled(projects: Sequence[Project], steps: Mapping[int, StepFacts]) -> Mapping[int, StepFacts]:
    if len(projects) == 1:
        return steps
    return {pk: step._replace(label=f"{projects[step.order[0]].code}:{step.label}") for pk, step in steps.items()}


def stuck() -> frozenset[int]:
    """The steps that are done and whose clecos stay until another one is. One query."""
    return frozenset(RivetRow.objects.filter(step__done=True, clecos_until__done=False).values_list("step_id", flat=True))


@dataclass(frozen=True, slots=True)
class Reading:
    """What hangs on some steps, with the items that it names and their stock; what they take on any day follows without a query.

    `stuck` are steps that hold clecos, which were read too; None where nobody asked.
    """

    steps: frozenset[int]
    hanging: Hanging
    items: Mapping[int, ItemFacts]
    stocked: Stocked
    stuck: frozenset[int] | None = None


def read(steps: Collection[int], stuck: frozenset[int] | None = None) -> Reading:
    """All that netting asks of these steps, and of those that hold clecos. Thirteen queries."""
    ids = frozenset(steps) | (stuck or frozenset())
    found = hanging(ids)
    items = shortfall.items(found.items())
    return Reading(ids, found, items, shortfall.stocked_of(items), stuck)


@dataclass(frozen=True, slots=True)
class Beside:
    """All plans, where a step stands in them, and what was read of it and of those shown beside it that could be begun."""

    plans: Plans
    place: Place
    read: Reading


def read_beside(step: int, today: date) -> Beside:
    """What a step's page asks of plans and stock, for all its parts. Seventeen queries."""
    found = plans(today)
    placed = found.place_of(step)
    return Beside(found, placed, read({step, *found.startable(placed.shown)}, stuck()))
