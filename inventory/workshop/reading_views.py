"""How pages look: the workshop's choices, and each member's own."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.workshop import policy, reading
from inventory.workshop.access import members_only
from inventory.workshop.forms import ShowingForm, WorkshopShowingForm
from inventory.workshop.request import MemberRequest


@require_http_methods(["GET", "POST"])
@members_only
def of_workshop(request: MemberRequest) -> HttpResponse:
    """Choose the workshop's time zone, and what its members see unless they chose otherwise."""
    policy.require(request.member, "manage")
    form = _form(request, WorkshopShowingForm, request.workshop)
    if request.method == "POST" and attempt(form, lambda: _choose_for_workshop(form, request)):
        return redirect("settings")
    context = {"form": form, "zones": reading.offered_zones(), "now": timezone.now()}
    return render(request, "workshop/showing.html", context, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def own(request: MemberRequest) -> HttpResponse:
    """Choose how pages look to oneself, in this workshop."""
    form = _form(request, ShowingForm, request.member)
    if request.method == "POST" and attempt(form, lambda: _choose_own(form, request)):
        return redirect("account")
    return render(request, "workshop/own_showing.html", {"form": form}, status=UNREADABLE if form.errors else None)


def _form(request: MemberRequest, kind: type[ShowingForm], row: Any) -> ShowingForm:
    initial = {name: getattr(row, name) for name in kind.base_fields}
    return kind(request.POST if request.method == "POST" else None, workshop=request.workshop, initial=initial)


def _choose_for_workshop(form: ShowingForm, request: MemberRequest) -> None:
    kept = reading.set_workshop(workshop=request.workshop, by=request.member, **form.cleaned_data)
    with translation.override(reading.reader_of(kept, request.member).language or translation.get_language()):
        messages.success(request, _("How pages look in %(workshop)s is saved.") % {"workshop": kept.name})


def _choose_own(form: ShowingForm, request: MemberRequest) -> None:
    kept = reading.set_own(member=request.member, by=request.member, **form.cleaned_data)
    with translation.override(reading.reader_of(request.workshop, kept).language or translation.get_language()):
        messages.success(request, _("Pages look as you chose from now on."))
