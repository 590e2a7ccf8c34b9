"""The pool: what it has, lending and taking back, bookings, single things, the rules, and one's own things."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.catalogue.models import Item
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.showing import date_text
from inventory.common.undo import as_it_stands, undoable
from inventory.photos import services as photos
from inventory.photos.forms import PhotoForm
from inventory.photos.queries import of as photos_of
from inventory.photos.services import Picture
from inventory.pool import choices, queries, services
from inventory.pool.forms import AddThingForm, BookForm, LendForm, RenewForm, RulesForm, TakeInForm, ThingForm
from inventory.pool.models import Booking, Loan, LoanEnd, Thing
from inventory.pool.queries import FreeDay, Out
from inventory.stock import queries as stock_queries
from inventory.stock.models import Lot
from inventory.stock.queries import place_of, place_paths
from inventory.stock.services import BadPlace
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.models import Bench, Member
from inventory.workshop.request import MemberRequest

PAGE = 50
SHOWN_DAYS = 14
AHEAD = timedelta(days=366)
RULES = ("longest_days", "renewals", "renew_while_waited", "remind_days", "book_ahead_days", "deposit", "fee", "currency")
OF_THING = ("serial", "condition", "calibrated_on", "calibrated_until")


def _page(request: MemberRequest, template: str, form: forms.Form | None, context: dict[str, Any]) -> HttpResponse:
    """A page of the pool; 422 where its form went wrong."""
    told = {"form": form, "today": timezone.localdate(), "may_keep": policy.allowed(request.member, "keep_stock")}
    return render(request, f"pool/{template}.html", {**told, **context}, status=UNREADABLE if form and form.errors else None)


def _may_use(request: MemberRequest) -> bool:
    return policy.allowed(request.member, "use_stock")


# What the pool has


@require_GET
@members_only
def pool(request: MemberRequest) -> HttpResponse:
    """What the pool has of each item, and what of it is free today."""
    rows = queries.pool_stock(today=timezone.localdate())
    return _page(request, "pool", None, {"rows": rows, "may_use": _may_use(request)})


@require_GET
@members_only
def mine(request: MemberRequest) -> HttpResponse:
    """A member's own things: what they have, what is promised to them, what they wait for."""
    found = queries.of_member(request.member, today=timezone.localdate())
    return _page(request, "mine", None, {"mine": found, "may_use": _may_use(request)})


# Lending


@require_http_methods(["GET", "POST"])
@members_only
def lend(request: MemberRequest) -> HttpResponse:
    """Lend something that lies on a shelf: of an item, of a lot, or what was booked."""
    policy.require(request.member, "use_stock")
    booking = _named(request, Booking, "booking")
    item = booking.item if booking else _named(request, Item, "item")
    lot = booking.thing.lot if booking and booking.thing else _named(request, Lot, "lot")
    spots = choices.lendable(request.member, item=item, lot=lot)
    people, benches = _borrowers(request, spots), choices.benches()
    data, files = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    said = {"member": request.member.pk, **(_as_booked(booking) if booking else {})}
    offered = [spot.choice for spot in spots]
    form = LendForm(data, files, initial=said, spots=offered, members=people, bench_rows=benches)
    made: list[Loan] = []
    if data is not None and attempt(form, lambda: made.append(_lend(form, spots, people, benches, request))):
        return _lent(request, made[0], form.cleaned_data["photo"])
    return _page(request, "lend", form, {"item": item, "booking": booking, "spots": spots})


def _borrowers(request: MemberRequest, spots: Sequence[choices.Spot]) -> list[Member]:
    """Everybody, for who keeps the stock or has something of their own to lend; of the pool a builder takes for themselves."""
    own = any(not spot.held.lot.bench.shared for spot in spots)
    return choices.members() if own or policy.allowed(request.member, "keep_stock") else [request.member]


