"""Tonight, the start page: what can be done now, and why not the rest. And the pick list, one walk through the shelves."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from buildplan.reminders.calc import Reminder
from buildplan.reminders.queries import due
from buildplan.reminders.views import time_left
from buildplan.sealday.reading import near_days
from buildplan.shortfall.reading import plans
from buildplan.tonight import queries, services
from buildplan.tonight.calc import fitting
from buildplan.tonight.forms import EveningForm, PickScanForm
from buildplan.tonight.queries import StepTonight, Tonight
from buildplan.tonight.walk import Walk, walk
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import undoable
from inventory.models import Item
from inventory.workshop import policy
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
    read, near = plans(today), near_days(today)
    form = EveningForm(read.projects, request.GET or None, initial={"people": 1})
    given = form.cleaned_data if form.is_bound and form.is_valid() else {}
    project = next((one for one in read.projects if one.code == given.get("project")), None)
    asked: dict[str, Any] = {"minutes": given.get("minutes"), "people": given.get("people") or 1, "project": project}
    found = queries.tonight(today=today, now=now, member=request.member, read=read, known=near, **asked) if read.projects else None
    soon = due(today=today, days=SOON, member=request.member, known=near, projects=read.projects)
    context = {
        "form": form,
        "today": today,
        "tonight": found,
        "shown": _shown(found) if found else None,
        "due": _due(soon.to_do, soon.as_of),
        "more_due": max(len(soon.to_do) - MOST_DUE, 0),
        "days": SOON,
        "seal_days": near,
        "items": bool(read.projects) or Item.objects.exists(),
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
    return [(one, time_left(one.days_left(as_of))) for one in reminders[:MOST_DUE]]


@require_GET
@members_only
def pick_list(request: MemberRequest) -> HttpResponse:
    """What the chosen steps take, place by place, each line to be ticked off: on paper, by a press, by a scan."""
    return _picking(request, _walk(request, request.GET.getlist("step")), PickScanForm())


@require_POST
@members_only
def pick_tick(request: MemberRequest) -> HttpResponse:
    """Tick a line off by its button or by a scan, or take ticks back; then the list again."""
    found, sent = _walk(request, request.POST.getlist("step")), request.POST
    form = PickScanForm({"code": sent.get("code", "")})
    if "undo" in sent or "clear" in sent:
        services.untick(walk=found, keys=None if "clear" in sent else sent.getlist("undo"), by=request.member)
        if "clear" in sent:
            messages.success(request, _("No line is ticked off now."))
    elif "tick" in sent:
        services.tick(walk=found, key=sent["tick"], by=request.member, now=timezone.now())
    elif not attempt(form, lambda: _scan(request, found, sent["code"])):
        return _picking(request, found, form)
    return redirect(_address(found, scanned="code" in sent))


def _scan(request: MemberRequest, found: Walk, code: str) -> None:
    pick = services.scan(walk=found, code=code.strip(" \t\r\n"), by=request.member, now=timezone.now())
    said = _("%(item)s is ticked off: %(quantity)s %(unit)s.") % {"item": pick.item, "quantity": plain(pick.quantity), "unit": pick.unit}
    undoable(request, said, "pick-tick", fields={"step": list(found.asked), "undo": pick.key})


def _walk(request: MemberRequest, asked: Sequence[str]) -> Walk:
    try:
        steps = [int(text) for text in asked]
    except ValueError as error:
        raise Http404 from error
    return walk(steps, today=timezone.localdate(), member=request.member)


def _address(found: Walk, *, scanned: bool) -> str:
    asked: dict[str, Any] = {"step": list(found.asked)}
    return reverse("pick-list", query=asked | {"scanned": "1"} if scanned else asked)


def _picking(request: MemberRequest, found: Walk, form: PickScanForm) -> HttpResponse:
    """The page; a browser that asks by htmx gets the lines alone."""
    ticked = services.ticks(found) if found.stops else {}
    context = {
        "walk": found,
        "ticks": ticked,
        "picked": sum(pick.key in ticked for pick in found.lines),
        "form": form,
        "again": "scanned" in request.GET or form.is_bound,
        "may_tick": all(policy.allowed(request.member, "use_stock", step.project.bench) for step in found.steps),
    }
    page = "tonight/walk.html" if request.htmx else "tonight/pick.html"
    return render(request, page, context, status=UNREADABLE if form.is_bound else None)
