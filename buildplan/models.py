"""Every model of the app, for Django to find; the slices define them."""

from buildplan.loading.models import LoadedFile
from buildplan.plan.models import CallOut, Finish, Project, Section, Step, StepAfter

__all__ = ["CallOut", "Finish", "LoadedFile", "Project", "Section", "Step", "StepAfter"]