def _as_booked(booking: Booking) -> dict[str, Any]:
    return {
        "booking": booking.pk,
        "quantity": booking.quantity,
        "member": booking.member_id,
        "bench": booking.bench_id,
        "due_on": booking.last_day,
    }


def _lend(
    form: LendForm, spots: Sequence[choices.Spot], people: Sequence[Member], benches: Sequence[Bench], request: MemberRequest
) -> Loan:
    given = dict(form.cleaned_data)
    lot, place = choices.spot_of(spots, given.pop("spot"))
    given["member"] = _chosen(people, given["member"])
    given["bench"] = _chosen(benches, given["bench"])
    given["booking"] = get_object_or_404(Booking, pk=given["booking"]) if given["booking"] else None
    del given["photo"]
    return services.lend(lot=lot, place=place, on=timezone.localdate(), **given, by=request.member, now=timezone.now())


def _lent(request: MemberRequest, loan: Loan, photo: Picture | None) -> HttpResponse:
    _keep_photo(request, f"loan:{loan.pk}", photo, _("when it was lent"))
    said = _("%(what)s lent to %(name)s, back by %(day)s.") if loan.due_on else _("%(what)s lent to %(name)s.")
    said %= {"what": _pieces(loan.quantity, loan.lot.item), "name": loan.member.name, "day": date_text(loan.due_on) if loan.due_on else ""}
    undoable(request, said, "take-in", loan.pk, label=_("Take it in again"), fields=_in_again(loan))
    return redirect("loan", loan.pk)


def _pieces(quantity: Decimal, item: Item) -> str:
    return _("%(quantity)s %(unit)s of %(item)s") % {"quantity": plain(quantity), "unit": item.unit, "item": item.code}


def _in_again(loan: Loan) -> dict[str, object]:
    """What takes all of a loan in where it was taken from. Both stay on record."""
    return {"key": uuid4(), "kind": "returned", "quantity": plain(loan.quantity), "place": loan.movement.source.path}


def _keep_photo(request: MemberRequest, ref: str, photo: Picture | None, caption: str) -> None:
    """After the loan is written: a picture is a transaction of its own."""
    if photo is not None:
        photos.keep(ref=ref, picture=photo, caption=caption, at=timezone.now(), by=request.member)


def _named(request: MemberRequest, model: type[Any], name: str) -> Any:
    """The row that the address names by its id; None where it names none. Another workshop's is a 404."""
    text = request.GET.get(name, "")
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 19):  # noqa: PLR2004 - the digits of a row's id
        raise Http404
    return get_object_or_404(model, pk=int(text))


def _chosen(rows: Sequence[Any], pk: str) -> Any:
    """The row that was chosen; None for a blank."""
    return next((row for row in rows if str(row.pk) == pk), None)


@require_GET
@members_only
def loans(request: MemberRequest) -> HttpResponse:
    """Every loan that isn't over, what is due first on top."""
    return _page(request, "loans", None, {"loans": queries.loans()})


@require_GET
@members_only
def loan(request: MemberRequest, pk: int) -> HttpResponse:
    """One loan: what is out, what came back, and what comes next."""
    return _loan_page(request, _loan(pk), None, None)


def _loan(pk: int) -> Out:
    found = queries.loan(pk)
    if found is None:
        raise Http404
    return found


def _loan_page(request: MemberRequest, found: Out, form: TakeInForm | None, renewing: RenewForm | None) -> HttpResponse:
    """With forms for who may end it: whoever borrowed, and who keeps the stock."""
    if found.open and (found.member_id == request.member.pk or policy.allowed(request.member, "keep_stock")):
        form = form or TakeInForm(initial={"quantity": found.open})
        renewing = renewing or RenewForm(auto_id="renew-%s", initial={"due_on": found.due_on})
    refs = [f"loan:{found.id}", *(f"loan-end:{end.id}" for end in found.ends)]
    kept = photos_of(refs)
    context = {
        "loan": found,
        "renewing": renewing,
        "photos": [photo for ref in refs for photo in kept[ref]],
        "places": place_paths() if form else (),
        "overdue": found.overdue(timezone.localdate()),
    }
    wrong = [one for one in (form, renewing) if one is not None and one.errors]
    answer = _page(request, "loan", form, context)
    answer.status_code = UNREADABLE if wrong else answer.status_code
    return answer


