"""The pages of traces: choosing what to follow, and where it went."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from buildplan.fitting.models import Assembly
from buildplan.plan.models import Project, Section
from buildplan.trace import answer, pdf
from buildplan.trace.asking import AskOne, found_by
from buildplan.trace.forms import CodeForm
from buildplan.trace.queries import CameFrom, Went
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

SHOWN = 100  # lines of a trace on a page; its file has all
OTHERS = 30  # of those that it did not go into


@require_GET
@members_only
def trace(request: MemberRequest) -> HttpResponse:
    """Choose what to follow; then where it went, or what went into it."""
    found = found_by(request.GET.dict())
    asked = request.GET.copy()
    asked.pop("all", None)
    context: dict[str, Any] = {"found": found, "asked": asked.urlencode(), "said": request.GET, "kinds": words()}
    if found is None:
        context |= {
            "form": CodeForm(),
            "projects": list(Project.objects.order_by("code")),
            "sections": list(Section.objects.select_related("project").order_by("project__code", "position")),
            "assemblies": list(Assembly.objects.select_related("project").order_by("project__code", "name")),
        }
        return render(request, "trace/choose.html", context)
    whole = "all" in request.GET
    context |= {"lines": found.lines if whole else found.lines[:SHOWN], "more": 0 if whole else max(len(found.lines) - SHOWN, 0)}
    if isinstance(found, Went):
        context |= {"others": found.others[:OTHERS], "more_others": found.counts["not"] - len(found.others[:OTHERS])}
        return render(request, "trace/went.html", context)
    return render(request, "trace/came.html", context)


def words() -> dict[str, str]:
    """What the kinds of use are called on pages."""
    return {
        "step": _("taken by the step"),
        "batch": _("in a batch for the step"),
        "piece": _("sawn for the step"),
        "mark": _("marked in an assembly"),
        "done": _("done, and no movement says of what"),
        "used": _("used, and for which step is not said"),
        "shelf": _("on the shelf"),
        "lent": _("lent"),
        "scrapped": _("scrapped"),
        "lost": _("lost"),
        "counted": _("missing when it was counted"),
        "supplier": _("sent back"),
    }


def _asked_for(request: MemberRequest) -> Went | CameFrom:
    found = found_by(request.GET.dict())
    if found is None:
        raise AskOne("say what to trace: a lot, a lot code, a project, a step of it, or an assembly")
    return found


@require_GET
@members_only
def trace_csv(request: MemberRequest) -> HttpResponse:
    """The same trace as a file for a spreadsheet, with every line."""
    return as_file(answer.as_csv(_asked_for(request)), "text/csv; charset=utf-8", f"trace-{timezone.localdate()}.csv")


@require_GET
@members_only
def trace_pdf(request: MemberRequest) -> HttpResponse:
    """The same trace on paper."""
    made = pdf.as_pdf(_asked_for(request), request.workshop.name, timezone.localdate().isoformat())
    return as_file(made, "application/pdf", f"trace-{timezone.localdate()}.pdf")


def as_file(content: str | bytes, kind: str, name: str) -> HttpResponse:
    """A file to keep."""
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = content_disposition_header(as_attachment=True, filename=name) or "attachment"
    return response
