"""The projects, the order sheet, pins held against pins owned, and what may serve in place of what."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.hardware import services as hardware
from buildplan.hardware.models import Substitution
from buildplan.plan import queries as plan
from buildplan.plan.models import Project, Step
from buildplan.plan.views import choose, get_project, get_step
from buildplan.shortfall import queries, serving
from buildplan.shortfall.chart import Chart, chart
from buildplan.shortfall.forms import AcceptForm, AskForm, DemandForm, OrderedForm
from buildplan.shortfall.pins import Holder, Pins, Stretch, pins, way_out
from buildplan.shortfall.sheet import Row, Sheet, StepLink, as_csv, sheet
from buildplan.shortfall.weeks import weeks
from buildplan.shortfall.weeks_chart import Spark, spark
from inventory.claims.queries import clocks
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.problems import Problem
from inventory.common.quantities import whole_pieces
from inventory.common.showing import date_text
from inventory.common.undo import undoable
from inventory.models import Item
from inventory.receiving import services as receiving
from inventory.receiving.queries import in_transit
from inventory.receiving.views import coming
from inventory.tallying.queries import found_in
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.queries import memberships
from inventory.workshop.request import MemberRequest

PAGE = 20  # lines
MOST = 6  # steps and reasons of a line: a line asked for by its `item` shows all


@dataclass(frozen=True, slots=True)
class Overview:
    """A project of the workshop: how far it is, and on how many items it is short."""

    project: Project
    steps: int
    done: int
    short: int


@dataclass(frozen=True, slots=True)
class Asked:
    """The sheet that the address asks for, with the form that asks."""

    projects: list[Project]
    form: AskForm
    sheet: Sheet


@require_GET
@members_only
def projects(request: MemberRequest) -> HttpResponse:
    """The projects of the workshop, and the claims that lapse; in an empty one, what to do next."""
    today = timezone.localdate()
    context = {
        "projects": [_overview(one, today) for one in plan.progress()],
        "items": Item.objects.exists(),
        "clocks": clocks(today),
        "elsewhere": [member.workshop for member in memberships(request.user) if member.workshop_id != request.workshop.pk],
    }
    return render(request, "shortfall/projects.html", context)


def _overview(one: plan.Progress, today: date) -> Overview:
    found = queries.shortfall([one.project], before=None, as_of=today)
    return Overview(one.project, one.steps, one.done, len(found.short))


@require_GET
@members_only
def order_sheets(request: MemberRequest) -> HttpResponse:
    """The only project's order sheet, or a choice of several."""
    return choose(request, "order-sheet", _("Order sheet"))


@require_GET
@members_only
def order_sheet(request: MemberRequest, project: str) -> HttpResponse:
    """What is short and why, what to buy and by when; below it what is on its way."""
    asked = _asked(request, project)
    rows, whole = asked.sheet.rows, "all" in request.GET
    if only := request.GET.get("item"):
        rows = tuple(row for row in rows if row.line.item.code == only)
    page = Paginator(rows, max(len(rows), 1) if whole else PAGE).get_page(request.GET.get("page"))
    may_order = policy.allowed(request.member, "order") and not whole
    context = {
        "page": page,
        "most": len(rows[0].reasons) + len(rows[0].steps) if only and rows else MOST,
        "project": asked.projects[0],
        "projects": asked.projects,
        "form": asked.form,
        "sheet": asked.sheet,
        "lines": [(row, _ordered_form(row) if may_order and row.line.short else None, _spark(row)) for row in page.object_list],
        "asked": request.GET.urlencode(),
        "may_order": may_order,
        **_coming(request, asked.projects[0]),
    }
    return render(request, "shortfall/order_sheet.html", context)


def _coming(request: MemberRequest, project: Project) -> dict[str, Any]:
    """What is on its way to the project's bench, with what was counted of it. Three queries."""
    lines = in_transit(bench=project.bench)
    return coming(request, lines, found_in({line.crate_id for line in lines}))


