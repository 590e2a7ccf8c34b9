"""Mixing through a seal day on a phone: a card for each batch, its clock, and what was left of it."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.plan.models import Step
from buildplan.records import queries as records
from buildplan.sealday import services
from buildplan.sealday.dayview import BatchLot, DayView, PlannedBatch, Share
from buildplan.sealday.forms import EndForm, MixForm, Source, local_minute, read_shares, sources, write_shares
from buildplan.sealday.models import DayMix, SealDay
from buildplan.sealday.views import day_context, get_day, mixed_keys, open_day, posted, status, steps_of, view_of
from buildplan.sealing import services as sealing
from buildplan.sealing.models import Mix
from buildplan.sealing.services import Take
from inventory.common.fields import plain
from inventory.common.forms import attempt
from inventory.models import Item, Lot, Place
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

GRAM = "g"
BLANKS = (
    gettext_lazy("Base, g"),
    gettext_lazy("Accelerator, g"),
    gettext_lazy("Lot"),
    gettext_lazy("When"),
    gettext_lazy("Metal, F"),
    gettext_lazy("Who"),
    gettext_lazy("Used up or put away"),
    gettext_lazy("Left over, g"),
)


@never_cache
@require_http_methods(["GET", "POST"])
@members_only
def mix_card(request: MemberRequest, pk: int, number: int) -> HttpResponse:
    """A batch to mix: what to weigh out, and what was really mixed."""
    if request.method == "POST":
        return _mix(request, get_day(pk), number)
    found = get_day(pk)
    shown = view_of(found)
    batch = next((one for one in shown.batches if one.number == number), None)
    if batch is None:
        return _mixed_or_none(shown, number)
    policy.require(request.member, "use_stock", found.bench)
    open_day(request, pk, "use_stock")
    choices = _sources(batch.lots, shown, batch.item_id, batch.shares)
    several = "several" in request.GET or sum(1 for one in choices if one.planned) != 1
    form = MixForm(
        None, choices=choices, shares=batch.shares, several=several, now=timezone.now(), initial=_as_planned(request, found, batch)
    )
    return _card_page(request, shown, form, number, batch)


def _mixed_or_none(shown: DayView, number: int) -> HttpResponse:
    mixed = next((one for one in shown.mixed if one.number == number), None)
    if mixed is None:
        raise Http404
    return redirect("end-mix", mixed.mix_id)


def _as_planned(request: MemberRequest, day: SealDay, batch: PlannedBatch) -> dict[str, object]:
    return {
        "item": batch.item_id,
        "planned": write_shares(batch.shares),
        "base": batch.base,
        "accelerator": batch.accelerator,
        "mixed_at": local_minute(timezone.now()),
        "temperature_f": day.temperature_f,
        "mixed_by": request.member.name,
    }


def _sources(lots: Iterable[BatchLot], shown: DayView, item: int, shares: Sequence[Share]) -> list[Source]:
    """The lots that the batch is planned from, then what else of the product can serve its first step today."""
    others = [lot for batch in shown.batches if batch.item_id == item for lot in batch.lots]
    rest = [replace(one, planned=Decimal(0)) for one in sources(others, ())]
    return sources(lots, [*rest, *_proposed_lots(item, shares)])


def _proposed_lots(item: int, shares: Sequence[Share]) -> list[Source]:
    step = Step.objects.select_related("project__bench__workshop").get(pk=shares[0].step_id) if shares else None
    if step is None or step.done:
        return []
    proposals = [one for one in records.proposals(step, on=timezone.localdate()) if one.item.id == item and one.item.unit == GRAM]
    return [
        Source(choice.lot, choice.place, choice.lot_code or _("no lot code"), choice.path, choice.there, Decimal(0))
        for proposal in proposals
        for choice in proposal.choices
    ]


def _card_page(request: MemberRequest, shown: DayView, form: MixForm, number: int, batch: PlannedBatch | None) -> HttpResponse:
    context = {
        **day_context(request, shown),
        "form": form,
        "number": number,
        "batch": batch,
        "keys": mixed_keys(shown.day),
        "keep": f"{request.member.pk}:{shown.day.pk}:{number}",
    }
    return render(request, "sealday/mix.html", context, status=status(form))


def _mix(request: MemberRequest, day: SealDay, number: int) -> HttpResponse:
    """Write down what was mixed. The form's own figures count, whatever the plan has become meanwhile."""
    if (first := _mixed_already(request, day)) is not None:
        messages.info(request, _("This batch is written down already: nothing was taken a second time."))
        return redirect("end-mix", first)
    day = open_day(request, day.pk, "use_stock")
    shown = view_of(day)
    shares = read_shares(request.POST.get("planned", ""), {step.step_id: step.code for step in shown.steps})
    batch = next((one for one in shown.batches if one.number == number), None)
    item = _item(request.POST.get("item", ""), shown)
    lots = batch.lots if batch is not None and batch.item_id == item else ()
    choices = _sources(lots, shown, item, shares)
    form = MixForm(request.POST, choices=choices, shares=shares, several="several" in request.POST, now=timezone.now())
    made: list[DayMix] = []
    if attempt(form, lambda: made.append(_write_mix(form, day, item, request))):
        return redirect("end-mix", made[0].mix_id)
    return _card_page(request, shown, form, number, batch)