@require_POST
@members_only
def take_in(request: MemberRequest, pk: int) -> HttpResponse:
    """Take back all of a loan or a part; or say that it is lost or worn out."""
    found = get_object_or_404(Loan.objects.select_related("lot__item", "lot__bench", "member", "held_in", "movement__source"), pk=pk)
    form = TakeInForm(request.POST, request.FILES)
    made: list[LoanEnd] = []
    if not attempt(form, lambda: made.append(_take_in(form, found, request))):
        return _loan_page(request, _loan(pk), form, None)
    _keep_photo(request, f"loan-end:{made[0].pk}", form.cleaned_data["photo"], _("when it came back"))
    messages.success(request, f"{_pieces(made[0].quantity, found.lot.item)}: {made[0].get_kind_display()}.")
    return redirect("loan", pk)


def _take_in(form: TakeInForm, loan: Loan, request: MemberRequest) -> LoanEnd:
    given = dict(form.cleaned_data)
    del given["photo"]
    path = given.pop("place")
    place = place_of(path) if path else None
    if path and place is None:
        raise BadPlace(f"there is no place {path} here")
    back = place if given["kind"] == "returned" else None
    return services.take_in(loan=loan, place=back, on=timezone.localdate(), **given, by=request.member, now=timezone.now())


@require_POST
@members_only
def renew(request: MemberRequest, pk: int) -> HttpResponse:
    """Let a loan end on a later day."""
    found = get_object_or_404(Loan.objects.select_related("lot__item", "lot__bench", "member"), pk=pk)
    form = RenewForm(request.POST, auto_id="renew-%s")
    if attempt(form, lambda: services.renew(loan=found, on=timezone.localdate(), by=request.member, **form.cleaned_data)):
        messages.success(request, _("It may stay out until %(day)s.") % {"day": date_text(form.cleaned_data["due_on"])})
        return redirect("loan", pk)
    return _loan_page(request, _loan(pk), None, form)


@require_http_methods(["GET", "POST"])
@members_only
def loan_photos(request: MemberRequest, pk: int) -> HttpResponse:
    """The photos of a loan, as it went out and as it came back; and one more."""
    found = _loan(pk)
    mine = found.member_id == request.member.pk
    form = PhotoForm(request.POST, request.FILES) if request.method == "POST" else PhotoForm()
    if request.method == "POST":
        policy.require(request.member, "use_stock" if mine else "keep_stock")
        if form.is_valid():
            given = form.cleaned_data
            shot = photos.keep(ref=f"loan:{pk}", picture=given["photo"], caption=given["caption"], at=timezone.now(), by=request.member)
            undoable(request, _("The photo is kept."), "remove-photo", shot.pk, fields={"next": request.path})
            return redirect("loan-photos", pk)
    refs = [f"loan:{pk}", *(f"loan-end:{end.id}" for end in found.ends)]
    kept = photos_of(refs)
    shown = form if policy.allowed(request.member, "use_stock" if mine else "keep_stock") else None
    return _page(request, "loan_photos", shown, {"loan": found, "photos": [photo for ref in refs for photo in kept[ref]]})


# Bookings


