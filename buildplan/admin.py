"""The tables that can be looked at for repair, and what of them can be put right: wiring only."""

from django.apps import apps

from buildplan.models import DayCheck, Project, SealDay, SealingSupply, Section, Step, Substitution
from inventory.admin import site
from inventory.workshop.repair import register

__all__ = ["site"]

EDITABLE = {
    DayCheck: ["text"],
    Project: ["name"],
    SealDay: ["note"],
    SealingSupply: ["name"],
    Section: ["name"],
    Step: ["title", "minutes"],
    Substitution: ["note"],
}

register([one for one in apps.get_app_config("buildplan").get_models() if not one.__name__.startswith("Historical")], EDITABLE)
