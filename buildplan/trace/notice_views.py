"""The pages of makers' notices: writing one down, the sweep and its work list, the letters."""

from uuid import UUID, uuid4

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.trace import notices as queries
from buildplan.trace import services
from buildplan.trace.calc import Verdict
from buildplan.trace.forms import NoticeForm, TickForm, as_said
from buildplan.trace.models import Notice, NoticeLetter, Task
from buildplan.trace.views import as_file, words
from inventory.claims.calc import of_facts
from inventory.claims.pdf import as_pdf
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import undoable
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

VERDICTS = (Verdict.AFFECTED, Verdict.POSSIBLY, Verdict.NOT)
PAGE = 50
MOST_LOTS = 100  # lots of one verdict on a page


def _notice(pk: int) -> Notice:
    return get_object_or_404(Notice.objects.select_related("by", "workshop"), pk=pk)


def _task(pk: int) -> Task:
    return get_object_or_404(queries.tasks(), pk=pk)


def _letter(pk: int) -> NoticeLetter:
    return get_object_or_404(NoticeLetter.objects.select_related("notice", "member", "by", "sweep"), pk=pk)


@require_GET
@members_only
def notices(request: MemberRequest) -> HttpResponse:
    """Every notice, with how much of its work list is to do."""
    page = Paginator(queries.notices(), PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "rows": list(page.object_list), "may_write": policy.allowed(request.member, "notices")}
    return render(request, "trace/notices.html", context)


@require_http_methods(["GET", "POST"])
@members_only
def new_notice(request: MemberRequest) -> HttpResponse:
    """Write a notice down, and look for what it means at once."""
    policy.require(request.member, "notices")
    initial = {"items": request.GET.get("item", ""), "codes": request.GET.get("code", ""), "key": uuid4()}
    form = NoticeForm(request.POST if request.method == "POST" else None, initial=initial)
    made: list[Notice] = []
    if request.method == "POST" and attempt(form, lambda: made.append(_add(form, request))):
        messages.success(request, _("The notice is written down, and everything was looked through for it."))
        return redirect("notice", made[0].pk)
    return render(request, "trace/notice_form.html", {"form": form}, status=UNREADABLE if form.errors else None)


def _add(form: NoticeForm, request: MemberRequest) -> Notice:
    key: UUID = form.cleaned_data["key"] or uuid4()
    made = services.add_notice(workshop=request.workshop, said=form.said(), items=form.cleaned_data["items"], key=key, by=request.member)
    if not made.sweeps.exists():
        services.sweep(notice=made, by=request.member, now=timezone.now())
    return made


@require_GET
@members_only
def notice(request: MemberRequest, pk: int) -> HttpResponse:
    """What it says, what it means here, what is to be looked at, and the letters."""
    found = _notice(pk)
    view = queries.view(found)
    may_write = policy.allowed(request.member, "notices")
    page = Paginator(view.tasks, PAGE).get_page(request.GET.get("page"))
    tasks = [(row, policy.allowed(request.member, "look_into", row.task.bench)) for row in page.object_list]
    context = {
        "notice": found,
        "view": view,
        "page": page,
        "tasks": tasks,
        "lots": [(one, len(lots), lots[:MOST_LOTS]) for one in VERDICTS if (lots := view.now.lots_of(one))],
        "kinds": words(),
        "may_write": may_write,
        "may_judge": policy.allowed(request.member, "judge_lots"),
        "may_remove": may_write and not view.letters and all(row.task.ticked_at is None for row in view.tasks),
    }
    return render(request, "trace/notice.html", context)


@require_http_methods(["GET", "POST"])
@members_only
def change_notice(request: MemberRequest, pk: int) -> HttpResponse:
    """Say anew what it says."""
    found = _notice(pk)
    policy.require(request.member, "notices")
    form = NoticeForm(request.POST if request.method == "POST" else None, initial=as_said(found, queries.items_of(found)))
    if request.method == "POST" and attempt(form, lambda: _change(form, found, request)):
        messages.success(request, _("The notice is changed. Sweep again to look by its new words."))
        return redirect("notice", pk)
    return render(request, "trace/notice_form.html", {"form": form, "notice": found}, status=UNREADABLE if form.errors else None)


