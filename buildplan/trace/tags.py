"""What other pages say of traces: the ways to them, and the notices that name a lot."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import template
from django.db.models import F, Max

from buildplan.plan.models import Step
from buildplan.trace.models import Task, Where
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


@dataclass(frozen=True, slots=True)
class Noticed:
    """A notice because of which a lot on the shelf is still to be looked at, with what it says of the lot."""

    notice: int
    reference: str
    title: str
    verdict: str


@register.inclusion_tag("trace/noticed.html", takes_context=True)
def noticed(context: Mapping[str, Any], lot: int | None, label: str = "") -> dict[str, Any]:
    """Where a lot is offered: the notices because of which it is still to be looked at. One query a page, however often it is asked.

    `label` names the lot where nothing beside it does.
    """
    return {"notices": _by_lot(context["request"]).get(lot, ()) if lot else (), "label": label}


def _by_lot(request: Any) -> dict[int, tuple[Noticed, ...]]:
    found: dict[int, tuple[Noticed, ...]] | None = getattr(request, "notices_by_lot", None)
    if found is None:
        found = request.notices_by_lot = _to_look_at()
    return found


def _to_look_at() -> dict[int, tuple[Noticed, ...]]:
    """What the last sweep of each notice found on shelves and with borrowers, and nobody has ticked: one line a lot and notice."""
    rows = Task.objects.filter(ticked_at=None, lot__isnull=False, where__in=(Where.SHELF, Where.LENT))
    rows = rows.annotate(newest=Max("notice__sweeps__number")).filter(last__number=F("newest")).order_by("notice_id", "verdict")
    found: dict[int, dict[int, Noticed]] = {}
    named: list[tuple[Any, ...]] = list(rows.values_list("lot_id", "notice_id", "notice__reference", "notice__title", "verdict"))
    for lot, *said in named:
        found.setdefault(lot, {}).setdefault(said[0], Noticed(*said))
    return {lot: tuple(notices.values()) for lot, notices in found.items()}


@register.filter
def word(mapping: Mapping[str, str], key: Any) -> str:
    """The word that a page has for something."""
    return mapping.get(str(key), str(key))


@register.filter
def of_step(mapping: Mapping[int, str], step: int) -> str:
    """What is said of a step; blank where nothing is."""
    return mapping.get(step, "")
