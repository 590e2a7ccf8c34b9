"""Pages of closing a section up."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.closeup import queries, services
from buildplan.closeup.forms import CloseForm, ListForm, WhyForm
from buildplan.closeup.knowing import VERDICTS
from buildplan.closeup.queries import GateView
from buildplan.closeup.starting import OURS
from buildplan.plan.models import Project, Section
from inventory.common.forms import apart, attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import undoable
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

PAGE = 60


def get_section(pk: int) -> Section:
    """The section of an id in the address, with its project; else 404."""
    return get_object_or_404(Section.objects.select_related("project__bench__workshop"), pk=pk)


@require_GET
@members_only
def closing(request: MemberRequest) -> HttpResponse:
    """Every section with how far its list is; of one project where the address names it."""
    asked = request.GET.get("project")
    project = Project.objects.filter(code__iexact=asked).first() if asked else None
    found = queries.gates().filter(project=project) if project else queries.gates()
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    return render(request, "closeup/closing.html", {"page": page, "project": project})


@require_GET
@members_only
def gate(request: MemberRequest, pk: int) -> HttpResponse:
    """A section's list: what must be true, what the program knows of it, who ticked it."""
    return _gate_page(request, get_section(pk))


def _gate_page(request: MemberRequest, section: Section, close: CloseForm | None = None, reopen: WhyForm | None = None) -> HttpResponse:
    view = queries.gate_view(section, now=timezone.now())
    form = close or CloseForm(points=view.open_points)
    context = {
        **_about(request, view),
        "close_form": apart(form, "close"),
        "reopen_form": apart(reopen or WhyForm(), "reopen"),
    }
    refused = bool(form.errors or (reopen and reopen.errors))
    return render(request, "closeup/gate.html", context, status=UNREADABLE if refused else None)


def _about(request: MemberRequest, view: GateView) -> dict[str, Any]:
    member, bench = request.member, view.section.project.bench
    return {
        "view": view,
        "section": view.section,
        "project": view.section.project,
        "ours": OURS,
        "verdicts": VERDICTS,
        "may_write": policy.allowed(member, "write_log", bench),
        "may_seen": services.may_tick_seen(member),
        "may_plan": policy.allowed(member, "plan", bench),
        "may_close": policy.allowed(member, "close_up", bench),
    }


@require_GET
@members_only
def gate_sheet(request: MemberRequest, pk: int) -> HttpResponse:
    """The list on paper, to take to the bench."""
    view = queries.gate_view(get_section(pk), now=timezone.now())
    return render(request, "closeup/sheet.html", _about(request, view))


@require_POST
@members_only
def tick_gate(request: MemberRequest, pk: int) -> HttpResponse:
    """Say that a point is so."""
    section, point = get_section(pk), request.POST.get("point", "")
    made = services.tick(section=section, point=point, by=request.member, now=timezone.now())
    said = _('"%(point)s" is ticked by %(name)s.') % {"point": made.point.text, "name": made.by.name}
    if made.by_id == request.member.pk:
        undoable(request, said, "untick-gate", section.pk, fields={"point": point})
    else:
        messages.info(request, said)
    return redirect("gate", section.pk)


@require_POST
@members_only
def untick_gate(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a tick off."""
    section = get_section(pk)
    services.untick(section=section, point=request.POST.get("point", ""), by=request.member, now=timezone.now())
    messages.success(request, _("That tick is off."))
    return redirect("gate", section.pk)


@require_http_methods(["GET", "POST"])
@members_only
def gate_list(request: MemberRequest, pk: int) -> HttpResponse:
    """Change a section's list."""
    section = get_section(pk)
    policy.require(request.member, "plan", section.project.bench)
    points = queries.points_of(section) or queries.starting()
    form = ListForm(request.POST if request.method == "POST" else None, points=points)
    if request.method == "POST" and attempt(form, lambda: _edit(form, section, request)):
        messages.success(request, _("The list is changed."))
        return redirect("gate", section.pk)
    context = {"form": form, "section": section, "project": section.project, "ours": OURS}
    return render(request, "closeup/list.html", context, status=UNREADABLE if form.errors else None)


def _edit(form: ListForm, section: Section, request: MemberRequest) -> None:
    services.edit_list(section=section, edits=form.edits(), by=request.member, now=timezone.now())


@require_POST
@members_only
def close_section(request: MemberRequest, pk: int) -> HttpResponse:
    """Close a section up."""
    section = get_section(pk)
    policy.require(request.member, "close_up", section.project.bench)
    points = queries.points_of(section) or queries.starting()
    form = CloseForm(request.POST, points=[point for point in points if point.tick is None])
    if attempt(form, lambda: _close(form, section, request)):
        messages.success(request, _("%(section)s is closed up. Its list is kept as it was.") % {"section": section.name})
        return redirect("gate", section.pk)
    return _gate_page(request, section, close=form)


def _close(form: CloseForm, section: Section, request: MemberRequest) -> None:
    given = form.cleaned_data
    said = {"reasons": form.reasons(), "note": given["note"], "key": given["key"]}
    services.close(section=section, **said, by=request.member, now=timezone.now())


@require_POST
@members_only
def reopen_section(request: MemberRequest, pk: int) -> HttpResponse:
    """Open a closed section again, with a reason."""
    section = get_section(pk)
    policy.require(request.member, "close_up", section.project.bench)
    form = WhyForm(request.POST)
    if attempt(form, lambda: _reopen(form, section, request)):
        messages.success(request, _("%(section)s is open again. Every point is to be ticked anew.") % {"section": section.name})
        return redirect("gate", section.pk)
    return _gate_page(request, section, reopen=form)


def _reopen(form: WhyForm, section: Section, request: MemberRequest) -> None:
    services.reopen(section=section, why=form.cleaned_data["why"], by=request.member, now=timezone.now())
