"""Writing rivet rows, what a workshop sets for its rivets and clecos, and what an inspector accepts in place of what."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction

from django.db import transaction
from django.db.models import Max

from buildplan.hardware.calc import may_serve
from buildplan.hardware.models import ClecoSpacing, RivetLoss, RivetRow, Stage, Substitution
from buildplan.hardware.queries import check_rivet, cleco_for, clecos_by_diameter, needs_rivet, rivets
from buildplan.plan.models import Project, Step
from buildplan.plan.services import refuse_closed_rows, refuse_if_closed
from inventory.common.fields import plain
from inventory.common.history import assign, changed_by, put_many
from inventory.common.problems import FieldProblem, Problem
from inventory.common.texts import BadText, filled
from inventory.models import Item, Member, Workshop
from inventory.workshop import policy
from inventory.workshop.services import BadSetting, lock

MOST_CODE = 40
MOST_HOLES = 1_000_000
MOST_GRIP = 100  # inches: past any airframe, so a grip in millimetres by mistake shows
MOST_RATIO = 31  # characters of a fraction: the column's
MOST_EVERY = 100
MOST_DIAMETER = Fraction(1)
FINEST = 10_000  # of an inch: no rivet is stated finer, and a row keeps it
MOST_PERCENT = Decimal(100)
CENT = Decimal("0.01")
MOST_NOTE = 300
SERVED = "what serves in it"


class NoSubstitute(Problem):
    """One item that can't stand in for another in a step."""

    title = "This can't serve for that"


class AlreadyAccepted(Problem):
    """Something is accepted in place of that item in that step already."""

    status = 409
    title = "Already accepted"


class StepDone(Problem):
    """A step that is done is a record: its rows, its seams and what served in it stay as they were written down."""

    status = 409
    title = "The step is done"


class Gone(Problem):
    """What was to be changed has been removed meanwhile."""

    status = 409
    title = "No longer there"


class Withdrawn(Problem):
    """An acceptance is withdrawn once."""

    status = 409
    title = "Already withdrawn"


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """A rivet row as a plan states it. `step` and `clecos_until` are codes of steps of the project, in any case; grip in inches."""

    step: str
    code: str
    rivet_id: int
    holes: int
    grip: Fraction | None = None
    cleco_every: int | None = None
    cleco_id: int | None = None
    clecos_until: str | None = None


@transaction.atomic
def put_rows(*, project: Project, rows: Sequence[PlannedRow], by: Member) -> list[str]:
    """Make the project's rivet rows what `rows` say, in place, and give back those removed, as `STEP ROW`."""
    policy.require(by, "plan", project.bench)
    steps = {code.upper(): pk for pk, code in Step.objects.filter(project=project).values_list("pk", "code")}
    found = RivetRow.objects.filter(step__project=project).select_related("step")
    present = {(row.step_id, row.code.upper()): row for row in found}
    wanted = {
        (steps[row.step.upper()], row.code.upper()): {
            "workshop_id": project.workshop_id,
            "step_id": steps[row.step.upper()],
            "code": row.code,
            "position": position,
            "rivet_id": row.rivet_id,
            "holes": row.holes,
            "grip": row.grip,
            "cleco_every": row.cleco_every,
            "cleco_id": row.cleco_id,
            "clecos_until_id": None if row.clecos_until is None else steps[row.clecos_until.upper()],
        }
        for position, row in enumerate(rows, start=1)
    }
    refuse_closed_rows(project, present, wanted, "rivet rows")
    return [f"{row.step.code} {row.code}" for row in put_many(RivetRow, present, wanted, by)]