@require_GET
@members_only
def order_sheet_csv(request: MemberRequest, project: str) -> HttpResponse:
    """The same lines as a file."""
    asked = _asked(request, project)
    if asked.form.errors:
        raise Problem(" ".join(f"{name}: {error}" for name, errors in asked.form.errors.items() for error in errors))
    name = "-".join(project.code for project in asked.projects)
    response = HttpResponse(as_csv(asked.sheet.rows), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = content_disposition_header(as_attachment=True, filename=f"order-sheet-{name}.csv") or "attachment"
    return response


def _asked(request: MemberRequest, code: str) -> Asked:
    """Read the filters. What can't be read is said by the form, and doesn't filter."""
    projects, siblings = netted(request, code)
    form = AskForm(request.GET, sections=plan.section_choices(projects), siblings=siblings)
    form.is_valid()
    given = form.cleaned_data
    found = sheet(
        projects,
        before=given.get("before"),
        section=given.get("section"),
        every=given.get("every", False),
        as_of=timezone.localdate(),
    )
    return Asked(projects, form, found)


def netted(request: MemberRequest, code: str) -> tuple[list[Project], list[Project]]:
    """The project of the address with those to net it with, and all that it could be netted with."""
    first = get_project(code)
    siblings = plan.siblings(first)
    known = {project.code: project for project in siblings}
    return [first, *(known[also] for also in dict.fromkeys(request.GET.getlist("also")) if also in known)], siblings


def _spark(row: Row) -> Spark:
    return spark(weeks(row.line))


def _ordered_form(row: Row) -> OrderedForm:
    item, buy = row.line.item, whole_pieces(row.line.buy, row.line.item.unit)
    return OrderedForm(auto_id=f"order-{item.id}-%s", initial={"quantity": buy, "request_key": uuid4()})


@require_http_methods(["GET", "POST"])
@members_only
def ordered(request: MemberRequest, project: str, item: int) -> HttpResponse:
    """Mark an item of the sheet as ordered for the project's bench."""
    found = get_project(project)
    wanted = get_object_or_404(Item, pk=item)
    policy.require(request.member, "order", found.bench)
    form = OrderedForm(request.POST if request.method == "POST" else None, initial={"request_key": uuid4()})
    back = way_back(request, reverse("order-sheet", args=[found.code]))
    if request.method == "POST" and attempt(form, lambda: _order(form, found, wanted, request)):
        return redirect(back)
    context = {"project": found, "item": wanted, "form": form, "next": back}
    return render(request, "shortfall/ordered.html", context, status=UNREADABLE if form.errors else None)


def _order(form: OrderedForm, project: Project, item: Item, request: MemberRequest) -> None:
    given = form.cleaned_data
    quantity: Decimal = given["quantity"]
    line = receiving.expect(
        bench=project.bench,
        item=item,
        quantity=quantity,
        due_on=given["due_on"],
        ordered_on=timezone.localdate(),
        by=request.member,
        request_key=given["request_key"],
    )
    day = given["due_on"]
    due = _(", due %(day)s") % {"day": date_text(day)} if day else _(", without a due day: it counts once it has one")
    back = {"next": way_back(request, "")}
    undoable(
        request,
        _("Ordered: %(quantity)s %(unit)s of %(item)s%(due)s.")
        % {"quantity": plain(line.quantity), "unit": item.unit, "item": item.code, "due": due},
        "withdraw-order",
        line.crate_id,
        fields=back,
    )


@dataclass(frozen=True, slots=True)
class Over:
    """A stretch on which more is held than is there: who holds it, with links to their steps, and what would help."""

    stretch: Stretch
    holders: tuple[tuple[StepLink, Holder], ...]
    way_out: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A returned thing on its page: the figures, the chart of them, and the stretches on which it doesn't reach."""

    pins: Pins
    chart: Chart | None
    over: tuple[Over, ...]


@require_GET
@members_only
def pins_page(request: MemberRequest, project: str) -> HttpResponse:
    """Clecos and all else that comes back, day by day: held against owned. The demand is the order sheet's."""
    projects, siblings = netted(request, project)
    form = DemandForm(request.GET, siblings=siblings)
    form.is_valid()
    before = form.cleaned_data.get("before")
    found = queries.shortfall(projects, before=before, as_of=timezone.localdate())
    codes, clecos = plan.step_codes(projects), queries.clecos()
    pictures = [_picture(one, codes) for one in pins(found.lines)]
    context = {
        "project": projects[0],
        "projects": projects,
        "form": form,
        "found": found,
        "shown": [one for one in pictures if one.over or one.pins.line.item.id in clecos],
        "folded": [one for one in pictures if not one.over and one.pins.line.item.id not in clecos],
    }
    return render(request, "shortfall/pins.html", context)


def _picture(found: Pins, codes: Mapping[int, tuple[str, str, int]]) -> Picture:
    return Picture(found, chart(found.stretches), tuple(_over(stretch, codes) for stretch in found.over))


def _over(stretch: Stretch, codes: Mapping[int, tuple[str, str, int]]) -> Over:
    holders = ((StepLink(holder.label, *codes[holder.step][:2]), holder) for holder in stretch.holders)
    return Over(stretch, tuple(holders), way_out(stretch))


@require_http_methods(["GET", "POST"])
@members_only
def substitutions(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """What may serve in a step in place of what the plans call for; an inspector accepts it here."""
    found = get_step(project, step)
    form = None
    if request.method == "POST":
        policy.require(request.member, "accept", found.project.bench)
        form = AcceptForm(request.POST)
        if attempt(form, lambda: _accept(form, found, request)):
            return redirect("substitutions", found.project.code, found.code)
    context = {
        "project": found.project,
        "step": found,
        "serving": serving.of_step(found, as_of=timezone.localdate()),
        "form": form,
        "may_accept": policy.allowed(request.member, "accept") and not found.done,
    }
    return render(request, "shortfall/substitutions.html", context, status=UNREADABLE if form is not None else None)


def _accept(form: AcceptForm, step: Step, request: MemberRequest) -> None:
    given = form.cleaned_data
    wanted, served_by = (get_object_or_404(Item, pk=given[name]) for name in ("wanted", "served_by"))
    made = hardware.accept_substitution(
        step=step, wanted=wanted, served_by=served_by, note=given["note"], now=timezone.now(), by=request.member
    )
    undoable(
        request,
        _("Accepted: %(served_by)s serves for %(wanted)s in %(step)s.")
        % {"served_by": served_by.code, "wanted": wanted.code, "step": step.code},
        "withdraw",
        made.pk,
    )


@require_POST
@members_only
def withdraw(request: MemberRequest, pk: int) -> HttpResponse:
    """Take an acceptance back: the step needs again what the plans call for."""
    rows = Substitution.objects.select_related("step__project", "wanted", "served_by")
    found = get_object_or_404(rows, pk=pk)
    hardware.withdraw_substitution(substitution=found, now=timezone.now(), by=request.member)
    messages.success(request, _("Withdrawn: %(step)s needs %(wanted)s again.") % {"step": found.step.code, "wanted": found.wanted.code})
    return redirect("substitutions", found.step.project.code, found.step.code)
