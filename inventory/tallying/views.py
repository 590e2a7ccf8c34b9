"""Counting a crate: its bags, the lines of a bag, one line by hand or by weight, what isn't listed, what nobody can name."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.catalogue.queries import find
from inventory.common.fields import plain
from inventory.common.forms import ELSEWHERE, attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.problems import FieldProblem, Problem
from inventory.common.undo import undoable
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.stock import services as stock
from inventory.stock.queries import place_paths
from inventory.tallying import photos, queries, services
from inventory.tallying.calc import Weighed
from inventory.tallying.forms import ALL, CountForm, DayForm, LayForm, MysteryForm, OtherForm, PutAwayForm, TickForm, WeighForm
from inventory.tallying.models import Finding, How, Tally
from inventory.tallying.queries import BagTally, CrateTally, LineTally
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

LAST = 10  # counts that a bag's page shows
PAGE = 50
EACH = "ea"


@dataclass(frozen=True, slots=True)
class LineView:
    """A line on a bag's page, with the key of its next press."""

    line: LineTally
    key: UUID
    by_piece: bool


@require_GET
@members_only
def count_crate(request: MemberRequest, pk: int) -> HttpResponse:
    """The bags of a crate, with how far each has come. A browser that asks by htmx gets the list alone."""
    crate = crate_of(pk)
    today, found = timezone.localdate(), queries.sheet(crate)
    may_keep = policy.allowed(request.member, "keep_stock")
    context = {
        "crate": crate,
        "sheet": found,
        "may_tally": _may_tally(request, crate),
        "may_keep": may_keep,
        "day_form": DayForm(today=today) if crate.arrived_on is None else None,
    }
    return _live(request, "tallying/crate.html", "tallying/crate_progress.html", context)


@require_GET
@members_only
def count_bag(request: MemberRequest, pk: int) -> HttpResponse:
    """The lines of one bag, to be counted."""
    bag = _bag(pk)
    return _bag_page(request, bag.crate, bag, queries.sheet(bag.crate, bag))


@require_GET
@members_only
def count_loose(request: MemberRequest, pk: int) -> HttpResponse:
    """What lies in a crate and in no bag."""
    crate = crate_of(pk)
    return _bag_page(request, crate, None, queries.sheet(crate))


def _bag_page(request: MemberRequest, crate: Crate, bag: Bag | None, found: CrateTally) -> HttpResponse:
    own = _own(found, bag)
    counts = queries.entries(Tally.objects.filter(crate=crate, bag=bag))[:LAST]
    may_keep = policy.allowed(request.member, "keep_stock")
    context = {
        "crate": crate,
        "bag": bag,
        "own": own,
        "inner": [each for each in found.bags if bag and each.parent_id == bag.pk],
        "lines": [LineView(line, uuid4(), line.unit == EACH) for line in own.lines],
        "entries": [queries.entry(*row) for row in counts],
        "may_tally": _may_tally(request, crate),
        "put_form": PutAwayForm(today=timezone.localdate(), auto_id="put-%s") if may_keep and own.waiting_within else None,
        "lay_form": LayForm(auto_id="lay-%s", initial={"place": own.place}) if bag and _may_tally(request, crate) else None,
        "places": place_paths(),
    }
    return _live(request, "tallying/bag.html", "tallying/bag_progress.html", context)


def _own(found: CrateTally, bag: Bag | None) -> BagTally:
    """The bag itself; one of no lines for a crate where everything lies in bags."""
    nothing = BagTally(None, "", None, "", None, "", (), ())
    return next((each for each in found.bags if each.id == (bag.pk if bag else None)), nothing)


def _live(request: MemberRequest, page: str, part: str, context: dict[str, Any]) -> HttpResponse:
    """The page, or the part of it that htmx asks for again and again."""
    response = render(request, part if request.htmx else page, {**context, "part": bool(request.htmx)})
    patch_vary_headers(response, ["HX-Request"])
    response["Cache-Control"] = "no-store"  # a figure of a minute ago is wrong
    return response


def _may_tally(request: MemberRequest, crate: Crate) -> bool:
    return crate.closed_on is None and policy.allowed(request.member, "tally", crate.bench)


def crate_of(pk: int) -> Crate:
    """The crate of an address; a 404 for another workshop's."""
    return get_object_or_404(Crate.objects.select_related("bench", "sender"), pk=pk)


def _bag(pk: int) -> Bag:
    return get_object_or_404(Bag.objects.select_related("crate__bench", "place"), pk=pk)


def _line(pk: int) -> PackingLine:
    return get_object_or_404(PackingLine.objects.select_related("crate__bench", "item", "bag"), pk=pk)


def _tally(pk: int) -> Tally:
    return get_object_or_404(Tally.objects.select_related("crate__bench", "bag", "item", "line", "by"), pk=pk)


