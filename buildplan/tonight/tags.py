"""What the rule of the evening says on other pages: the sections of a plan, each of its steps, and a step in its place."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import template
from django.utils import timezone
from django.utils.translation import gettext as _

from buildplan.plan.models import Project, Step
from buildplan.plan.place_chart import place_chart
from buildplan.plan.queries import SectionRow
from buildplan.shortfall.reading import Beside
from buildplan.tonight import states
from buildplan.tonight.calc import Verdict
from buildplan.tonight.models import PickTick
from buildplan.tonight.states import SectionState

register = template.Library()


@register.inclusion_tag("tonight/sections.html", takes_context=True)
def plan_sections(context: Mapping[str, Any], project: Project, rows: Sequence[SectionRow]) -> dict[str, Any]:
    """The sections of a plan with done, ready and blocked, as a picture and as a table."""
    found = states.sections(rows, _verdicts(context["request"], project))
    total = states.whole(found, _("All"))
    drawn = (total, *found[: states.MOST_SECTIONS]) if len(found) > 1 else found
    words = {one.name: _words(one) for one in drawn}
    more = max(0, len(found) - states.MOST_SECTIONS)
    shown = list(zip([None, *(row.id for row in rows)], (total, *found), strict=True))
    return {"chart": states.picture(drawn, words), "rows": shown, "total": total, "more": more, "project": project}


@register.simple_tag(takes_context=True)
def verdict_of(context: Mapping[str, Any], project: Project, step: int) -> Verdict | None:
    """What the rule says of a step of the plan that nothing has to be done before. Asked once a page, however many steps it has."""
    return _verdicts(context["request"], project).get(step)


def _words(one: SectionState) -> str:
    return _("%(done)s of %(steps)s done") % {"done": one.done, "steps": one.steps}


def _verdicts(request: Any, project: Project) -> dict[int, Verdict]:
    found: dict[int, Verdict] | None = getattr(request, "plan_verdicts", None)
    if found is None:
        now = timezone.now()
        found = states.verdicts_of_plan(project, today=timezone.localdate(now), now=now, member=request.member)
        request.plan_verdicts = found
    return found


@register.inclusion_tag("tonight/place.html", takes_context=True)
def place_in_plan(context: Mapping[str, Any], step: Step, beside: Beside) -> dict[str, Any]:
    """What a step waits for and what waits for it, as a picture and as a list. A fixed number of queries, after `beside` was read."""
    now, member = timezone.now(), context["request"].member
    found = states.in_plan(step, today=timezone.localdate(now), now=now, member=member, beside=beside)
    chart = place_chart(found.place)
    boxes = [(box, found.cards[box.step] if box.step is not None else None) for box in chart.boxes]
    rows = [(layer, [found.cards[pk] for pk in layer.steps]) for layer in found.place.layers]
    return {"step": step, "place": found.place, "chart": chart, "boxes": boxes, "rows": rows, "alone": len(found.place.layers) == 1}


@register.simple_tag
def tick_of(ticks: Mapping[str, PickTick], key: str) -> PickTick | None:
    """Who ticked a line of a pick list off, and when; None where nobody has."""
    return ticks.get(key)
