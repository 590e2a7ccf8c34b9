"""What other pages say of seal days: the next one on Tonight, those that need a line of the order sheet, the one that a step is in."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Protocol

from django import template
from django.utils import timezone

from buildplan.sealday.models import DayStep, SealDay
from buildplan.sealday.reading import NearDays
from inventory.common.showing import instant_text

register = template.Library()


@dataclass(frozen=True, slots=True)
class Near:
    """An open seal day: in how many days it is; below zero it is over."""

    id: int
    on: date
    left: int


class Named(Protocol):
    """A step by the codes that its page goes by."""

    @property
    def project(self) -> str:
        """Its project's code."""

    @property
    def code(self) -> str:
        """Its own code."""


@register.simple_tag
def next_seal_day(days: NearDays | None = None) -> Near | None:
    """The first open seal day. One query; none where the page has read the `days` already."""
    if days is not None:
        return next((_near(day.pk, day.on) for day in days.days if day.open), None)
    found = SealDay.objects.filter(closed_at=None, called_off_at=None).order_by("on", "pk").values_list("pk", "on").first()
    return _near(*found) if found else None


@register.simple_tag(takes_context=True)
def seal_days_for(context: Mapping[str, Any], steps: Iterable[Named]) -> list[Near]:
    """The open seal days that these steps are in, the first first. One query a page, however often it is asked."""
    by_step = _by_step(context["request"])
    found = {by_step[key] for step in steps if (key := (step.project, step.code)) in by_step}
    return sorted((_near(pk, on) for pk, on in found), key=lambda near: near.on)


@register.simple_tag
def seal_day_of(step: int) -> Near | None:
    """The open seal day that a step is in. One query."""
    rows = DayStep.objects.filter(step=step, day__closed_at=None, day__called_off_at=None)
    found = rows.values_list("day_id", "day__on").first()
    return _near(*found) if found else None


@register.filter
def clocked(moment: datetime, day: date) -> str:
    """The time of day, with its day before it where that isn't `day` (a day, or a moment of it)."""
    local = timezone.localtime(moment)
    asked = timezone.localdate(day) if isinstance(day, datetime) else day
    return f"{local:%H:%M}" if local.date() == asked else instant_text(moment)


def _near(pk: int, on: date) -> Near:
    return Near(pk, on, (on - timezone.localdate()).days)


def _by_step(request: Any) -> dict[tuple[str, str], tuple[int, date]]:
    found: dict[tuple[str, str], tuple[int, date]] | None = getattr(request, "seal_days_by_step", None)
    if found is None:
        rows = DayStep.objects.filter(day__closed_at=None, day__called_off_at=None)
        named = rows.values_list("step__project__code", "step__code", "day_id", "day__on")
        found = request.seal_days_by_step = {(project, step): (day, on) for project, step, day, on in named}
    return found
