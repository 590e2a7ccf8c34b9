"""Seal days: planning and moving one, mixing through it on a phone, closing it."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.figures.sealant import CAUTIONS
from buildplan.plan.models import Step
from buildplan.records.sheet import DEFER
from buildplan.sealday import queries, services
from buildplan.sealday.dayview import DayView, HeldClecos, MixedBatch, StepChoice
from buildplan.sealday.forms import (
    COMES,
    GOES,
    CallOffForm,
    CheckForm,
    CloseForm,
    DayForm,
    MoveForm,
    PeopleForm,
    PlanForm,
    ProductsForm,
    Said,
    StepsForm,
)
from buildplan.sealday.models import DayCheck, DayMix, SealDay
from buildplan.sealday.script_words import page_texts
from buildplan.sealday.services import Moved, Outcome
from inventory.common.exact import decimal_text
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.showing import date_text
from inventory.common.undo import undoable
from inventory.models import Bench, Item, Member
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

GRAM = "g"
ONE_DAY = timedelta(days=1)
ANY_WORDS = 200

Write = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Offered:
    """A bench on the list page: the days on which steps that seal are planned, and are in no seal day yet."""

    bench: Bench
    days: tuple[tuple[date | None, tuple[StepChoice, ...]], ...]


@dataclass(frozen=True, slots=True)
class Held:
    """Clecos of one size that the day holds through a day; None where no end is known."""

    item: str
    count: int
    through: date | None


@dataclass(frozen=True, slots=True)
class Box:
    """A step that can be ticked."""

    step: StepChoice
    box: BoundField


# The list, and a new day


@require_GET
@members_only
def seal_days(request: MemberRequest) -> HttpResponse:
    """Every seal day; for each bench the days on which steps are planned that seal."""
    today = timezone.localdate()
    benches = Bench.objects.filter(projects__isnull=False).distinct().order_by("code")
    context = {
        "days": queries.days(today=today),
        "offered": [_offered(bench, today) for bench in benches if policy.allowed(request.member, "plan", bench)],
        "may_plan": policy.allowed(request.member, "plan"),
        "today": today,
    }
    return render(request, "sealday/days.html", context)


def _offered(bench: Bench, today: date) -> Offered:
    """Steps to come by their days; those whose day is past count as without one, since a seal day is never in the past."""
    by_day: dict[date | None, list[StepChoice]] = {}
    for step in _free(queries.choices(bench=bench.pk)):
        planned = step.planned_on if step.planned_on and step.planned_on >= today else None
        by_day.setdefault(planned, []).append(step)
    ordered = sorted(by_day.items(), key=lambda pair: pair[0] or date.max)
    return Offered(bench, tuple((day, tuple(steps)) for day, steps in ordered))


def _free(choices: Iterable[StepChoice]) -> list[StepChoice]:
    return [step for step in choices if step.seals and step.day_id is None]


@require_http_methods(["GET", "POST"])
@members_only
def plan_day(request: MemberRequest, bench: int) -> HttpResponse:
    """Plan a seal day of a bench; `on` in the address proposes the steps that are planned for that day."""
    found = get_object_or_404(Bench, pk=bench)
    policy.require(request.member, "plan", found)
    choices = [step for step in queries.choices(bench=found.pk) if step.day_id is None]
    proposed = _proposed(request, choices)
    form = PlanForm(
        request.POST if request.method == "POST" else None,
        choices=_labels(choices),
        people=[(request.member.name, COMES, GOES)],
        initial=proposed,
    )
    kept: list[SealDay] = []
    if request.method == "POST":
        if (twice := _planned_already(request, found)) is not None:
            return twice
        if attempt(form, lambda: kept.append(_plan(form, found, request))):
            return redirect("seal-day", kept[0].pk)
    context = {"bench": found, "form": form, **_boxes(form, choices), "members": _members()}
    return render(request, "sealday/plan.html", context, status=status(form))


def _proposed(request: MemberRequest, choices: Iterable[StepChoice]) -> dict[str, object]:
    today = timezone.localdate()
    to_come = sorted({step.planned_on for step in choices if step.seals and step.planned_on and step.planned_on >= today})
    day = _day(request.GET.get("on", "")) or next(iter(to_come), today)
    return {"on": day, "steps": [str(step.id) for step in choices if step.seals and step.planned_on == day]}


def _day(text: str) -> date | None:
    try:
        found: date | None = PlanForm.base_fields["on"].clean(text)
    except ValidationError:
        return None
    return found


def _labels(choices: Iterable[StepChoice]) -> list[tuple[int, str]]:
    return [(step.id, f"{step.code} {step.title}") for step in choices]


def _boxes(form: StepsForm, choices: Sequence[StepChoice]) -> dict[str, list[Box]]:
    """The boxes of the steps: those that seal, and the others."""
    by_step = {str(box.data["value"]): box for box in form["steps"]}
    boxes = [Box(step, by_step[str(step.id)]) for step in choices if str(step.id) in by_step]  # type: ignore[arg-type]
    return {"sealing": [box for box in boxes if box.step.seals], "others": [box for box in boxes if not box.step.seals]}


def _plan(form: PlanForm, bench: Bench, request: MemberRequest) -> SealDay:
    given = form.cleaned_data
    day = services.plan_seal_day(
        bench=bench,
        on=given["on"],
        steps=steps_of(form.step_ids()),
        by=request.member,
        today=timezone.localdate(),
        **_of_day(given),
    )
    services.set_people(day=day, people=form.people(_by_name()), by=request.member)
    messages.success(request, _("The seal day on %(on)s is planned.") % {"on": date_text(day.on)})
    return day


def _planned_already(request: MemberRequest, bench: Bench) -> HttpResponse | None:
    """The day that the same form made a moment ago, pressed twice: its steps can't be chosen any more."""
    on, steps = _day(request.POST.get("on", "")), set(request.POST.getlist("steps"))
    same = SealDay.objects.filter(bench=bench, on=on, by=request.member, closed_at=None, called_off_at=None).first() if on else None
    if same is None or {str(step) for step in same.steps.values_list("step_id", flat=True)} != steps:
        return None
    messages.info(request, _("It is planned already: nothing was planned a second time."))
    return redirect("seal-day", same.pk)


