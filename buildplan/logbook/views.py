"""The builder's log: reading it, writing it, photos, signatures, and the files for an inspector."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from buildplan.logbook import printing, queries, services
from buildplan.logbook.chart import chart
from buildplan.logbook.files import as_csv
from buildplan.logbook.forms import AskedForm, EntryForm, NewEntryForm, Said, SignForm, WhyForm
from buildplan.logbook.models import LogEntry, Signature
from buildplan.logbook.queries import Asked, EntryRow, HoursRow
from buildplan.logbook.services import Worked
from buildplan.logbook.sums import sums
from buildplan.plan.calc import step_ref
from buildplan.plan.models import Finish, Project, Step
from buildplan.plan.views import get_project, get_step
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.problems import Problem
from inventory.models import Member
from inventory.photos.forms import PhotoForm
from inventory.photos.keeping import marked
from inventory.photos.queries import of as photos_of
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.models import Role
from inventory.workshop.request import MemberRequest

PAGE = 25
MOST_IN_A_FILE = 2000  # entries: a print of more is for several periods


# Reading


@require_GET
@members_only
def log(request: MemberRequest) -> HttpResponse:
    """The log by project, section, period and person, with the hours of that part."""
    form, asked = _asked(request)
    page = Paginator(asked.entries(), PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "chosen": bool(request.GET),
        "page": page,
        "entries": queries.rows(list(page.object_list)),
        "sums": sums(asked),
        "asked": _query(request),
        "projects": [
            one
            for one in Project.objects.select_related("bench").order_by("code")
            if policy.allowed(request.member, "write_log", one.bench)
        ],
        "may_write": policy.allowed(request.member, "write_log"),
    }
    return render(request, "logbook/log.html", context, status=UNREADABLE if form.errors else None)


@require_GET
@members_only
def hours(request: MemberRequest) -> HttpResponse:
    """Hours by section as a picture, and the table beside it; by person below."""
    form, asked = _asked(request)
    found = sums(asked)
    picture = chart([(section.name, section.minutes) for section in found.sections])
    context = {"form": form, "sums": found, "chart": picture, "asked": _query(request)}
    return render(request, "logbook/hours.html", context, status=UNREADABLE if form.errors else None)


@require_GET
@members_only
def log_csv(request: MemberRequest) -> HttpResponse:
    """The same part of the log as a file that a spreadsheet opens and that loads again."""
    asked = _readable(request)
    return _file(as_csv(_for_a_file(asked)), "text/csv; charset=utf-8", f"log-{timezone.localdate()}.csv")


@require_GET
@members_only
def log_pdf(request: MemberRequest) -> HttpResponse:
    """The same part of the log on paper, for an inspector."""
    asked = _readable(request)
    data = printing.as_pdf(asked, _for_a_file(asked), request.workshop.name, today=timezone.localdate())
    return _file(data, "application/pdf", f"log-{timezone.localdate()}.pdf")


def _for_a_file(asked: Asked) -> tuple[EntryRow, ...]:
    """In the order of the plan: by section and step, then by day."""
    found = asked.entries()
    if found.count() > MOST_IN_A_FILE:
        raise Problem(f"this part of the log has over {MOST_IN_A_FILE} entries: choose a shorter period, or one section")
    return queries.rows(found.order_by("project__code", "step__section__position", "step__position", "on", "pk"))


def _asked(request: MemberRequest) -> tuple[AskedForm, Asked]:
    """What the address asks for; all of it where it doesn't read."""
    projects = list(Project.objects.order_by("code"))
    said = request.GET.get("project", "").casefold()
    project = next((one for one in projects if one.code.casefold() == said), None)
    form = AskedForm(
        request.GET or None,
        projects=[(one.code, one.name) for one in projects],
        sections=queries.section_choices(project),
        people=queries.people(),
    )
    if not form.is_valid():
        return form, Asked()
    given = dict(form.cleaned_data)
    given.pop("project")
    return form, Asked(project=project, **given)


def _readable(request: MemberRequest) -> Asked:
    form, asked = _asked(request)
    if form.errors:
        raise Problem(" ".join(f"{name}: {error}" for name, errors in form.errors.items() for error in errors))
    return asked


def _query(request: MemberRequest) -> str:
    said = request.GET.copy()
    said.pop("page", None)
    return said.urlencode()


