"""The plan of a project: what is done, what is ready, what waits."""

from collections.abc import Iterable, Sequence

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from buildplan.plan import queries, services
from buildplan.plan.forms import PlannedForm
from buildplan.plan.models import Project, Step
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.showing import date_text
from inventory.common.undo import undoable
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

PAGE = 60  # steps


def get_project(code: str) -> Project:
    """The project of a code in the address, with its bench; else 404."""
    return get_object_or_404(Project.objects.select_related("bench__workshop"), code__iexact=code)


def get_step(project: str, code: str) -> Step:
    """The step of the codes in the address, with all it belongs to; else 404."""
    steps = Step.objects.select_related("project__bench__workshop", "section")
    return get_object_or_404(steps, project__code__iexact=project, code__iexact=code)


@require_GET
@members_only
def plans(request: MemberRequest) -> HttpResponse:
    """The only project's plan, or a choice of several."""
    return choose(request, "plan", _("Plan"))


def choose(request: MemberRequest, page: str, title: str) -> HttpResponse:
    """Go on to `page` of the only project, or ask which; with none, say what to do."""
    found = queries.progress()
    if len(found) == 1:
        return redirect(page, found[0].project.code)
    return render(request, "plan/choose.html", {"page": page, "title": title, "projects": [one.project for one in found]})


@require_GET
@members_only
def plan(request: MemberRequest, project: str) -> HttpResponse:
    """Sections and steps; each step's planned day can be set where the role allows."""
    found = get_project(project)
    sections = queries.sections(found)
    page = Paginator([step for section in sections for step in section.steps], PAGE).get_page(_page_asked(request, sections))
    context = {
        "project": found,
        "sections": sections,
        "page": page,
        "shown": _on_page(sections, page.object_list),
        "steps": sum(len(section.steps) for section in sections),
        "done": sum(section.done for section in sections),
        "may_plan": policy.allowed(request.member, "plan", found.bench),
    }
    return render(request, "plan/plan.html", context)


def _page_asked(request: MemberRequest, sections: Sequence[queries.SectionRow]) -> str | int:
    """The page of the address; else the one with its step (`at`) or the start of its `section`; else the one where there is work to do."""
    if "page" in request.GET:
        return request.GET["page"]
    steps = [(str(section.id), step) for section in sections for step in section.steps]
    at, section = request.GET.get("at"), request.GET.get("section")
    found = (
        [number for number, (_, step) in enumerate(steps) if str(step.id) == at]
        or [number for number, (pk, _) in enumerate(steps) if pk == section]
        or [number for number, (_, step) in enumerate(steps) if not step.done]
    )
    return next(iter(found), 0) // PAGE + 1


def _on_page(
    sections: Sequence[queries.SectionRow], steps: Iterable[queries.StepRow]
) -> list[tuple[queries.SectionRow, list[queries.StepRow]]]:
    """The sections that have steps of this page, each with these."""
    here = {step.id for step in steps}
    parts = [(section, [step for step in section.steps if step.id in here]) for section in sections]
    return [(section, found) for section, found in parts if found]


@require_http_methods(["GET", "POST"])
@members_only
def planned(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Set or clear the day that a step is planned for, and how many people it takes."""
    found = get_step(project, step)
    policy.require(request.member, "plan", found.project.bench)
    form = PlannedForm(request.POST if request.method == "POST" else None, initial={"planned_on": found.planned_on, "people": found.people})
    back = way_back(request, f"{reverse('plan', args=[found.project.code])}?at={found.pk}#step-{found.pk}")
    if request.method == "POST" and attempt(form, lambda: _save(form, found, request)):
        return redirect(back)
    context = {"project": found.project, "step": found, "form": form, "next": back}
    return render(request, "plan/planned.html", context, status=UNREADABLE if form.errors else None)


def _save(form: PlannedForm, step: Step, request: MemberRequest) -> None:
    day = form.cleaned_data["planned_on"]
    before = {"planned_on": step.planned_on, "people": step.people, "next": way_back(request, "")}
    services.set_planned(step=step, planned_on=day, by=request.member)
    if "people" in form.data and form.cleaned_data["people"] != step.people:
        services.set_people(step=step, people=form.cleaned_data["people"], by=request.member)
    said = (
        _("%(step)s is planned for %(day)s.") % {"step": step.code, "day": date_text(day)}
        if day
        else _("%(step)s has no planned day now.") % {"step": step.code}
    )
    undoable(request, said, "planned", step.project.code, step.code, fields=before)