def _of_day(given: Mapping[str, Any]) -> dict[str, Any]:
    return {name: given[name] for name in DayForm.base_fields}


def steps_of(ids: Sequence[int]) -> list[Step]:
    """The steps of these ids, in their order, with all they belong to."""
    found = Step.objects.select_related("project__bench__workshop").in_bulk(ids)
    return [found[pk] for pk in ids if pk in found]


def _members() -> list[Member]:
    return list(Member.objects.filter(active=True).exclude(user=None).order_by("name"))


def _by_name() -> dict[str, Member]:
    return {member.name.casefold(): member for member in _members()}


# One day


@never_cache
@require_GET
@members_only
def seal_day(request: MemberRequest, pk: int) -> HttpResponse:
    """A seal day with all that follows from it."""
    found = get_day(pk)
    shown = view_of(found)
    running = [one for one in shown.mixed if one.ended_at is None and one.taken_back_at is None]
    context = {
        **day_context(request, shown),
        "running": running,
        "clecos": _held(shown.clecos),
        "next": next(iter(shown.batches), None),
        "days_left": (found.on - timezone.localdate()).days,
        "check_form": CheckForm(),
        "keys": mixed_keys(found),
    }
    return render(request, "sealday/day.html", context)


def _held(rows: Iterable[HeldClecos]) -> list[Held]:
    """What rows hold of each cleco, by the day through which it is held."""
    counts: dict[tuple[str, date | None], int] = defaultdict(int)
    for row in rows:
        counts[row.item, row.until_day] += row.count
    ordered = sorted(counts.items(), key=lambda pair: (pair[0][0], pair[0][1] or date.max))
    return [Held(item, count, through) for (item, through), count in ordered]


