"""What other pages say of hands, conflicts and assemblies."""

from collections.abc import Mapping
from typing import Any

from django import template

from buildplan.fitting import assembled, queries
from buildplan.plan.models import Step

register = template.Library()


@register.inclusion_tag("fitting/held.html")
def held_by_conflicts(step: Step) -> dict[str, Any]:
    """That a step is held, and by what. One query; none where it is done."""
    return {"held": () if step.done else queries.open_conflicts([step.pk]).get(step.pk, ())}


@register.inclusion_tag("fitting/on_step.html", takes_context=True)
def fitting_of(context: Mapping[str, Any], step: Step) -> dict[str, Any]:
    """Hands of what a step calls out, conflicts it rests on, assemblies it is part of. At most eight queries."""
    return {
        "step": step,
        "hands": queries.step_hands(step),
        "conflicts": queries.conflicts_of(step),
        "assemblies": assembled.assemblies(step=step.pk),
        "may_plan": context.get("may_plan", False),
    }


@register.simple_tag(takes_context=True)
def hand_by_code(context: Mapping[str, Any], code: str) -> str:
    """Which hand the item of a code is, where that was said. One query a page, however often it is asked."""
    request = context["request"]
    found: dict[str, str] | None = getattr(request, "hands_by_code", None)
    if found is None:
        found = request.hands_by_code = queries.hands_by_code()
    return found.get(code, "")


@register.inclusion_tag("fitting/on_item.html")
def hand_of(item: int) -> dict[str, Any]:
    """What was said of an item's hand. Four queries."""
    return {"row": queries.hands_of([item]).get(item)}
