"""Writing seal days: planning, changing, mixing. `moving` moves them, `closing` ends them, `holding` sets their lots aside.

Locks are taken in one order: bench (to plan a day), days by id, sections by id, steps by id, lots by id.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from buildplan.hardware.services import kept_exactly
from buildplan.plan.calc import too_far
from buildplan.plan.models import CallOut, Step
from buildplan.plan.services import refuse_if_closed, set_planned
from buildplan.sealday.checklist import KEYS, MOST_KEY, MOST_TEXT
from buildplan.sealday.closing import MOST_NOTE, Outcome, call_off, close
from buildplan.sealday.holding import give_back, hold_anew, release_held
from buildplan.sealday.locking import lock_open
from buildplan.sealday.models import DayCheck, DayMix, DayPerson, DayProduct, DayStep, SealDay
from buildplan.sealday.moving import Change, Moved, move, try_move
from buildplan.sealday.problems import BadDay, BatchesMixed, DayOver, DayTaken, NotClosed, NothingToHold, OnTheList
from buildplan.sealday.queries import plan_of
from buildplan.sealday.reading import MOST_CURE
from buildplan.sealing.metal import refuse_implausible
from buildplan.sealing.models import Mix, MixShare, Seam
from buildplan.sealing.queries import off_ratio
from buildplan.sealing.services import Take, record_mix
from inventory.catalogue.models import Kind
from inventory.common.history import assign, changed_by, create_many, put_many
from inventory.common.problems import FieldProblem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled, optional
from inventory.models import Bench, Item, Member
from inventory.workshop import policy

__all__ = [
    "BadDay",
    "BatchesMixed",
    "Change",
    "DayOver",
    "DayTaken",
    "Moved",
    "NotClosed",
    "NothingToHold",
    "OnTheList",
    "Outcome",
    "PersonData",
    "add_check",
    "call_off",
    "change_seal_day",
    "close",
    "hold_lots",
    "mix",
    "move",
    "plan_seal_day",
    "release_lots",
    "remove_check",
    "set_people",
    "set_product",
    "set_steps",
    "tick",
    "try_move",
]

MOST_NAME = 120
MOST_FIGURE = 100_000  # grams an hour, or grams of a scale's division: past it, it is a slip
HOUR = timedelta(hours=1)
NEAR = timedelta(days=1)  # ours: a batch begins on its seal day, an evening before or past midnight


@dataclass(frozen=True, slots=True)
class PersonData:
    """Who is there, from when to when. A guest has no member."""

    name: str
    comes: time
    goes: time
    member: Member | None = None


# Planning


@transaction.atomic
def plan_seal_day(  # noqa: PLR0913 - what a day says
    *,
    bench: Bench,
    on: date,
    steps: Sequence[Step],
    by: Member,
    today: date,
    temperature_f: Fraction | None = None,
    pace: Fraction | None = None,
    division: Fraction | None = None,
    note: str = "",
) -> SealDay:
    """Plan a day of sealing for steps of one bench; they are planned for that day.

    What the data sheets say is taken from the latest seal day that said it of the same product. Refused: a day that is past or too far
    off, no steps, steps that are done, of a section that is closed up, another bench's or in another open seal day, a second day of that
    bench and date.
    """
    policy.require(by, "plan", bench)
    if on < today:
        raise BadDay(f"{on} is past: plan a seal day for today ({today}) or later")
    if why := too_far(on, today):
        raise BadDay(why)
    Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)  # of two who plan one day, the second finds the first's
    if SealDay.objects.filter(bench=bench, on=on, called_off_at=None).exists():
        raise DayTaken(f"bench {bench.code} has a seal day on {on} already: change that one, or name another day")
    day = SealDay(workshop_id=bench.workshop_id, bench=bench, on=on, by=by)
    assign(day, _figures(temperature_f, pace, division, note))
    found = _checked_steps(day, steps, by)
    changed_by(day, by).save(force_insert=True)
    _add_steps(day, found, by)
    return day


@transaction.atomic
def change_seal_day(  # noqa: PLR0913 - what a day says
    *, day: SealDay, temperature_f: Fraction | None, pace: Fraction | None, division: Fraction | None, note: str, by: Member
) -> SealDay:
    """Say anew how warm the metal will be (F), what a person places in an hour (g), the scale's division (g), and the note."""
    day = lock_open(day, by, "plan")
    if assign(day, _figures(temperature_f, pace, division, note)):
        changed_by(day, by).save()
        _hold_if_held(day, by)
    return day


