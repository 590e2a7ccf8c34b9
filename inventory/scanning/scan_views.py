"""What was scanned, the latest first; and the conflicts that wait for a person."""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from inventory.common.problems import Problem
from inventory.scanning import services
from inventory.scanning.models import Scan
from inventory.scanning.reading import shown
from inventory.scanning.script_words import ACTIONS
from inventory.scanning.views import STAYS
from inventory.stock.models import Movement
from inventory.stock.services import may_reverse
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.models import Member
from inventory.workshop.request import MemberRequest

PAGE = 50


@require_GET
@members_only
def scans(request: MemberRequest) -> HttpResponse:
    """Every scan with what became of it, to undo what was wrong."""
    rows = _rows().order_by("-received_at", "-at", "-pk")
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    may_undo = _undoable(page.object_list, request.member)
    context = {
        "page": page,
        "scans": [_shown(scan, may_undo=scan.pk in may_undo) for scan in page.object_list],
        "conflicts": Scan.objects.filter(outcome=Scan.Outcome.CONFLICT).count(),
    }
    return render(request, "scanning/scans.html", context)


@require_GET
@members_only
def conflicts(request: MemberRequest) -> HttpResponse:
    """Scans that came after somebody had said how many there are: a person looks, then does them after all or lets them go."""
    page = Paginator(_rows().filter(outcome=Scan.Outcome.CONFLICT).order_by("at", "pk"), PAGE).get_page(request.GET.get("page"))
    may = policy.allowed(request.member, "tally")
    context = {"page": page, "scans": [_shown(scan, may_undo=False) for scan in page.object_list], "may": may}
    return render(request, "scanning/conflicts.html", context)


@require_POST
@members_only
def apply(request: MemberRequest, pk: int) -> HttpResponse:
    """Do a conflict after all."""
    return _settle(request, pk, services.apply, _("Done after all"))


@require_POST
@members_only
def let_go(request: MemberRequest, pk: int) -> HttpResponse:
    """Decide against a conflict."""
    return _settle(request, pk, services.let_go, _("Let go"))


@require_POST
@members_only
def undo(request: MemberRequest, pk: int) -> HttpResponse:
    """Take back what a scan did."""
    found = get_object_or_404(Scan, pk=pk)
    if _done(request, lambda: services.undo(scan=found, by=request.member, now=timezone.now())):
        messages.success(request, _("Undone: %(what)s.") % {"what": found.answer.get("text", shown(found.code))})
    return redirect("scans")


def _settle(request: MemberRequest, pk: int, settle: Callable[..., Scan], said: str) -> HttpResponse:
    found = get_object_or_404(Scan, pk=pk)
    if _done(request, lambda: settle(scan=found, by=request.member, now=timezone.now())):
        what = _("%(action)s of %(code)s") % {"action": _action(found), "code": shown(found.code)}
        messages.success(request, f"{said}: {what}.")
    return redirect("scan-conflicts")


def _done(request: MemberRequest, act: Callable[[], object]) -> bool:
    """Whether it went well. What a person can put right is said on the list that they come back to; who may not is told so."""
    try:
        act()
    except Problem as problem:
        if problem.status == policy.NotAllowed.status:
            raise
        messages.error(request, f"{problem.title}: {problem}.")
        return False
    return True


def _rows() -> Any:
    return Scan.objects.select_related("member", "device", "settled_by", "undone_by")


def _undoable(scans: Iterable[Scan], by: Member) -> frozenset[int]:
    """The scans that did something which this member may take back. One query."""
    done = [scan for scan in scans if scan.outcome == Scan.Outcome.DONE and scan.undone_at is None and scan.action not in STAYS]
    moved = {scan.pk: scan.answer.get("movements", []) for scan in done}
    rows = Movement.objects.filter(pk__in=[pk for ids in moved.values() for pk in ids]).select_related("lot__bench", "source", "target")
    may = {row.pk for row in rows if may_reverse(row, by)}
    counts = policy.allowed(by, "tally")
    return frozenset(
        scan.pk for scan in done if may.issuperset(moved[scan.pk]) and (counts if scan.answer.get("tally") else bool(moved[scan.pk]))
    )


def _shown(scan: Scan, *, may_undo: bool) -> dict[str, Any]:
    """A scan as the lists show it."""
    return {
        "id": scan.pk,
        "code": shown(scan.code),
        "action": _action(scan),
        "outcome": scan.get_outcome_display(),
        "done": scan.outcome == Scan.Outcome.DONE,
        "says": scan.answer.get("text") or scan.answer.get("detail") or scan.answer.get("title", ""),
        "asked": [f"{word} {scan.asked[name]}" for name, word in _asked_words().items() if scan.asked.get(name)],
        "at": scan.at,
        "by": scan.device.name if scan.device else scan.member.name,
        "late": _late(scan.at, scan.received_at),
        "settled_by": scan.settled_by,
        "undone_by": scan.undone_by,
        "undone_at": scan.undone_at,
        "may_undo": may_undo,
    }


def _action(scan: Scan) -> str:
    return str(ACTIONS.get(scan.action, scan.action))


def _asked_words() -> dict[str, str]:
    return {"quantity": _("quantity"), "bag": _("bag"), "place": _("place"), "note": _("note")}


def _late(at: datetime, received_at: datetime) -> bool:
    """Whether it waited in an outbox."""
    return (received_at - at).total_seconds() > 60  # noqa: PLR2004 - a minute is no news
