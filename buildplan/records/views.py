"""A step: what it needs, what finishing it takes, and taking that back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.forms import BoundField
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.figures.sealant import CAUTIONS
from buildplan.plan import queries as plan
from buildplan.plan.models import Step
from buildplan.plan.services import refuse_if_closed
from buildplan.plan.views import get_step
from buildplan.records import paper, queries, services
from buildplan.records.bars import ruler_in, ruler_mm
from buildplan.records.forms import DayForm, FinishForm, SealingForm, Taken, asked_day
from buildplan.records.mixing import plan_sealing
from buildplan.records.queries import Choice, Proposal
from buildplan.records.services import Use
from buildplan.records.sheet import DEFER, sheet_on
from buildplan.records.untaken import untaken
from buildplan.shortfall.reading import Beside, Reading, read, read_beside
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import undoable
from inventory.models import Lot, Place
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

Offered = tuple[FinishForm, tuple[Proposal, ...]]


@dataclass(frozen=True, slots=True)
class Offer:
    """What the page shows of an item that the step needs: its lots, each with its box."""

    proposal: Proposal
    boxes: tuple[tuple[Choice, BoundField], ...]


@require_http_methods(["GET", "POST"])
@members_only
def step(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Show a step; a POST finishes it. `again` in the POST only proposes anew, for the day given."""
    found = get_step(project, step)
    if request.method == "POST":
        return _post(request, found)
    today = timezone.localdate()
    beside = read_beside(found.pk, today)
    return _page(request, found, beside, None if found.done else _fresh(found, today, beside))


def _post(request: MemberRequest, found: Step) -> HttpResponse:
    policy.require(request.member, "use_stock", found.project.bench)
    if found.done:
        return _done_already(request, found)
    with transaction.atomic():
        refuse_if_closed(found)
    today = timezone.localdate()
    day = DayForm(request.POST, today=today).day(today)
    if "again" in request.POST:
        beside = read_beside(found.pk, today)
        return _page(request, found, beside, _fresh(found, day, beside, request.POST.get("note", "")))
    proposals = queries.proposals(found, on=day)
    form = FinishForm(request.POST, proposals=proposals, on=day, today=today)
    try:
        done = attempt(form, lambda: _finish(form, found, request))
    except services.AlreadyDone:
        return _done_already(request, found)
    if not done:
        return _page(request, found, read_beside(found.pk, today), (form, proposals), status=UNREADABLE)
    undoable(request, _("%(step)s is done. What it took is below.") % {"step": found.code}, "take-back", found.project.code, found.code)
    return redirect("write-log" if "log" in request.POST else "step", found.project.code, found.code)


def _done_already(request: MemberRequest, found: Step) -> HttpResponse:
    messages.info(request, _("%(step)s is done already: nothing was taken a second time.") % {"step": found.code})
    return redirect("step", found.project.code, found.code)


def _fresh(found: Step, on: date, beside: Beside, note: str = "") -> Offered:
    proposals = queries.proposals(found, on=on, known=beside.read)
    return FinishForm(None, proposals=proposals, on=on, today=timezone.localdate(), note=note), proposals


def _finish(form: FinishForm, found: Step, request: MemberRequest) -> None:
    given = form.cleaned_data
    services.finish_step(
        step=found,
        on=given["on"],
        uses=_uses(form.taken()),
        by=request.member,
        without_movements=given["without_movements"],
        note=given["note"],
    )


def _uses(taken: Sequence[Taken]) -> list[Use]:
    lots = Lot.objects.select_related("bench", "item", "workshop").in_bulk({one.lot for one in taken})
    places = Place.objects.in_bulk({one.place for one in taken})
    return [Use(lots[one.lot], places[one.place], one.quantity) for one in taken]


def _page(request: MemberRequest, found: Step, beside: Beside, offered: Offered | None, status: int = 200) -> HttpResponse:
    finishes = queries.finishes(found)
    context: dict[str, Any] = {
        "project": found.project,
        "step": found,
        "around": plan.around(found),
        "beside": beside,
        "may_use": policy.allowed(request.member, "use_stock", found.project.bench) and found.section.closed_at is None,
        "may_plan": policy.allowed(request.member, "plan", found.project.bench),
        "may_change": policy.allowed(request.member, "plan", found.project.bench) and found.section.closed_at is None,
        "finishes": finishes,
        "taken_back": queries.taken_back(finishes),
        "asked": request.GET.urlencode(),
        **_bench(request, found, beside.read),
        **(_offered(*offered) if offered else {"finished": queries.finished(finishes), "untaken": untaken([found.pk]).get(found.pk, ())}),
    }
    return render(request, "records/step.html", context, status=status)


@require_GET
@members_only
def step_sheet(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """A step on one sheet of paper, to pin above the bench."""
    found = get_step(project, step)
    shown = _bench(request, found, read([found.pk]))
    context = {"project": found.project, "step": found, "asked": request.GET.urlencode(), **shown}
    return render(request, "records/sheet.html", {**context, "paper": paper.fit(shown["sheet"], shown["sealing"])})


def _bench(request: MemberRequest, found: Step, known: Reading) -> dict[str, Any]:
    """What the step takes on the day that the address names, else when it is planned; and its sealant weighed out as asked."""
    today = timezone.localdate()
    day = asked_day(request.GET, max(found.planned_on or today, today))
    bench = sheet_on(found, day, known)
    form = SealingForm(request.GET, products=bench.products, day=day)
    return {
        "sheet": bench,
        "sealing_form": form if bench.products and not found.done else None,
        "sealing": plan_sealing(bench, form.given(), known),
        "deferral": DEFER,
        "cautions": CAUTIONS,
        "ruler": (ruler_mm(), ruler_in()),
    }


def _offered(form: FinishForm, proposals: Sequence[Proposal]) -> dict[str, Any]:
    offers = [_offer(form, proposal) for proposal in proposals]
    return {
        "form": form,
        "taken": [offer for offer in offers if not offer.proposal.item.returned],
        "returned": [offer for offer in offers if offer.proposal.item.returned],
    }


def _offer(form: FinishForm, proposal: Proposal) -> Offer:
    return Offer(proposal, tuple((choice, form.field_of(choice)) for choice in proposal.choices))


@require_POST
@members_only
def take_back(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Undo the finish of a step: what it took goes back where it lay."""
    found = get_step(project, step)
    now = timezone.now()
    services.take_back(step=found, on=timezone.localdate(now), now=now, by=request.member)
    said = _("%(step)s is taken back: it is to do again, and what it took lies where it lay.")
    messages.success(request, said % {"step": found.code})
    return redirect("step", found.project.code, found.code)