def bag_asked(request: MemberRequest, crate: Crate) -> Bag | None:
    """The bag that the address names; None for no bag, a 404 for one that isn't in this crate."""
    asked = request.GET.get("bag", "")
    return get_object_or_404(Bag.objects.select_related("crate"), crate=crate, pk=number_of(asked)) if asked else None


def sent(request: MemberRequest) -> tuple[Any, Any]:
    """What a form was sent with; nothing of a page that is only looked at."""
    return (request.POST, request.FILES) if request.method == "POST" else (None, None)


def number_of(text: str) -> int:
    """An id that an address states; 0, which no row has, for what is none."""
    most = 18  # digits of an id
    return int(text) if text.isascii() and text.isdigit() and len(text) <= most else 0


def _bag_address(crate: Crate, bag: Bag | None) -> str:
    return reverse("count-bag", args=[bag.pk]) if bag else reverse("count-loose", args=[crate.pk])


def _line_address(line: PackingLine) -> str:
    return f"{_bag_address(line.crate, line.bag)}#line-{line.pk}"


# One line


@require_POST
@members_only
def tick_line(request: MemberRequest, pk: int) -> HttpResponse:
    """One press: all that is listed is here, one more, one fewer."""
    line = _line(pk)
    form = TickForm(request.POST)
    if form.is_valid():
        _said(request, lambda: _tick(line, form.cleaned_data, request))
    return redirect(_line_address(line))


def _tick(line: PackingLine, given: dict[str, Any], request: MemberRequest) -> object:
    said: dict[str, Any] = {"line": line, "at": timezone.now(), "by": request.member, "request_key": given["request_key"]}
    if given["act"] == "listed":
        return services.correct_as_listed(**said)
    if given["act"] == "fewer":
        return services.count_fewer(quantity=services.ONE, **said)
    return services.tally(crate=line.crate, bag=line.bag, quantity=services.ONE, **said)


def _said(request: MemberRequest, write: Callable[[], object]) -> bool:
    """Whether it went well; a `Problem` that a press meets is told on the page that it returns to."""
    try:
        write()
    except Problem as problem:
        if problem.status in ELSEWHERE:
            raise
        messages.error(request, f"{problem.title}: {problem}.")
        return False
    return True


@require_http_methods(["GET", "POST"])
@members_only
def count_line(request: MemberRequest, pk: int) -> HttpResponse:
    """One line by hand: more, or all there are, good, damaged or wrong."""
    line = _line(pk)
    shown = queries.line_tally(line)
    form = CountForm(*sent(request), initial={"seen": shown.good})
    if request.method == "POST":
        policy.require(request.member, "tally", line.crate.bench)
        done = _counted(request, form, line.crate, lambda given: _count(line, given, request))
        if done:
            _tell(request, _("Line %(number)s, %(item)s: counted.") % {"number": line.number, "item": line.item.code}, done[0])
            return redirect(_line_address(line))
    context = {
        "line": shown,
        "crate": line.crate,
        "bag": line.bag,
        "form": form,
        "may_tally": _may_tally(request, line.crate),
        "by_piece": shown.unit == EACH,
        "entries": [queries.entry(*row) for row in queries.entries(Tally.objects.filter(line=line))],
        "back": _line_address(line),
        "here": reverse("count-line", args=[line.pk]),
    }
    return render(request, "tallying/line.html", context, status=UNREADABLE if form.errors else None)


def _count(line: PackingLine, given: dict[str, Any], request: MemberRequest) -> Tally | None:
    label = {name: given[name] for name in ("lot_code", "made", "expires", "note")}
    said: dict[str, Any] = {**label, "line": line, "at": timezone.now(), "by": request.member, "request_key": given["request_key"]}
    if given["what"] == ALL:
        return services.correct(counted=given["quantity"], seen=given["seen"], **said)
    finding = given["what"] if given["what"] in Finding.values else Finding.GOOD
    return services.tally(crate=line.crate, bag=line.bag, quantity=given["quantity"], finding=finding, **said)


def _tell(request: MemberRequest, text: str, made: Tally | None) -> None:
    """Say what was counted, with the way to take it back; a count that agreed made nothing."""
    if made is None:
        messages.success(request, text)
    else:
        undoable(request, text, "undo-tally", made.pk)


def _counted(request: MemberRequest, form: forms.Form, crate: Crate, write: Callable[[dict[str, Any]], Tally | None]) -> list[Tally | None]:
    """Count what a form says, then keep its photo: what was counted, nothing where the form went wrong.

    The photo was read before anything is counted.
    """
    made: list[Tally | None] = []
    if not attempt(form, lambda: made.append(write(form.cleaned_data))):
        return []
    picture = form.cleaned_data.get("photo")
    if picture is not None:
        note = form.cleaned_data.get("note", "")
        _said(
            request,
            lambda: photos.keep_picture(crate=crate, tally=made[0], picture=picture, caption=note, at=timezone.now(), by=request.member),
        )
    return made