@transaction.atomic
def save_row(  # noqa: PLR0913 - what a row says
    *,
    step: Step,
    code: str,
    rivet: Item,
    holes: int,
    grip: Fraction | None,
    cleco_every: int | None,
    clecos_until: Step | None,
    by: Member,
    row: RivetRow | None = None,
) -> RivetRow:
    """Put a rivet row into `step`, or make `row` of it say this. The cleco is the one of the rivet's diameter, as when loading.

    A `FieldProblem` names what doesn't do. Refused for a step that is done.
    """
    policy.require(by, "plan", step.project.bench)
    policy.own(by, step, rivet)
    step = lock_to_do(step, "its rows")
    found = RivetRow(workshop_id=step.workshop_id, step=step, position=_next_position(step)) if row is None else _row_now(row, step)
    said = {
        "code": checked_code(code, "row"),
        "rivet_id": rivet.pk,
        "holes": within("holes", holes, MOST_HOLES),
        "grip": None if grip is None else _grip(grip),
        "cleco_every": None if cleco_every is None else within("cleco_every", cleco_every, MOST_HOLES),
        "clecos_until_id": None if clecos_until is None else _same_project(step, clecos_until),
        "cleco_id": _cleco(rivet, cleco_every),
    }
    if RivetRow.objects.filter(step=step, code__iexact=said["code"]).exclude(pk=found.pk).exists():
        raise FieldProblem("code", f"{said['code']} is a row of {step.code} already: give each row of a step its own code")
    if assign(found, said) or found.pk is None:
        changed_by(found, by).save()
    return found


@transaction.atomic
def remove_row(*, row: RivetRow, by: Member) -> None:
    """Take a rivet row out of its step; its history stays. Refused for a step that is done."""
    policy.require(by, "plan", row.step.project.bench)
    policy.own(by, row)
    step = lock_to_do(row.step, "its rows")
    changed_by(_row_now(row, step), by).delete()


def _row_now(row: RivetRow, step: Step) -> RivetRow:
    found = RivetRow.objects.filter(pk=row.pk, step=step).first()
    if found is None:
        raise Gone(f"row {row.code} is no longer in {step.code}: it was removed meanwhile")
    return found


def _next_position(step: Step) -> int:
    last: int | None = RivetRow.objects.filter(step=step).aggregate(last=Max("position"))["last"]
    return (last or 0) + 1


def _cleco(rivet: Item, every: int | None) -> int | None:
    check_rivet(rivet)
    return None if every is None else cleco_for(rivet, clecos_by_diameter()).pk


def _grip(grip: Fraction) -> Fraction:
    if not 0 < grip <= MOST_GRIP:
        raise FieldProblem("grip", f"a grip of {grip} in doesn't do: give one over 0 and up to {MOST_GRIP} in, and check its unit")
    return kept_exactly("grip", grip)


def _same_project(step: Step, until: Step) -> int:
    if until.project_id != step.project_id:
        raise FieldProblem("clecos_until", "that is no step of this project")
    return until.pk


def kept_exactly(field: str, size: Fraction) -> Fraction:
    """`size` where its column holds it."""
    if len(str(size)) > MOST_RATIO:
        raise FieldProblem(field, "this has too many digits: write fewer decimals")
    return size


def within(field: str, count: int, most: int) -> int:
    """`count` where it is from 1 to `most`."""
    if not 1 <= count <= most:
        raise FieldProblem(field, f"{count} is not from 1 to {most}: give a number in that range")
    return count


def checked_code(code: str, what: str) -> str:
    """The code of a row or a seam, without outer blanks."""
    try:
        return filled(f"code of the {what}", code, MOST_CODE)
    except BadText as error:
        raise FieldProblem("code", str(error)) from error


@transaction.atomic
def set_cleco_spacing(*, workshop: Workshop, stage: str, every: int | None, by: Member) -> ClecoSpacing | None:
    """The workshop's own spacing of clecos at a stage; None goes back to the common practice of the trade."""
    policy.own(by, workshop)
    policy.require(by, "manage")
    if stage not in Stage.values:
        raise BadSetting(f"{stage!r} is no stage: there are {', '.join(Stage.values)}")
    if every is not None and not 1 <= every <= MOST_EVERY:
        raise BadSetting(f"a cleco in 1 hole of {every} doesn't do: give 1 to {MOST_EVERY}")
    lock(workshop)
    found = ClecoSpacing.objects.filter(workshop=workshop, stage=stage).first()
    if every is None:
        if found is not None:
            changed_by(found, by).delete()
        return None
    if found is None:
        found = ClecoSpacing(workshop=workshop, stage=stage)
    elif found.every == every:
        return found
    found.every = every
    changed_by(found, by).save()
    return found