@transaction.atomic
def set_steps(*, day: SealDay, steps: Sequence[Step], by: Member, today: date) -> SealDay:
    """Say which steps the day is for: those new to it are planned for it, those taken out keep their date.

    A step that is in it stays even if it is done or its section is closed up. Refused: no steps, a new one of a section that is closed
    up, a step that a standing batch of the day was mixed for taken out.
    """
    day = lock_open(day, by, "plan")
    present = {row.step_id: row for row in DayStep.objects.filter(day=day).select_related("step")}
    wanted = {step.pk for step in steps}
    if not wanted:
        raise BadDay("a seal day without steps is none: name at least one, or call the day off")
    new = [step for step in steps if step.pk not in present]
    if new and day.on < today:
        raise BadDay(f"{day.on} is past: nothing more is planned for it")
    gone = [row for pk, row in present.items() if pk not in wanted]
    _refuse_mixed(day, gone)
    found = _checked_steps(day, new, by) if new else []
    if day.held:
        release_held(day=day, by=by)
    for row in gone:
        changed_by(row, by).delete()
    if found:
        _add_steps(day, found, by)
    _hold_if_held(day, by)
    return day


@transaction.atomic
def set_people(*, day: SealDay, people: Sequence[PersonData], by: Member) -> SealDay:
    """Say who is there. Refused: nobody, a name twice, a person who goes before they come."""
    day = lock_open(day, by, "plan")
    wanted = {row["name"].casefold(): {"workshop_id": day.workshop_id, "day_id": day.pk, **row} for row in map(_person(by), people)}
    if not wanted:
        raise BadDay("nobody is there: name at least one person with their hours")
    if len(wanted) < len(people):
        raise FieldProblem("name", "one name stands there twice: tell the two apart, or give one person one span")
    put_many(DayPerson, {row.name.casefold(): row for row in DayPerson.objects.filter(day=day)}, wanted, by)
    _hold_if_held(day, by)
    return day


@transaction.atomic
def set_product(*, day: SealDay, item: Item, life_hours: Fraction | None, cure_hours: Fraction | None, by: Member) -> SealDay:
    """Write down what a product's data sheet says: work life at 77 F, and until it is cured, in hours. None is not known."""
    day = lock_open(day, by, "plan")
    policy.own(by, item)
    if item.kind != Kind.SEALANT:
        raise FieldProblem("item", f"{item.code} is of kind {item.kind}: name a sealant")
    said = {"life_hours": _hours("life_hours", life_hours), "cure_hours": _hours("cure_hours", cure_hours)}
    found = DayProduct.objects.filter(day=day, item=item).first() or DayProduct(workshop_id=day.workshop_id, day=day, item=item)
    if assign(found, said) or found.pk is None:
        changed_by(found, by).save()
        _hold_if_held(day, by)
    return day


# Holding


@transaction.atomic
def hold_lots(*, day: SealDay, by: Member, today: date, now: datetime) -> SealDay:  # noqa: ARG001 - the plan doesn't hang on the clock
    """Set the lots of the plan aside for the day's steps, and keep them so after each change of the day."""
    day = lock_open(day, by, "plan")
    if not hold_anew(day=day, by=by):
        faults = [f"{product.code}: {fault}" for product in plan_of(day).products for fault in product.faults]
        raise NothingToHold(f"no lot is planned for {day.on}: {'; '.join(faults) or 'nothing that is on hand serves on that day'}")
    if not day.held:
        day.held = True
        changed_by(day, by).save(update_fields=["held"])
    return day


@transaction.atomic
def release_lots(*, day: SealDay, by: Member) -> SealDay:
    """Give the lots back that are set aside for the day's steps."""
    day = lock_open(day, by, "plan")
    give_back(day, by)
    return day


def _hold_if_held(day: SealDay, by: Member) -> None:
    if day.held:
        hold_anew(day=day, by=by)


# The list of the night before


@transaction.atomic
def tick(*, day: SealDay, key: str, text: str, done: bool, by: Member, now: datetime) -> DayCheck:  # noqa: PLR0913 - what a tick says
    """Tick a line off, or untick it. `key` names one that the plan gave, `text` is as it was read; without a key it is people's own."""
    day = lock_open(day, by, "plan")
    if key and (key.partition(":")[0] not in KEYS or len(key) > MOST_KEY):
        raise FieldProblem("key", f"{key[:40]!r} is no line of this list")
    text = filled("text", text, MOST_TEXT)
    if key:
        row = DayCheck.objects.filter(day=day, key=key).first() or DayCheck(workshop_id=day.workshop_id, day=day, key=key)
    else:
        row = _own_check(day, text)
    row.text = text
    row.ticked_at, row.ticked_by = (now, by) if done else (None, None)
    changed_by(row, by).save()
    return row