def _mixed_already(request: MemberRequest, day: SealDay) -> int | None:
    try:
        key = UUID(request.POST.get("key", ""))
    except ValueError:
        return None
    return DayMix.objects.filter(day=day, mix__key=key).values_list("mix_id", flat=True).first()


def _item(text: str, shown: DayView) -> int:
    known = {str(product.item_id): product.item_id for product in shown.products}
    if text not in known:
        raise Http404
    return known[text]


def _write_mix(form: MixForm, day: SealDay, item: int, request: MemberRequest) -> DayMix:
    given = form.cleaned_data
    takes, shares = form.takes(), form.shares()
    lots = Lot.objects.select_related("bench", "item", "workshop").in_bulk([lot for lot, _, _ in takes])
    places = Place.objects.in_bulk([place for _, place, _ in takes])
    found = {step.pk: step for step in steps_of([step for step, _ in shares])}
    return services.mix(
        day=day,
        item=Item.objects.get(pk=item),
        takes=[Take(lots[lot], places[place], grams) for lot, place, grams in takes],
        shares=[(found[step], grams) for step, grams in shares],
        on=timezone.localdate(given["mixed_at"]),
        by=request.member,
        **{name: given[name] for name in ("key", "base", "accelerator", "mixed_at", "mixed_by", "temperature_f", "note")},
    )


def _get_mix(pk: int) -> DayMix:
    return get_object_or_404(DayMix.objects.select_related("mix__item", "mix__workshop", "day__bench__workshop"), mix_id=pk)


@never_cache
@require_http_methods(["GET", "POST"])
@members_only
def end_mix(request: MemberRequest, pk: int) -> HttpResponse:
    """A batch that was mixed: how long it can be worked, and what was left of it."""
    found = _get_mix(pk)
    now = timezone.now()
    if request.method == "POST":
        policy.require(request.member, "use_stock", found.day.bench)
    said = {"left": found.mix.left if found.mix.left is not None else Decimal(0), "at": local_minute(found.mix.ended_at or now)}
    form = EndForm(posted(request), now=now, initial=said)
    if request.method == "POST" and attempt(form, lambda: _end(form, found.mix, request)):
        return redirect("seal-day", found.day_id)
    shown = view_of(found.day)
    batch = next(one for one in shown.mixed if one.mix_id == found.mix_id)
    context = {**day_context(request, shown), "form": form, "batch": batch, "mix": found.mix, "keys": mixed_keys(found.day)}
    return render(request, "sealday/mixed.html", context | {"next": next(iter(shown.batches), None)}, status=status(form))


def _end(form: EndForm, mix: Mix, request: MemberRequest) -> None:
    sealing.end_mix(mix=mix, **form.cleaned_data, by=request.member)
    messages.success(request, _("%(grams)s g of it were left over.") % {"grams": plain(form.cleaned_data["left"])})


@require_POST
@members_only
def take_back_mix(request: MemberRequest, pk: int) -> HttpResponse:
    """Undo a batch that was written down by mistake: what it took goes back where it lay."""
    found = _get_mix(pk)
    now = timezone.now()
    sealing.take_back_mix(mix=found.mix, on=timezone.localdate(now), now=now, by=request.member)
    messages.success(request, _("The batch is taken back: what it took lies where it lay."))
    return redirect("seal-day", found.day_id)


@require_GET
@members_only
def card(request: MemberRequest, pk: int) -> HttpResponse:
    """The mix cards of all batches still to be mixed, to print."""
    return render(request, "sealday/card.html", day_context(request, view_of(get_day(pk))) | {"blanks": BLANKS})
