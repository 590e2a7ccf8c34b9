"""What the rule of the evening says of steps beside an evening: how a plan stands, section by section, and a step in its place."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from buildplan.plan.forms import MOST_PEOPLE
from buildplan.plan.models import Project, Step
from buildplan.plan.place import Place
from buildplan.plan.queries import SectionRow, StepRow
from buildplan.sealday.reading import near_days
from buildplan.shortfall.reading import Beside, Plans, plans, read_beside
from buildplan.tonight import reading
from buildplan.tonight.calc import Evening, Verdict
from buildplan.tonight.desk import Desk
from buildplan.tonight.queries import desk_for, judged
from inventory.common.drawing import Wholes, wholes
from inventory.models import Member

MOST_SECTIONS = 24  # drawn; the table has all. A starting value of ours


class State(StrEnum):
    """How a step stands, in the order in which it is drawn."""

    DONE = "done"
    READY = "ready"
    BLOCKED = "blocked"
    LATER = "later"


def state_of(*, done: bool, waits: bool, verdict: Verdict | None) -> State:
    """How a step stands: one that nothing has to be done before and that nobody looked at may be either."""
    if done:
        return State.DONE
    if waits or (verdict is not None and not verdict.ready):
        return State.BLOCKED
    return State.LATER if verdict is None else State.READY


@dataclass(frozen=True, slots=True)
class SectionState:
    """How many steps of a section stand how, and of its minutes, as far as the plan says them, how many are done."""

    name: str
    done: int
    ready: int
    blocked: int
    later: int
    minutes_done: int
    minutes: int
    unsaid: int

    @property
    def steps(self) -> int:
        """All of them."""
        return self.done + self.ready + self.blocked + self.later


def sections(rows: Sequence[SectionRow], verdicts: Mapping[int, Verdict]) -> tuple[SectionState, ...]:
    """How each section stands. Pure."""
    return tuple(_section(row.name, row.steps, verdicts) for row in rows)


def whole(found: Sequence[SectionState], name: str) -> SectionState:
    """All sections as one."""
    figures = ("done", "ready", "blocked", "later", "minutes_done", "minutes", "unsaid")
    return SectionState(name, *(sum(getattr(one, figure) for one in found) for figure in figures))


def _section(name: str, steps: Sequence[StepRow], verdicts: Mapping[int, Verdict]) -> SectionState:
    counts = dict.fromkeys(State, 0)
    for step in steps:
        counts[state_of(done=step.done, waits=bool(step.waits_for), verdict=verdicts.get(step.id))] += 1
    minutes = [(step.minutes or 0, step.done) for step in steps]
    unsaid = sum(step.minutes is None for step in steps)
    done = sum(many for many, is_done in minutes if is_done)
    states = counts[State.DONE], counts[State.READY], counts[State.BLOCKED], counts[State.LATER]
    return SectionState(name, *states, done, sum(many for many, _ in minutes), unsaid)


def picture(found: Sequence[SectionState], words: Mapping[str, str]) -> Wholes:
    """The bars of the sections; `words` says by name what stands at the right of each."""
    return wholes((one.name, words[one.name], [(state.value, getattr(one, state.value)) for state in State]) for one in found)


def verdicts_of_plan(project: Project, *, today: date, now: datetime, member: Member | None = None) -> dict[int, Verdict]:
    """What the rule says of the steps of a plan that nothing has to be done before, those that count first. At most 40 queries."""
    found = plans(today)
    looked_at, _ = reading.looked_at(found, project)
    chosen = found.startable(looked_at)
    return _verdicts(desk_for(found, chosen, today, member), chosen, now) if chosen else {}


def _verdicts(desk: Desk, chosen: Sequence[int], now: datetime, rows: Mapping[int, Step] | None = None) -> dict[int, Verdict]:
    """With all the time and the hands that it takes: what is left is plan, cure and stock."""
    evening, seals = Evening(desk.today, None, MOST_PEOPLE), reading.sealed(near_days(desk.today), now)
    return {one.step.pk: one.verdict for one in judged(desk, chosen, evening, seals, rows)}


@dataclass(frozen=True, slots=True)
class Card:
    """A step that is shown beside another one. `far` is how many layers from it: below 0 before it."""

    step: Step
    far: int
    state: State
    verdict: Verdict | None
    waits_for: tuple[str, ...]

    @property
    def away(self) -> int:
        """The same without a sign."""
        return abs(self.far)


@dataclass(frozen=True, slots=True)
class InPlan:
    """A step in its place, with a card for each step that is shown, in the order of the plan's layers."""

    place: Place
    cards: Mapping[int, Card]


def in_plan(step: Step, *, today: date, now: datetime, member: Member | None = None, beside: Beside | None = None) -> InPlan:
    """A step with what it waits for and what waits for it. At most 47 queries, 30 where `beside` was read already."""
    known = beside or read_beside(step.pk, today)
    found, placed = known.plans, known.place
    rows = reading.rows_of(placed.shown)
    chosen = found.startable(placed.shown)
    verdicts = _verdicts(desk_for(found, chosen, today, member, known.read), chosen, now, rows) if chosen else {}
    return InPlan(placed, {card.step.pk: card for card in _cards(placed, found, rows, verdicts)})


def _cards(placed: Place, found: Plans, rows: Mapping[int, Step], verdicts: Mapping[int, Verdict]) -> Iterator[Card]:
    for layer in placed.layers:
        for pk in layer.steps:
            waits_for = () if rows[pk].done else tuple(found.steps[one].label for one in found.waits_for(pk))
            verdict = verdicts.get(pk)
            yield Card(rows[pk], layer.far, state_of(done=rows[pk].done, waits=bool(waits_for), verdict=verdict), verdict, waits_for)
