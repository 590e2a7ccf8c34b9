"""Reads behind a seal day: its plan, worked out whenever it is asked for, and the list of days. A fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import date, datetime

from django.db.models import Count, Q

from buildplan.hardware.calc import clecos_for_row
from buildplan.plan.models import CallOut, Step
from buildplan.records.mixing import SupplyLine
from buildplan.sealday.calc import hours_of
from buildplan.sealday.checklist import check_lines
from buildplan.sealday.dayview import (
    BatchLot,
    Blocked,
    CheckLine,
    DayRow,
    DayView,
    HeldClecos,
    Missing,
    MixedBatch,
    Person,
    PlannedBatch,
    ProductDay,
    Share,
    StepChoice,
    StepOnDay,
)
from buildplan.sealday.faults import day_faults
from buildplan.sealday.models import DayStep, SealDay
from buildplan.sealday.order import Order, blocked, blocked_by, wet
from buildplan.sealday.planning import Planned, day_start, plan_days
from buildplan.sealday.reading import Around, Facts, around, read
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import MixRow
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.calc import Line
from buildplan.shortfall.pins import stretches
from inventory.catalogue.models import Kind
from inventory.common.exact import decimal_text
from inventory.common.fields import plain
from inventory.common.problems import Problem
from inventory.common.reasons import ARITHMETIC, Reason

__all__ = [
    "BatchLot",
    "Blocked",
    "CheckLine",
    "DayRow",
    "DayView",
    "HeldClecos",
    "Missing",
    "MixedBatch",
    "Person",
    "PlannedBatch",
    "ProductDay",
    "Share",
    "StepChoice",
    "StepOnDay",
    "choices",
    "days",
    "plan_of",
    "view",
]


# Lists


def days(*, today: date, open_only: bool = False) -> list[DayRow]:
    """The seal days of the workshop: the open ones first, the next first; then what is over, the latest first. Two queries."""
    rows = SealDay.objects.select_related("bench")
    if open_only:
        rows = rows.filter(closed_at=None, called_off_at=None)
    counted = rows.annotate(
        there=Count("people", distinct=True), batches=Count("mixes", filter=Q(mixes__mix__taken_back_at=None), distinct=True)
    )
    codes = _codes(open_only=open_only)
    found = [_day_row(row, codes.get(row.pk, ()), today, row.there, row.batches) for row in counted]
    return sorted(found, key=lambda row: (row.state != "open", row.on.toordinal() * (1 if row.state == "open" else -1), row.id))


def _codes(*, open_only: bool) -> dict[int, list[str]]:
    rows = DayStep.objects.order_by("step__project__code", "step__position")
    if open_only:
        rows = rows.filter(day__closed_at=None, day__called_off_at=None)
    found: dict[int, list[str]] = defaultdict(list)
    for day, code in rows.values_list("day_id", "step__code"):
        found[day].append(code)
    return found


def _day_row(day: SealDay, codes: Sequence[str], today: date, people: int, mixed: int) -> DayRow:
    state = "called off" if day.called_off_at else "closed" if day.closed_at else "open"
    past = state == "open" and day.on < today
    return DayRow(day.pk, day.on, day.bench.code, tuple(codes), people, mixed, state, day.held, past, day.note)


def choices(*, bench: int) -> list[StepChoice]:
    """The steps of a bench's projects that are not done, in plan order. Four queries."""
    steps = Step.objects.filter(project__bench=bench, done=False).order_by("project__code", "position")
    sealed = set(Seam.objects.filter(step__in=steps).values_list("step_id", flat=True))
    sealed |= set(CallOut.objects.filter(step__in=steps, item__kind=Kind.SEALANT).values_list("step_id", flat=True))
    taken = dict(DayStep.objects.filter(day__closed_at=None, day__called_off_at=None, step__in=steps).values_list("step_id", "day_id"))
    rows = steps.values_list("id", "project__code", "code", "title", "planned_on")
    return [StepChoice(*row, seals=row[0] in sealed, day_id=taken.get(row[0])) for row in rows]


# One day


def view(day: SealDay, *, today: date, now: datetime) -> DayView:
    """All of a seal day. The number of queries grows with the projects of its steps alone: some forty, and fifteen for each."""
    facts = read(day, now=now)
    plans = plan_days(facts)
    own, order = plans[facts.day.pk], Order(facts)
    held_up = order.held_up(plans)
    late = blocked_by(facts, held_up)
    found = around(facts, {one.step for one in late} | order.before)
    people = _people(facts)
    batches = sorted((batch for product in own.products for batch in product.batches), key=lambda batch: batch.number)
    steps = tuple(_step(row, order) for row in facts.own_steps)
    missing, unknown = _missing(facts, order, today)
    return DayView(
        day=facts.day,
        people=people,
        hands=own.there.hands,
        hours=own.there.hours,
        minutes=sum(step.minutes or 0 for step in steps if not step.done),
        steps=steps,
        products=own.products,
        mixed=_mixed(facts.mixes.get(facts.day.pk, ())),
        supplies=tuple(SupplyLine(one.name, one.quantity, one.quantity * len(batches), one.unit) for one in found.supplies),
        clecos=tuple(_clecos(facts, found)),
        blocked=tuple(blocked(facts, late, found.others)),
        missing=missing,
        checks=check_lines(
            facts.day,
            batches=batches,
            people=people,
            steps=steps,
            before=[(pk, f"{found.others[pk].code} {found.others[pk].title}") for pk in order.in_order(order.just_before)],
            supplies=found.supplies,
            rows=found.checks,
        ),
        faults=(*unknown, *day_faults(facts, own, order, today), *wet(facts, held_up, day_start(own.day, own.there))),
        trace=tuple(_trace(own)),
    )


