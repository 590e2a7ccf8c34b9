"""The page of what a batch of sealant uses up: the workshop's own list."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from buildplan.sealing import supplies as listed
from buildplan.sealing.models import SealingSupply
from inventory.common.forms import QuantityInput, attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.undo import as_it_stands, undoable
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


class SupplyForm(forms.Form):
    """One thing that each batch uses up."""

    name = forms.CharField(label=_("Name"), max_length=listed.MOST_NAME)
    quantity = QuantityInput(label=_("Quantity for each batch"))
    unit = forms.CharField(label=_("Unit"), max_length=listed.MOST_UNIT, help_text=_("ea, pair, mL"))


@require_http_methods(["GET", "POST"])
@members_only
def supplies(request: MemberRequest) -> HttpResponse:
    """The list; a POST puts a thing on it, or with `ours` our starting list on an empty one."""
    if request.method == "POST" and "ours" in request.POST:
        listed.start_list(by=request.member)
        messages.success(request, gettext("Our starting list is on it: it is ours and no source's, so change it as you work."))
        return redirect(_here(request))
    form = SupplyForm(request.POST if request.method == "POST" else None)
    made: list[SealingSupply] = []
    if request.method == "POST" and attempt(form, lambda: made.append(listed.add_supply(**form.cleaned_data, by=request.member))):
        back = {"remove": 1, "next": way_back(request, "")}
        undoable(request, gettext("%(name)s is on the list.") % {"name": form.cleaned_data["name"]}, "supply", made[0].pk, fields=back)
        return redirect(_here(request))
    context = {
        "form": form,
        "supplies": listed.listed(),
        "ours": listed.OURS,
        "may_plan": policy.allowed(request.member, "plan"),
        "back": way_back(request, ""),
    }
    return render(request, "records/supplies.html", context, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def supply(request: MemberRequest, pk: int) -> HttpResponse:
    """Change one of them; `remove` takes it off."""
    found = get_object_or_404(SealingSupply, pk=pk)
    policy.require(request.member, "plan")
    initial: dict[str, Any] = {"name": found.name, "quantity": found.quantity, "unit": found.unit}
    before = {**as_it_stands(SupplyForm(initial=initial)), "next": way_back(request, "")}
    if request.method == "POST" and "remove" in request.POST:
        listed.remove_supply(supply=found, by=request.member)
        undoable(request, gettext("%(name)s is off the list.") % {"name": found.name}, "supplies", fields=before)
        return redirect(_here(request))
    form = SupplyForm(request.POST if request.method == "POST" else None, initial=initial)
    if request.method == "POST" and attempt(form, lambda: listed.change_supply(supply=found, **form.cleaned_data, by=request.member)):
        undoable(request, gettext("%(name)s is changed.") % {"name": form.cleaned_data["name"]}, "supply", pk, fields=before)
        return redirect(_here(request))
    context = {"supply": found, "form": form, "next": way_back(request, "")}
    return render(request, "records/supply.html", context, status=UNREADABLE if form.errors else None)


def _here(request: MemberRequest) -> str:
    """The list again, with the way back to where it was opened from."""
    return reverse("supplies", query={"next": back} if (back := way_back(request, "")) else None)
