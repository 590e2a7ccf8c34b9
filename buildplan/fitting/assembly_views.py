"""Pages of assemblies: their positions, the pieces that are marked for them, and the list to mark by."""

import csv
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.fitting import assembled, services
from buildplan.fitting.assemblies import Done
from buildplan.fitting.forms import (
    DEED_NAMES,
    PHASES,
    AssemblyForm,
    AwayForm,
    DeedForm,
    PieceForm,
    PositionsForm,
    ReplaceForm,
    TakeForm,
)
from buildplan.fitting.models import Assembly, AssemblyStep, Mark, Position
from buildplan.fitting.views import status_of
from buildplan.plan.models import Project
from inventory.common.forms import apart, attempt
from inventory.common.pages import UNREADABLE
from inventory.labels.drawing import Job, words_pdf
from inventory.labels.forms import PrintForm
from inventory.labels.queries import sheets as label_sheets
from inventory.models import Item, Lot
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

COLUMNS = ("assembly", "number", "part", "mark", "item", "lot", "piece", "marked on", "by", "taken away on", "why", "done")
MOST_LOTS = 200


@require_GET
@members_only
def assemblies(request: MemberRequest) -> HttpResponse:
    """Every assembly with how many of its positions are marked."""
    context = {
        "assemblies": assembled.assemblies(),
        "projects": [
            one for one in Project.objects.select_related("bench").order_by("code") if policy.allowed(request.member, "plan", one.bench)
        ],
        "may_plan": policy.allowed(request.member, "plan"),
    }
    return render(request, "fitting/assemblies.html", context)


@require_http_methods(["GET", "POST"])
@members_only
def new_assembly(request: MemberRequest, project: str) -> HttpResponse:
    """Make an assembly of a project."""
    found = get_object_or_404(Project.objects.select_related("bench__workshop"), code__iexact=project)
    policy.require(request.member, "plan", found.bench)
    form = AssemblyForm(request.POST if request.method == "POST" else None, project=found)
    kept: list[Assembly] = []
    if request.method == "POST" and attempt(form, lambda: kept.append(_make(form, found, request))):
        return redirect("assembly", kept[0].pk)
    return render(request, "fitting/assembly_form.html", {"form": form, "project": found}, status=status_of(form))


def _make(form: AssemblyForm, project: Project, request: MemberRequest) -> Assembly:
    given = {name: form.cleaned_data[name] for name in ("name", "note", "steps", "key")}
    return services.make_assembly(project=project, **given, by=request.member)


def get_assembly(pk: int) -> Assembly:
    """The assembly of an id in the address, with its project; else 404."""
    return get_object_or_404(Assembly.objects.select_related("project__bench__workshop"), pk=pk)


@require_GET
@members_only
def assembly(request: MemberRequest, pk: int) -> HttpResponse:
    """Positions and pieces, how often it comes apart, and what to do with it."""
    return _assembly_page(request, get_assembly(pk))


def _assembly_page(request: MemberRequest, row: Assembly, **given: django_forms.Form) -> HttpResponse:
    today, bench = timezone.localdate(), row.project.bench
    view = assembled.assembly_view(row)
    last = max((one.number for one in view.positions), default=1)
    context = {
        "view": view,
        "assembly": row,
        "project": row.project,
        "may_plan": policy.allowed(request.member, "plan", bench),
        "may_use": policy.allowed(request.member, "use_stock", bench),
        "positions_form": apart(given.get("positions") or PositionsForm(workshop=request.workshop), "positions"),
        "deed_form": apart(given.get("deed") or DeedForm(today=today, initial={"last": last}), "deed"),
        "asked": frozenset(given),
        "phases": PHASES,
        "items": list(Item.objects.order_by("code").values_list("code", "name")),
    }
    return render(request, "fitting/assembly.html", context, status=status_of(*given.values()))


@require_http_methods(["GET", "POST"])
@members_only
def change_assembly(request: MemberRequest, pk: int) -> HttpResponse:
    """Its name, note and steps."""
    row = get_assembly(pk)
    policy.require(request.member, "plan", row.project.bench)
    form = AssemblyForm(request.POST if request.method == "POST" else None, project=row.project, initial=_said(row))
    if request.method == "POST" and attempt(form, lambda: _change(form, row, request)):
        messages.success(request, _("The assembly is changed."))
        return redirect("assembly", row.pk)
    context = {"form": form, "project": row.project, "assembly": row}
    return render(request, "fitting/assembly_form.html", context, status=status_of(form))


def _said(row: Assembly) -> dict[str, Any]:
    by_phase: dict[str, list[str]] = {}
    steps = AssemblyStep.objects.filter(assembly=row).order_by("step__position").values_list("phase", "step__code")
    for phase, code in steps:
        by_phase.setdefault(phase, []).append(code)
    return {"name": row.name, "note": row.note, **{phase: ", ".join(codes) for phase, codes in by_phase.items()}}


