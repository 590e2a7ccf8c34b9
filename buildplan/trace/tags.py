"""What other pages say of traces: the ways to them, and the notices that name a lot."""

from collections.abc import Mapping
from typing import Any

from django import template

from buildplan.plan.models import Step
from buildplan.trace.models import Task
from inventory.models import Lot

register = template.Library()


@register.inclusion_tag("trace/of_lot.html")
def trace_of_lot(lot: Lot) -> dict[str, Any]:
    """The way from a lot to where it went, and the notices on whose work list it is. One query."""
    return {"lot": lot, "tasks": _standing({"lot": lot})}


@register.inclusion_tag("trace/of_step.html")
def trace_of_step(step: Step) -> dict[str, Any]:
    """The way from a step to what went into it, and the notices that ask to look at it. One query."""
    return {"step": step, "tasks": _standing({"step": step})}


def _standing(where: Mapping[str, Any]) -> list[Task]:
    """One line for each notice: the worst that is said, what is to do first."""
    rows = Task.objects.filter(**where).select_related("notice").order_by("notice_id", "verdict", "ticked_at", "pk")
    return list({task.notice_id: task for task in reversed(list(rows))}.values())


@register.filter
def word(mapping: Mapping[str, str], key: Any) -> str:
    """The word that a page has for something."""
    return mapping.get(str(key), str(key))


@register.filter
def of_step(mapping: Mapping[int, str], step: int) -> str:
    """What is said of a step; blank where nothing is."""
    return mapping.get(step, "")