def _change(form: NoticeForm, found: Notice, request: MemberRequest) -> None:
    services.edit_notice(notice=found, said=form.said(), items=form.cleaned_data["items"], by=request.member)


@require_POST
@members_only
def remove_notice(request: MemberRequest, pk: int) -> HttpResponse:
    """Remove one that was entered by mistake."""
    found = _notice(pk)
    services.remove_notice(notice=found, by=request.member)
    messages.success(request, _("Notice %(reference)s is removed.") % {"reference": found.reference})
    return redirect("notices")


@require_POST
@members_only
def sweep_notice(request: MemberRequest, pk: int) -> HttpResponse:
    """Look through everything again."""
    found = _notice(pk)
    made = services.sweep(notice=found, by=request.member, now=timezone.now())
    new = made.found.count() if made.number > 1 else 0
    if new:
        messages.success(request, _("Looked through everything: %(new)s more to look at.") % {"new": new})
    else:
        messages.success(request, _("Looked through everything."))
    return redirect("notice", pk)


# The work list


@require_http_methods(["GET", "POST"])
@members_only
def tick_task(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down what came of looking at one thing."""
    task = _task(pk)
    policy.require(request.member, "look_into", task.bench)
    form = TickForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and attempt(form, lambda: _tick(form, task, request)):
        undoable(request, _("That is written down."), "untick-notice-task", task.pk)
        return redirect("notice", task.notice_id)
    return render(request, "trace/tick.html", {"form": form, "task": task}, status=UNREADABLE if form.errors else None)


def _tick(form: TickForm, task: Task, request: MemberRequest) -> None:
    services.tick(task=task, outcome=form.cleaned_data["outcome"], by=request.member, now=timezone.now())


@require_POST
@members_only
def untick_task(request: MemberRequest, pk: int) -> HttpResponse:
    """It is to be looked at again; with `release` a lot comes out of the quarantine that it was put into from here."""
    task = _task(pk)
    if "release" in request.POST:
        services.release(task=task, by=request.member)
        messages.success(request, _("The lot is good again, and is to be looked at."))
    else:
        services.untick(task=task, by=request.member)
        messages.success(request, _("It is to be looked at again."))
    return redirect("notice", task.notice_id)


@require_POST
@members_only
def quarantine_task(request: MemberRequest, pk: int) -> HttpResponse:
    """Put the lot into quarantine, by one press."""
    task = _task(pk)
    lot = services.quarantine(task=task, by=request.member, now=timezone.now())
    text = _("%(lot)s of %(item)s is in quarantine: nothing takes of it.") % {"lot": lot, "item": lot.item.code}
    undoable(request, text, "untick-notice-task", task.pk, fields={"release": "1"})
    return redirect("notice", task.notice_id)


# Letters


@require_POST
@members_only
def write_letters(request: MemberRequest, pk: int) -> HttpResponse:
    """Write to everybody whom the last sweep concerns."""
    made = services.write_letters(notice=_notice(pk), by=request.member, now=timezone.now())
    if made:
        messages.success(request, _("The letters are written: print them, or send their text."))
    else:
        messages.success(request, _("Nobody is concerned: no letter was written."))
    return redirect("notice", pk)


@require_GET
@members_only
def notice_letter(request: MemberRequest, pk: int) -> HttpResponse:
    """A letter as it was written."""
    return render(request, "trace/letter.html", {"letter": _letter(pk)})


@require_GET
@members_only
def notice_letter_pdf(request: MemberRequest, pk: int) -> HttpResponse:
    """The same on paper."""
    del request
    found = _letter(pk)
    return as_file(as_pdf(of_facts(found.facts), lambda _: None), "application/pdf", f"notice-{found.notice_id}-{found.pk}.pdf")


@require_GET
@members_only
def notice_letter_text(request: MemberRequest, pk: int) -> HttpResponse:
    """The same as text, for a mail."""
    del request
    found = _letter(pk)
    return as_file(found.text, "text/plain; charset=utf-8", f"notice-{found.notice_id}-{found.pk}.txt")
