"""Labels: choosing what to print, the sheets to print on, and where the code on a label leads."""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.labels import queries, services
from inventory.labels.calc import Cell, Sheet, cells
from inventory.labels.drawing import Job, Symbol
from inventory.labels.forms import BagsForm, LotsForm, PlacesForm, PrintForm, SheetForm, TypedForm, ticked
from inventory.labels.models import LabelSheet
from inventory.labels.queries import Thing
from inventory.receiving.models import Crate
from inventory.scanning import calc
from inventory.stock.models import Lot
from inventory.stock.queries import place_paths
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.queries import memberships
from inventory.workshop.request import MemberRequest

PAGE = 100
_AT_HOME = frozenset({"localhost", "127.0.0.1", "[::1]"})


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for: the four forms, and what the one that was sent found. `unknown` are typed lines that mean nothing."""

    forms: dict[str, forms.Form]
    what: str
    things: tuple[Thing, ...] = ()
    unknown: tuple[str, ...] = ()

    @property
    def answered(self) -> bool:
        """One of the forms was sent, and holds."""
        return bool(self.what) and self.forms[self.what].is_valid()


def base_of(request: HttpRequest) -> str:
    """The address that labels lead to: the site's own, else the one that this request came to."""
    return settings.RIVETLOFT_ADDRESS or f"{request.scheme}://{request.get_host()}"


def _asked(request: MemberRequest) -> Asked:
    what = request.GET.get("what", "")
    sent = {
        "bags": BagsForm(request.GET if what == "bags" else None, crates=queries.crates_with_bags()),
        "places": PlacesForm(request.GET if what == "places" else None),
        "lots": LotsForm(request.GET if what == "lots" else None, workshop=request.workshop),
        "typed": TypedForm(request.GET if what == "typed" else None),
    }
    if what not in sent or not sent[what].is_valid():
        return Asked(sent, what if what in sent else "")
    found = _found(what, sent[what].cleaned_data)
    return Asked(sent, what, found.things, found.unknown)


def _found(what: str, given: dict[str, Any]) -> queries.Typed:
    if what == "typed":
        return queries.typed(given["typed"].splitlines())
    if what == "bags":
        things = queries.bags(get_object_or_404(Crate, pk=given["crate"]))
    elif what == "places":
        things = queries.places(given["place"])
    else:
        lot = get_object_or_404(Lot, pk=given["lot"]) if given["lot"] else None
        things = queries.lots(item=given["item"], under=given["place"], lot=lot)
    return queries.Typed(tuple(things), ())


@require_GET
@members_only
def labels(request: MemberRequest) -> HttpResponse:
    """Choose what to print labels for; then, how to print them."""
    return _page(request, _asked(request), None)


def _page(request: MemberRequest, asked: Asked, form: PrintForm | None) -> HttpResponse:
    page = Paginator(asked.things, PAGE).get_page(request.GET.get("page"))
    sheets = queries.sheets()
    may_print = policy.allowed(request.member, "use_stock")
    context = {
        **{"placed" if name == "places" else name: form for name, form in asked.forms.items()},  # `places` is the list of paths
        "asked": asked,
        "page": page,
        "faces": queries.faces(list(page.object_list)),
        "ticked": set(ticked(request.POST.getlist("thing"))) if form else set(page.object_list),
        "form": form or PrintForm(sheets=sheets, paged=page.paginator.num_pages > 1) if may_print else None,
        "places": place_paths(),
        "items": queries.item_codes(),
        "base": base_of(request),
        "at_home": request.get_host().rsplit(":", 1)[0] in _AT_HOME and not settings.RIVETLOFT_ADDRESS,
        "may_keep": policy.allowed(request.member, "keep_stock"),
    }
    wrong = (form is not None and form.errors) or (asked.what and not asked.answered)
    return render(request, "labels/labels.html", context, status=UNREADABLE if wrong else None)


@require_http_methods(["GET", "POST"])
@members_only
def labels_pdf(request: MemberRequest) -> HttpResponse:
    """The labels as PDF: POST makes the tokens that are missing, GET prints again what has its token. Both may be sent twice."""
    asked = _asked(request)
    if not asked.answered:
        return redirect("labels")
    policy.require(request.member, "use_stock")
    paged = len(asked.things) > PAGE
    form = PrintForm(request.POST if request.method == "POST" else _again(request), sheets=queries.sheets(), paged=paged)
    made: list[bytes] = []
    if attempt(form, lambda: made.append(_pdf(request, form, asked))):
        answer = HttpResponse(made[0], content_type="application/pdf")
        answer["Content-Disposition"] = 'inline; filename="labels.pdf"'
        return answer
    return _page(request, asked, form)


