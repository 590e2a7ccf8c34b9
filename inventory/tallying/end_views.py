"""What ends a crate: its day of arrival, putting away, closing, the receipt, its photos."""

import csv
from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE, way_back
from inventory.common.showing import date_text
from inventory.common.undo import undoable
from inventory.photos.forms import PhotoForm
from inventory.photos.keeping import marked
from inventory.stock import services as stock
from inventory.stock.forms import ReverseForm
from inventory.stock.models import Movement
from inventory.stock.queries import place_paths
from inventory.tallying import photos, queries, services
from inventory.tallying.forms import DayForm, PutAwayForm
from inventory.tallying.models import Tally
from inventory.tallying.queries import LineTally, Receipt
from inventory.tallying.views import bag_asked, crate_of, number_of, sent
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

COLUMNS = (
    *("bag", "line", "item", "name", "unit", "listed", "good", "damaged", "wrong", "short", "over", "mystery"),
    *("put_away", "places", "last_counted_by", "note"),
)


@require_http_methods(["GET", "POST"])
@members_only
def crate_here(request: MemberRequest, pk: int) -> HttpResponse:
    """On which day a crate arrived."""
    crate, today = crate_of(pk), timezone.localdate()
    policy.require(request.member, "tally", crate.bench)
    form = DayForm(sent(request)[0], today=today)

    def write() -> None:
        services.arrived(crate=crate, on=form.cleaned_data["on"], by=request.member)
        said = {"crate": crate.code, "on": date_text(form.cleaned_data["on"])}
        messages.success(request, _("Crate %(crate)s arrived on %(on)s: the days to claim run from then.") % said)

    back = way_back(request, reverse("count-crate", args=[crate.pk]))
    if request.method == "POST" and attempt(form, write):
        return redirect(back)
    return render(request, "tallying/here.html", {"crate": crate, "form": form, "back": back}, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def put_away(request: MemberRequest, pk: int) -> HttpResponse:
    """What was counted goes into one place: of a bag and the bags in it, or of the whole crate."""
    crate, today = crate_of(pk), timezone.localdate()
    policy.require(request.member, "keep_stock", crate.bench)
    bag = bag_asked(request, crate)
    form = PutAwayForm(sent(request)[0], today=today)

    def write() -> None:
        place = stock.ensure_place(workshop=request.workshop, path=form.cleaned_data["place"], by=request.member)
        moved = services.put_away(crate=crate, bag=bag, place=place, on=form.cleaned_data["on"], by=request.member)
        said = ngettext("%(count)s lot is in %(place)s now, as counted.", "%(count)s lots are in %(place)s now, as counted.", len(moved))
        told = said % {"count": len(moved), "place": place.path}
        undoable(request, told, "reverse-all", fields={"movement": [row.pk for row in moved], "next": back})

    back = reverse("count-bag", args=[bag.pk]) if bag else reverse("count-crate", args=[crate.pk])
    if request.method == "POST" and attempt(form, write):
        return redirect(back)
    context = {"crate": crate, "bag": bag, "form": form, "places": place_paths(), "back": back}
    return render(request, "tallying/put_away.html", context, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def close_crate(request: MemberRequest, pk: int) -> HttpResponse:
    """What differs, and the end of counting."""
    crate, today = crate_of(pk), timezone.localdate()
    form = DayForm(sent(request)[0], today=today)
    if request.method == "POST":
        policy.require(request.member, "keep_stock", crate.bench)
        if attempt(form, lambda: services.close(crate=crate, on=form.cleaned_data["on"], by=request.member)):
            undoable(request, _("Counting of crate %(crate)s is closed.") % {"crate": crate.code}, "reopen-crate", crate.pk)
            return redirect("receipt", crate.pk)
    found = queries.sheet(crate)
    context = {
        "crate": crate,
        "sheet": found,
        "differences": queries.differences_of(found),
        "uncounted": [bag for bag in found.bags if bag.id is not None and bag.counted_on is None and bag.lines],
        "lacking": sum(bool(line.left) for line in found.lines),
        "form": form if crate.closed_on is None and policy.allowed(request.member, "keep_stock") else None,
    }
    return render(request, "tallying/close.html", context, status=UNREADABLE if form.errors else None)


@require_POST
@members_only
def reopen_crate(request: MemberRequest, pk: int) -> HttpResponse:
    """Count on."""
    crate = crate_of(pk)
    services.reopen(crate=crate, by=request.member)
    messages.success(request, _("Crate %(crate)s is open again: count on.") % {"crate": crate.code})
    return redirect("count-crate", crate.pk)


# The receipt


@require_GET
@members_only
def receipt(request: MemberRequest, pk: int) -> HttpResponse:
    """What came, what differs, where it was put and who counted: to read, and to print."""
    crate = crate_of(pk)
    found = queries.receipt(crate)
    bags = [
        (bag, [(line, found.places_of(line)) for line in bag.lines], [(extra, found.places_of(extra)) for extra in bag.extras])
        for bag in found.sheet.bags
        if bag.lines or bag.extras
    ]
    context = {
        "crate": crate,
        "receipt": found,
        "bags": bags,
        "photos": queries.photos(crate),
        "today": timezone.localdate(),
        "may_reopen": crate.closed_on is not None and policy.allowed(request.member, "keep_stock"),
    }
    return render(request, "tallying/receipt.html", context)


@require_GET
@members_only
def receipt_csv(request: MemberRequest, pk: int) -> HttpResponse:
    """The same as a file."""
    del request
    crate = crate_of(pk)
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="receipt-{crate.pk}.csv"'
    writer = csv.writer(response)
    writer.writerow(COLUMNS)
    writer.writerows(_csv_rows(queries.receipt(crate)))
    return response


def _csv_rows(found: Receipt) -> Iterable[list[str]]:
    for row in found.sheet.rows:
        line = row if isinstance(row, LineTally) else None
        figures = (
            *(line.listed if line else 0, row.good, row.damaged, row.wrong),
            *((line.short, line.over, 0) if line else (0, row.good, row.mystery)),  # type: ignore[union-attr]
            row.good_in + row.damaged_in,
        )
        *some, put = (plain(figure) if figure else "0" for figure in figures)
        places = "; ".join(f"{plain(each.quantity)} {each.state} in {each.place}" for each in found.places_of(row))
        what = (row.bag, line.number if line else "", row.item, row.name, row.unit)
        note = "" if line else row.note  # type: ignore[union-attr]
        yield [_cell(text) for text in (*what, *some, put, places, row.last_by, note)]


def _cell(text: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


# Photos


@require_http_methods(["GET", "POST"])
@members_only
def crate_photos(request: MemberRequest, pk: int) -> HttpResponse:
    """The photos of a crate, and one more: of the crate as it came, or of what one count found (`?tally=`)."""
    crate = crate_of(pk)
    asked = request.GET.get("tally", "")
    tally = get_object_or_404(Tally, crate=crate, pk=number_of(asked)) if asked else None
    form = PhotoForm(*sent(request))
    if request.method == "POST":
        policy.require(request.member, "tally", crate.bench)
        if form.is_valid():
            kept = photos.keep_picture(
                crate=crate,
                tally=tally,
                picture=form.cleaned_data["photo"],
                caption=form.cleaned_data["caption"],
                at=timezone.now(),
                by=request.member,
            )
            undoable(request, _("The photo is kept."), "remove-photo", kept.pk, fields={"next": request.get_full_path()})
            return redirect(request.get_full_path())
    shown = form if policy.allowed(request.member, "tally", crate.bench) else None
    kept_photos = queries.photos(crate, tally)
    context = {"crate": crate, "tally": tally, "form": shown, "photos": marked(kept_photos) if shown else kept_photos}
    return render(request, "tallying/photos.html", context, status=UNREADABLE if form.errors else None)


# The ledger


@require_http_methods(["GET", "POST"])
@members_only
def reverse_movement(request: MemberRequest, pk: int) -> HttpResponse:
    """Undo a movement by its opposite; it stands here since what was counted of it waits to be put away again."""
    movement = get_object_or_404(Movement.objects.select_related("lot__item", "lot__bench", "source", "target", "by"), pk=pk)
    stock.require_to_reverse(movement, request.member)
    form = ReverseForm(request.POST if request.method == "POST" else None)
    today = timezone.localdate()

    def write() -> None:
        services.reverse(movement=movement, on=today, by=request.member, note=form.cleaned_data["note"])

    if request.method == "POST" and attempt(form, write):
        messages.success(request, _("The movement is reversed."))
        return redirect(way_back(request, reverse("lot", args=[movement.lot_id])))
    context: dict[str, Any] = {"movement": movement, "form": form}
    return render(request, "stock/reverse.html", context, status=UNREADABLE if form.errors else None)


@require_POST
@members_only
def reverse_movements(request: MemberRequest) -> HttpResponse:
    """Undo all that one press moved: each `movement` of the form, or none of them."""
    asked = {number_of(text) for text in request.POST.getlist("movement")}
    rows = Movement.objects.select_related("lot__item", "lot__bench", "source", "target", "by")
    movements = list(rows.filter(pk__in=asked))
    if not asked or len(movements) != len(asked):
        raise Http404
    services.reverse_all(movements=movements, on=timezone.localdate(), by=request.member)
    messages.success(
        request,
        _("The movement is reversed.")
        if len(movements) == 1
        else _("All %(movements)s movements are reversed.") % {"movements": len(movements)},
    )
    return redirect(way_back(request, reverse("shelves")))
