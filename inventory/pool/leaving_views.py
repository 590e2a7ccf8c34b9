"""Leaving a workshop: what is on loan is settled first, which only the pool knows."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.pool import leaving, queries
from inventory.workshop import memberships
from inventory.workshop.access import members_only
from inventory.workshop.forms import LeaveForm
from inventory.workshop.models import Member
from inventory.workshop.request import MemberRequest


@require_http_methods(["GET", "POST"])
@members_only
def leave(request: MemberRequest, pk: int) -> HttpResponse:
    """Say what ends and what stays, then end a membership: one's own, or another's for an owner."""
    found = get_object_or_404(Member.objects.exclude(user=None).select_related("user", "workshop"), pk=pk, active=True)
    memberships.require_end(request.member, found)
    form = LeaveForm(request.POST if request.method == "POST" else None)
    own = found.pk == request.member.pk
    if request.method == "POST" and attempt(form, lambda: _leave(form, found, request)):
        return redirect("home" if own else "members")
    context = {
        "form": form,
        "person": found,
        "own": own,
        "loans": queries.loans(member=found),
        "benches": [row.bench for row in found.benches.select_related("bench").order_by("bench__code")],
    }
    return render(request, "pool/leave.html", context, status=UNREADABLE if form.errors else None)


def _leave(form: LeaveForm, found: Member, request: MemberRequest) -> None:
    forget = form.cleaned_data["name"] == LeaveForm.FORGET
    leaving.leave(member=found, forget_name=forget, now=timezone.now(), by=request.member)
    said = _("You have left %(workshop)s.") if found.pk == request.member.pk else _("%(name)s has left %(workshop)s.")
    messages.success(request, said % {"name": found.name, "workshop": found.workshop.name})


@require_POST
@members_only
def forget_name(request: MemberRequest, pk: int) -> HttpResponse:
    """Forget the name of somebody who left earlier."""
    found = get_object_or_404(Member.objects.exclude(user=None).select_related("workshop"), pk=pk)
    leaving.forget(member=found, by=request.member)
    messages.success(request, _("They are %(name)s from now on, in the history too.") % {"name": memberships.FORMER})
    return redirect("members")