def _again(request: MemberRequest) -> dict[str, str]:
    """What an address says of how to print; what it leaves out is as the page starts."""
    named = {"sheet": queries.sheets()[0].key, "start": "1", "symbol": Symbol.QR.value, "copies": "1"}
    return {name: request.GET.get(name, usual) for name, usual in named.items()}


def _pdf(request: MemberRequest, form: PrintForm, asked: Asked) -> bytes:
    given = form.cleaned_data
    all_of_it = request.method == "GET" or given.get("whole")
    things = list(asked.things) if all_of_it else ticked(request.POST.getlist("thing"))
    job = Job(form.chosen, base_of(request), Symbol(given["symbol"]), given["start"], given["copies"])
    return services.print_labels(things=things, job=job, by=request.member, make=request.method == "POST")


# Sheets


@dataclass(frozen=True, slots=True)
class SheetView:
    """A sheet on a page, with its labels as they lie."""

    sheet: Sheet
    cells: tuple[Cell, ...]

    @property
    def box(self) -> str:
        """The picture's width and height: the page, with a millimetre around it for its border."""
        return f"{self.sheet.page_width + 2} {self.sheet.page_height + 2}"


def _view(sheet: Sheet) -> SheetView:
    return SheetView(sheet, tuple(cells(sheet, start=1, count=sheet.cells)))


@require_http_methods(["GET", "POST"])
@members_only
def sheets(request: MemberRequest) -> HttpResponse:
    """The sheets there are, and a form for another; it starts from the measurements that `from` names."""
    start = {sheet.key: sheet for sheet in queries.starting_sheets()}
    form = SheetForm(request.POST if request.method == "POST" else None, sheet=start.get(request.GET.get("from", "")))
    if request.method == "POST":
        policy.require(request.member, "keep_stock")
        if attempt(form, lambda: _save(request, form, None)):
            return redirect("label-sheets")
    own = queries.own_sheets()
    context = {
        "own": [_view(sheet) for sheet in own],
        "starting": [_view(sheet) for sheet in start.values()],
        "form": form if policy.allowed(request.member, "keep_stock") else None,
        "open": bool(form.errors) or request.GET.get("from", "") in start,
    }
    return render(request, "labels/sheets.html", context, status=UNREADABLE if form.errors else None)


def _save(request: MemberRequest, form: SheetForm, row: LabelSheet | None) -> None:
    kept = services.save_sheet(workshop=request.workshop, sheet=row, by=request.member, **form.cleaned_data)
    messages.success(request, _("Sheet %(name)s is saved.") % {"name": kept.name})


@require_http_methods(["GET", "POST"])
@members_only
def sheet(request: MemberRequest, pk: int) -> HttpResponse:
    """Change a sheet."""
    row = get_object_or_404(LabelSheet, pk=pk)
    policy.require(request.member, "keep_stock")
    now = queries.as_sheet(row)
    form = SheetForm(request.POST if request.method == "POST" else None, sheet=now)
    if request.method == "POST" and attempt(form, lambda: _save(request, form, row)):
        return redirect("label-sheets")
    context = {"view": _view(now), "form": form}
    return render(request, "labels/sheet.html", context, status=UNREADABLE if form.errors else None)


@require_POST
@members_only
def remove_sheet(request: MemberRequest, pk: int) -> HttpResponse:
    """Offer a sheet no more."""
    row = get_object_or_404(LabelSheet, pk=pk)
    services.remove_sheet(sheet=row, by=request.member)
    messages.success(request, _("Sheet %(name)s is removed. Labels printed on it stay good.") % {"name": row.name})
    return redirect("label-sheets")


# Where the code on a label leads


@require_GET
@members_only
def labelled(request: MemberRequest, token: str) -> HttpResponse:
    """The page of what a label stands on. A token that isn't of this workshop is a 404 that says what to do."""
    label = queries.labelled(token)
    if label is None:
        several = len(memberships(request.user)) > 1
        context = {"token": token.upper(), "read_well": calc.is_token(token.upper()), "several": several}
        return render(request, "labels/unknown_label.html", context, status=404)
    if label.place is not None:
        return HttpResponseRedirect(f"{reverse('shelves')}?{urlencode({'place': label.place.path})}")
    if label.lot_id is not None:
        return redirect("lot", label.lot_id)
    return redirect("count-bag", label.bag_id)
