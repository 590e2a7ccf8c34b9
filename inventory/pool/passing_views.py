"""From bench to bench: surplus is offered, something is asked for, and it passes once both sides agree."""

from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.catalogue.filters import items_of
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.problems import FieldProblem
from inventory.common.undo import undoable
from inventory.pool import choices, passing, passing_queries
from inventory.pool.forms import AcceptForm, AskForm, OfferForm
from inventory.pool.models import Transfer
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.models import Bench, Member
from inventory.workshop.request import MemberRequest

SHOWN_ENDED = timedelta(days=60)


@require_GET
@members_only
def transfers(request: MemberRequest) -> HttpResponse:
    """What waits for an answer, one's own and others', and what became of the last ones."""
    today = timezone.localdate()
    opened = passing_queries.open_transfers(today=today, member=request.member)
    context = {
        "to_answer": [row for row in opened if row.answers],
        "others": [row for row in opened if not row.answers],
        "ended": passing_queries.ended_transfers(since=today - SHOWN_ENDED, member=request.member),
        "may_begin": policy.allowed(request.member, "use_stock"),
        "today": today,
    }
    return render(request, "pool/transfers.html", context)


@require_http_methods(["GET", "POST"])
@members_only
def offer(request: MemberRequest) -> HttpResponse:
    """Offer surplus to another bench, or to whoever wants it."""
    policy.require(request.member, "use_stock")
    spots = choices.givable(request.member)
    lots = {str(spot.held.lot_id): spot.held.lot for spot in spots}
    named = [(str(spot.held.lot_id), spot.choice[1]) for spot in spots]
    benches = choices.benches()
    data = request.POST if request.method == "POST" else None
    first = {name: request.GET.get(name, "") for name in ("lot", "quantity")}
    form = OfferForm(data, lots=list(dict(named).items()), takers=benches, initial=first)

    def write() -> None:
        given = dict(form.cleaned_data)
        lot, taker = lots[given.pop("lot")], _chosen(benches, given.pop("taker"))
        made = passing.offer(lot=lot, taker=taker, **given, by=request.member, now=timezone.now())
        undoable(
            request,
            _("%(what)s are offered. They stay yours until the other side agrees.") % {"what": _what(made)},
            "withdraw-transfer",
            made.pk,
        )

    return _begin(request, form, write, {"title": _("Offer surplus"), "press": _("Offer it"), "ready": bool(named)})


@require_http_methods(["GET", "POST"])
@members_only
def ask(request: MemberRequest) -> HttpResponse:
    """Ask another bench for something, or whoever has it."""
    policy.require(request.member, "use_stock")
    benches = choices.benches()
    mine = choices.spoken_for(request.member, benches)
    data = request.POST if request.method == "POST" else None
    form = AskForm(data, takers=mine, givers=benches, initial={"item": request.GET.get("item", "")})

    def write() -> None:
        given = dict(form.cleaned_data)
        code = items_of(given.pop("item")).select_related("item").first()
        if code is None:
            raise FieldProblem("item", "nothing in the catalogue has this code")
        taker = next(bench for bench in mine if str(bench.pk) == given["taker"])
        given |= {"taker": taker, "giver": _chosen(benches, given["giver"])}
        made = passing.ask(item=code.item, **given, by=request.member, now=timezone.now())
        undoable(request, _("%(what)s are asked for.") % {"what": _what(made)}, "withdraw-transfer", made.pk)

    return _begin(request, form, write, {"title": _("Ask for something"), "press": _("Ask for it"), "ready": bool(mine)})


def _begin(request: MemberRequest, form: forms.Form, write: Callable[[], None], context: dict[str, Any]) -> HttpResponse:
    if request.method == "POST" and attempt(form, write):
        return redirect("transfers")
    return render(request, "pool/transfer_form.html", {**context, "form": form}, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def accept(request: MemberRequest, pk: int) -> HttpResponse:
    """Agree for the other side: what it gives, or to which bench it takes it; then the pieces pass."""
    found = get_object_or_404(choices.transfer_rows(), pk=pk)
    passing.require_answer(transfer=found, by=request.member)
    spots = _spots(found, request.member)
    takers = _takers(found, request.member)
    data = request.POST if request.method == "POST" else None
    form = AcceptForm(data, spots=[spot.choice for spot in spots], bench_rows=takers)
    if data is not None and attempt(form, lambda: _accept(form, found, spots, takers, request)):
        messages.success(request, _("%(what)s have passed.") % {"what": _what(found)})
        return redirect("transfers")
    context = {"transfer": found, "form": form, "lacking": found.asked_by_taker and not spots}
    return render(request, "pool/accept.html", context, status=UNREADABLE if form.errors else None)


def _spots(transfer: Transfer, member: Member) -> list[choices.Spot]:
    """What a wish can be given from: whatever the answering side has of it. An offer names its lot itself."""
    if not transfer.asked_by_taker:
        return []
    found = [spot for spot in choices.givable(member, item=transfer.item) if spot.held.lot.bench_id != transfer.taker_id]
    return [spot for spot in found if transfer.giver_id in {None, spot.held.lot.bench_id}]


def _takers(transfer: Transfer, member: Member) -> list[Bench]:
    """Only an offer to everybody still has to learn whose it becomes."""
    if transfer.asked_by_taker or transfer.taker_id is not None:
        return []
    return [bench for bench in choices.spoken_for(member, choices.benches()) if bench.pk != transfer.giver_id]


def _accept(form: AcceptForm, transfer: Transfer, spots: Iterable[choices.Spot], takers: Sequence[Bench], request: MemberRequest) -> None:
    given, now = form.cleaned_data, timezone.now()
    lot, place = choices.spot_of(spots, given["spot"]) if "spot" in given else (None, None)
    bench = _chosen(takers, given.get("bench", ""))
    passing.accept(transfer=transfer, lot=lot, place=place, bench=bench, by=request.member, today=timezone.localdate(now), now=now)


@require_POST
@members_only
def decline(request: MemberRequest, pk: int) -> HttpResponse:
    """Refuse an offer or wish for the other side."""
    return _end(request, pk, passing.decline, _("declined"))


@require_POST
@members_only
def withdraw(request: MemberRequest, pk: int) -> HttpResponse:
    """Take one's own offer or wish back."""
    return _end(request, pk, passing.withdraw, _("withdrawn"))


def _end(request: MemberRequest, pk: int, end: Callable[..., object], told: str) -> HttpResponse:
    found = get_object_or_404(choices.transfer_rows(), pk=pk)
    end(transfer=found, by=request.member, now=timezone.now())
    messages.success(request, f"{_what(found)}: {told}.")
    return redirect("transfers")


def _what(transfer: Transfer) -> str:
    named = {"quantity": plain(transfer.quantity), "unit": transfer.item.unit, "item": transfer.item.code}
    return _("%(quantity)s %(unit)s of %(item)s") % named


def _chosen(rows: Sequence[Bench], pk: str) -> Bench | None:
    """The bench that was chosen; None for a blank."""
    return next((row for row in rows if str(row.pk) == pk), None)
