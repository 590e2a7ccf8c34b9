"""Writing seams."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from fractions import Fraction

from django.db import transaction

from buildplan.plan.models import Project, Step
from buildplan.sealing.models import Seam
from inventory.common.history import put_many
from inventory.models import Member
from inventory.workshop import policy


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