def _change(form: AssemblyForm, row: Assembly, request: MemberRequest) -> None:
    given = form.cleaned_data
    services.edit_assembly(assembly=row, changes={"name": given["name"], "note": given["note"]}, by=request.member)
    services.set_steps(assembly=row, steps=given["steps"], by=request.member)


@require_POST
@members_only
def add_positions(request: MemberRequest, pk: int) -> HttpResponse:
    """Number positions of some parts."""
    row = get_assembly(pk)
    policy.require(request.member, "plan", row.project.bench)
    form = PositionsForm(request.POST, workshop=request.workshop)
    if not attempt(form, lambda: services.add_positions(assembly=row, **form.cleaned_data, by=request.member)):
        return _assembly_page(request, row, positions=form)
    return redirect("assembly", row.pk)


@require_POST
@members_only
def note_deed(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down what was done to the pieces of some numbers."""
    row = get_assembly(pk)
    policy.require(request.member, "use_stock", row.project.bench)
    form = DeedForm(request.POST, today=timezone.localdate())
    if not attempt(form, lambda: _note(form, row, request)):
        return _assembly_page(request, row, deed=form)
    messages.success(request, _("It is written down for every marked piece of these numbers."))
    return redirect("assembly", row.pk)


def _note(form: DeedForm, row: Assembly, request: MemberRequest) -> None:
    given = form.cleaned_data
    done = Done(*(given[name] for name in ("deed", "on", "drill", "final", "note")))
    named = {name: given[name] for name in ("first", "last", "key")}
    services.note_deed(assembly=row, done=done, **named, by=request.member, today=timezone.localdate())


@require_GET
@members_only
def mark_list(request: MemberRequest, pk: int) -> HttpResponse:
    """What to write on which piece, to print."""
    row = get_assembly(pk)
    return _mark_list(request, row, assembled.assembly_view(row), PrintForm(sheets=label_sheets(), paged=False, coded=False))


def _mark_list(request: MemberRequest, row: Assembly, view: assembled.AssemblyView, form: PrintForm) -> HttpResponse:
    context = {"view": view, "assembly": row, "project": row.project, "form": form}
    return render(request, "fitting/mark_list.html", context, status=UNREADABLE if form.errors else None)


@require_GET
@members_only
def mark_labels(request: MemberRequest, pk: int) -> HttpResponse:
    """The marks of an assembly as labels to stick on its pieces until they are written on."""
    row = get_assembly(pk)
    view = assembled.assembly_view(row)
    form = PrintForm(request.GET, sheets=label_sheets(), paged=False, coded=False)
    made: list[bytes] = []
    if attempt(form, lambda: made.append(words_pdf(assembled.mark_labels(view), _job(form)))):
        return HttpResponse(made[0], content_type="application/pdf", headers={"Content-Disposition": 'inline; filename="marks.pdf"'})
    return _mark_list(request, row, view, form)


def _job(form: PrintForm) -> Job:
    return Job(form.chosen, "", start=form.cleaned_data["start"], copies=form.cleaned_data["copies"])


@require_GET
@members_only
def marks_csv(request: MemberRequest, pk: int) -> HttpResponse:
    """Every piece that was ever marked, with what was done to it."""
    del request
    row = get_assembly(pk)
    response = HttpResponse(content_type="text/csv; charset=utf-8", headers={"Content-Disposition": 'attachment; filename="marks.csv"'})
    writer = csv.writer(response)
    writer.writerow(COLUMNS)
    for position in assembled.assembly_view(row).positions:
        for mark in position.marks:
            ended = mark.ended_on or ""
            done = "; ".join(_deed(event) for event in mark.events)
            piece = (mark.text, mark.item, mark.lot_code, mark.words, mark.on, mark.by, ended, mark.ended_why, done)
            writer.writerow([_plain(cell) for cell in (row.name, position.number, position.part, *piece)])
    return response


def _deed(event: Any) -> str:
    size = " to final size" if event.final else ""
    return f"{event.deed}{f' {event.drill}' if event.drill else ''}{size} {event.on}{f' with {event.mates}' if event.mates else ''}"


def _plain(cell: object) -> object:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"} else cell


# A position


def get_position(pk: int) -> Position:
    """The position of an id in the address, with its project; else 404."""
    return get_object_or_404(Position.objects.select_related("assembly__project__bench__workshop", "item"), pk=pk)


@require_http_methods(["GET", "POST"])
@members_only
def position(request: MemberRequest, pk: int) -> HttpResponse:
    """The pieces of a position and its holes; a POST marks a piece for it."""
    row, today = get_position(pk), timezone.localdate()
    if request.method == "GET":
        return _position_page(request, row)
    policy.require(request.member, "use_stock", row.assembly.project.bench)
    form = PieceForm(request.POST, today=today, lots=_lots(row))
    named: dict[str, Any] = {"position": row, "by": request.member, "today": today}
    if not attempt(form, lambda: services.mark(piece=form.piece(), **_dated(form), **named)):
        return _position_page(request, row, piece=form)
    messages.success(request, _("The piece is marked."))
    return redirect("position", row.pk)


def _dated(form: django_forms.Form) -> dict[str, Any]:
    return {"on": form.cleaned_data["on"], "key": form.cleaned_data["key"]}


def _position_page(request: MemberRequest, row: Position, **given: django_forms.Form) -> HttpResponse:
    view = assembled.assembly_view(row.assembly)
    here = next(one for one in view.positions if one.pk == row.pk)
    context = {
        "position": here,
        "row": row,
        "assembly": row.assembly,
        "project": row.assembly.project,
        "mates": [one for one in view.positions if one.number == here.number and one.pk != here.pk],
        "may_plan": policy.allowed(request.member, "plan", row.assembly.project.bench),
        "may_use": policy.allowed(request.member, "use_stock", row.assembly.project.bench),
        "asked": frozenset(given),
        "deeds": DEED_NAMES,
        **_position_forms(row, view, given),
    }
    return render(request, "fitting/position.html", context, status=status_of(*given.values()))


def _position_forms(row: Position, view: assembled.AssemblyView, given: dict[str, django_forms.Form]) -> dict[str, django_forms.Form]:
    today, lots = timezone.localdate(), _lots(row)
    return {
        "piece_form": apart(given.get("piece") or PieceForm(today=today, lots=lots), "piece"),
        "replace_form": apart(given.get("replace") or ReplaceForm(today=today, lots=lots), "replace"),
        "away_form": apart(given.get("away") or AwayForm(today=today), "away"),
        "take_form": apart(given.get("take") or TakeForm(today=today, positions=_others(row, view)), "take"),
    }


def _others(row: Position, view: assembled.AssemblyView) -> list[tuple[int, str]]:
    return [(one.pk, f"{one.part} {one.number}") for one in view.positions if one.pk != row.pk]


def _lots(row: Position) -> list[tuple[int, str]]:
    """Lots to choose from: of the position's item, else of parts and sheets; of the project's bench or a shared one."""
    bench = row.assembly.project.bench
    found = Lot.objects.filter(bench=bench) | Lot.objects.filter(bench__shared=True)
    found = found.filter(item=row.item_id) if row.item_id else found.filter(item__kind__in=("part", "sheet"))
    columns = ("pk", "item__code", "code", "bench__code")
    rows = found.order_by("item__code", "code", "pk").values_list(*columns)[:MOST_LOTS]
    return [(pk, f"{item}, {code or _('no lot code')} ({bench})") for pk, item, code, bench in rows]


@require_POST
@members_only
def remove_position(request: MemberRequest, pk: int) -> HttpResponse:
    """Remove a position that no piece was marked for."""
    row = get_position(pk)
    services.remove_position(position=row, by=request.member)
    messages.success(request, _("The position is gone."))
    return redirect("assembly", row.assembly_id)


def get_mark(pk: int) -> Mark:
    """The mark of an id in the address, with its position; else 404."""
    return get_object_or_404(Mark.objects.select_related("position__assembly__project__bench__workshop"), pk=pk)


@require_POST
@members_only
def replace_mark(request: MemberRequest, pk: int) -> HttpResponse:
    """Put a new piece in the place of a marked one."""
    row, today = get_mark(pk), timezone.localdate()
    policy.require(request.member, "use_stock", row.position.assembly.project.bench)
    form = ReplaceForm(request.POST, today=today, lots=_lots(row.position))
    named: dict[str, Any] = {"mark": row, "by": request.member, "today": today}
    if not attempt(form, lambda: services.replace(piece=form.piece(), why=form.cleaned_data["why"], **_dated(form), **named)):
        return _position_page(request, row.position, replace=form)
    messages.success(request, _("The new piece has a mark of its own."))
    return redirect("position", row.position_id)


@require_POST
@members_only
def take_mark_away(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a piece out of its position."""
    row, today = get_mark(pk), timezone.localdate()
    policy.require(request.member, "use_stock", row.position.assembly.project.bench)
    form = AwayForm(request.POST, today=today)
    if not attempt(form, lambda: services.take_away(mark=row, **form.cleaned_data, by=request.member, today=today)):
        return _position_page(request, row.position, away=form)
    messages.success(request, _("The piece is gone from here; its history stays."))
    return redirect("position", row.position_id)


@require_POST
@members_only
def take_mark_for(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a piece for another position."""
    row, today = get_mark(pk), timezone.localdate()
    policy.require(request.member, "use_stock", row.position.assembly.project.bench)
    view = assembled.assembly_view(row.position.assembly)
    form = TakeForm(request.POST, today=today, positions=_others(row.position, view))
    if not attempt(form, lambda: _take(form, row, request)):
        return _position_page(request, row.position, take=form)
    messages.success(request, _("The piece has the mark of its new position."))
    return redirect("position", form.cleaned_data["position"])


def _take(form: TakeForm, row: Mark, request: MemberRequest) -> None:
    target = get_position(form.cleaned_data["position"])
    reason, today = form.cleaned_data["reason"], timezone.localdate()
    services.take_for(mark=row, position=target, reason=reason, **_dated(form), by=request.member, today=today)
