"""What must be done before a seal day, and what waits until it is cured. Reads nothing."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time

from django.utils import timezone

from buildplan.plan.models import Step
from buildplan.sealday.calc import reachable
from buildplan.sealday.dayview import Blocked
from buildplan.sealday.planning import Planned
from buildplan.sealday.reading import Facts


@dataclass(frozen=True, slots=True)
class HeldUp:
    """A step that comes after one sealed on `day`: `product` of `behind` is cured at `cured_at`, the latest of all it waits for."""

    day: int
    step: int
    behind: int
    product: str
    cured_at: datetime


class Order:
    """The steps of a bench's projects as they wait for each other, seen from one seal day."""

    def __init__(self, facts: Facts) -> None:
        """`own` are the day's steps, `before` the undone steps that those not done come after, directly or through others.

        `just_before` are those of them that a step of the day comes after directly; `later` the undone ones that come after them.
        """
        self._facts = facts
        self.after: dict[int, set[int]] = defaultdict(set)  # whom a step comes after
        self.behind: dict[int, set[int]] = defaultdict(set)  # who comes after a step
        for step, after in facts.afters:
            self.after[step].add(after)
            self.behind[after].add(step)
        self.own = frozenset(row.step_id for row in facts.own_steps)
        to_do = [row.step_id for row in facts.own_steps if not row.step.done]
        self.before = frozenset(pk for pk in reachable(to_do, self.after) - self.own if not facts.plan[pk].done)
        self.later = frozenset(pk for pk in reachable(to_do, self.behind) - self.own if not facts.plan[pk].done)
        self.just_before = frozenset(pk for step in to_do for pk in self.after[step] if pk in self.before)

    def waits_for(self, step: int) -> tuple[str, ...]:
        """The codes of the steps not done that a step comes after, those of the day left out."""
        return tuple(self._facts.plan[pk].label for pk in self.in_order(self.after[step]) if pk in self.before)

    def all_before(self, step: int) -> frozenset[int]:
        """All that a step comes after, directly or through others."""
        return reachable([step], self.after)

    def in_order(self, steps: Collection[int]) -> list[int]:
        """Steps in plan order."""
        return sorted(steps, key=lambda pk: self._facts.plan[pk].order)

    def held_up(self, plans: Mapping[int, Planned]) -> tuple[HeldUp, ...]:
        """The steps not done that wait for a cure, each once for each day, in plan order."""
        found: dict[tuple[int, int], HeldUp] = {}
        for one in self._waiting(plans):
            spot = (one.day, one.step)
            if spot not in found or one.cured_at > found[spot].cured_at:
                found[spot] = one
        return tuple(sorted(found.values(), key=lambda one: self._facts.plan[one.step].order))

    def _waiting(self, plans: Mapping[int, Planned]) -> Iterator[HeldUp]:
        for day, planned in plans.items():
            with_it = {row.step_id for row in self._facts.steps.get(day, ())}
            for product in planned.products:
                if product.cured_at is None:
                    continue
                for need in planned.wanted[product.item_id].needs:
                    for step in reachable([need.step_id], self.behind) - with_it:
                        if not self._facts.plan[step].done:
                            yield HeldUp(day, step, need.step_id, product.code, product.cured_at)


def blocked_by(facts: Facts, held_up: Collection[HeldUp]) -> list[HeldUp]:
    """Those that wait for the day asked for and are planned before that is cured."""
    return [one for one in held_up if one.day == facts.day.pk and _too_early(facts.plan[one.step].planned, one.cured_at)]


def _too_early(planned: date | None, cured_at: datetime) -> bool:
    return planned is not None and _midnight(planned) < cured_at


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time.min, tzinfo=timezone.get_current_timezone())


def blocked(facts: Facts, found: Collection[HeldUp], steps: Mapping[int, Step]) -> Iterator[Blocked]:
    """They as the page shows them."""
    for one in found:
        step, at = steps[one.step], timezone.localtime(one.cured_at)
        planned = facts.plan[one.step].planned or at.date()
        text = f"planned for {planned}; {one.product} of {facts.plan[one.behind].label} is cured on {at:%Y-%m-%d} at {at:%H:%M}"
        yield Blocked(step.project.code, step.code, step.title, planned, at.date(), text)


def wet(facts: Facts, held_up: Collection[HeldUp], start: datetime) -> Iterator[str]:
    """The day's own steps that come after what an earlier day sealed, and isn't cured when the day begins."""
    own = {row.step_id for row in facts.own_steps}
    for one in held_up:
        if one.step in own and one.day != facts.day.pk and one.cured_at > start:
            at = timezone.localtime(one.cured_at)
            behind = facts.plan[one.behind].label
            yield f"{facts.plan[one.step].label} waits for {one.product} of {behind}, which is cured on {at:%Y-%m-%d} at {at:%H:%M}"
