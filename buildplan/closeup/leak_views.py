"""Pages of leak tests."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.closeup import services
from buildplan.closeup.chart import chart
from buildplan.closeup.forms import LeakTestForm, ReadingForm, WhyForm, as_initial, reading_begins
from buildplan.closeup.knowing import VERDICTS
from buildplan.closeup.leaks import leak_tests, limit_of, with_readings
from buildplan.closeup.models import LeakReading, LeakTest
from buildplan.closeup.views import get_section
from buildplan.plan.models import Section
from inventory.common.forms import apart, attempt
from inventory.common.pages import UNREADABLE
from inventory.common.reasons import PRACTICE, Reason
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

CAUTIONS = (
    Reason(
        gettext_noop("Whether air may be used at all, how high and for how long says the kit maker: that wins over everything here."),
        "its maker",
    ),
    Reason(
        gettext_noop(
            "Air under pressure stores work: a tank can burst and hurt. Stand clear, wear eye protection, let nobody lean over it."
        ),
        PRACTICE,
    ),
    Reason(
        gettext_noop(
            "Never compressed air from the line: pump by hand, a little at a time. A water manometer, open at its end, blows out before "
            "much more builds up."
        ),
        PRACTICE,
    ),
    Reason(
        gettext_noop("A tank that ever held fuel holds vapours that explode: purge it as its maker says; no spark, no flame, no hot lamp."),
        PRACTICE,
    ),
    Reason(gettext_noop("Let the air inside settle first, out of sun and draught: a hand's warmth shows on the gauge."), PRACTICE),
)


def get_leak_test(pk: int) -> LeakTest:
    """The leak test of an id in the address, with its section; else 404."""
    return get_object_or_404(leak_tests(), pk=pk)


@require_http_methods(["GET", "POST"])
@members_only
def new_leak_test(request: MemberRequest, pk: int) -> HttpResponse:
    """Begin a leak test of a section."""
    section = get_section(pk)
    policy.require(request.member, "write_log", section.project.bench)
    form = LeakTestForm(request.POST if request.method == "POST" else None)
    made: list[LeakTest] = []
    if request.method == "POST" and attempt(form, lambda: made.append(_make(form, section, request))):
        messages.success(request, _("The test is begun. Write down the first reading."))
        return redirect("leak-test", made[0].pk)
    context = {"form": form, "section": section, "project": section.project, "leak_cautions": CAUTIONS}
    return render(request, "closeup/leak_form.html", context, status=UNREADABLE if form.errors else None)


def _make(form: LeakTestForm, section: Section, request: MemberRequest) -> LeakTest:
    return services.make_leak_test(section=section, stated=form.stated(), key=form.cleaned_data["key"], by=request.member)


@require_GET
@members_only
def leak_test(request: MemberRequest, pk: int) -> HttpResponse:
    """A leak test: its readings, corrected, beside the limit that was entered."""
    return _leak_page(request, get_leak_test(pk))


def _leak_page(
    request: MemberRequest, test: LeakTest, form: ReadingForm | None = None, strike: tuple[int, WhyForm] | None = None
) -> HttpResponse:
    (leak,) = with_readings([test])
    shown = form or ReadingForm(initial=reading_begins(leak))
    refused = bool(shown.errors or (strike and strike[1].errors))
    context: dict[str, Any] = {
        "leak": leak,
        "section": test.section,
        "project": test.section.project,
        "verdict": VERDICTS[leak.verdict],
        "chart": chart(leak.judged.rows, limit_of(test), leak.unit),
        "form": shown,
        "rows": [(row, _strike_form(row.row.pk, strike)) for row in leak.readings],
        "may_write": policy.allowed(request.member, "write_log", test.section.project.bench),
        "leak_cautions": CAUTIONS,
    }
    return render(request, "closeup/leak.html", context, status=UNREADABLE if refused else None)


def _strike_form(pk: int, typed: tuple[int, WhyForm] | None) -> WhyForm:
    return apart(typed[1] if typed and typed[0] == pk else WhyForm(), f"strike-{pk}")


@require_http_methods(["GET", "POST"])
@members_only
def change_leak_test(request: MemberRequest, pk: int) -> HttpResponse:
    """Correct what is tested and what the kit maker allows."""
    test = get_leak_test(pk)
    policy.require(request.member, "write_log", test.section.project.bench)
    form = LeakTestForm(request.POST if request.method == "POST" else None, initial=as_initial(test))
    if request.method == "POST" and attempt(form, lambda: services.change_leak_test(test=test, stated=form.stated(), by=request.member)):
        messages.success(request, _("The test is changed."))
        return redirect("leak-test", test.pk)
    context = {"form": form, "test": test, "section": test.section, "project": test.section.project, "leak_cautions": CAUTIONS}
    return render(request, "closeup/leak_form.html", context, status=UNREADABLE if form.errors else None)


@require_POST
@members_only
def add_reading(request: MemberRequest, pk: int) -> HttpResponse:
    """Write a reading down."""
    test = get_leak_test(pk)
    policy.require(request.member, "write_log", test.section.project.bench)
    form = ReadingForm(request.POST)
    if attempt(form, lambda: _read(form, test, request)):
        messages.success(request, _("The reading is written down."))
        return redirect("leak-test", test.pk)
    return _leak_page(request, test, form=form)


def _read(form: ReadingForm, test: LeakTest, request: MemberRequest) -> None:
    services.add_reading(test=test, read=form.read(), key=form.cleaned_data["key"], by=request.member, now=timezone.now())


@require_POST
@members_only
def strike_reading(request: MemberRequest, pk: int) -> HttpResponse:
    """Strike a mistaken reading out."""
    rows = LeakReading.objects.select_related("test__section__project__bench__workshop", "test__by")
    found = get_object_or_404(rows, pk=pk)
    policy.require(request.member, "write_log", found.test.section.project.bench)
    form = WhyForm(request.POST)
    if attempt(form, lambda: _strike(form, found, request)):
        messages.success(request, _("The reading is struck out. It stays and can be read."))
        return redirect("leak-test", found.test_id)
    return _leak_page(request, found.test, strike=(found.pk, form))


def _strike(form: WhyForm, found: LeakReading, request: MemberRequest) -> None:
    services.strike_reading(reading=found, why=form.cleaned_data["why"], by=request.member, now=timezone.now())
