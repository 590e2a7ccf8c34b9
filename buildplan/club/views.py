"""The club: who has what, whether a day can go ahead, and what shared material costs whom."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header, urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.club import queries, services, statements
from buildplan.club import week as weeks
from buildplan.club.answer import statement_csv
from buildplan.club.calc import NOTHING
from buildplan.club.chart import grid
from buildplan.club.forms import BookDayForm, CostForm, DayForm, PeriodForm, ProposalForm
from buildplan.club.paper import as_pdf
from buildplan.club.queries import GoAhead, ItemRow, Proposal, ShareRow
from buildplan.club.statements import Statement
from buildplan.club.supply import BenchRow, benches
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.problems import FieldProblem, Problem
from inventory.common.undo import undoable
from inventory.models import Bench, Booking, Item, UnitCost
from inventory.pool import queries as pool
from inventory.pool.queries import Promise
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

SATURDAY = 5
ONE_DAY = timedelta(days=1)


@require_GET
@members_only
def club(request: MemberRequest) -> HttpResponse:
    """Who has what, what is promised, what is waited for, and the week of the pool."""
    today = timezone.localdate()
    form = DayForm(request.GET) if "day" in request.GET else None
    first = max(form.cleaned_data["day"] if form is not None and form.is_valid() else today, today)
    queries.refuse_day(first, today)
    found = weeks.club(first, today=today)
    context = {
        "club": found,
        "week": found.week,
        "grid": grid(found.week),
        "saturday": _saturday(today),
        "earlier": max(today, found.week.first - weeks.DAYS * ONE_DAY) if found.week.first > today else None,
        "later": found.week.last + ONE_DAY,
        "today": today,
        "may_use": policy.allowed(request.member, "use_stock"),
        "may_keep": policy.allowed(request.member, "keep_stock"),
    }
    return render(request, "club/club.html", context)


def _saturday(today: date) -> date:
    """The next Saturday; today where it is one."""
    return today + ONE_DAY * ((SATURDAY - today.weekday()) % 7)


# Can a day go ahead?


@dataclass(frozen=True, slots=True)
class Booked:
    """What a bench's steps take of the pool that isn't promised to it yet, with the form that books it. `taken`: others have some of it."""

    bench: BenchRow
    wanted: tuple[tuple[ItemRow, ShareRow], ...]
    form: BookDayForm | None
    taken: bool
    waiting: tuple[Promise, ...]


@dataclass(frozen=True, slots=True)
class Offered:
    """A proposal with the form that takes it; None where the member may not, or where another bench must lend."""

    proposal: Proposal
    form: ProposalForm | None


@require_http_methods(["GET", "POST"])
@members_only
def day(request: MemberRequest) -> HttpResponse:
    """Whether a day goes ahead, what each step gets, and what would make it fit; both can be acted on here."""
    today = timezone.localdate()
    asked = DayForm(request.GET if "day" in request.GET else {"day": _saturday(today)})
    wanted = asked.cleaned_data["day"] if asked.is_valid() else _saturday(today)
    form = _act(request, wanted, today) if request.method == "POST" else None
    if form is not None and not form.errors:
        return redirect(f"{reverse('club-day')}?{urlencode({'day': wanted.isoformat()})}")
    try:
        found = queries.go_ahead(wanted, today=today)
    except (queries.DayPast, queries.DayTooFar) as problem:
        asked.add_error("day", str(problem))
        found = None
    failed = form is not None or bool(asked.errors and "day" in request.GET)
    context = {"ask": asked, "form": form, "day": wanted, "found": found, "today": today}
    if found is not None:
        context |= _day(request, found)
    return render(request, "club/day.html", context, status=UNREADABLE if failed else None)


def _act(request: MemberRequest, wanted: date, today: date) -> BookDayForm | ProposalForm:
    """Book, or take a proposal, as the form that was sent says."""
    if "proposal" in request.POST:
        taken = ProposalForm(request.POST)
        attempt(taken, lambda: _take(taken, wanted, today, request))
        return taken
    booked = BookDayForm(request.POST)
    attempt(booked, lambda: _book(booked, wanted, today, request))
    return booked


def _take(form: ProposalForm, wanted: date, today: date, request: MemberRequest) -> None:
    done = services.take_proposal(day=wanted, named=form.cleaned_data["proposal"], by=request.member, today=today)
    messages.success(request, _("Done: %(changes)s.") % {"changes": "; ".join(done)})


def _book(form: BookDayForm, wanted: date, today: date, request: MemberRequest) -> None:
    given = form.cleaned_data
    bench = get_object_or_404(Bench, pk=given["bench"])
    said = {"key": given["key"], "wait": given["wait"], "by": request.member, "today": today, "now": timezone.now()}
    made = services.book_day(day=wanted, bench=bench, **said)
    if not made:
        messages.info(request, _("%(bench)s has booked all that it takes of the pool already.") % {"bench": bench.name})
    for waits, told in ((False, _("Booked: %(things)s.")), (True, _("Waiting in line for: %(things)s."))):
        if things := ", ".join(_named(one) for one in made if one.waiting is waits):
            messages.success(request, told % {"things": things})


def _named(booking: Booking) -> str:
    item = booking.item
    said = {"quantity": plain(booking.quantity), "unit": item.unit, "item": item.code, "note": booking.note}
    return _("%(quantity)s %(unit)s of %(item)s for %(note)s") % said


def _day(request: MemberRequest, found: GoAhead) -> dict[str, Any]:
    rows = Bench.objects.in_bulk()
    asked = pool.bookings(first=found.day, last=found.day)
    speaks = {pk for pk, bench in rows.items() if policy.allowed(request.member, "plan", bench)}
    pooled = [row for row in found.items if row.short or any(share.promised or share.pool for share in row.found.shares)]
    return {
        "pooled": pooled,
        "own": [row for row in found.items if row not in pooled],
        "booked": [one for bench in found.benches if (one := _booked(found, bench, asked, speaks)).wanted],
        "offers": [_offered(one, speaks) for one in found.proposals],
        "promised": [one for one in asked if not one.waiting],
        "waiting": [one for one in asked if one.waiting],
        "lends": {bench for bench in speaks if not rows[bench].shared},
    }


def _booked(found: GoAhead, bench: BenchRow, asked: Sequence[Promise], speaks: set[int]) -> Booked:
    wanted = found.wanted(bench.id)
    taken = any(_wanted_of(wanted, row) > row.found.stand.free for row, _ in wanted)
    form = BookDayForm(initial={"bench": bench.id, "wait": taken}, auto_id=f"book-{bench.id}-%s") if bench.id in speaks else None
    return Booked(bench, wanted, form, taken, tuple(one for one in asked if one.waiting and one.bench_id == bench.id))


def _wanted_of(wanted: Sequence[tuple[ItemRow, ShareRow]], item: ItemRow) -> Any:
    return sum((share.share.wanted for row, share in wanted if row.id == item.id), NOTHING)


def _offered(proposal: Proposal, speaks: set[int]) -> Offered:
    ours = all(row.kind != "borrow" and row.bench.id in speaks for row in proposal.changes)
    named = services.token([row.change for row in proposal.changes])
    return Offered(proposal, ProposalForm(initial={"proposal": named}, auto_id=False) if ours else None)


# Shared material


@require_GET
@members_only
def statement(request: MemberRequest) -> HttpResponse:
    """What was used of shared material in a period, by project and by member."""
    form, found = _statement(request)
    context = {"form": form, "found": found, "asked": request.GET.urlencode(), "may_keep": policy.allowed(request.member, "keep_stock")}
    return render(request, "club/statement.html", context, status=UNREADABLE if form.errors else None)


@require_GET
@members_only
def statement_as_csv(request: MemberRequest) -> HttpResponse:
    """The same as a file for spreadsheets."""
    found = _stated(request)
    return _file(statement_csv(found), "text/csv; charset=utf-8", f"shared-material-{found.first}-{found.last}.csv")


@require_GET
@members_only
def statement_as_pdf(request: MemberRequest) -> HttpResponse:
    """The same as PDF."""
    found = _stated(request)
    return _file(as_pdf(found, request.workshop.name), "application/pdf", f"shared-material-{found.first}-{found.last}.pdf")


def _file(content: str | bytes, kind: str, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = content_disposition_header(as_attachment=True, filename=name) or "attachment"
    return response


def _stated(request: MemberRequest) -> Statement:
    form, found = _statement(request)
    if found is None:
        raise Problem(" ".join(f"{name}: {error}" for name, errors in form.errors.items() for error in errors))
    return found


def _statement(request: MemberRequest) -> tuple[PeriodForm, Statement | None]:
    """This month until today, where the address doesn't say."""
    today = timezone.localdate()
    known = benches().values()
    names = {member: name for bench in known for member, name in bench.holders}
    given = request.GET.copy()
    given.setdefault("first", today.replace(day=1).isoformat())
    given.setdefault("last", today.isoformat())
    form = PeriodForm(given, benches=[(one.id, one.name) for one in known], members=sorted(names.items(), key=lambda pair: pair[1]))
    if not form.is_valid():
        return form, None
    try:
        return form, statements.statement(workshop=request.workshop, **form.cleaned_data)
    except FieldProblem as problem:
        form.add_error(problem.field, str(problem))
        return form, None


