"""What can be done this evening, and why not the rest: reads with a fixed number of queries."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from buildplan.fitting.queries import OpenConflict, open_conflicts
from buildplan.plan.models import Project, Step
from buildplan.sealday.planning import Cured
from buildplan.sealday.reading import NearDays, near_days
from buildplan.shortfall.calc import Need
from buildplan.shortfall.reading import Plans, Reading, plans
from buildplan.tonight import reading
from buildplan.tonight.calc import Asked, Before, Curing, Disputed, Evening, Sealing, Verdict, judge
from buildplan.tonight.desk import Desk, needed, on_hand
from buildplan.tonight.lies import Lies, carried, used
from buildplan.tonight.reading import Sealed, sealed
from buildplan.tonight.stocked import wanted
from inventory.models import Bench, Member


@dataclass(frozen=True, slots=True)
class Takes:
    """What a step takes of one item, in its stock unit, and where that lies."""

    item_id: int
    item: str
    name: str
    unit: str
    returned: bool
    needed: Decimal
    lies: tuple[Lies, ...]


@dataclass(frozen=True, slots=True)
class StepTonight:
    """A step with what the rule says of it."""

    step: Step
    verdict: Verdict
    takes: tuple[Takes, ...]

    @property
    def places(self) -> int:
        """In how many places what it takes lies."""
        return len({lies.place_id for takes in self.takes for lies in takes.lies})


@dataclass(frozen=True, slots=True)
class Tonight:
    """The answer to the evening's question. `steps` are not done in all; `waiting` of them come later, and were not looked at."""

    evening: Evening
    projects: tuple[Project, ...]
    ready: tuple[StepTonight, ...]
    blocked: tuple[StepTonight, ...]
    steps: int
    waiting: int


def tonight(  # noqa: PLR0913 - what there is of time and people, and who asks when
    *,
    today: date,
    now: datetime,
    minutes: int | None = None,
    people: int = 1,
    project: Project | None = None,
    member: Member | None = None,
    read: Plans | None = None,
    known: NearDays | None = None,
) -> Tonight:
    """Judge the steps that nothing has to be done before, and the next of the others. At most 40 queries.

    `read` are the plans and `known` the seal days, where the page has them already.
    Ready ones stand in plan order, blocked ones by the day that unblocks them. Each step is judged alone, as if it were the only one.
    """
    evening = Evening(today, minutes, people)
    found = read or plans(today)
    chosen, waiting = reading.looked_at(found, project)
    desk = desk_for(found, chosen, today, member) if chosen else None
    looked_at = judged(desk, chosen, evening, sealed(known or near_days(today), now)) if desk else []
    blocked = sorted((one for one in looked_at if not one.verdict.ready), key=_unblocked)
    ready = tuple(one for one in looked_at if one.verdict.ready)
    return Tonight(evening, tuple(found.projects), ready, tuple(blocked), len(chosen) + waiting, waiting)


def _unblocked(one: StepTonight) -> tuple[date, str, int]:
    way = one.verdict.nearest
    return (way and way.day) or date.max, one.step.project.code, one.step.position


def desk_for(found: Plans, chosen: Sequence[int], today: date, member: Member | None, read: Reading | None = None) -> Desk:
    """All that is to be known of what some steps take. At most 25 queries, less what was `read` of them already."""
    wants = reading.wants(found, chosen, today, read)
    return Desk(found, wants, reading.shelves(found, wants, chosen, today, read), today, member)


def judged(desk: Desk, chosen: Sequence[int], evening: Evening, seals: Sealed, rows: Mapping[int, Step] | None = None) -> list[StepTonight]:
    """What the rule says of some steps, and what they take. At most two queries.

    `rows` are those steps and what they wait for, where they were read already.
    """
    named = rows or reading.rows_of({*chosen, *(one for pk in chosen for one in desk.found.waits_for(pk))})
    held = open_conflicts(chosen)
    return [_step(desk, seals, named, pk, evening, held.get(pk, ())) for pk in chosen]


def _step(  # noqa: PLR0913 - what was read, and the step
    desk: Desk, sealed: Sealed, rows: Mapping[int, Step], step: int, evening: Evening, held: Sequence[OpenConflict]
) -> StepTonight:
    row, bench, day = rows[step], desk.project(step).bench, sealed.days.get(step)
    items = desk.items(step)
    asked = Asked(
        label=desk.label(step),
        minutes=row.minutes,
        people=row.people,
        before=tuple(_before(desk, rows, one) for one in desk.found.waits_for(step)),
        disputed=tuple(Disputed(one.title, one.answered, one.item) for one in held),
        curing=tuple(_curing(desk, sealed, step)),
        sealing=None if day is None else Sealing(day.on, warm=day.temperature_f is not None),
        seams=tuple(desk.wants.faults.get(step, ())),
        wanted=tuple(wanted(desk, bench, item, needs) for item, needs in items if needed(needs)),
        unplanned=() if day else tuple(_sealants(desk, items)),
        closed=row.section.name if row.section.closed_at else "",
    )
    takes = tuple(_takes(desk, bench, item, needs) for item, needs in items if needed(needs))
    return StepTonight(row, judge(asked, evening), takes)


def _before(desk: Desk, rows: Mapping[int, Step], step: int) -> Before:
    day = desk.found.every.get(step)
    return Before(desk.label(step), rows[step].title, day.day if day else None)


def _curing(desk: Desk, sealed: Sealed, step: int) -> Iterator[Curing]:
    """What is wet of all that the step comes after; steps sealed on one day don't wait for each other's cure."""
    behind: dict[int, list[str]] = {}
    found: dict[int, Cured] = {}
    for one in sorted(desk.found.sealed_before(step), key=lambda pk: desk.found.steps[pk].order):
        for cured in sealed.wet.get(one, ()):
            if step not in sealed.with_it.get(cured.day.pk, ()):
                found[id(cured)] = cured
                behind.setdefault(id(cured), []).append(desk.label(one))
    for key, cured in found.items():
        yield Curing(cured.item.code, " and ".join(behind[key]), reading.local(cured.at), cured.planned)


def _sealants(desk: Desk, items: Sequence[tuple[int, list[Need]]]) -> Iterator[str]:
    return (desk.shelves.items[item].code for item, needs in items if item in desk.shelves.sealants and needed(needs))


def _takes(desk: Desk, bench: Bench, item: int, needs: Sequence[Need]) -> Takes:
    facts, total = desk.shelves.items[item], needed(needs)
    if facts.returned:
        lies = carried(desk, bench, item, total)
    else:
        lies = tuple(used(desk, desk.line(bench, item, needs, on_hand(desk.supplies(bench, item))).served))
    return Takes(item, facts.code, facts.name, facts.unit, facts.returned, total, lies)
