"""Every model of the app, for Django to find; the slices define them."""

from buildplan.hardware.models import ClecoSpacing, RivetLoss, RivetRow, Substitution
from buildplan.loading.models import LoadedFile
from buildplan.plan.models import CallOut, Finish, Project, Section, Step, StepAfter
from buildplan.sealing.models import SealingSupply, Seam

__all__ = [
    "CallOut", "ClecoSpacing", "Finish", "LoadedFile", "Project", "RivetLoss", "RivetRow", "SealingSupply", "Seam", "Section", "Step",
    "StepAfter", "Substitution",
]  # fmt: skip
