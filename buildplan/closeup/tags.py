"""What other pages say of closing up."""

from typing import Any

from django import template

from buildplan.closeup import queries
from buildplan.plan.models import Step

register = template.Library()


@register.inclusion_tag("closeup/closed.html")
def closed_up(step: Step) -> dict[str, Any]:
    """That the section of a step is closed up, and by whom. One query; none where it is open."""
    return {"step": step, "closed": queries.closed_now(step.section)}


@register.inclusion_tag("closeup/on_step.html")
def closing_of(step: Step) -> dict[str, Any]:
    """The way to the list of a step's section. No query."""
    return {"section": step.section}