@require_http_methods(["GET", "POST"])
@members_only
def unit_costs(request: MemberRequest) -> HttpResponse:
    """What a stock unit of each shared material costs, from which day on; who keeps the stock sets it."""
    today = timezone.localdate()
    rows = statements.costs(today=today)
    form = CostForm(request.POST if request.method == "POST" else None, materials=[row.material for row in rows], today=today)
    if request.method == "POST":
        policy.require(request.member, "keep_stock")
        if attempt(form, lambda: _set_cost(form, request)):
            return redirect("unit-costs")
    may_keep = policy.allowed(request.member, "keep_stock")
    context = {"rows": rows, "form": form if may_keep else None, "may_keep": may_keep, "currency": pool.rules(request.workshop).currency}
    return render(request, "club/unit_costs.html", context, status=UNREADABLE if form.errors else None)


def _set_cost(form: CostForm, request: MemberRequest) -> None:
    given = form.cleaned_data
    item = get_object_or_404(Item, pk=given["item"])
    before = UnitCost.objects.filter(item=item, since=given["since"]).first()
    kept = services.set_unit_cost(item=item, since=given["since"], amount=given["amount"], by=request.member)
    said = _("One %(unit)s of %(item)s costs %(amount)s from %(since)s on.") % {
        "unit": item.unit,
        "item": item.code,
        "amount": plain(given["amount"]),
        "since": given["since"],
    }
    if before is None:
        undoable(request, said, "remove-unit-cost", kept.pk)
    else:
        undoable(request, said, "unit-costs", fields=_as_set(before))


def _as_set(cost: UnitCost) -> dict[str, object]:
    """What the form of a cost sends to set it so."""
    return {"item": cost.item_id, "since": cost.since, "amount": plain(cost.amount)}


@require_POST
@members_only
def remove_unit_cost(request: MemberRequest, pk: int) -> HttpResponse:
    """Take back what was said of a cost."""
    found = get_object_or_404(UnitCost, pk=pk)
    before = _as_set(found)
    services.remove_unit_cost(cost=found, by=request.member)
    undoable(request, _("The cost is taken back."), "unit-costs", fields=before)
    return redirect("unit-costs")