@transaction.atomic
def set_rivet_loss(*, workshop: Workshop, diameter: Fraction, percent: Decimal, by: Member) -> RivetLoss:
    """What the workshop loses of rivets of one diameter (inches), in percent of the holes of rows."""
    policy.own(by, workshop)
    policy.require(by, "manage")
    if not 0 < diameter <= MOST_DIAMETER or diameter.denominator > FINEST:
        raise BadSetting(f"a diameter of {diameter} in doesn't do: give one over 0 and up to {MOST_DIAMETER} in, such as 1/8")
    percent = _percent(percent)
    lock(workshop)
    found = RivetLoss.objects.filter(workshop=workshop, diameter=diameter).first()
    if found is None:
        found = RivetLoss(workshop=workshop, diameter=diameter)
    elif found.percent == percent:
        return found
    found.percent = percent
    changed_by(found, by).save()
    return found


@transaction.atomic
def remove_rivet_loss(*, loss: RivetLoss, by: Member) -> None:
    """No loss is added for that size any more."""
    policy.own(by, loss)
    policy.require(by, "manage")
    changed_by(loss, by).delete()


def _percent(value: Decimal) -> Decimal:
    if not value.is_finite() or not 0 <= value <= MOST_PERCENT:
        raise BadSetting(f"a loss of {value} % doesn't do: give 0 to 100")
    kept = value.quantize(CENT)
    if kept != value:
        raise BadSetting(f"a loss of {plain(value)} % is finer than a hundredth of a percent")
    return abs(kept)  # -0 is 0


@transaction.atomic
def accept_substitution(  # noqa: PLR0913 - what an acceptance says
    *,
    step: Step,
    wanted: Item,
    served_by: Item,
    note: str,
    now: datetime,
    by: Member,
) -> Substitution:
    """Let `served_by` serve for `wanted` in `step`: from now on the whole need of the one there is a need of the other.

    `note` is what the plans or the maker said. Refused without a published rule, for a step that is done, and where something is
    accepted in place of `wanted` in that step already.
    """
    policy.require(by, "accept", step.project.bench)
    policy.own(by, step, wanted, served_by)
    note = filled("note", note, MOST_NOTE)
    step = lock_to_do(step, SERVED)
    _refuse_unfit(step, wanted, served_by)
    standing = Substitution.objects.filter(step=step, wanted=wanted, withdrawn_at=None).select_related("served_by", "by").first()
    if standing is not None:
        raise AlreadyAccepted(
            f"{standing.by.name} accepted {standing.served_by.code} in place of {wanted.code} in {step.code}: withdraw that first"
        )
    accepted = Substitution(workshop_id=step.workshop_id, step=step, wanted=wanted, served_by=served_by, by=by, at=now, note=note)
    changed_by(accepted, by).save()
    return accepted


@transaction.atomic
def withdraw_substitution(*, substitution: Substitution, now: datetime, by: Member) -> Substitution:
    """The step needs again what the plans call for. That something was accepted stays on record."""
    policy.own(by, substitution)
    policy.require(by, "accept")
    lock_to_do(substitution.step, SERVED)
    substitution = Substitution.objects.get(pk=substitution.pk)
    if substitution.withdrawn_at is not None:
        raise Withdrawn("this was withdrawn already")
    substitution.withdrawn_at, substitution.withdrawn_by = now, by
    changed_by(substitution, by).save(update_fields=["withdrawn_at", "withdrawn_by"])
    return substitution


def lock_to_do(step: Step, what: str) -> Step:
    """The step as it is now, held against a finish and a second writer at the same time. `what` of it is about to change.

    Refused for one that is done, and for one of a section that is closed up.
    """
    refuse_if_closed(step)
    step = Step.objects.select_for_update().get(pk=step.pk)
    refuse_done(step, what)
    return step


def refuse_done(step: Step, what: str) -> None:
    """Raise `StepDone` where the step is done: `what` of it can't change."""
    if step.done:
        raise StepDone(f"{step.code} is done: take it back before you change {what}")


def _refuse_unfit(step: Step, wanted: Item, served_by: Item) -> None:
    known = rivets([wanted.pk, served_by.pk])
    called, offered = known.get(wanted.pk), known.get(served_by.pk)
    if called is None or offered is None or wanted.pk == served_by.pk or may_serve(called, offered) is None:
        raise NoSubstitute(f"no published rule known here lets {served_by.code} serve for {wanted.code}")
    if wanted.unit != served_by.unit:
        raise NoSubstitute(f"{wanted.code} is counted in {wanted.unit}, {served_by.code} in {served_by.unit}: make them one unit first")
    if not needs_rivet(step, wanted):
        raise NoSubstitute(f"{step.code} doesn't need {wanted.code}")
