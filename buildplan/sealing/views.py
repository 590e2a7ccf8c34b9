"""Adding, changing and removing a seam of a step."""

from fractions import Fraction

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from buildplan.hardware.services import refuse_done
from buildplan.plan.models import Step
from buildplan.plan.views import get_step
from buildplan.sealing import services
from buildplan.sealing.forms import SeamForm
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import sealant_codes
from buildplan.sealing.services import LOSS_PLACES, PlannedSeam
from inventory.common.exact import decimal_text
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import as_it_stands, undoable
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

AS_KEPT = ("code", "shape", "length", "unit", "leg_a", "leg_b", "thickness", "size_unit", "count", "grams_each")


@require_http_methods(["GET", "POST"])
@members_only
def add_seam(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Put a seam into a step."""
    return _page(request, get_step(project, step), None, {"count": 1})


@require_http_methods(["GET", "POST"])
@members_only
def seam(request: MemberRequest, pk: int) -> HttpResponse:
    """Change a seam."""
    found = _get_seam(pk)
    return _page(request, found.step, found, _said(found))


def _said(seam: Seam) -> dict[str, object]:
    said: dict[str, object] = {name: getattr(seam, name) for name in AS_KEPT}
    return said | {"sealant": seam.sealant.code, "loss_percent": decimal_text(seam.loss_percent, LOSS_PLACES)}


@require_POST
@members_only
def remove_seam(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a seam out of its step."""
    found = _get_seam(pk)
    before, step = as_it_stands(SeamForm(None, workshop=request.workshop, initial=_said(found))), found.step
    services.remove_seam(seam=found, by=request.member)
    undoable(request, _("Seam %(seam)s is removed.") % {"seam": found.code}, "add-seam", step.project.code, step.code, fields=before)
    return redirect("step", step.project.code, step.code)


def _get_seam(pk: int) -> Seam:
    return get_object_or_404(Seam.objects.select_related("sealant", "step__project__bench__workshop"), pk=pk)


def _page(request: MemberRequest, step: Step, seam: Seam | None, said: dict[str, object]) -> HttpResponse:
    policy.require(request.member, "plan", step.project.bench)
    if request.method == "GET":
        refuse_done(step, "its seams")
    form = SeamForm(request.POST if request.method == "POST" else None, workshop=request.workshop, initial=said)
    if request.method == "POST" and attempt(form, lambda: _save(form, step, seam, request)):
        return redirect("step", step.project.code, step.code)
    context = {"form": form, "step": step, "seam": seam, "sealants": sealant_codes()}
    return render(request, "sealing/seam.html", context, status=UNREADABLE if form.errors else None)


def _save(form: SeamForm, step: Step, seam: Seam | None, request: MemberRequest) -> None:
    given = dict(form.cleaned_data)
    sealant, loss = given.pop("sealant"), Fraction(given.pop("loss_percent") or 0)
    stated = PlannedSeam(step=step.code, sealant_id=sealant.pk, loss_percent=loss, **given)
    before = None if seam is None else as_it_stands(SeamForm(None, workshop=request.workshop, initial=_said(seam)))
    kept = services.save_seam(step=step, seam=seam, stated=stated, by=request.member)
    if before is None:
        undoable(request, _("Seam %(seam)s is saved.") % {"seam": kept.code}, "remove-seam", kept.pk)
    else:
        undoable(request, _("Seam %(seam)s is saved.") % {"seam": kept.code}, "seam", kept.pk, fields=before)
