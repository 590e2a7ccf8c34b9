"""Every model of the app, for Django to find; the slices define them."""

from buildplan.hardware.models import RivetLoss, RivetRow
from buildplan.loading.models import LoadedFile
from buildplan.plan.models import CallOut, Finish, Project, Section, Step, StepAfter
from buildplan.sealing.models import Seam

__all__ = ["CallOut", "Finish", "LoadedFile", "Project", "RivetLoss", "RivetRow", "Seam", "Section", "Step", "StepAfter"]