@require_GET
@members_only
def bookings(request: MemberRequest) -> HttpResponse:
    """What is promised from today on, one's own or everybody's, and who waits in which order."""
    whose = "mine" if request.GET.get("whose") == "mine" else "all"
    today = timezone.localdate()
    found = queries.bookings(first=today, last=today + AHEAD)
    if whose == "mine":
        found = [promise for promise in found if promise.member_id == request.member.pk]
    context = {
        "whose": whose,
        "promised": [promise for promise in found if not promise.waiting],
        "waiting": sorted((promise for promise in found if promise.waiting), key=lambda promise: (promise.item, promise.turn or 0)),
        "may_use": _may_use(request),
    }
    return _page(request, "bookings", None, context)


@require_http_methods(["GET", "POST"])
@members_only
def book(request: MemberRequest) -> HttpResponse:
    """Book something of the pool for days to come; where it is taken, wait in line."""
    policy.require(request.member, "use_stock")
    today, item, thing = timezone.localdate(), _named(request, Item, "item"), _named(request, Thing, "thing")
    items, things = queries.pool_items(), queries.things()
    people = choices.members() if policy.allowed(request.member, "keep_stock") else [request.member]
    benches = choices.benches()
    data = request.POST if request.method == "POST" else None
    what = f"thing:{thing.pk}" if thing else f"item:{item.pk}" if item else None
    said = {"what": what, "member": request.member.pk}
    whats = choices.whats(items, things)
    form = BookForm(data, whats=whats, members=people, bench_rows=benches, initial=said)
    made: list[Booking] = []
    if data is not None and attempt(form, lambda: made.append(_book(form, people, benches, request))):
        _say_booked(request, made[0])
        return redirect("bookings")
    of = thing.lot.item if thing else item
    days = queries.free(of, today, today + timedelta(days=SHOWN_DAYS - 1), today=today) if of else ()
    return _page(request, "book", form, {"item": of, "days": _alike(days), "whats": whats})


def _alike(days: Sequence[FreeDay]) -> list[tuple[date, FreeDay]]:
    """Days on which the same people hold the same, as one: its first day and its last."""
    found: list[tuple[date, FreeDay]] = []
    for day in days:
        if found and found[-1][1].spans == day.spans:
            found[-1] = (found[-1][0], day)
        else:
            found.append((day.day, day))
    return found


def _book(form: BookForm, people: Sequence[Member], benches: Sequence[Bench], request: MemberRequest) -> Booking:
    given, now = dict(form.cleaned_data), timezone.now()
    kind, pk = given.pop("what").split(":")
    thing = get_object_or_404(Thing.objects.select_related("lot__item"), pk=pk) if kind == "thing" else None
    given["item"] = thing.lot.item if thing else get_object_or_404(Item, pk=pk)
    given["member"], given["bench"] = _chosen(people, given["member"]), _chosen(benches, given["bench"])
    return services.book(**given, thing=thing, by=request.member, today=timezone.localdate(now), now=now)


def _say_booked(request: MemberRequest, booking: Booking) -> None:
    named = {"what": _pieces(booking.quantity, booking.item), "first": date_text(booking.first_day), "last": date_text(booking.last_day)}
    named["name"] = booking.member.name
    if booking.waiting:
        messages.info(request, _("%(what)s, %(first)s to %(last)s: all is taken, so %(name)s waits in line.") % named)
    else:
        undoable(request, _("%(what)s, %(first)s to %(last)s: booked for %(name)s.") % named, "cancel-booking", booking.pk)


@require_POST
@members_only
def cancel_booking(request: MemberRequest, pk: int) -> HttpResponse:
    """Give back what was promised; who waits gets their turn."""
    found = get_object_or_404(Booking.objects.select_related("item", "thing", "member"), pk=pk)
    services.cancel(booking=found, by=request.member, now=timezone.now())
    said = {"item": found.item.code, "day": date_text(found.first_day)}
    messages.success(request, _("The booking of %(item)s from %(day)s is cancelled.") % said)
    return redirect("bookings")


# Single things