def get_day(pk: int) -> SealDay:
    """The seal day of an id in the address; else 404."""
    return get_object_or_404(SealDay.objects.select_related("bench__workshop", "by", "closed_by", "called_off_by"), pk=pk)


def open_day(request: MemberRequest, pk: int, permission: str = "plan") -> SealDay:
    """A day that the member may change and that can still be changed."""
    found = get_day(pk)
    policy.require(request.member, permission, found.bench)
    if not found.open:
        raise services.DayOver(f"the seal day on {found.on} is {'closed' if found.closed_at else 'called off'}: it changes no more")
    return found


def view_of(day: SealDay) -> DayView:
    """A day with all that follows from it, now."""
    now = timezone.now()
    return queries.view(day, today=timezone.localdate(now), now=now)


def day_context(request: MemberRequest, shown: DayView) -> dict[str, Any]:
    """What every page of a day shows or asks."""
    return {
        "day": shown.day,
        "view": shown,
        "temperature": _degrees(shown.day),
        "may_plan": policy.allowed(request.member, "plan", shown.day.bench) and shown.day.open,
        "may_mix": policy.allowed(request.member, "use_stock", shown.day.bench) and shown.day.open,
        "now": timezone.now(),
        "today": timezone.localdate(),
        "cautions": CAUTIONS,
        "deferral": DEFER,
        "script_texts": page_texts(),
    }


def _degrees(day: SealDay) -> str:
    return "" if day.temperature_f is None else f"{decimal_text(day.temperature_f, 1)} F"


def mixed_keys(day: SealDay) -> str:
    """The keys of all batches of the day: what a browser keeps of one of these was received."""
    return " ".join(str(key) for key in DayMix.objects.filter(day=day).values_list("mix__key", flat=True))


def status(form: django_forms.Form) -> int | None:
    """422 for a form that went wrong."""
    return UNREADABLE if form.errors else None


def _form_page(request: MemberRequest, day: SealDay, form: django_forms.Form, write: Write, template: str, **more: object) -> HttpResponse:
    """A page with one form of a day: back to the day once `write` went well."""
    if request.method == "POST" and attempt(form, write):
        return redirect("seal-day", day.pk)
    return render(request, f"sealday/{template}.html", {"day": day, "form": form, **more}, status=status(form))


@require_http_methods(["GET", "POST"])
@members_only
def change(request: MemberRequest, pk: int) -> HttpResponse:
    """Change temperature, pace, scale and note."""
    found = open_day(request, pk)
    said = {name: getattr(found, name) for name in DayForm.base_fields}
    form = DayForm(posted(request), initial=said)
    return _form_page(
        request, found, form, lambda: services.change_seal_day(day=found, **_of_day(form.cleaned_data), by=request.member), "change"
    )


def posted(request: MemberRequest) -> Any:
    """What was sent, None where the page is only looked at."""
    return request.POST if request.method == "POST" else None


@require_http_methods(["GET", "POST"])
@members_only
def people(request: MemberRequest, pk: int) -> HttpResponse:
    """Say who is there."""
    found = open_day(request, pk)
    there = [(one.name, one.comes, one.goes) for one in found.people.order_by("comes", "name")]
    form = PeopleForm(posted(request), people=there)

    def write() -> None:
        services.set_people(day=found, people=form.people(_by_name()), by=request.member)

    return _form_page(request, found, form, write, "people", members=_members())


