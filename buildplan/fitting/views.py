"""Pages of conflicts, and of hands."""

from collections.abc import Callable
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.fitting import queries, services
from buildplan.fitting.forms import (
    MATTERS,
    SIDES,
    AnswerForm,
    ConflictForm,
    FalseMirrorForm,
    HandForm,
    PairForm,
    ReopenForm,
    SettleForm,
)
from buildplan.fitting.models import Conflict, ConflictItem, ConflictStep, FalseMirror, MirrorPair
from buildplan.plan.models import Project
from inventory.common.forms import apart, attempt
from inventory.common.pages import UNREADABLE
from inventory.models import Item
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


def status_of(*forms: django_forms.Form) -> int | None:
    """422 where a form was refused."""
    return UNREADABLE if any(form.errors for form in forms) else None


# Conflicts


@require_GET
@members_only
def conflicts(request: MemberRequest) -> HttpResponse:
    """Every conflict, open ones first, and which side was right so far."""
    found = queries.conflicts()
    context = {
        "open": [row for row in found if row.open],
        "settled": [row for row in found if not row.open],
        "records": queries.track_record(),
        "projects": [
            one for one in Project.objects.select_related("bench").order_by("code") if policy.allowed(request.member, "plan", one.bench)
        ],
        "may_plan": policy.allowed(request.member, "plan"),
        "matters": MATTERS,
        "sides": SIDES,
    }
    return render(request, "fitting/conflicts.html", context)


@require_http_methods(["GET", "POST"])
@members_only
def new_conflict(request: MemberRequest, project: str) -> HttpResponse:
    """Record a conflict of a project's plans; `step` and `item` in the address are taken over."""
    found = get_object_or_404(Project.objects.select_related("bench__workshop"), code__iexact=project)
    policy.require(request.member, "plan", found.bench)
    initial = {"steps": request.GET.get("step", ""), "items": request.GET.get("item", "")}
    form = ConflictForm(request.POST if request.method == "POST" else None, project=found, initial=initial)
    kept: list[Conflict] = []
    if request.method == "POST" and attempt(form, lambda: kept.append(_record(form, found, request))):
        messages.success(request, _("The conflict is recorded. What rests on it is held until it is settled."))
        return redirect("conflict", kept[0].pk)
    context = {"form": form, "project": found, "items": _codes()}
    return render(request, "fitting/conflict_form.html", context, status=status_of(form))


def _record(form: ConflictForm, project: Project, request: MemberRequest) -> Conflict:
    given = form.cleaned_data
    rests = {"steps": given["steps"], "items": given["items"]}
    return services.record_conflict(project=project, **form.readings(), **rests, by=request.member, key=given["key"])


def get_conflict(pk: int) -> Conflict:
    """The conflict of an id in the address, with its project; else 404."""
    return get_object_or_404(Conflict.objects.select_related("project__bench__workshop", "by"), pk=pk)


@require_GET
@members_only
def conflict(request: MemberRequest, pk: int) -> HttpResponse:
    """Both readings, what is held, the answers, the decision."""
    return _conflict_page(request, get_conflict(pk))


def _conflict_page(request: MemberRequest, row: Conflict, **given: django_forms.Form) -> HttpResponse:
    today, bench = timezone.localdate(), row.project.bench
    view = queries.conflict_view(row)
    forms = {
        "answer_form": apart(given.get("answer") or AnswerForm(today=today), "answer"),
        "settle_form": apart(given.get("settle") or SettleForm(today=today), "settle"),
        "reopen_form": apart(given.get("reopen") or ReopenForm(), "reopen"),
    }
    context = {
        "view": view,
        "conflict": row,
        "project": row.project,
        "may_plan": policy.allowed(request.member, "plan", bench),
        "may_settle": policy.allowed(request.member, "settle", bench),
        "matter": MATTERS[row.kind],  # type: ignore[index] # a choice is its value
        "sides": SIDES,
        **forms,
    }
    return render(request, "fitting/conflict.html", context, status=status_of(*given.values()))


@require_http_methods(["GET", "POST"])
@members_only
def change_conflict(request: MemberRequest, pk: int) -> HttpResponse:
    """Correct the readings and what rests on them."""
    row = get_conflict(pk)
    policy.require(request.member, "plan", row.project.bench)
    form = ConflictForm(request.POST if request.method == "POST" else None, project=row.project, initial=_said(row))
    if request.method == "POST" and attempt(form, lambda: _change(form, row, request)):
        messages.success(request, _("The conflict is changed."))
        return redirect("conflict", row.pk)
    context = {"form": form, "project": row.project, "conflict": row, "items": _codes()}
    return render(request, "fitting/conflict_form.html", context, status=status_of(form))


def _said(row: Conflict) -> dict[str, Any]:
    steps = ConflictStep.objects.filter(conflict=row).order_by("step__position").values_list("step__code", flat=True)
    items = ConflictItem.objects.filter(conflict=row).order_by("item__code").values_list("item__code", flat=True)
    said = {name: getattr(row, name) for name in ("title", "kind", "text_says", "text_where", "drawing_says", "drawing_where")}
    return {**said, "steps": ", ".join(steps), "items": ", ".join(items)}