@require_http_methods(["GET", "POST"])
@members_only
def things(request: MemberRequest) -> HttpResponse:
    """Every single thing, who has it, and until when it is calibrated; a new one is added here."""
    if request.method == "POST":
        policy.require(request.member, "keep_stock")
    lots = choices.new_things() if policy.allowed(request.member, "keep_stock") else []
    data = request.POST if request.method == "POST" else None
    form = AddThingForm(data, lots=lots, today=timezone.localdate()) if lots or data is not None else None
    if form is not None and data is not None and attempt(form, lambda: _add_thing(form, request)):
        return redirect("things")
    return _page(request, "things", form, {"things": queries.things(retired=True)})


def _add_thing(form: AddThingForm, request: MemberRequest) -> None:
    given = dict(form.cleaned_data)
    lot = get_object_or_404(Lot.objects.select_related("item", "bench"), pk=given.pop("lot"))
    made = services.add_thing(lot=lot, **given, by=request.member)
    said = _("%(thing)s is a single thing now: it is booked and lent by itself.")
    messages.success(request, said % {"thing": f"{lot.item.code} {made.serial}"})


@require_http_methods(["GET", "POST"])
@members_only
def thing(request: MemberRequest, pk: int) -> HttpResponse:
    """One single thing: what is known of it, who has it, what happened to it."""
    found = get_object_or_404(Thing.objects.select_related("lot__item", "lot__bench"), pk=pk)
    if request.method == "POST":
        policy.require(request.member, "keep_stock", found.lot.bench)
    data = request.POST if request.method == "POST" else None
    form = ThingForm(data, today=timezone.localdate(), initial={name: getattr(found, name) for name in OF_THING})
    before = as_it_stands(ThingForm(None, today=timezone.localdate(), initial=form.initial))
    if data is not None and attempt(form, lambda: services.change_thing(thing=found, by=request.member, **form.cleaned_data)):
        undoable(request, _("What is known of it is saved."), "thing", pk, fields=before)
        return redirect("thing", pk)
    row = next(row for row in queries.things(item=found.lot.item, retired=True) if row.id == pk)
    page = Paginator(stock_queries.movements(lot=found.lot), PAGE).get_page(request.GET.get("page"))
    context = {
        "thing": row,
        "events": queries.history(found.lot),
        "page": page,
        "lines": [stock_queries.LedgerLine(*line) for line in page.object_list],
        "may_use": _may_use(request),
    }
    shown = form if policy.allowed(request.member, "keep_stock") else None
    return _page(request, "thing", shown, context)


@require_POST
@members_only
def retire_thing(request: MemberRequest, pk: int) -> HttpResponse:
    """Lend a thing no more; its history stays."""
    found = get_object_or_404(Thing.objects.select_related("lot__item", "lot__bench"), pk=pk)
    services.retire_thing(thing=found, by=request.member, now=timezone.now())
    messages.success(request, _("%(thing)s is retired: it is lent no more.") % {"thing": f"{found.lot.item.code} {found.serial}"})
    return redirect("thing", found.pk)


# Rules


@require_http_methods(["GET", "POST"])
@members_only
def rules(request: MemberRequest) -> HttpResponse:
    """The club's rules of lending. Owners set them."""
    may = policy.allowed(request.member, "manage")
    if request.method == "POST":
        policy.require(request.member, "manage")
    kept = queries.rules(request.workshop)
    form = RulesForm(request.POST if request.method == "POST" else None, initial={name: getattr(kept, name) for name in RULES})
    before = as_it_stands(RulesForm(None, initial=form.initial))
    if request.method == "POST" and attempt(form, lambda: _set_rules(form, before, request)):
        return redirect("pool-rules")
    return _page(request, "rules", form if may else None, {"rules": kept})


def _set_rules(form: RulesForm, before: dict[str, object], request: MemberRequest) -> None:
    services.set_rules(workshop=request.workshop, **form.cleaned_data, by=request.member)
    undoable(request, _("The rules are saved. They hold for what is lent and booked from now on."), "pool-rules", fields=before)