@require_http_methods(["GET", "POST"])
@members_only
def steps(request: MemberRequest, pk: int) -> HttpResponse:
    """Say which steps."""
    found = open_day(request, pk)
    choices = [step for step in queries.choices(bench=found.bench_id) if step.day_id in {None, found.pk}]
    ticked = [str(step.id) for step in choices if step.day_id == found.pk]
    form = StepsForm(posted(request), choices=_labels(choices), initial={"steps": ticked})

    def write() -> None:
        services.set_steps(day=found, steps=steps_of(form.step_ids()), by=request.member, today=timezone.localdate())

    return _form_page(request, found, form, write, "steps", **_boxes(form, choices))


@require_http_methods(["GET", "POST"])
@members_only
def products(request: MemberRequest, pk: int) -> HttpResponse:
    """Enter what the data sheets say."""
    found = open_day(request, pk)
    shown = view_of(found).products
    form = ProductsForm(posted(request), products=shown)

    def write() -> None:
        items = Item.objects.in_bulk([product.item_id for product in shown])
        for item, life, cure in form.given():
            services.set_product(day=found, item=items[item], life_hours=life, cure_hours=cure, by=request.member)

    return _form_page(request, found, form, write, "products")


@require_POST
@members_only
def hold(request: MemberRequest, pk: int) -> HttpResponse:
    """Set the lots of the plan aside for its steps, or free them again."""
    found = open_day(request, pk)
    if "release" in request.POST:
        services.release_lots(day=found, by=request.member)
        undoable(request, _("The lots are free again."), "seal-day-hold", found.pk)
    else:
        now = timezone.now()
        services.hold_lots(day=found, by=request.member, today=timezone.localdate(now), now=now)
        undoable(request, _("The lots of the plan are set aside for its steps."), "seal-day-hold", found.pk, fields={"release": 1})
    return redirect("seal-day", found.pk)


# The night before


@require_POST
@members_only
def add_check(request: MemberRequest, pk: int) -> HttpResponse:
    """Put a line of people's own on the list to the night before."""
    found = open_day(request, pk)
    form = CheckForm(request.POST)
    return _form_page(request, found, form, lambda: services.add_check(day=found, **form.cleaned_data, by=request.member), "check")


@require_POST
@members_only
def tick(request: MemberRequest, pk: int) -> HttpResponse:
    """Tick a line of the list, or take the tick off."""
    found = open_day(request, pk)
    key, text = (request.POST.get(name, "")[:ANY_WORDS] for name in ("key", "text"))
    services.tick(day=found, key=key, text=text, done="undo" not in request.POST, by=request.member, now=timezone.now())
    return HttpResponseRedirect(f"{_address(found)}#night-before")