def _change(form: ConflictForm, row: Conflict, request: MemberRequest) -> None:
    given = form.cleaned_data
    services.edit_conflict(conflict=row, changes=form.readings(), by=request.member)
    services.set_resting(conflict=row, steps=given["steps"], items=given["items"], by=request.member)


@require_POST
@members_only
def answer_conflict(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down what the maker answered."""
    row, today = get_conflict(pk), timezone.localdate()
    policy.require(request.member, "plan", row.project.bench)
    form = AnswerForm(request.POST, today=today)
    if not attempt(form, lambda: services.add_answer(conflict=row, **form.cleaned_data, by=request.member, today=today)):
        return _conflict_page(request, row, answer=form)
    messages.success(request, _("The answer is written down. Somebody must still settle the conflict."))
    return redirect("conflict", row.pk)


@require_POST
@members_only
def settle_conflict(request: MemberRequest, pk: int) -> HttpResponse:
    """Say which side turned out right."""
    row, today = get_conflict(pk), timezone.localdate()
    policy.require(request.member, "settle", row.project.bench)
    form = SettleForm(request.POST, today=today)
    if not attempt(form, lambda: services.settle(conflict=row, **form.cleaned_data, by=request.member, today=today)):
        return _conflict_page(request, row, settle=form)
    messages.success(request, _("The conflict is settled. Nothing is held by it any more."))
    return redirect("conflict", row.pk)


@require_POST
@members_only
def reopen_conflict(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a decision back; it stays on record."""
    row = get_conflict(pk)
    policy.require(request.member, "settle", row.project.bench)
    form = ReopenForm(request.POST)
    if not attempt(form, lambda: services.reopen(conflict=row, **form.cleaned_data, by=request.member, now=timezone.now())):
        return _conflict_page(request, row, reopen=form)
    messages.success(request, _("The conflict is open again. What rests on it and isn't done is held."))
    return redirect("conflict", row.pk)


# Hands


@require_GET
@members_only
def hands(request: MemberRequest) -> HttpResponse:
    """Pairs, false mirrors, and parts of one hand."""
    return _hands_page(request)


def _hands_page(request: MemberRequest, **given: django_forms.Form) -> HttpResponse:
    workshop = request.workshop
    context = {
        "view": queries.hands(),
        "may_plan": policy.allowed(request.member, "plan"),
        "hand_form": apart(given.get("hand") or HandForm(workshop=workshop), "hand"),
        "pair_form": apart(given.get("pair") or PairForm(workshop=workshop), "pair"),
        "false_form": apart(given.get("false") or FalseMirrorForm(workshop=workshop), "false"),
        "items": _codes(),
    }
    return render(request, "fitting/hands.html", context, status=status_of(*given.values()))


@require_POST
@members_only
def state_hand(request: MemberRequest) -> HttpResponse:
    """Say which hand an item is."""
    policy.require(request.member, "plan")
    form = HandForm(request.POST, workshop=request.workshop)
    return _written(request, "hand", form, lambda: services.state_hand(**form.cleaned_data, by=request.member))


@require_POST
@members_only
def pair_items(request: MemberRequest) -> HttpResponse:
    """Link a mirrored pair."""
    policy.require(request.member, "plan")
    form = PairForm(request.POST, workshop=request.workshop)
    return _written(request, "pair", form, lambda: services.pair(**form.cleaned_data, by=request.member))


@require_POST
@members_only
def undo_pair(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a pair apart."""
    services.undo_pair(pair=get_object_or_404(MirrorPair, pk=pk), by=request.member)
    messages.success(request, _("They are no pair any more. Each keeps its hand."))
    return redirect("hands")


@require_POST
@members_only
def false_mirror(request: MemberRequest) -> HttpResponse:
    """Note two items that only look like a pair."""
    policy.require(request.member, "plan")
    form = FalseMirrorForm(request.POST, workshop=request.workshop)
    return _written(request, "false", form, lambda: services.set_false_mirror(**form.cleaned_data, by=request.member))


@require_POST
@members_only
def remove_false_mirror(request: MemberRequest, pk: int) -> HttpResponse:
    """Take that note back."""
    services.remove_false_mirror(row=get_object_or_404(FalseMirror, pk=pk), by=request.member)
    messages.success(request, _("The note is gone."))
    return redirect("hands")


def _written(request: MemberRequest, name: str, form: django_forms.Form, write: Callable[[], object]) -> HttpResponse:
    if not attempt(form, write):
        return _hands_page(request, **{name: form})
    messages.success(request, _("It is written down."))
    return redirect("hands")


def _codes() -> list[tuple[str, str]]:
    """Codes that a box offers."""
    return list(Item.objects.order_by("code").values_list("code", "name"))
