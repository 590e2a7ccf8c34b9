"""Pages of the pieces that steps need from blanks, and of what is done to them."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from buildplan.cutting import queries, services
from buildplan.cutting.forms import DoneForm, OperationForm, PieceForm
from buildplan.cutting.models import Operation, OperationDone, Piece
from buildplan.cutting.services import PlannedPiece
from buildplan.hardware.services import refuse_done
from buildplan.plan.models import Step
from buildplan.plan.views import get_step
from inventory.common.forms import apart, attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import undoable
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

AS_KEPT = ("code", "count", "per_blank", "cut", "length", "width", "unit", "allowance", "grain", "hand")


def _get_piece(pk: int) -> Piece:
    return get_object_or_404(Piece.objects.select_related("blank__item", "item", "step__project__bench__workshop"), pk=pk)


def _get_operation(pk: int) -> Operation:
    return get_object_or_404(Operation.objects.select_related("piece__step__project__bench__workshop"), pk=pk)


@require_http_methods(["GET", "POST"])
@members_only
def add_piece(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Put a piece into a step."""
    found = get_step(project, step)
    policy.require(request.member, "plan", found.project.bench)
    if request.method == "GET":
        refuse_done(found, "its pieces")
    return _page(request, found, None, _form(request, {"count": 1}))


@require_http_methods(["GET", "POST"])
@members_only
def piece(request: MemberRequest, pk: int) -> HttpResponse:
    """A piece of a step: what it is, how far it is, what is done to it; changed where the role allows and the step isn't done."""
    found = _get_piece(pk)
    if request.method == "POST":
        policy.require(request.member, "plan", found.step.project.bench)
    said: dict[str, Any] = {name: getattr(found, name) for name in AS_KEPT}
    said |= {"blank": found.blank_id, "item": found.item.code if found.item else ""}
    if found.allowance == 0:
        said["allowance"] = "0"
    return _page(request, found.step, found, _form(request, said))


def _form(request: MemberRequest, said: dict[str, Any]) -> PieceForm:
    data = request.POST if request.method == "POST" else None
    return PieceForm(data, workshop=request.workshop, initial=said, blanks=queries.blank_choices())


def _page(request: MemberRequest, step: Step, piece: Piece | None, form: PieceForm) -> HttpResponse:
    if request.method == "POST" and attempt(form, lambda: _save(form, step, piece, request)):
        return redirect("step", step.project.code, step.code)
    may_plan = policy.allowed(request.member, "plan", step.project.bench) and not step.done
    context = {"form": form if may_plan else None, "step": step, "piece": piece, "items": queries.item_codes(), "may_plan": may_plan}
    if piece is not None:
        context |= _of_piece(request, piece)
    return render(request, "cutting/piece.html", context, status=UNREADABLE if form.errors else None)


def _of_piece(request: MemberRequest, piece: Piece) -> dict[str, Any]:
    """How far it is, and what is done to it."""
    [standing] = queries.pieces_of(pk=piece.pk)
    may_use = policy.allowed(request.member, "use_stock", piece.step.project.bench)
    worked = queries.operations([piece.pk]).get(piece.pk, ())
    return {
        "standing": standing,
        "worked": [(one, [(line, _done_form(line.operation) if may_use else None) for line in one.lines]) for one in worked],
        "done": list(OperationDone.objects.filter(operation__piece=piece).select_related("operation", "by").order_by("-pk")[:20]),
        "operation_form": apart(OperationForm(None), "operation"),
        "may_use": may_use,
    }


def _done_form(operation: Operation) -> DoneForm:
    return DoneForm(None, today=timezone.localdate(), of=operation.pk)


def _save(form: PieceForm, step: Step, piece: Piece | None, request: MemberRequest) -> None:
    given = dict(form.cleaned_data)
    item, blank = given.pop("item"), int(given.pop("blank"))
    stated = PlannedPiece(step=step.code, blank_id=blank, item_id=item.pk if item else None, **given)
    kept = services.save_piece(step=step, piece=piece, stated=stated, by=request.member)
    messages.success(request, _("Piece %(piece)s is saved.") % {"piece": kept.code})


@require_POST
@members_only
def remove_piece(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a piece out of its step."""
    found = _get_piece(pk)
    services.remove_piece(piece=found, by=request.member)
    messages.success(request, _("Piece %(piece)s is removed.") % {"piece": found.code})
    return redirect("step", found.step.project.code, found.step.code)


@require_POST
@members_only
def add_operation(request: MemberRequest, pk: int) -> HttpResponse:
    """Say what is to be done to so many of a piece."""
    found = _get_piece(pk)
    policy.require(request.member, "plan", found.step.project.bench)
    form = OperationForm(request.POST)
    if attempt(form, lambda: services.save_operation(piece=found, by=request.member, **form.cleaned_data)):
        return redirect("piece", pk)
    context = {
        "piece": found,
        "step": found.step,
        "form": None,
        "may_plan": True,
        **_of_piece(request, found),
        "operation_form": apart(form, "operation"),
    }
    return render(request, "cutting/piece.html", context, status=UNREADABLE)


@require_POST
@members_only
def remove_operation(request: MemberRequest, pk: int) -> HttpResponse:
    """Take it out."""
    found = _get_operation(pk)
    services.remove_operation(operation=found, by=request.member)
    messages.success(request, _("%(name)s is taken out.") % {"name": found.name})
    return redirect("piece", found.piece_id)


@require_POST
@members_only
def operation_done(request: MemberRequest, pk: int) -> HttpResponse:
    """Count pieces that it was done to."""
    found = _get_operation(pk)
    policy.require(request.member, "use_stock", found.piece.step.project.bench)
    form = DoneForm(request.POST, today=timezone.localdate(), of=pk)
    made: list[OperationDone] = []
    if not attempt(form, lambda: made.append(services.note_done(operation=found, by=request.member, **form.cleaned_data))):
        context = {
            "piece": found.piece,
            "step": found.piece.step,
            "form": None,
            **_of_piece(request, _get_piece(found.piece_id)),
            "wrong": form,
        }
        return render(request, "cutting/piece.html", context, status=UNREADABLE)
    undoable(request, _("Counted."), "take-back-operation", made[0].pk)
    return redirect("piece", found.piece_id)


@require_POST
@members_only
def take_back_operation(request: MemberRequest, pk: int) -> HttpResponse:
    """It was counted by mistake."""
    found = get_object_or_404(OperationDone.objects.select_related("operation__piece__step__project__bench__workshop"), pk=pk)
    services.take_back_done(done=found, now=timezone.now(), by=request.member)
    messages.success(request, _("It counts no more."))
    return redirect("piece", found.operation.piece_id)