def plan_of(day: SealDay) -> Planned:
    """The batches of a day alone, for who holds its lots. Thirty queries at most."""
    return plan_days(read(day, now=None))[day.pk]


def _people(facts: Facts) -> tuple[Person, ...]:
    rows = facts.people.get(facts.day.pk, ())
    return tuple(Person(row.pk, row.name, row.member_id, row.comes, row.goes, hours_of(row.comes, row.goes)) for row in rows)


def _step(row: DayStep, order: Order) -> StepOnDay:
    step = row.step
    return StepOnDay(
        id=row.pk,
        step_id=step.pk,
        project=step.project.code,
        code=step.code,
        title=step.title,
        minutes=step.minutes,
        done=step.done,
        planned_on=step.planned_on,
        waits_for=() if step.done else order.waits_for(step.pk),
        carried_to=row.carried_to,
        reason=row.reason,
    )


def _mixed(rows: Iterable[MixRow]) -> tuple[MixedBatch, ...]:
    """The day's batches, numbered as they were written down; one that was taken back keeps its number."""
    return tuple(
        MixedBatch(
            mix_id=row.id,
            number=number,
            item_id=row.item_id,
            product=row.item,
            base=row.base,
            accelerator=row.accelerator,
            grams=row.grams,
            lots=row.lots,
            shares=tuple(Share(share.step_id, share.code, share.grams) for share in row.shares),
            mixed_at=row.mixed_at,
            mixed_by=row.mixed_by,
            temperature_f=row.temperature_f,
            work_until=row.work_until,
            left=row.left,
            ended_at=row.ended_at,
            taken_back_at=row.taken_back_at,
            note=row.note,
            stopped=row.stop is not None,
            warnings=row.warnings,
            off=row.off,
        )
        for number, row in enumerate(rows, start=1)
    )


def _clecos(facts: Facts, found: Around) -> Iterator[HeldClecos]:
    """What the rows of the day's steps hold until a step frees them; what is free again is left out."""
    for row in found.rows:
        if row.cleco is None:
            continue
        until = row.clecos_until or row.step
        if until.done:
            continue
        count = clecos_for_row(row.holes, row.cleco_every or 1)
        day = facts.planned.get(until.pk)
        yield HeldClecos(row.cleco.code, count, row.step.code, row.code, until.code, day.day if day else None)


def _missing(facts: Facts, order: Order, today: date) -> tuple[tuple[Missing, ...], tuple[str, ...]]:
    """What the order sheet of each project says of the day's steps and of those before them; or why it can't be told."""
    if not facts.day.open:
        return (), ()
    own = {row.step_id for row in facts.own_steps if not row.step.done}
    concerned = {row.step.project_id for row in facts.own_steps}
    found, faults = [], []
    for project in facts.projects:
        if project.pk not in concerned:
            continue
        try:
            lines = shortfall.shortfall([project], before=facts.day.on, as_of=today).short
        except Problem as error:
            faults.append(f"what {project.code} is short of isn't known: {error}")
            continue
        found += [Missing(project.code, line, _late(line, today), _lacks(line, own)) for line in lines if _lacks(line, own | order.before)]
    return tuple(sorted(found, key=lambda one: (one.line.order_by or date.max, one.project, one.line.item.code))), tuple(faults)


def _late(line: Line, today: date) -> bool:
    return line.order_by is not None and line.order_by < today


def _lacks(line: Line, steps: Collection[int]) -> bool:
    """Whether it is one of these steps that goes short."""
    if line.item.returned:
        return any(holder.step in steps for stretch in stretches(line) for holder in stretch.holders)
    return any(need.step in steps for need, _ in line.missing)


def _trace(own: Planned) -> Iterator[Reason]:
    there = own.there
    if there.hands:
        hands = "1 person is" if there.hands == 1 else f"{there.hands} people are"
        text = (
            f"{hands} there at the least while anybody is, {decimal_text(there.hours, 2)} h from {there.first:%H:%M} to {there.last:%H:%M}"
        )
        yield Reason(text, "the people's hours, as entered")
    for product in own.products:
        text = f"{product.code}: {plain(product.needed)} g needed, {plain(product.mixed)} g mixed, {plain(product.open)} g still to mix"
        yield Reason(f"{text}, {plain(product.short)} g of that short", ARITHMETIC)
