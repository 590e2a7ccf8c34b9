"""Tonight, the start page: what can be done now, and why not the rest. And the pick list, one walk through the shelves."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from buildplan.plan.models import Project
from buildplan.reminders.calc import Reminder, said
from buildplan.reminders.queries import due
from buildplan.tonight import queries
from buildplan.tonight.calc import fitting
from buildplan.tonight.forms import EveningForm
from buildplan.tonight.queries import StepTonight, Tonight
from buildplan.tonight.walk import walk
from inventory.models import Item
from inventory.workshop.access import members_only
from inventory.workshop.queries import memberships
from inventory.workshop.request import MemberRequest

SOON = 14  # days ahead that Tonight looks for what is due: a starting value of ours
MOST_READY, MOST_BLOCKED, FIRST_BLOCKED, MOST_DUE = 25, 50, 12, 12  # what a page shows, so that it stays light


@dataclass(frozen=True, slots=True)
class Shown:
    """What the page shows of the answer. `ready` with whether each fits the evening after those before it."""

    ready: Sequence[tuple[StepTonight, bool]]
    more_ready: int
    blocked: Sequence[StepTonight]
    more: Sequence[StepTonight]
    waiting: int


@require_GET
@members_only
def tonight(request: MemberRequest) -> HttpResponse:
    """Ready steps in plan order, blocked ones with all that stands against them, and what is due soon."""
    now = timezone.now()
    today = timezone.localdate(now)
    projects = list(Project.objects.order_by("code"))
    form = EveningForm(projects, request.GET or None, initial={"people": 1})
    given = form.cleaned_data if form.is_bound and form.is_valid() else {}
    project = next((one for one in projects if one.code == given.get("project")), None)
    asked: dict[str, Any] = {"minutes": given.get("minutes"), "people": given.get("people") or 1, "project": project}
    found = queries.tonight(today=today, now=now, member=request.member, **asked) if projects else None
    soon = due(today=today, days=SOON, member=request.member)
    context = {
        "form": form,
        "today": today,
        "tonight": found,
        "shown": _shown(found) if found else None,
        "due": _due(soon.to_do, soon.as_of),
        "more_due": max(len(soon.to_do) - MOST_DUE, 0),
        "days": SOON,
        "items": bool(projects) or Item.objects.exists(),
        "elsewhere": [member.workshop for member in memberships(request.user) if member.workshop_id != request.workshop.pk],
    }
    return render(request, "tonight/tonight.html", context)


def _shown(found: Tonight) -> Shown:
    fits = fitting((one.step.minutes for one in found.ready), found.evening.minutes)
    ready = list(zip(found.ready, fits, strict=True))
    blocked = found.blocked[:MOST_BLOCKED]
    left = found.waiting + len(found.blocked) - len(blocked)
    return Shown(ready[:MOST_READY], max(len(ready) - MOST_READY, 0), blocked[:FIRST_BLOCKED], blocked[FIRST_BLOCKED:], left)


def _due(reminders: Sequence[Reminder], as_of: date) -> list[tuple[Reminder, str]]:
    return [(one, said(one.days_left(as_of))) for one in reminders[:MOST_DUE]]


@require_GET
@members_only
def pick_list(request: MemberRequest) -> HttpResponse:
    """What the chosen steps take, place by place, each line to be ticked off: on paper, or here."""
    try:
        steps = [int(text) for text in request.GET.getlist("step")]
    except ValueError as error:
        raise Http404 from error
    found = walk(steps, today=timezone.localdate(), member=request.member)
    got = set(request.GET.getlist("got"))
    picked = sum(pick.key in got for stop in found.stops for pick in stop.picks)
    return render(request, "tonight/pick.html", {"walk": found, "got": got, "picked": picked})
