"""What a lot went through; how an item is stored; temperature logs."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from inventory.catalogue import services as catalogue
from inventory.catalogue.models import Item
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.showing import instant_text
from inventory.common.undo import as_it_stands, undoable
from inventory.photos import services as photos
from inventory.photos.forms import PhotoForm
from inventory.photos.queries import of as photos_of
from inventory.shelflife import logs, queries, services
from inventory.shelflife.forms import AcceptForm, DisposeForm, ExtensionForm, LogForm, StorageForm, TestForm, WithdrawForm
from inventory.shelflife.models import Acceptance, StorageRule, UpdateTest
from inventory.shelflife.published import RUBBER
from inventory.stock import services as stock
from inventory.stock import views as stock_views
from inventory.stock.models import Lot, Place
from inventory.stock.queries import place_of, place_paths
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

_BOUNDS = ("low", "high", "use_within_days", "never_below", "never_above", "longest_gap_hours", "source")


# A lot


@require_GET
@members_only
def lot(request: MemberRequest, pk: int) -> HttpResponse:
    """One lot: its dates, where it lies, what it went through, what moved."""
    found = stock_views.lot_of(pk)
    allowed = {name: policy.allowed(request.member, name) for name in ("judge_lots", "accept", "keep_stock")}
    places = _places(found) if allowed["keep_stock"] else Place.objects.none()
    more = {
        "story": queries.story(found, until=timezone.now()),
        "test_form": TestForm(today=timezone.localdate()) if allowed["judge_lots"] and found.code else None,
        "accept_form": AcceptForm() if allowed["accept"] else None,
        "dispose_form": DisposeForm(places=places) if places else None,
    }
    return stock_views.lot_page(request, found, more)


def _places(found: Lot) -> Any:
    return Place.objects.filter(holdings__lot=found, holdings__quantity__gt=0).order_by("key")


@require_http_methods(["GET", "POST"])
@members_only
def lot_test(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down an update test."""
    found = stock_views.lot_of(pk)
    policy.require(request.member, "judge_lots", found.bench)
    form = TestForm(request.POST if request.method == "POST" else None, today=timezone.localdate())

    def write() -> None:
        given = dict(form.cleaned_data)
        services.record_test(lot=found, passed=given.pop("result") == "passed", by=request.member, **given)

    return stock_views.change_lot(request, found, form, _("The test of %(lot)s is recorded.") % {"lot": stock.named(found)}, write)