def _own_check(day: SealDay, text: str) -> DayCheck:
    row = DayCheck.objects.filter(day=day, key="", text=text).first()
    if row is None:
        raise FieldProblem("text", f"{text[:40]!r} is not on the list")
    return row


@transaction.atomic
def add_check(*, day: SealDay, text: str, by: Member) -> DayCheck:
    """Put a line of one's own on the list."""
    day = lock_open(day, by, "plan")
    text = filled("text", text, MOST_TEXT)

    def make() -> DayCheck:
        row = changed_by(DayCheck(workshop_id=day.workshop_id, day=day, text=text), by)
        row.save()
        return row

    row, made = find_or_make(lambda: DayCheck.objects.filter(day=day, key="", text=text).first(), make)
    if not made:
        raise OnTheList(f"{text!r} is on the list already: tick it there")
    return row


@transaction.atomic
def remove_check(*, check: DayCheck, by: Member) -> None:
    """Take a line of people's own off the list; what the plan gives can't be taken off."""
    lock_open(check.day, by, "plan")
    if check.key:
        raise FieldProblem("key", "this line comes from the plan: tick it off, or change the plan")
    changed_by(check, by).delete()


# Mixing


@transaction.atomic
def mix(  # noqa: PLR0913 - what is said of a batch
    *,
    day: SealDay,
    key: UUID,
    item: Item,
    takes: Sequence[Take],
    shares: Sequence[tuple[Step, Decimal]],
    base: Decimal,
    accelerator: Decimal,
    mixed_at: datetime,
    mixed_by: str,
    on: date,
    temperature_f: Fraction | None,
    by: Member,
    note: str = "",
) -> DayMix:
    """Write down a batch that was mixed on the day, as `record_mix` does, with the work life entered for it. The same key makes no second.

    What was held of its lots for the day's other steps doesn't stand in its way; what is left to mix is held anew. Refused for a step of
    a section that is closed up, begun far from the day, and without a note where its ratio is off by more than the scale explains.
    """
    if (made := DayMix.objects.filter(mix__key=key).select_related("mix").first()) is not None:
        policy.own(by, made)
        return made
    day = lock_open(day, by, "use_stock")
    _refuse_other_steps(day, [step for step, _ in shares])
    refuse_if_closed(*(step for step, _ in shares), unless=Mix.objects.filter(key=key))  # before its lots are locked
    _refuse_far(day, mixed_at)
    data = DayProduct.objects.filter(day=day, item=item).first()
    if day.held:
        release_held(day=day, by=by, lots={take.lot.pk for take in takes})
    mixed = record_mix(
        item=item,
        key=key,
        takes=takes,
        shares=shares,
        base=base,
        accelerator=accelerator,
        mixed_at=mixed_at,
        mixed_by=mixed_by,
        on=on,
        temperature_f=temperature_f,
        life_hours=data.life_hours if data else None,
        by=by,
        note=note,
    )
    _ask_why_off(day, mixed)
    row, _ = DayMix.objects.get_or_create(mix=mixed, defaults={"workshop_id": day.workshop_id, "day": day})
    _hold_if_held(day, by)
    return row


def _refuse_other_steps(day: SealDay, steps: Sequence[Step]) -> None:
    mine = set(DayStep.objects.filter(day=day).values_list("step_id", flat=True))
    for step in steps:
        if step.pk not in mine:
            raise FieldProblem("shares", f"{step.code} is no step of this day: add it to the day first")


def _refuse_far(day: SealDay, mixed_at: datetime) -> None:
    began = timezone.localdate(mixed_at)
    if abs(began - day.on) > NEAR:
        text = f"that began on {began}, and this seal day is {day.on}: a batch begins at most a day before or after it (a rule of ours)"
        raise FieldProblem("mixed_at", f"{text}; put the time right, or move the day")


def _ask_why_off(day: SealDay, mix: Mix) -> None:
    """A ratio that no scale explains is kept with a reason alone."""
    off = off_ratio(mix.base, mix.accelerator, mix.item.base, mix.item.accelerator, day.division)
    if off and not mix.note:
        said = "; ".join(reason.text for reason in off)
        raise FieldProblem("note", f"{said} (a limit of ours): weigh again, or say in a note why it is kept as it is")


