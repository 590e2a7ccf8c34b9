"""Writing seams."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from fractions import Fraction

from django.db import transaction
from django.db.models import Max

from buildplan.hardware.services import Gone, checked_code, kept_exactly, lock_to_do, within
from buildplan.plan.models import Project, Step
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import check_length_unit, check_seam
from inventory.catalogue.units import UnitError
from inventory.common.history import assign, changed_by, put_many
from inventory.common.problems import FieldProblem
from inventory.models import Item, Member
from inventory.workshop import policy

MOST_ALIKE = 1_000_000
MOST_LOSS = 1000
LOSS_PLACES = 6
SIZES = ("length", "leg_a", "leg_b", "thickness", "grams_each")


@dataclass(frozen=True, slots=True)
class PlannedSeam:
    """A seam as a plan states it: sizes as written, in `unit` and `size_unit`. `step` is a code of the project, in any case."""

    step: str
    code: str
    sealant_id: int
    shape: str
    length: Fraction | None = None
    unit: str = ""
    leg_a: Fraction | None = None
    leg_b: Fraction | None = None
    thickness: Fraction | None = None
    size_unit: str = ""
    count: int = 1
    grams_each: Fraction | None = None
    loss_percent: Fraction = Fraction(0)

    def fields(self) -> dict[str, object]:
        """What is set on the seam's row."""
        return {name: value for name, value in asdict(self).items() if name != "step"}


@transaction.atomic
def put_seams(*, project: Project, seams: Sequence[PlannedSeam], by: Member) -> list[str]:
    """Make the project's seams what `seams` say, in place, and give back those removed, as `STEP SEAM`."""
    policy.require(by, "plan", project.bench)
    steps = {code.upper(): pk for pk, code in Step.objects.filter(project=project).values_list("pk", "code")}
    found = Seam.objects.filter(step__project=project).select_related("step")
    present = {(seam.step_id, seam.code.upper()): seam for seam in found}
    wanted = {
        (steps[seam.step.upper()], seam.code.upper()): {
            **seam.fields(),
            "workshop_id": project.workshop_id,
            "step_id": steps[seam.step.upper()],
            "position": position,
        }
        for position, seam in enumerate(seams, start=1)
    }
    return [f"{seam.step.code} {seam.code}" for seam in put_many(Seam, present, wanted, by)]


@transaction.atomic
def save_seam(*, step: Step, stated: PlannedSeam, by: Member, seam: Seam | None = None) -> Seam:
    """Put a seam into `step`, or make `seam` of it say what is stated. Its grams must be told from that, as when loading.

    A `FieldProblem` names what doesn't do. Refused for a step that is done.
    """
    policy.require(by, "plan", step.project.bench)
    policy.own(by, step)
    step = lock_to_do(step, "its seams")
    found = Seam(workshop_id=step.workshop_id, step=step, position=_next_position(step)) if seam is None else _seam_now(seam, step)
    said = _checked(stated)
    if Seam.objects.filter(step=step, code__iexact=said.code).exclude(pk=found.pk).exists():
        raise FieldProblem("code", f"{said.code} is a seam of {step.code} already: give each seam of a step its own code")
    if assign(found, said.fields()) or found.pk is None:
        changed_by(found, by).save()
    return found


@transaction.atomic
def remove_seam(*, seam: Seam, by: Member) -> None:
    """Take a seam out of its step; its history stays. Refused for a step that is done."""
    policy.require(by, "plan", seam.step.project.bench)
    policy.own(by, seam)
    step = lock_to_do(seam.step, "its seams")
    changed_by(_seam_now(seam, step), by).delete()


def _seam_now(seam: Seam, step: Step) -> Seam:
    found = Seam.objects.filter(pk=seam.pk, step=step).first()
    if found is None:
        raise Gone(f"seam {seam.code} is no longer in {step.code}: it was removed meanwhile")
    return found


def _next_position(step: Step) -> int:
    last: int | None = Seam.objects.filter(step=step).aggregate(last=Max("position"))["last"]
    return (last or 0) + 1


def _checked(stated: PlannedSeam) -> PlannedSeam:
    said = replace(stated, code=checked_code(stated.code, "seam"))
    sealant = Item.objects.filter(pk=said.sealant_id).first()
    if sealant is None:
        raise FieldProblem("sealant", "that is no item of this workshop's catalogue")
    for name in ("unit", "size_unit"):
        _check_unit(name, getattr(said, name))
    for name in SIZES:
        if (size := getattr(said, name)) is not None:
            kept_exactly(name, size)
    within("count", said.count, MOST_ALIKE)
    _check_loss(said.loss_percent)
    check_seam(Seam(**said.fields()), sealant)
    return said


def _check_unit(name: str, unit: str) -> None:
    try:
        if unit:
            check_length_unit(unit)
    except UnitError as error:
        raise FieldProblem(name, str(error)) from error


def _check_loss(percent: Fraction) -> None:
    if not 0 <= percent <= MOST_LOSS or percent * 10**LOSS_PLACES % 1:
        raise FieldProblem("loss_percent", f"give a loss of 0 to {MOST_LOSS} %, such as 15, with {LOSS_PLACES} decimals at most")
