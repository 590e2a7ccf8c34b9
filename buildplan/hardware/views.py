"""The settings of a workshop: what each figure is now, where it comes from, and where the owner changes it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from buildplan.hardware import services
from buildplan.hardware.forms import LossForm, SettingsForm
from buildplan.hardware.models import RivetLoss
from buildplan.hardware.queries import Spacing, cleco_spacings, losses
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.models import Workshop
from inventory.workshop import policy
from inventory.workshop import services as workshops
from inventory.workshop.access import members_only
from inventory.workshop.models import RivetRounding
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
    }
    return render(request, "hardware/settings.html", context, status=UNREADABLE if form.errors or loss.errors else None)


def _save(form: SettingsForm, spacings: tuple[Spacing, ...], request: MemberRequest) -> None:
    given, workshop, by = form.cleaned_data, request.workshop, request.member
    workshops.set_receiving_days(workshop=workshop, days=given["receiving_days"], by=by)
    workshops.set_rivet_rounding(workshop=workshop, rounding=given["rivet_rounding"], by=by)
    for spacing in spacings:
        services.set_cleco_spacing(workshop=workshop, stage=spacing.stage, every=form.given(spacing), by=by)
    messages.success(request, "The settings are saved.")


def _save_loss(form: LossForm, request: MemberRequest) -> None:
    given = form.cleaned_data
    kept = services.set_rivet_loss(workshop=request.workshop, diameter=given["diameter"], percent=given["percent"], by=request.member)
    messages.success(request, f"Rivets of {kept.diameter} in: {plain(kept.percent)} % more than there are holes.")


@require_POST
@members_only
def remove_loss(request: MemberRequest, pk: int) -> HttpResponse:
    """No loss is added for a size any more."""
    found = get_object_or_404(RivetLoss, pk=pk)
    services.remove_rivet_loss(loss=found, by=request.member)
    messages.success(request, f"Rivets of {found.diameter} in: no loss is added any more.")
    return redirect("settings")
