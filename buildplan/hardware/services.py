"""Writing rivet rows, and what a workshop sets for its rivets."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.db import transaction

from buildplan.hardware.models import RivetRow
from buildplan.plan.models import Project, Step
from inventory.common.history import put_many
from inventory.models import Member
from inventory.workshop import policy


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
    return [f"{row.step.code} {row.code}" for row in put_many(RivetRow, present, wanted, by)]