# What is checked


def _checked_steps(day: SealDay, steps: Sequence[Step], by: Member) -> list[Step]:
    """The steps as they are now, held, where this day may be for them."""
    policy.own(by, *steps)
    refuse_if_closed(*steps)
    rows = (
        Step.objects.select_for_update(of=("self",), no_key=True)
        .select_related("project__bench")
        .filter(pk__in=[step.pk for step in steps])
    )
    found = list(rows.order_by("pk"))
    if not found:
        raise BadDay("a seal day without steps is none: name at least one")
    for step in found:
        if step.project.bench_id != day.bench_id:
            raise BadDay(f"{step.code} is a step of bench {step.project.bench.code}, and this day is of {day.bench.code}")
        if step.done:
            raise BadDay(f"{step.code} is done: a seal day is for what is still to do")
    taken = DayStep.objects.filter(step__in=found, day__closed_at=None, day__called_off_at=None).exclude(day=day.pk)
    if other := taken.select_related("step", "day").first():
        raise DayTaken(f"{other.step.code} is in the seal day of {other.day.on} already: take it out there first")
    return found


def _add_steps(day: SealDay, steps: Sequence[Step], by: Member) -> None:
    create_many([DayStep(workshop_id=day.workshop_id, day=day, step=step) for step in steps], by)
    for step in steps:
        if step.planned_on != day.on:
            set_planned(step=step, planned_on=day.on, by=by)
    _copy_sheets(day, [step.pk for step in steps], by)


def _copy_sheets(day: SealDay, steps: Sequence[int], by: Member) -> None:
    """What the latest seal day said of the same products' data sheets, for those of which this one says nothing."""
    items = set(Seam.objects.filter(step__in=steps).values_list("sealant_id", flat=True))
    items |= set(CallOut.objects.filter(step__in=steps, item__kind=Kind.SEALANT).values_list("item_id", flat=True))
    items -= set(DayProduct.objects.filter(day=day).values_list("item_id", flat=True))
    latest = {row.item_id: row for row in DayProduct.objects.filter(item__in=items).order_by("pk")}
    copies = [
        DayProduct(workshop_id=day.workshop_id, day=day, item_id=row.item_id, life_hours=row.life_hours, cure_hours=row.cure_hours)
        for row in latest.values()
    ]
    create_many(copies, by)


def _refuse_mixed(day: SealDay, gone: Sequence[DayStep]) -> None:
    steps = [row.step_id for row in gone]
    mixed = MixShare.objects.filter(step__in=steps, mix__seal_day__day=day, mix__taken_back_at=None).select_related("step").first()
    if mixed:
        raise BatchesMixed(f"a batch was mixed for {mixed.step.code} on this day: take the batch back first")


def _person(by: Member) -> Callable[[PersonData], dict[str, Any]]:
    def checked(data: PersonData) -> dict[str, Any]:
        name = filled("name", data.name, MOST_NAME)
        if data.goes <= data.comes:
            raise FieldProblem("goes", f"{name} goes at {data.goes:%H:%M}, and comes at {data.comes:%H:%M}: they must go after they come")
        if data.member is not None:
            policy.own(by, data.member)
        return {"name": name, "comes": data.comes, "goes": data.goes, "member_id": data.member.pk if data.member else None}

    return checked


def _figures(temperature_f: Fraction | None, pace: Fraction | None, division: Fraction | None, note: str) -> dict[str, object]:
    refuse_implausible("temperature_f", temperature_f)
    return {
        "temperature_f": None if temperature_f is None else kept_exactly("temperature_f", Fraction(temperature_f)),
        "pace": _figure("pace", pace),
        "division": _figure("division", division),
        "note": optional("note", note, MOST_NOTE),
    }


def _figure(field: str, value: Fraction | None) -> Fraction | None:
    if value is None:
        return None
    if not 0 < value <= MOST_FIGURE or value * 1000 % 1:
        raise FieldProblem(field, f"give grams over 0 and up to {MOST_FIGURE}, with three decimals at most")
    return Fraction(value)


def _hours(field: str, value: Fraction | None) -> Fraction | None:
    if value is None:
        return None
    if not 0 < value <= MOST_CURE / HOUR:
        raise FieldProblem(field, f"give hours over 0 and up to {MOST_CURE / HOUR:g}, as the data sheet says")
    return kept_exactly(field, Fraction(value))