@require_http_methods(["GET", "POST"])
@members_only
def test_photos(request: MemberRequest, pk: int) -> HttpResponse:
    """The photos of an update test, and one more."""
    test = get_object_or_404(UpdateTest.objects.select_related("lot__item", "lot__bench"), pk=pk)
    allowed = policy.allowed(request.member, "judge_lots")
    form = PhotoForm(request.POST, request.FILES) if request.method == "POST" else PhotoForm()
    if request.method == "POST":
        policy.require(request.member, "judge_lots", test.lot.bench)
        if form.is_valid():
            given = form.cleaned_data
            kept = photos.keep(ref=test.ref, picture=given["photo"], caption=given["caption"], at=timezone.now(), by=request.member)
            undoable(request, _("The photo is kept."), "remove-photo", kept.pk, fields={"next": request.path})
            return redirect("test-photos", test.pk)
    context = {"test": test, "lot": test.lot, "photos": photos_of([test.ref])[test.ref], "form": form if allowed else None}
    return render(request, "shelflife/test_photos.html", context, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def lot_accept(request: MemberRequest, pk: int) -> HttpResponse:
    """Accept a lot past its life through a day."""
    found = stock_views.lot_of(pk)
    policy.require(request.member, "accept", found.bench)
    form = AcceptForm(request.POST if request.method == "POST" else None)
    done = _("%(found)s is accepted.") % {"found": stock.named(found)}
    today = timezone.localdate()
    return stock_views.change_lot(
        request, found, form, done, lambda: services.accept(lot=found, on=today, by=request.member, **form.cleaned_data)
    )


@require_http_methods(["GET", "POST"])
@members_only
def withdraw_acceptance(request: MemberRequest, pk: int) -> HttpResponse:
    """Take an acceptance back."""
    found = get_object_or_404(Acceptance.objects.select_related("lot__item", "lot__bench"), pk=pk)
    policy.require(request.member, "accept", found.lot.bench)
    form = WithdrawForm(request.POST if request.method == "POST" else None)
    today = timezone.localdate()

    def write() -> None:
        services.withdraw(acceptance=found, on=today, by=request.member, **form.cleaned_data)

    return stock_views.change_lot(request, found.lot, form, _("The acceptance is withdrawn."), write)


@require_http_methods(["GET", "POST"])
@members_only
def lot_dispose(request: MemberRequest, pk: int) -> HttpResponse:
    """Scrap goods, and write down how they left."""
    found = stock_views.lot_of(pk)
    policy.require(request.member, "keep_stock", found.bench)
    form = DisposeForm(request.POST if request.method == "POST" else None, places=_places(found))
    today = timezone.localdate()

    def write() -> None:
        services.dispose(lot=found, on=today, by=request.member, **form.cleaned_data)

    return stock_views.change_lot(
        request, found, form, _("%(lot)s: what was scrapped is written down.") % {"lot": stock.named(found)}, write
    )


# An item


@require_http_methods(["GET", "POST"])
@members_only
def item_storage(request: MemberRequest, pk: int) -> HttpResponse:
    """How an item is stored."""
    item = get_object_or_404(Item, pk=pk)
    rule = StorageRule.objects.filter(item=item).first()
    said = {name: getattr(rule, name) for name in _BOUNDS} if rule else None
    form = StorageForm(request.POST if request.method == "POST" else None, initial=said)
    if request.method == "POST" and attempt(form, lambda: _save_rule(form, item, request)):
        saved = _("How %(item)s is stored is saved.") % {"item": item.code}
        if said:
            undoable(request, saved, "item-storage", item.pk, fields=as_it_stands(StorageForm(initial=said)))
        else:
            undoable(request, saved, "remove-storage-rule", StorageRule.objects.get(item=item).pk)
        return redirect("item-storage", item.pk)
    return _item_page(request, item, rule, form, ExtensionForm(initial={"extend_part": item.extend_part}))


def _save_rule(form: forms.Form, item: Item, request: MemberRequest) -> None:
    services.save_rule(item=item, by=request.member, now=timezone.now(), **form.cleaned_data)


@require_http_methods(["POST"])
@members_only
def item_extension(request: MemberRequest, pk: int) -> HttpResponse:
    """What a passed test adds to the life of an item."""
    item = get_object_or_404(Item, pk=pk)
    form, before = ExtensionForm(request.POST), as_it_stands(ExtensionForm(initial={"extend_part": item.extend_part}))
    if attempt(form, lambda: catalogue.edit_item(item=item, changes=form.cleaned_data, by=request.member)):
        undoable(
            request, _("What a passed test adds to %(item)s is saved.") % {"item": item.code}, "item-extension", item.pk, fields=before
        )
        return redirect("item-storage", item.pk)
    rule = StorageRule.objects.filter(item=item).first()
    return _item_page(request, item, rule, StorageForm(initial={name: getattr(rule, name) for name in _BOUNDS} if rule else None), form)


def _item_page(request: MemberRequest, item: Item, rule: StorageRule | None, form: forms.Form, extension: forms.Form) -> HttpResponse:
    context = {
        "item": item,
        "rule": rule,
        "form": form,
        "extension": extension,
        "rubber": RUBBER,
        "may_keep": policy.allowed(request.member, "keep_stock"),
    }
    return render(request, "shelflife/item.html", context, status=UNREADABLE if form.errors or extension.errors else None)


@require_http_methods(["POST"])
@members_only
def remove_storage_rule(request: MemberRequest, pk: int) -> HttpResponse:
    """Forget how an item is stored."""
    rule = get_object_or_404(StorageRule.objects.select_related("item"), pk=pk)
    before = as_it_stands(StorageForm(initial={name: getattr(rule, name) for name in _BOUNDS}))
    services.remove_rule(rule=rule, by=request.member)
    undoable(
        request,
        _("No rule of storage is known of %(item)s any more.") % {"item": rule.item.code},
        "item-storage",
        rule.item_id,
        fields=before,
    )
    return redirect("item-storage", rule.item_id)


# Temperatures


@require_http_methods(["GET", "POST"])
@members_only
def temperatures(request: MemberRequest) -> HttpResponse:
    """Which places have a thermometer; a log is read in here."""
    may_log = policy.allowed(request.member, "log_temperatures")
    if request.method == "POST":
        policy.require(request.member, "log_temperatures")
    form = LogForm(request.POST, request.FILES) if request.method == "POST" else LogForm() if may_log else None
    if form is not None and request.method == "POST" and attempt(form, _writer(form, request)):
        return redirect("temperatures")
    context = {"watched": queries.watched(), "form": form, "places": place_paths()}
    return render(request, "shelflife/temperatures.html", context, status=UNREADABLE if form and form.errors else None)


def _writer(form: LogForm, request: MemberRequest) -> Callable[[], None]:
    def write() -> None:
        given = form.cleaned_data
        place = place_of(given["place"])
        if place is None:
            raise stock.BadPlace(f"there is no place {given['place']} here")
        log = logs.read_log(given["log"], zone=given["zone"], told=instant_text)
        said = {"readings": log.readings, "rows": log.rows, "faults": log.faults, "corrects": given["corrects"]}
        kept = services.log_temperatures(place=place, **said, by=request.member, now=timezone.now())
        lots = ", ".join(stock.named(lot) for lot in kept.changed)
        counts = {"place": place.path, "added": kept.added, "corrected": kept.corrected, "known": kept.known}
        text = _("%(place)s: %(added)s new readings, %(corrected)s corrected, %(known)s there already.") % counts
        messages.success(request, text + (_(" It changes the life of %(lots)s.") % {"lots": lots} if lots else ""))

    return write