def _file(content: str | bytes, kind: str, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response["Content-Disposition"] = content_disposition_header(as_attachment=True, filename=name) or "attachment"
    return response


@require_GET
@members_only
def entry(request: MemberRequest, pk: int) -> HttpResponse:
    """One entry with all that belongs to it, and what it said before."""
    found = _entry(pk)
    row = _row(found)
    writes = policy.allowed(request.member, "write_log", found.project.bench)
    context = {
        **_about(found),
        "one": row,
        "may_write": writes and row.open,
        "may_sign": not row.struck_at and services.may_sign(request.member) and not _has_signed(row, request.member),
        "me": request.member,
        "versions": queries.versions(found),
    }
    return render(request, "logbook/entry.html", context)


def _has_signed(row: EntryRow, member: Member) -> bool:
    return any(one.stands and one.by_id == member.pk for one in row.signatures)


# Writing


@require_http_methods(["GET", "POST"])
@members_only
def write_log(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Write down what was done of a step: its title, its day and what was noted when it was finished stand there already."""
    found = get_step(project, step)
    return _write(request, found.project, found)


@require_http_methods(["GET", "POST"])
@members_only
def write_project_log(request: MemberRequest, project: str) -> HttpResponse:
    """Write down what was done of the project in general."""
    return _write(request, get_project(project), None)


def _write(request: MemberRequest, project: Project, step: Step | None) -> HttpResponse:
    policy.require(request.member, "write_log", project.bench)
    today = timezone.localdate()
    given: dict[str, Any] = {"today": today, "people": queries.people([request.member.pk])}
    if request.method == "POST":
        form = NewEntryForm(request.POST, request.FILES, **given)
        made: list[LogEntry] = []
        if "more" not in request.POST and attempt(form, lambda: made.append(_make(form, project, step, request, today))):
            return _made(request, made[0], form)
    else:
        form = NewEntryForm(initial=_begins(step, today), hours=[HoursRow(request.member.pk, request.member.name, 0)], **given)
    context = {"project": project, "step": step, "form": form, "people": given["people"]}
    return render(request, "logbook/write.html", context, status=UNREADABLE if form.errors and "more" not in request.POST else None)


def _begins(step: Step | None, today: date) -> dict[str, Any]:
    if step is None:
        return {"on": today}
    note = Finish.objects.filter(step=step, taken_back_at=None).values_list("note", flat=True).first()
    text = f"{step.title}." if step.done else ""
    return {"on": step.done_on or today, "text": "\n".join(filter(None, [text, note]))}


def _make(form: NewEntryForm, project: Project, step: Step | None, request: MemberRequest, today: date) -> LogEntry:
    given = form.cleaned_data
    said = {"on": given["on"], "text": given["text"], "key": given["key"]}
    return services.write_entry(project=project, step=step, hours=_worked(form.hours()), by=request.member, today=today, **said)


def _made(request: MemberRequest, made: LogEntry, form: NewEntryForm) -> HttpResponse:
    """The photo is kept by itself, once the entry is there: sent again it is the same one."""
    given = form.cleaned_data
    if given["photo"]:
        services.add_photo(of=made, picture=given["photo"], caption=given["caption"], at=timezone.now(), by=request.member)
    messages.success(request, _("It is in the log."))
    return redirect("log-entry", made.pk)


def _worked(said: list[Said]) -> list[Worked]:
    members = Member.objects.in_bulk({one.member for one in said if one.member})
    return [Worked(one.minutes, members.get(one.member or 0), one.name) for one in said]


@require_http_methods(["GET", "POST"])
@members_only
def edit_log(request: MemberRequest, pk: int) -> HttpResponse:
    """Correct an entry that nobody has signed."""
    found = _entry(pk)
    policy.require(request.member, "write_log", found.project.bench)
    row = _row(found)
    today = timezone.localdate()
    given: dict[str, Any] = {"today": today, "people": queries.people([hour.member_id for hour in row.hours if hour.member_id])}
    if request.method == "POST":
        form = EntryForm(request.POST, **given)
        if "more" not in request.POST and attempt(form, lambda: _change(form, found, request, today)):
            messages.success(request, _("The entry is corrected; its history keeps what it said before."))
            return redirect("log-entry", pk)
    else:
        form = EntryForm(initial={"on": row.on, "text": row.text}, hours=row.hours, **given)
    context = {**_about(found), "one": row, "form": form, "people": given["people"]}
    return render(request, "logbook/edit.html", context, status=UNREADABLE if form.errors and "more" not in request.POST else None)


def _change(form: EntryForm, found: LogEntry, request: MemberRequest, today: date) -> None:
    given, by = form.cleaned_data, request.member
    services.change_entry(entry=found, on=given["on"], text=given["text"], hours=_worked(form.hours()), by=by, today=today)


@require_http_methods(["GET", "POST"])
@members_only
def strike_log(request: MemberRequest, pk: int) -> HttpResponse:
    """Strike a mistaken entry out, with a reason."""
    found = _entry(pk)
    policy.require(request.member, "write_log", found.project.bench)

    def strike(why: str) -> None:
        services.strike_entry(entry=found, why=why, by=request.member, now=timezone.now())
        messages.success(request, _("The entry is struck out. It stays in the log and can be read."))

    return _with_reason(request, "logbook/strike.html", {**_about(found), "one": _row(found)}, strike, reverse("log-entry", args=[pk]))


def _with_reason(
    request: MemberRequest, template: str, context: Mapping[str, Any], write: Callable[[str], None], done: str
) -> HttpResponse:
    form = WhyForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and attempt(form, lambda: write(form.cleaned_data["why"])):
        return redirect(done)
    return render(request, template, {**context, "form": form}, status=UNREADABLE if form.errors else None)


# Photos


@require_http_methods(["GET", "POST"])
@members_only
def log_photos(request: MemberRequest, pk: int) -> HttpResponse:
    """The photos of an entry, and one more."""
    found = _entry(pk)
    return _photos(request, found, found.ref, _about(found), reverse("log-photos", args=[pk]))


@require_http_methods(["GET", "POST"])
@members_only
def step_photos(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """The photos of a step, and one more."""
    found = get_step(project, step)
    here = reverse("step-photos", args=[found.project.code, found.code])
    return _photos(request, found, step_ref(found.pk), {"project": found.project, "step": found}, here)


def _photos(request: MemberRequest, of: LogEntry | Step, ref: str, context: Mapping[str, Any], here: str) -> HttpResponse:
    writes = policy.allowed(request.member, "write_log", of.project.bench)
    form = PhotoForm(request.POST, request.FILES) if request.method == "POST" else PhotoForm()
    if request.method == "POST":
        policy.require(request.member, "write_log", of.project.bench)
        if form.is_valid():
            given = form.cleaned_data
            services.add_photo(of=of, picture=given["photo"], caption=given["caption"], at=timezone.now(), by=request.member)
            messages.success(request, _("The photo is kept."))
            return redirect(here)
    closed = isinstance(of, LogEntry) and not _row(of).open
    shown = form if writes and not closed else None
    photos = photos_of([ref])[ref]
    photos = marked(photos) if shown else photos
    return render(
        request,
        "logbook/photos.html",
        {**context, "photos": photos, "form": shown, "closed": closed},
        status=UNREADABLE if form.errors else None,
    )


# Signatures


@require_http_methods(["GET", "POST"])
@members_only
def sign_log(request: MemberRequest, pk: int) -> HttpResponse:
    """Sign that one has seen an entry."""
    found = _entry(pk)
    context = {**_about(found), "one": _row(found)}
    return _sign(request, found, context, reverse("log-entry", args=[pk]))


@require_http_methods(["GET", "POST"])
@members_only
def sign_step(request: MemberRequest, project: str, step: str) -> HttpResponse:
    """Sign that one has seen a step."""
    found = get_step(project, step)
    back = reverse("step", args=[found.project.code, found.code])
    return _sign(request, found, {"project": found.project, "step": found}, f"{back}#signatures")


def _sign(request: MemberRequest, of: LogEntry | Step, context: Mapping[str, Any], back: str) -> HttpResponse:
    policy.require(request.member, "sign_log")
    inspector = request.member.role == Role.INSPECTOR
    before = Signature.objects.filter(by=request.member).order_by("-at", "-pk").values_list("licence", flat=True).first()
    initial = {"name": request.member.name, "licence": before or ""}
    form = SignForm(request.POST if request.method == "POST" else None, inspector=inspector, initial=initial)
    if request.method == "POST" and attempt(form, lambda: services.sign(of=of, by=request.member, now=timezone.now(), **form.cleaned_data)):
        messages.success(request, _("Signed as seen."))
        return redirect(back)
    return render(request, "logbook/sign.html", {**context, "form": form, "back": back}, status=UNREADABLE if form.errors else None)


@require_http_methods(["GET", "POST"])
@members_only
def withdraw_signature(request: MemberRequest, pk: int) -> HttpResponse:
    """Take a signature back, with a reason. It stays on record."""
    policy.require(request.member, "sign_log")
    rows = Signature.objects.select_related("by", "entry__project", "entry__step", "step__project")
    found = get_object_or_404(rows, pk=pk)
    about, back = _signed(found)

    def take_back(why: str) -> None:
        services.withdraw(signature=found, why=why, by=request.member, now=timezone.now())
        messages.success(request, _("The signature is withdrawn. It stays on record."))

    return _with_reason(request, "logbook/withdraw.html", {**about, "signature": found, "back": back}, take_back, back)


def _signed(found: Signature) -> tuple[dict[str, Any], str]:
    """What a signature is of, and its page."""
    if found.entry is not None:
        return _about(found.entry), reverse("log-entry", args=[found.entry.pk])
    step: Any = found.step  # of one of the two, as the database says
    return {"project": step.project, "step": step}, reverse("step", args=[step.project.code, step.code])


def _entry(pk: int) -> LogEntry:
    """The entry of an id, with all it belongs to; else 404."""
    return get_object_or_404(LogEntry.objects.select_related("project__bench__workshop", "step"), pk=pk)


def _row(found: LogEntry) -> EntryRow:
    if (row := queries.entry(found.pk)) is None:
        raise Http404
    return row


def _about(found: LogEntry) -> dict[str, Any]:
    return {"project": found.project, "step": found.step}