@require_POST
@members_only
def remove_check(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a line of people's own off the list."""
    check = get_object_or_404(DayCheck.objects.select_related("day__bench__workshop"), pk=pk)
    services.remove_check(check=check, by=request.member)
    return HttpResponseRedirect(f"{_address(check.day)}#night-before")


def _address(day: SealDay) -> str:
    return reverse("seal-day", args=[day.pk])


# Moving


@require_http_methods(["GET", "POST"])
@members_only
def move(request: MemberRequest, pk: int) -> HttpResponse:
    """Move a day, and what goes with it: first a look at before and after, then the move itself."""
    found = open_day(request, pk)
    others = list(SealDay.objects.filter(bench=found.bench, closed_at=None, called_off_at=None).exclude(pk=found.pk).order_by("on"))
    ticked = [str(one.pk) for one in others if one.on > found.on]
    initial = {"days": ticked, "to": found.on + 7 * ONE_DAY}
    form = MoveForm(posted(request), others=[(one.pk, f"{one.on:%a} {one.on}") for one in others], initial=initial)
    looked: list[Moved] = []
    if request.method == "POST":
        if _moved_already(request, found, form):
            return redirect("seal-day", found.pk)
        if attempt(form, lambda: _move(form, found, others, request, looked)) and not looked:
            return redirect("seal-day", found.pk)
    context = {"day": found, "form": form, "others": others, "looked": next(iter(looked), None), "seen": _seen(form) if looked else ""}
    return render(request, "sealday/move.html", context, status=status(form))


def _move(form: MoveForm, day: SealDay, others: Iterable[SealDay], request: MemberRequest, looked: list[Moved]) -> None:
    now = timezone.now()
    along = set(form.day_ids())
    said = {
        "days": [day, *(one for one in others if one.pk in along)],
        "to": form.cleaned_data["to"],
        "later": form.cleaned_data["later"],
        "by": request.member,
        "today": timezone.localdate(now),
        "now": now,
    }
    if "move" not in request.POST or request.POST.get("looked") != _seen(form):  # what was not looked at is not moved
        looked.append(services.try_move(**said))
        return
    services.move(**said)
    told = _("The seal day is on %(on)s now, and all that hangs on it is planned anew.") % {"on": date_text(form.cleaned_data["to"])}
    messages.success(request, told)


def _seen(form: MoveForm) -> str:
    given = form.cleaned_data
    return f"{given['to']} {' '.join(given['days'])} {given['later']}"


def _moved_already(request: MemberRequest, day: SealDay, form: MoveForm) -> bool:
    """The move was pressed twice: the day is there already."""
    return "move" in request.POST and form.is_valid() and form.cleaned_data["to"] == day.on


# The end of a day


@require_http_methods(["GET", "POST"])
@members_only
def close(request: MemberRequest, pk: int) -> HttpResponse:
    """Close a day: each step is done, or carried to another day with a reason."""
    found = get_day(pk)
    if request.method == "POST" and found.closed_at is not None:
        messages.info(request, _("This seal day is closed already: nothing was taken a second time."))
        return redirect("seal-day", found.pk)
    found = open_day(request, pk, "use_stock")
    shown = view_of(found)
    form = CloseForm(posted(request), steps=shown.steps, tomorrow=max(timezone.localdate(), found.on) + ONE_DAY)
    if request.method == "POST" and attempt(form, lambda: _close(form, found, request)):
        return redirect("seal-day", found.pk)
    unended = [one for one in shown.mixed if one.ended_at is None and one.taken_back_at is None]
    context = {**day_context(request, shown), "form": form, "unended": unended, "taken": _taken(form, shown)}
    return render(request, "sealday/close.html", context, status=status(form))


def _taken(form: CloseForm, shown: DayView) -> list[tuple[Any, ...]]:
    """Each step with its boxes and with what was mixed for it."""
    return [(*boxes, _mixed_for(boxes[0].step_id, shown.mixed)) for boxes in form.boxes()]


def _mixed_for(step: int, mixed: Iterable[MixedBatch]) -> list[tuple[str, Decimal]]:
    grams: dict[str, Decimal] = {}
    for batch in mixed:
        if batch.taken_back_at is not None:
            continue
        for share in batch.shares:
            if share.step_id == step:
                grams[batch.product] = grams.get(batch.product, Decimal(0)) + share.grams
    return list(grams.items())


def _close(form: CloseForm, day: SealDay, request: MemberRequest) -> None:
    now = timezone.now()
    said = form.outcomes()
    found = {step.pk: step for step in steps_of([one.step for one in said])}
    outcomes = [_outcome(one, found) for one in said]
    services.close(day=day, outcomes=outcomes, by=request.member, today=timezone.localdate(now), now=now)
    messages.success(request, _("The seal day is closed."))


def _outcome(said: Said, found: Mapping[int, Step]) -> Outcome:
    return Outcome(step=found[said.step], done=said.done, carry_to=said.carry_to, reason=said.reason)


@require_http_methods(["GET", "POST"])
@members_only
def call_off(request: MemberRequest, pk: int) -> HttpResponse:
    """Call a day off."""
    found = open_day(request, pk)
    form = CallOffForm(posted(request))
    return _form_page(
        request, found, form, lambda: services.call_off(day=found, **form.cleaned_data, by=request.member, now=timezone.now()), "call_off"
    )
