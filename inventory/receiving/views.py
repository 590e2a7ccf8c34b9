"""Crates on their way, and what arrives of them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.showing import date_text
from inventory.common.undo import as_it_stands, undoable
from inventory.receiving import queries, services
from inventory.receiving.forms import ArrivedAsListedForm, ArrivedForm, DueForm
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.receiving.queries import CrateRow, Found, InTransit
from inventory.stock import services as stock
from inventory.stock.models import Place
from inventory.stock.queries import place_paths
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest


@dataclass(frozen=True, slots=True)
class LineView:
    """A packing line on a page, with its form where the member may fill it in and something is still to come.

    `found` says what was counted of it: then it is put away as counted, and there is no form.
    """

    line: InTransit
    form: ArrivedForm | None
    found: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CrateView:
    """A crate on a page. `late` is by how many days it is overdue."""

    id: int
    code: str
    ordered_on: date | None
    due_on: date | None
    arrived_on: date | None
    late: int
    due_form: DueForm | None
    lines: tuple[LineView, ...]


@dataclass(frozen=True, slots=True)
class CrateLine:
    """A crate in the list of them. `left` is how many of its lines are still to count; None while it is on its way."""

    crate: CrateRow
    late: int
    left: int | None

    @property
    def counted(self) -> int:
        """How many of its lines nobody has to look for any more."""
        return self.crate.lines - (self.left or 0)


@dataclass(frozen=True, slots=True)
class BagView:
    """A bag of a crate with its own lines. A line may lie in no bag: then there is no `id` to act on."""

    id: int | None
    path: str
    lines: tuple[LineView, ...]
    form: ArrivedAsListedForm | None


def coming(request: MemberRequest, lines: Sequence[InTransit], counted: Mapping[int, Found]) -> dict[str, Any]:
    """What is on its way to a bench, or here and not put away, by crate, with the forms that the member may use. For a page's context.

    `lines` stand by crate, as `queries.in_transit` gives them; `counted` is what was counted of them. One query.
    """
    today = timezone.localdate()
    crates = [_crate_view(request, tuple(of), counted, today) for _, of in groupby(lines, key=lambda line: line.crate_id)]
    return {"coming": crates, "places": place_paths()}


def _crate_view(request: MemberRequest, lines: Sequence[InTransit], counted: Mapping[int, Found], today: date) -> CrateView:
    first = lines[0]
    may_change = policy.allowed(request.member, "order")
    due_form = DueForm(initial={"due_on": first.due_on}, auto_id=f"crate-{first.crate_id}-%s") if may_change else None
    views = tuple(_line_view(request, line, counted.get(line.line_id), today) for line in lines)
    days = (first.ordered_on, first.due_on, first.arrived_on)
    return CrateView(first.crate_id, first.crate, *days, late(first.due_on, today), None if first.arrived_on else due_form, views)


def _line_view(request: MemberRequest, line: InTransit, found: Found | None, today: date) -> LineView:
    is_counted = found is not None and found.counted
    shown = line.still_open and not is_counted and policy.allowed(request.member, "keep_stock")
    return LineView(line, ArrivedForm(line=line, today=today) if shown else None, _words(line, found))


def _words(line: InTransit, found: Found | None) -> tuple[str, ...]:
    """What was counted of a line. Nothing is said of one that is still on its way, or that was taken in as it is listed."""
    if found is None or not (found.counted or (line.arrived_on and line.still_open)):
        return ()
    said = (
        (found.good, _("%(quantity)s counted good")),
        (found.damaged, _("%(quantity)s damaged")),
        (found.wrong, _("%(quantity)s wrong")),
        (found.short, _("%(quantity)s short")),
        (min(found.left, line.still_open), _("%(quantity)s still to count")),
    )
    return tuple(text % {"quantity": plain(quantity)} for quantity, text in said if quantity)


def late(due: date | None, today: date) -> int:
    """By how many days something due is overdue."""
    return 0 if due is None else max((today - due).days, 0)


@require_GET
@members_only
def crates(request: MemberRequest, *, rows: Sequence[CrateRow], left: Mapping[int, int]) -> HttpResponse:
    """Every crate that something is still to come of (`rows`). `left` says how many lines of those that are here are still to count."""
    today = timezone.localdate()
    shown = [CrateLine(row, late(row.due_on, today), left.get(row.id)) for row in rows]
    may_load = policy.allowed(request.member, "keep_stock")
    return render(request, "receiving/crates.html", {"crates": shown, "received": queries.received(), "may_load": may_load})


@require_GET
@members_only
def crate(request: MemberRequest, pk: int, *, counted: Mapping[int, Found], also: Mapping[str, Any]) -> HttpResponse:
    """One crate: its lines by bag, with what was `counted` of them. `also` is what a later slice shows of it beside that."""
    found = get_object_or_404(Crate.objects.select_related("bench", "sender"), pk=pk)
    today = timezone.localdate()
    bags = _bags(request, found, counted, today)
    open_lines = sum(bool(view.line.still_open) for bag in bags for view in bag.lines)
    may_keep, may_order = policy.allowed(request.member, "keep_stock"), policy.allowed(request.member, "order")
    context = {
        "crate": found,
        "late": late(found.due_on, today),
        "bags": bags,
        "has_bags": any(bag.path for bag in bags),
        "open_lines": open_lines,
        "lines": sum(len(bag.lines) for bag in bags),
        "undated": queries.undated(found),
        "left": sum(bool(one.left) for one in counted.values()),
        "form": ArrivedAsListedForm(today=today) if may_keep and open_lines and not any(one.counted for one in counted.values()) else None,
        "due_form": DueForm(initial={"due_on": found.due_on}) if may_order and open_lines and not found.arrived_on else None,
        "places": place_paths(),
        **also,
    }
    return render(request, "receiving/crate.html", context)


def _bags(request: MemberRequest, found: Crate, counted: Mapping[int, Found], today: date) -> list[BagView]:
    """The bags with lines of their own, by path. Two queries."""
    ids = dict(Bag.objects.filter(crate=found).values_list("path", "id"))
    by_bag = groupby(queries.packing_list(found), key=lambda line: line.bag)
    views = ((path, tuple(_line_view(request, line, counted.get(line.line_id), today) for line in lines)) for path, lines in by_bag)
    return [_bag(ids.get(path), path, lines, today) for path, lines in views]


def _bag(pk: int | None, path: str, lines: tuple[LineView, ...], today: date) -> BagView:
    shown = pk is not None and any(view.form for view in lines) and all(view.form or not view.line.still_open for view in lines)
    return BagView(pk, path, lines, ArrivedAsListedForm(today=today, auto_id=f"bag-{pk}-%s") if shown else None)


@require_http_methods(["GET", "POST"])
@members_only
def arrived(request: MemberRequest, pk: int) -> HttpResponse:
    """Take what arrived of one line into stock."""
    line = get_object_or_404(PackingLine.objects.select_related("crate__bench", "item", "bag"), pk=pk)
    policy.require(request.member, "keep_stock", line.crate.bench)
    shown = queries.packing_line(line)
    form = ArrivedForm(request.POST if request.method == "POST" else None, line=shown, today=timezone.localdate())
    back = way_back(request, reverse("crate", args=[line.crate_id]))
    if request.method == "POST" and attempt(form, lambda: _arrive(form, line, request)):
        return redirect(back)
    context = {"line": shown, "form": form, "next": back, "places": place_paths()}
    return render(request, "receiving/arrived.html", context, status=UNREADABLE if form.errors else None)


def _arrive(form: ArrivedForm, line: PackingLine, request: MemberRequest) -> None:
    given = dict(form.cleaned_data)
    place = _place(request, given.pop("place"))
    movement = services.arrive(line=line, place=place, by=request.member, **given)
    back = way_back(request, reverse("crate", args=[line.crate_id]))
    said = _("%(quantity)s %(unit)s of %(item)s are in %(place)s now.") % {
        "quantity": plain(movement.quantity),
        "unit": line.item.unit,
        "item": line.item.code,
        "place": place.path,
    }
    undoable(request, said, "reverse", movement.pk, fields={"next": back})


def _place(request: MemberRequest, path: str) -> Place:
    return stock.ensure_place(workshop=request.workshop, path=path, by=request.member)


@require_http_methods(["GET", "POST"])
@members_only
def crate_arrived(request: MemberRequest, pk: int) -> HttpResponse:
    """A whole crate arrived as listed."""
    found = get_object_or_404(Crate.objects.select_related("bench"), pk=pk)
    return _arrived_as_listed(
        request, found, _("Crate %(crate)s") % {"crate": found.code}, lambda: list(PackingLine.objects.filter(crate=found))
    )


@require_http_methods(["GET", "POST"])
@members_only
def bag_arrived(request: MemberRequest, pk: int) -> HttpResponse:
    """A whole bag, with the bags in it, arrived as listed."""
    bag = get_object_or_404(Bag.objects.select_related("crate__bench"), pk=pk)
    return _arrived_as_listed(
        request, bag.crate, _("Bag %(bag)s of crate %(crate)s") % {"bag": bag.path, "crate": bag.crate.code}, lambda: queries.lines_in(bag)
    )


def _arrived_as_listed(request: MemberRequest, found: Crate, what: str, lines: Callable[[], list[PackingLine]]) -> HttpResponse:
    policy.require(request.member, "keep_stock", found.bench)
    form = ArrivedAsListedForm(request.POST if request.method == "POST" else None, today=timezone.localdate())
    if request.method == "POST" and attempt(form, lambda: _take_in(form, lines(), request)):
        return redirect("crate", found.pk)
    context = {"crate": found, "what": what, "form": form, "places": place_paths()}
    return render(request, "receiving/as_listed.html", context, status=UNREADABLE if form.errors else None)


def _take_in(form: ArrivedAsListedForm, lines: Sequence[PackingLine], request: MemberRequest) -> None:
    given = form.cleaned_data
    moved = services.arrive_all(lines=lines, place=_place(request, given["place"]), on=given["on"], by=request.member)
    said = _("%(moved)s lines are in %(target)s now, as the packing list states them.") % {
        "moved": len(moved),
        "target": moved[0].target.path,
    }
    undoable(
        request, said, "reverse-all", fields={"movement": [row.pk for row in moved], "next": reverse("crate", args=[lines[0].crate_id])}
    )


@require_http_methods(["GET", "POST"])
@members_only
def due(request: MemberRequest, pk: int) -> HttpResponse:
    """Change the day that a crate is due."""
    found = get_object_or_404(Crate.objects.select_related("bench"), pk=pk)
    policy.require(request.member, "order", found.bench)
    form = DueForm(request.POST if request.method == "POST" else None, initial={"due_on": found.due_on})
    back = way_back(request, reverse("crate", args=[found.pk]))
    if request.method == "POST" and attempt(form, lambda: _change_due(form, found, request)):
        return redirect(back)
    return render(request, "receiving/due.html", {"crate": found, "form": form, "next": back}, status=UNREADABLE if form.errors else None)


@require_POST
@members_only
def withdraw_order(request: MemberRequest, pk: int) -> HttpResponse:
    """It was never ordered."""
    found = get_object_or_404(Crate.objects.select_related("bench"), pk=pk)
    services.withdraw_order(crate=found, by=request.member)
    messages.success(request, _("%(found)s is taken back: nothing is on its way by it.") % {"found": found.code})
    return redirect(way_back(request, reverse("crates")))


def _change_due(form: DueForm, found: Crate, request: MemberRequest) -> None:
    day, before = form.cleaned_data["due_on"], as_it_stands(DueForm(initial={"due_on": found.due_on}))
    services.change_due(crate=found, due_on=day, by=request.member)
    said = _("%(crate)s is due %(day)s now.") if day else _("%(crate)s has no due day now, and doesn't count until it has one.")
    said %= {"crate": found.code, "day": date_text(day) if day else ""}
    undoable(request, said, "due", found.pk, fields={**before, "next": way_back(request, "")})
