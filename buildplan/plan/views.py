"""The plan of a project: what is done, what is ready, what waits."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from buildplan.plan import queries, services
from buildplan.plan.forms import PlannedForm
from buildplan.plan.models import Project, Step
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


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
    return choose(request, "plan", "Plan")


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
    context = {
        "project": found,
        "sections": sections,
        "steps": sum(len(section.steps) for section in sections),
        "done": sum(section.done for section in sections),
        "may_plan": policy.allowed(request.member, "plan", found.bench),
    }
    return render(request, "plan/plan.html", context)


@require_http_methods(["GET", "POST"])
@members_only
def planned(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Set or clear the day that a step is planned for, and how many people it takes."""
    found = get_step(project, step)
    form = PlannedForm(request.POST if request.method == "POST" else None, initial={"planned_on": found.planned_on, "people": found.people})
    back = way_back(request, f"{reverse('plan', args=[found.project.code])}#step-{found.pk}")
    if request.method == "POST" and attempt(form, lambda: _save(form, found, request)):
        return redirect(back)
    context = {"project": found.project, "step": found, "form": form, "next": back}
    return render(request, "plan/planned.html", context, status=UNREADABLE if form.errors else None)


def _save(form: PlannedForm, step: Step, request: MemberRequest) -> None:
    day = form.cleaned_data["planned_on"]
    services.set_planned(step=step, planned_on=day, by=request.member)
    if "people" in form.data and form.cleaned_data["people"] != step.people:
        services.set_people(step=step, people=form.cleaned_data["people"], by=request.member)
    messages.success(request, f"{step.code} is planned for {day}." if day else f"{step.code} has no planned day now.")