@require_http_methods(["GET", "POST"])
@members_only
def weigh_line(request: MemberRequest, pk: int) -> HttpResponse:
    """One line by weight: readings give a count with its error, and only then is it counted."""
    line = _line(pk)
    found = queries.sheet(line.crate)
    shown = next(each for each in found.lines if each.line_id == line.pk)
    data = request.POST if request.method == "POST" else (request.GET if "total" in request.GET else None)
    form = WeighForm(data, line=shown, alike=queries.alike(shown, found), initial={"seen": shown.good})
    if request.method == "POST":
        policy.require(request.member, "tally", line.crate.bench)
        made: list[Tally | None] = []
        if attempt(form, lambda: made.append(_count_weighed(line, form.cleaned_data, request))):
            said = _("Line %(number)s, %(item)s: %(count)s %(unit)s by weight.") % {
                "number": line.number,
                "item": line.item.code,
                "count": form.cleaned_data["weighed"].count,
                "unit": line.item.unit,
            }
            _tell(request, said, made[0])
            return redirect(_line_address(line))
    weighed = form.cleaned_data.get("weighed") if form.is_bound and form.is_valid() else None
    context = {
        "line": shown,
        "crate": line.crate,
        "bag": line.bag,
        "form": form,
        "weighed": weighed,
        "key": form["request_key"].value() or uuid4(),
        "may_tally": _may_tally(request, line.crate),
        "back": _line_address(line),
    }
    return render(request, "tallying/weigh.html", context, status=UNREADABLE if form.errors else None)


def _count_weighed(line: PackingLine, given: dict[str, Any], request: MemberRequest) -> Tally | None:
    weighed = cast("Weighed", given["weighed"])
    note = f"weighed {plain(given['total'])}, tare {plain(given['tare'])}, {given['sample_n']} pieces {plain(given['sample_mass'])}"
    said: dict[str, Any] = {"line": line, "how": How.WEIGHT, "note": note[: services.MOST_NOTE], "at": timezone.now(), "by": request.member}
    if given["what"] == ALL:
        return services.correct(counted=Decimal(weighed.count), seen=given["seen"], request_key=given["request_key"], **said)
    quantity = Decimal(weighed.count)
    return services.tally(crate=line.crate, bag=line.bag, quantity=quantity, request_key=given["request_key"], **said)


# What isn't listed, and what nobody can name


@require_http_methods(["GET", "POST"])
@members_only
def count_other(request: MemberRequest, pk: int) -> HttpResponse:
    """Something that the bag's list doesn't have."""
    crate = crate_of(pk)
    bag = bag_asked(request, crate)
    policy.require(request.member, "tally", crate.bench)
    form = OtherForm(*sent(request))
    if request.method == "POST" and _counted(request, form, crate, lambda given: _count_other(crate, bag, given, request)):
        return redirect(_bag_address(crate, bag))
    context = {"crate": crate, "bag": bag, "form": form, "back": _bag_address(crate, bag), "title": _("Not on the list")}
    return render(request, "tallying/other.html", context, status=UNREADABLE if form.errors else None)


def _count_other(crate: Crate, bag: Bag | None, given: dict[str, Any], request: MemberRequest) -> Tally:
    item = find(request.workshop, given["code"])
    if item is None:
        raise FieldProblem("code", "No item has this code. Look at the label again, or count it as a mystery.")
    said = {name: given[name] for name in ("quantity", "finding", "note", "request_key")}
    found = services.tally(crate=crate, bag=bag, item=item, at=timezone.now(), by=request.member, **said)
    counted: dict[str, Any] = {"quantity": plain(found.quantity), "unit": item.unit, "item": item.code}
    if found.line:
        told = _("%(quantity)s %(unit)s of %(item)s counted: it is line %(number)s of the list, and counted there.")
        counted["number"] = found.line.number
    else:
        told = _("%(quantity)s %(unit)s of %(item)s counted: the list has none of it.")
    _tell(request, told % counted, found)
    return found


