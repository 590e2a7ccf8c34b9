"""Every model of the app, for Django to find; the slices define them."""

from buildplan.hardware.models import ClecoSpacing, RivetLoss, RivetRow, Substitution
from buildplan.loading.models import LoadedFile
from buildplan.plan.models import CallOut, Finish, Project, Section, Step, StepAfter
from buildplan.sealday.models import DayCheck, DayMix, DayPerson, DayProduct, DayStep, SealDay
from buildplan.sealing.models import Mix, MixShare, SealingSupply, Seam

__all__ = [
    "CallOut", "ClecoSpacing", "DayCheck", "DayMix", "DayPerson", "DayProduct", "DayStep", "Finish", "LoadedFile", "Mix", "MixShare",
    "Project", "RivetLoss", "RivetRow", "SealDay", "SealingSupply", "Seam", "Section", "Step", "StepAfter", "Substitution",
]  # fmt: skip
