"""Shelves: what lies where, counted and corrected; a lot with its ledger."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from inventory.common.fields import plain
from inventory.common.forms import apart, attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.undo import as_it_stands, undoable
from inventory.stock import queries, services
from inventory.stock.forms import CountForm, DatesForm, OpenedForm, ShelvesForm, StateForm
from inventory.stock.models import Holding, Lot, State
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.models import Bench
from inventory.workshop.request import MemberRequest

PAGE = 50


@require_GET
@members_only
def shelves(request: MemberRequest) -> HttpResponse:
    """What lies where, with until when it serves."""
    form = ShelvesForm(request.GET, benches=list(Bench.objects.order_by("code")))
    form.is_valid()
    page = Paginator(queries.find_holdings(**form.cleaned_data), PAGE).get_page(request.GET.get("page"))
    may_count = policy.allowed(request.member, "keep_stock")
    context = {
        "form": form,
        "page": page,
        "held": [(held, _count_form(held) if may_count else None) for held in queries.held(page.object_list)],
        "filtered": any(form.cleaned_data.values()),
        "places": queries.place_paths(),
        "today": timezone.localdate(),
    }
    return render(request, "stock/shelves.html", context)


def _count_form(held: queries.Held) -> CountForm:
    return CountForm(auto_id=f"count-{held.lot_id}-{held.place_id}-%s", initial={"counted": held.quantity})


@require_http_methods(["GET", "POST"])
@members_only
def count(request: MemberRequest, lot: int, place: int) -> HttpResponse:
    """Write down what was counted of a lot in a place; the difference becomes a movement."""
    held = get_object_or_404(Holding.objects.select_related("lot__item", "lot__bench", "place"), lot=lot, place=place)
    policy.require(request.member, "keep_stock", held.lot.bench)
    form = CountForm(request.POST if request.method == "POST" else None, initial={"counted": held.quantity})
    back = way_back(request, reverse("shelves"))
    if request.method == "POST" and attempt(form, lambda: _adjust(form, held, request)):
        return redirect(back)
    return _form_page(request, "stock/count.html", form, {"held": held, "next": back})


def _adjust(form: CountForm, held: Holding, request: MemberRequest) -> None:
    given = form.cleaned_data
    moved = services.adjust(lot=held.lot, place=held.place, on=timezone.localdate(), by=request.member, **given)
    what = _("%(lot)s in %(place)s") % {"lot": services.named(held.lot), "place": held.place.path}
    if moved is None:
        messages.info(request, _("%(what)s: the count agrees, nothing changed.") % {"what": what})
        return
    said = _("%(what)s: %(counted)s %(unit)s now; the difference is in the ledger.") % {
        "what": what,
        "counted": plain(given["counted"]),
        "unit": held.lot.item.unit,
    }
    undoable(request, said, "reverse", moved.pk, fields={"next": way_back(request, reverse("shelves"))})


def lot_page(request: MemberRequest, found: Lot, more: Mapping[str, Any]) -> HttpResponse:
    """One lot: its dates, where it lies, what moved; `more` is what later slices tell of it."""
    page = Paginator(queries.movements(lot=found), PAGE).get_page(request.GET.get("page"))
    lines = [queries.LedgerLine(*row) for row in page.object_list]
    context = {
        "lot": found,
        "life": queries.life_of(found),
        "openings": queries.openings(found),
        "held": queries.held(queries.find_holdings().filter(lot=found)),
        "page": page,
        "lines": [(line, line.reversible and policy.allowed(request.member, _needed_to_reverse(line), found.bench)) for line in lines],
        "state_form": apart(StateForm(initial={"state": found.state}), "state") if policy.allowed(request.member, "judge_lots") else None,
        "dates_form": apart(DatesForm(lot=found), "dates") if policy.allowed(request.member, "keep_stock") else None,
        "opened_form": apart(OpenedForm(lot=found), "opened") if policy.allowed(request.member, "keep_stock", found.bench) else None,
        "today": timezone.localdate(),
    }
    return render(request, "stock/lot.html", {**context, **more})


def _needed_to_reverse(line: queries.LedgerLine) -> str:
    return "use_stock" if line.within else "keep_stock"


def lot_of(pk: int) -> Lot:
    """The lot of an id, with what its page says of it."""
    return get_object_or_404(Lot.objects.select_related("item", "bench"), pk=pk)


@require_http_methods(["GET", "POST"])
@members_only
def lot_state(request: MemberRequest, pk: int) -> HttpResponse:
    """Judge a lot."""
    found = lot_of(pk)
    policy.require(request.member, "judge_lots", found.bench)
    form = StateForm(request.POST if request.method == "POST" else None, initial={"state": found.state})
    state = dict(State.choices).get(request.POST.get("state", ""), "")
    done = _("%(found)s is judged: %(state)s.") % {"found": services.named(found), "state": state}
    # What failed is lifted by an inspector's reason alone, so no press takes that back; a lift that was a slip is.
    was = {"state": found.state, **({"note": _("the lift is taken back")} if found.state == State.FAILED else {})}
    back = None if request.POST.get("state") == State.FAILED else Back("lot-state", was)
    return change_lot(request, found, form, done, lambda: services.set_state(lot=found, by=request.member, **form.cleaned_data), back=back)


@require_http_methods(["GET", "POST"])
@members_only
def lot_dates(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down the dates on a lot's label."""
    found = lot_of(pk)
    policy.require(request.member, "keep_stock", found.bench)
    form = DatesForm(request.POST if request.method == "POST" else None, lot=found)
    done = _("%(found)s has these dates now.") % {"found": services.named(found)}
    back = Back("lot-dates", as_it_stands(DatesForm(lot=found)))
    return change_lot(request, found, form, done, lambda: services.set_dates(lot=found, by=request.member, **form.cleaned_data), back=back)


@require_http_methods(["GET", "POST"])
@members_only
def lot_opened(request: MemberRequest, pk: int) -> HttpResponse:
    """Put right when a lot was opened, or that it never was."""
    found = lot_of(pk)
    policy.require(request.member, "keep_stock", found.bench)
    form = OpenedForm(request.POST if request.method == "POST" else None, lot=found)
    done = _("It is put right when %(found)s was opened.") % {"found": services.named(found)}
    back = Back("lot-opened", as_it_stands(OpenedForm(lot=found)) | {"note": _("the correction was taken back")})
    today = timezone.localdate()
    return change_lot(
        request,
        found,
        form,
        done,
        lambda: services.correct_opened(lot=found, today=today, by=request.member, **form.cleaned_data),
        back=back,
    )


@dataclass(frozen=True, slots=True)
class Back:
    """What takes a change of a lot back: which of its addresses, and what is sent there."""

    url_name: str
    fields: Mapping[str, object]


def change_lot(  # noqa: PLR0913 - a form, what it does, and what takes that back
    request: MemberRequest, found: Lot, form: forms.Form, done: str, write: Callable[[], object], *, back: Back | None = None
) -> HttpResponse:
    """Show a form of a lot, or do what it asks and go back to the lot."""
    if request.method == "POST" and attempt(form, write):
        if back is None:
            messages.success(request, done)
        else:
            undoable(request, done, back.url_name, found.pk, fields=back.fields)
        return redirect("lot", found.pk)
    return _form_page(request, "stock/change_lot.html", form, {"lot": found})


def _form_page(request: MemberRequest, template: str, form: forms.Form, context: dict[str, Any]) -> HttpResponse:
    return render(request, template, {**context, "form": form}, status=UNREADABLE if form.errors else None)