@require_http_methods(["GET", "POST"])
@members_only
def count_mystery(request: MemberRequest, pk: int) -> HttpResponse:
    """Something that nobody can name, with what was measured of it."""
    crate = crate_of(pk)
    bag = bag_asked(request, crate)
    policy.require(request.member, "tally", crate.bench)
    form = MysteryForm(*sent(request))
    made: list[Tally] = []

    def write(given: dict[str, Any]) -> Tally:
        said = {name: given[name] for name in ("quantity", "note", "request_key")}
        now = timezone.now()
        made.append(
            services.tally(crate=crate, bag=bag, finding=Finding.MYSTERY, measured=form.measured(), at=now, by=request.member, **said)
        )
        return made[0]

    if request.method == "POST" and _counted(request, form, crate, write):
        return redirect("mystery", made[0].pk)
    context = {"crate": crate, "bag": bag, "form": form, "back": _bag_address(crate, bag), "title": _("A mystery")}
    return render(request, "tallying/other.html", context, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def mystery(request: MemberRequest, pk: int) -> HttpResponse:
    """A mystery with the lines that it may belong to; a press says which."""
    found = _tally(pk)
    back = _bag_address(found.crate, found.bag)
    if request.method == "POST":
        line = get_object_or_404(PackingLine.objects.select_related("item"), crate=found.crate, pk=number_of(request.POST.get("line", "")))
        key = TickForm(request.POST).data.get("request_key")
        named = _said(request, lambda: _name(found, line, key, request))
        return redirect(back if named else request.path)
    sheet = queries.sheet(found.crate)
    [entry] = [queries.entry(*row) for row in queries.entries(Tally.objects.filter(pk=found.pk))]
    context = {
        "crate": found.crate,
        "bag": found.bag,
        "entry": entry,
        "candidates": queries.candidates(entry.measured, sheet),
        "photos": queries.photos(found.crate, found),
        "key": uuid4(),
        "may_tally": _may_tally(request, found.crate),
        "back": back,
    }
    return render(request, "tallying/mystery.html", context)


def _name(found: Tally, line: PackingLine, key: str | None, request: MemberRequest) -> None:
    named = services.name_mystery(mystery=found, line=line, at=timezone.now(), by=request.member, request_key=_key(key))
    messages.success(
        request,
        _("%(quantity)s %(unit)s of %(item)s: counted for line %(number)s.")
        % {"quantity": plain(named.quantity), "unit": line.item.unit, "item": line.item.code, "number": line.number},
    )


def _key(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None


# Undoing, and bags


@require_POST
@members_only
def undo_tally(request: MemberRequest, pk: int) -> HttpResponse:
    """Take one count back."""
    found = _tally(pk)
    if _said(request, lambda: services.undo(tally=found, by=request.member, at=timezone.now())):
        messages.success(request, _("That count is taken back."))
    return redirect(way_back(request, _bag_address(found.crate, found.bag)))


@require_GET
@members_only
def counts(request: MemberRequest, pk: int) -> HttpResponse:
    """Every count of a crate, the latest first."""
    crate = crate_of(pk)
    page = Paginator(queries.entries(Tally.objects.filter(crate=crate)), PAGE).get_page(request.GET.get("page"))
    entries = [queries.entry(*row) for row in page.object_list]
    context = {"crate": crate, "page": page, "entries": entries, "may_tally": _may_tally(request, crate), "here": request.get_full_path()}
    return render(request, "tallying/counts.html", context)


@require_POST
@members_only
def finish_bag(request: MemberRequest, pk: int) -> HttpResponse:
    """This bag is counted to the end; or isn't after all."""
    bag = _bag(pk)
    again = "reopen" in request.POST

    def write() -> None:
        if again:
            services.reopen_bag(bag=bag, by=request.member)
        else:
            services.finish_bag(bag=bag, on=timezone.localdate(), by=request.member)

    if not _said(request, write) or again:
        return redirect("count-bag", bag.pk)
    undoable(request, _("Bag %(bag)s is counted.") % {"bag": bag.path}, "finish-bag", bag.pk, fields={"reopen": 1})
    return redirect("count-crate", bag.crate_id)


@require_http_methods(["GET", "POST"])
@members_only
def lay_bag(request: MemberRequest, pk: int) -> HttpResponse:
    """A bag is laid on a shelf as it is."""
    bag = _bag(pk)
    policy.require(request.member, "tally", bag.crate.bench)
    form = LayForm(sent(request)[0], initial={"place": bag.place.path if bag.place else ""})

    def write() -> None:
        place = stock.ensure_place(workshop=request.workshop, path=form.cleaned_data["place"], by=request.member)
        services.lay_bag(bag=bag, place=place, by=request.member)
        messages.success(request, _("Bag %(bag)s lies in %(place)s, as it is.") % {"bag": bag.path, "place": place.path})

    if request.method == "POST" and attempt(form, write):
        return redirect("count-bag", bag.pk)
    context = {"crate": bag.crate, "bag": bag, "form": form, "places": place_paths(), "back": reverse("count-bag", args=[bag.pk])}
    return render(request, "tallying/lay.html", context, status=UNREADABLE if form.errors else None)
