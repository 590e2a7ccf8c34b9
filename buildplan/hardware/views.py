"""The settings page, and adding, changing and removing a rivet row of a step."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from buildplan.hardware import services
from buildplan.hardware.forms import LossForm, RowForm, SettingsForm
from buildplan.hardware.models import RivetLoss, RivetRow
from buildplan.hardware.queries import Spacing, cleco_spacings, length_question, losses, rivet_codes
from buildplan.plan.models import Step
from buildplan.plan.views import get_step
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import as_it_stands, undoable
from inventory.models import Workshop
from inventory.workshop import policy
from inventory.workshop import services as workshops
from inventory.workshop.access import members_only
from inventory.workshop.forms import language_choices, style_choices
from inventory.workshop.models import RivetRounding
from inventory.workshop.reading import zone_of
from inventory.workshop.request import MemberRequest

DEFAULT_DAYS = Workshop._meta.get_field("receiving_days").default  # noqa: SLF001 - Django's documented API


@require_http_methods(["GET", "POST"])
@members_only
def settings(request: MemberRequest) -> HttpResponse:
    """Show every setting; the owner's POST saves them, or one size's loss where that form was sent."""
    spacings = cleco_spacings()
    form, loss = _settings_form(request, spacings), LossForm(None)
    if request.method == "POST":
        policy.require(request.member, "manage")
        if "diameter" in request.POST:
            loss = LossForm(request.POST)
            done = attempt(loss, lambda: _save_loss(loss, request))
        else:
            form = _settings_form(request, spacings, posted=True)
            done = attempt(form, lambda: _save(form, spacings, request))
        if done:
            return redirect("settings")
    return _page(request, form, loss, spacings)


def _settings_form(request: MemberRequest, spacings: tuple[Spacing, ...], *, posted: bool = False) -> SettingsForm:
    workshop = request.workshop
    initial = {"receiving_days": workshop.receiving_days, "rivet_rounding": workshop.rivet_rounding}
    return SettingsForm(request.POST if posted else None, spacings=spacings, initial=initial)


def _page(request: MemberRequest, form: SettingsForm, loss: LossForm, spacings: tuple[Spacing, ...]) -> HttpResponse:
    context = {
        "form": form,
        "loss": loss,
        "losses": losses(),
        "spacings": [(spacing, form.every_of(spacing)) for spacing in spacings],
        "rounding": RivetRounding(request.workshop.rivet_rounding).label,
        "default_days": DEFAULT_DAYS,
        "default_rounding": RivetRounding.UP_HALF,
        "may_manage": policy.allowed(request.member, "manage"),
        "shown": _shown(request.workshop),
    }
    return render(request, "hardware/settings.html", context, status=UNREADABLE if form.errors or loss.errors else None)


def _shown(workshop: Workshop) -> dict[str, str]:
    """The workshop's choices of how pages look, in words."""
    found = {name: dict(choices)[getattr(workshop, name)] for name, choices in style_choices().items()}
    language = dict(language_choices()).get(workshop.language) or _("as each reader's browser asks")
    return {**found, "zone": str(zone_of(workshop)), "language": language}


def _save(form: SettingsForm, spacings: tuple[Spacing, ...], request: MemberRequest) -> None:
    given, workshop, by = form.cleaned_data, request.workshop, request.member
    workshops.set_receiving_days(workshop=workshop, days=given["receiving_days"], by=by)
    workshops.set_rivet_rounding(workshop=workshop, rounding=given["rivet_rounding"], by=by)
    for spacing in spacings:
        services.set_cleco_spacing(workshop=workshop, stage=spacing.stage, every=form.given(spacing), by=by)
    messages.success(request, _("The settings are saved."))


def _save_loss(form: LossForm, request: MemberRequest) -> None:
    given = form.cleaned_data
    kept = services.set_rivet_loss(workshop=request.workshop, diameter=given["diameter"], percent=given["percent"], by=request.member)
    messages.success(
        request,
        _("Rivets of %(diameter)s in: %(percent)s %% more than there are holes.")
        % {"diameter": kept.diameter, "percent": plain(kept.percent)},
    )


@require_POST
@members_only
def remove_loss(request: MemberRequest, pk: int) -> HttpResponse:
    """No loss is added for a size any more."""
    found = get_object_or_404(RivetLoss, pk=pk)
    services.remove_rivet_loss(loss=found, by=request.member)
    messages.success(request, _("Rivets of %(diameter)s in: no loss is added any more.") % {"diameter": found.diameter})
    return redirect("settings")


@require_http_methods(["GET", "POST"])
@members_only
def add_row(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Put a rivet row into a step; `stage` in the address fills in the workshop's spacing of clecos at that stage."""
    found = get_step(project, step)
    spacings = cleco_spacings()
    every = {spacing.stage: spacing.every for spacing in spacings}.get(request.GET.get("stage", ""))
    return _row_page(request, found, None, {"cleco_every": every}, spacings)


@require_http_methods(["GET", "POST"])
@members_only
def row(request: MemberRequest, pk: int) -> HttpResponse:
    """Change a rivet row."""
    found = _get_row(pk)
    return _row_page(request, found.step, found, _said(found), ())


def _said(row: RivetRow) -> dict[str, object]:
    names = ("code", "holes", "grip", "cleco_every", "clecos_until")
    return {"rivet": row.rivet.code, **{name: getattr(row, name) for name in names}}


@require_POST
@members_only
def remove_row(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a rivet row out of its step."""
    found = _get_row(pk)
    step = found.step
    before = as_it_stands(RowForm(None, workshop=request.workshop, step=step, initial=_said(found)))
    services.remove_row(row=found, by=request.member)
    undoable(request, _("Row %(found)s is removed.") % {"found": found.code}, "add-row", step.project.code, step.code, fields=before)
    return redirect("step", step.project.code, step.code)


def _get_row(pk: int) -> RivetRow:
    rows = RivetRow.objects.select_related("rivet", "clecos_until", "step__project__bench__workshop")
    return get_object_or_404(rows, pk=pk)


def _row_page(
    request: MemberRequest, step: Step, row: RivetRow | None, said: dict[str, object], spacings: tuple[Spacing, ...]
) -> HttpResponse:
    policy.require(request.member, "plan", step.project.bench)
    if request.method == "GET":
        services.refuse_done(step, "its rows")
    form = RowForm(request.POST if request.method == "POST" else None, workshop=request.workshop, step=step, initial=said)
    if request.method == "POST" and attempt(form, lambda: _save_row(form, step, row, request)):
        return redirect("step", step.project.code, step.code)
    context = {"form": form, "step": step, "row": row, "spacings": spacings, "rivets": rivet_codes()}
    return render(request, "hardware/row.html", context, status=UNREADABLE if form.errors else None)


def _save_row(form: RowForm, step: Step, row: RivetRow | None, request: MemberRequest) -> None:
    before = None if row is None else as_it_stands(RowForm(None, workshop=request.workshop, step=step, initial=_said(row)))
    kept = services.save_row(step=step, row=row, **form.cleaned_data, by=request.member)
    if before is None:
        undoable(request, _("Row %(kept)s is saved.") % {"kept": kept.code}, "remove-row", kept.pk)
    else:
        undoable(request, _("Row %(kept)s is saved.") % {"kept": kept.code}, "row", kept.pk, fields=before)
    if question := length_question(kept, request.workshop.rivet_rounding):
        messages.warning(request, _("Question of row %(kept)s: %(question)s") % {"kept": kept.code, "question": question})
