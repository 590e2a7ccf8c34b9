"""Writing down what was done: a step and the stock it really took, in one transaction."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from buildplan.fitting.services import refuse_if_held
from buildplan.hardware.models import RivetRow
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Finish, Step
from buildplan.plan.services import refuse_if_closed
from buildplan.sealing.models import MixShare, Seam
from inventory.catalogue.models import RETURNED
from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.models import Lot, Member, Movement, Place
from inventory.stock import services as stock
from inventory.workshop import policy


class AlreadyDone(Problem):
    """The step is done: nothing was taken a second time."""

    status = 409
    title = "Already done"


class NothingTaken(Problem):
    """A step that needs stock was to be finished without any, and nobody said that this is meant."""

    title = "Nothing taken"


class NotFinishedHere(Problem):
    """There is no finish to take back."""

    status = 409
    title = "Nothing to take back"


@dataclass(frozen=True, slots=True)
class Use:
    """What a step really took of one lot from one place, in the item's stock unit."""

    lot: Lot
    place: Place
    quantity: Decimal


@transaction.atomic
def finish_step(  # noqa: PLR0913 - what a finish says
    *,
    step: Step,
    on: date,
    uses: Sequence[Use],
    by: Member,
    without_movements: bool = False,
    note: str = "",
) -> Finish:
    """Mark `step` done on a day and take what it used from stock; all of it or nothing.

    A step that needs stock and takes none is refused unless `without_movements` says that this is meant: that choice is kept. What was
    mixed for it was taken when it was mixed. One that rests on an open conflict of text and drawing is refused, and one of a section that
    is closed up.
    """
    policy.require(by, "use_stock", step.project.bench)
    refuse_if_closed(step)
    step = Step.objects.select_for_update().select_related("project").get(pk=step.pk)
    if step.done:
        day = f" on {step.done_on}" if step.done_on else ""
        raise AlreadyDone(f"{step.code} is done{day} already: nothing was taken again")
    refuse_if_held(step)
    mixed = MixShare.objects.filter(step=step, mix__taken_back_at=None).exists()
    if not mixed:
        _refuse_silence(step, uses, without_movements=without_movements)
    finish = Finish.objects.create(
        workshop_id=step.workshop_id,
        step=step,
        on=on,
        by=by,
        without_movements=not uses and not mixed,
        note=note,
    )
    stock.lock(use.lot for use in uses)
    for use in uses:
        stock.use(lot=use.lot, quantity=use.quantity, place=use.place, on=on, by=by, ref=finish.ref, step_ref=step_ref(step.pk))
    _mark(step, done=True, done_on=on, by=by)
    return finish


@transaction.atomic
def take_back(*, step: Step, on: date, now: datetime, by: Member) -> Finish:
    """Undo the finish of `step`: each of its movements is reversed, and the step is to do again. The finish itself stays on record.

    What was mixed for it stays mixed: a batch is taken back by itself. Refused while its section is closed up.
    """
    policy.require(by, "use_stock", step.project.bench)
    refuse_if_closed(step)
    step = Step.objects.select_for_update().get(pk=step.pk)
    finish = Finish.objects.filter(step=step, taken_back_at=None).first()
    if finish is None:
        raise NotFinishedHere(f"{step.code} was not finished here: there are no movements to reverse")
    movements = Movement.objects.filter(ref=finish.ref, reverses=None, reversed_by=None).select_related("lot__bench", "source", "target")
    stock.lock(movement.lot for movement in movements)
    for movement in movements.order_by("-pk"):
        stock.reverse(movement=movement, on=on, by=by, note=f"{step.code} taken back")
    finish.taken_back_at, finish.taken_back_by = now, by
    finish.save(update_fields=["taken_back_at", "taken_back_by"])
    _mark(step, done=False, done_on=None, by=by)
    return finish


def _refuse_silence(step: Step, uses: Sequence[Use], *, without_movements: bool) -> None:
    """A need must not disappear without its stock unless somebody says so."""
    if uses and without_movements:
        raise NothingTaken(f"{step.code}: 'done, without movements' was chosen and quantities were given: give one or the other")
    called_out = step.call_outs.exclude(item__kind__in=RETURNED).exists()
    takes = called_out or RivetRow.objects.filter(step=step).exists() or Seam.objects.filter(step=step).exists()
    if takes and not uses and not without_movements:
        raise NothingTaken(f"{step.code} needs stock: give what it took, or choose 'done, without movements'")


def _mark(step: Step, *, done: bool, done_on: date | None, by: Member) -> None:
    step.done, step.done_on = done, done_on
    changed_by(step, by).save(update_fields=["done", "done_on"])
