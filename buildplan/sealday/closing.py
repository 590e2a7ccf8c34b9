"""Closing a seal day: what is done is finished, what isn't is carried on. Or calling it off."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from buildplan.plan.calc import too_far
from buildplan.plan.models import Step
from buildplan.plan.services import set_planned
from buildplan.records.queries import Proposal, proposals
from buildplan.records.services import Use, finish_step
from buildplan.sealday.holding import give_back
from buildplan.sealday.locking import lock_open
from buildplan.sealday.models import DayMix, DayStep, SealDay
from buildplan.sealday.problems import BatchesMixed, NotClosed
from buildplan.sealing.models import MixShare
from inventory.common.fields import plain
from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem
from inventory.common.texts import filled, optional
from inventory.models import Lot, Member, Place

MOST_NOTE = 400
MOST_REASON = 200


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a step: done, or carried to another day for a reason."""

    step: Step
    done: bool
    carry_to: date | None = None
    reason: str = ""


@transaction.atomic
def close(*, day: SealDay, outcomes: Sequence[Outcome], by: Member, today: date, now: datetime) -> SealDay:
    """Close a day: what is done is finished with what it took beside its batches, what isn't is carried to another day. All or nothing.

    A step that is done already needs no outcome. Refused: a step without one, a batch of which nobody said what was left, a day that is
    still to come. Of a sealant that was mixed for a step nothing more is taken; what a step is short of is written into its finish.
    """
    day = lock_open(day, by, "use_stock")
    if day.on > today:
        raise NotClosed(f"this day is on {day.on}, which is still to come: move it to today if it is done")
    rows = list(
        DayStep.objects.filter(day=day).select_related("step__project__bench__workshop").order_by("step__project", "step__position")
    )
    said = {outcome.step.pk: outcome for outcome in outcomes}
    _refuse_unsaid(day, rows, said)
    for row in rows:
        if row.step.done:
            continue
        outcome = said[row.step_id]
        if outcome.done:
            _finish(row.step, day.on, by)
        else:
            _carry(row, outcome, by, today)
    give_back(day, by)
    day.closed_at, day.closed_by = now, by
    changed_by(day, by).save(update_fields=["closed_at", "closed_by"])
    return day


@transaction.atomic
def call_off(*, day: SealDay, reason: str, by: Member, now: datetime) -> SealDay:
    """Call a day off; its lots are given back, and its steps keep their date until they are planned anew. The reason goes into its note.

    Refused where batches were mixed on it: that day is closed.
    """
    day = lock_open(day, by, "plan")
    reason = filled("reason", reason, MOST_REASON)
    if DayMix.objects.filter(day=day, mix__taken_back_at=None).exists():
        raise BatchesMixed(f"batches were mixed on {day.on}: close the day, and carry over what isn't done")
    give_back(day, by)
    day.note = f"{day.note} Called off: {reason}".strip()[:MOST_NOTE]
    day.called_off_at, day.called_off_by = now, by
    changed_by(day, by).save(update_fields=["note", "called_off_at", "called_off_by"])
    return day


def _refuse_unsaid(day: SealDay, rows: Sequence[DayStep], said: Mapping[int, Outcome]) -> None:
    mine = {row.step_id for row in rows}
    for pk, outcome in said.items():
        if pk not in mine:
            raise FieldProblem("outcomes", f"{outcome.step.code} is no step of this day")
    if unsaid := [row.step.code for row in rows if not row.step.done and row.step_id not in said]:
        raise NotClosed(f"say of {' and '.join(unsaid)} whether it is done, or to which day it is carried")
    open_batches = DayMix.objects.filter(day=day, mix__taken_back_at=None, mix__ended_at=None).select_related("mix__item").order_by("mix")
    if batches := [f"{row.mix.item.code}, {plain(row.mix.base + row.mix.accelerator)} g" for row in open_batches]:
        raise NotClosed(f"say what was left of each batch before the day is closed: {'; '.join(batches)}")


def _finish(step: Step, on: date, by: Member) -> None:
    """Finish a step with what netting proposes beyond its batches. A batch stands for all of its sealant that the step took."""
    mixed = set(MixShare.objects.filter(step=step, mix__taken_back_at=None).values_list("mix__item_id", flat=True))
    proposed = [one for one in proposals(step, on=on) if not one.item.returned and one.item.id not in mixed]
    choices = [choice for one in proposed for choice in one.choices if choice.proposed]
    lots = Lot.objects.select_related("item", "bench__workshop").in_bulk([choice.lot for choice in choices])
    places = Place.objects.in_bulk([choice.place for choice in choices])
    uses = [Use(lots[choice.lot], places[choice.place], choice.proposed) for choice in choices]
    finish_step(step=step, on=on, uses=uses, by=by, note=_short_note(proposed))


def _short_note(proposed: Sequence[Proposal]) -> str:
    lacking = [f"{plain(one.line.short)} {one.item.unit} {one.item.code}" for one in proposed if one.line.short]
    text = f"not on hand, so not taken: {', '.join(lacking)}" if lacking else ""
    return text if len(text) <= MOST_REASON else f"{text[: MOST_REASON - 3]}..."


def _carry(row: DayStep, outcome: Outcome, by: Member, today: date) -> None:
    if outcome.carry_to is None:
        raise FieldProblem("carry_to", f"{row.step.code} isn't done: say to which day it is carried")
    if outcome.carry_to < today:
        raise FieldProblem("carry_to", f"{row.step.code} can't be carried to {outcome.carry_to}, which is past")
    if why := too_far(outcome.carry_to, today):
        raise FieldProblem("carry_to", why)
    set_planned(step=row.step, planned_on=outcome.carry_to, by=by)
    row.carried_to, row.reason = outcome.carry_to, optional("reason", outcome.reason, MOST_REASON)
    changed_by(row, by).save(update_fields=["carried_to", "reason"])
