"""Loading on pages: choose files, say which column is which, look, load. Long loads are followed until they end."""

from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from buildplan.loading import example, job_files, jobs, worker
from buildplan.loading.choices import Choices, choices_of
from buildplan.loading.columns import COLUMNS
from buildplan.loading.load_forms import FilesForm, TableChoice, TargetForm, read_mapping, table_choices
from buildplan.loading.models import ColumnMemory, JobState, LoadJob
from buildplan.loading.services import Outcome
from buildplan.loading.tables import KINDS
from buildplan.loading.uploads import MOST_UNKNOWN, Unknown, unknown_codes
from buildplan.loading.views import teach_code
from inventory.common.pages import UNREADABLE
from inventory.common.problems import FieldProblem, Problem
from inventory.models import Crate
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

MOST_RECENT = 10
_ENDED = frozenset({JobState.CHOSEN, JobState.FAILED, JobState.CANCELLED})


@dataclass(frozen=True, slots=True)
class Look:
    """What loading would do, or why it wouldn't: of a look just taken, or of the last load. `unknown` are codes to teach."""

    outcome: Outcome
    unknown: tuple[Unknown, ...] = ()

    @property
    def counts(self) -> list[tuple[str, int]]:
        """What would be written, in words."""
        return [(name.replace("_", " "), count) for name, count in self.outcome.loaded.items()]

    @property
    def shown(self) -> tuple[Unknown, ...]:
        """The first of the codes that mean nothing."""
        return self.unknown[:MOST_UNKNOWN]

    @property
    def more_unknown(self) -> int:
        """How many codes are unknown besides those that are shown."""
        return max(0, len(self.unknown) - MOST_UNKNOWN)


@require_http_methods(["GET", "POST"])
@members_only
def load(request: MemberRequest) -> HttpResponse:
    """The kinds of files, and the form of one of them. Sent, the files are kept, and the next page says what is in them."""
    policy.require(request.member, "keep_stock")
    kind = request.GET.get("kind", "")
    if kind not in KINDS:
        recent = LoadJob.objects.select_related("by").order_by("-made_at", "-pk")[:MOST_RECENT]
        return render(request, "loading/kinds.html", {"kinds": KINDS, "recent": recent})
    if request.method != "POST":
        given = {name: request.GET[name] for name in ("project", "crate") if name in request.GET}
        return _files_page(request, FilesForm(initial=given, kind=kind), kind)
    form = FilesForm(request.POST, request.FILES, kind=kind)
    if not form.is_valid():
        return _files_page(request, form, kind, UNREADABLE)
    sent, choices = form.cleaned_data, Choices(**form.target)
    job = jobs.begin(kind=kind, files=sent["files"], choices=choices, key=sent["key"], by=request.member, now=timezone.now())
    return redirect("load-job", job.pk)


@require_http_methods(["GET", "POST"])
@members_only
def load_job(request: MemberRequest, pk: int) -> HttpResponse:
    """One load: what its files hold and would do; while it runs, how far it is; once it is done, what came of it."""
    policy.require(request.member, "keep_stock")
    job = get_object_or_404(LoadJob.objects.select_related("by"), pk=pk)
    if request.method == "POST":
        return _act(request, job)
    if job.state == JobState.DONE:
        return _refreshed(request) or render(request, "loading/done.html", {"job": job, **_onward(job)})
    if job.state not in _ENDED and not jobs.is_interrupted(job):
        read = min(job_files.rows_read(job), job.rows)
        context = {"job": job, "read": read, "written": read == job.rows, "worker": worker.is_present()}
        return render(request, "loading/progress.html", context)
    chosen = choices_of(job)
    return _refreshed(request) or _edit(request, job, chosen, _form_of(job, chosen))


@require_GET
@members_only
def columns(request: MemberRequest) -> HttpResponse:
    """An empty file of a table's columns, or the one of the example."""
    table = request.GET.get("table", "")
    filled = "filled" in request.GET
    if table not in (example.FILES if filled else COLUMNS):
        raise Http404
    body = example.file_of(table) if filled else ",".join(COLUMNS[table].names) + "\n"
    name = f"{table}-example.csv" if filled else f"{table}.csv"
    disposition = content_disposition_header(as_attachment=True, filename=name)
    return HttpResponse(body, content_type="text/csv; charset=utf-8", headers={"Content-Disposition": disposition or ""})


def _act(request: MemberRequest, job: LoadJob) -> HttpResponse:
    do = request.POST.get("do", "look")
    if do == "cancel":
        jobs.cancel(job=job, by=request.member, now=timezone.now())
        messages.info(request, _("It is asked to stop. Nothing of it stays, unless it was done already."))
        return redirect("load-job", job.pk)
    if do == "now":
        jobs.run(job_id=job.pk, clock=timezone.now)
        return redirect("load-job", job.pk)
    if do == "load" and job.state not in _ENDED and not jobs.is_interrupted(job):
        return redirect("load-job", job.pk)  # pressed twice
    return _chosen(request, job, do)


def _chosen(request: MemberRequest, job: LoadJob, do: str) -> HttpResponse:
    """Keep what was chosen, then look or load; what can't be kept is shown again as it was sent."""
    form, before = TargetForm(request.POST, kind=job.kind), choices_of(job)
    chosen = replace(before, **read_mapping(job, request.POST, before))
    if form.is_valid():
        chosen = replace(chosen, **form.target)
    if form.errors or any(table.faulty for table in table_choices(job, chosen, {})):
        return _edit(request, job, chosen, form, status=UNREADABLE)
    try:
        job = jobs.choose(job=job, choices=chosen, by=request.member)
        if teach := request.POST.get("teach"):
            teach_code(request, teach)
        return _look_or_load(request, job, chosen, form, do)
    except jobs.Busy:
        raise
    except Problem as problem:
        form.add_error(problem.field if isinstance(problem, FieldProblem) and problem.field in form.fields else None, str(problem))
        return _edit(request, job, chosen, form, look=None, status=UNREADABLE)


def _look_or_load(request: MemberRequest, job: LoadJob, chosen: Choices, form: TargetForm, do: str) -> HttpResponse:
    today, small = timezone.localdate(), jobs.is_small(job)
    if do == "load" or not small:
        jobs.queue(job=job, today=today, by=request.member, dry_run=do != "load")
        if small:
            jobs.run(job_id=job.pk, clock=timezone.now)
        job.refresh_from_db()
        if job.state != JobState.FAILED:
            return redirect("load-job", job.pk)
    look = _look(request, job)
    return _edit(request, job, chosen, form, look=look, status=UNREADABLE if look and look.outcome.errors else HTTPStatus.OK)


def _form_of(job: LoadJob, chosen: Choices) -> TargetForm:
    names = ("bench", "project", "crate", "due_on", "sender", "printed_lines", "printed_quantity", "recount", "remove_missing")
    return TargetForm(initial={name: getattr(chosen, name) for name in names}, kind=job.kind)


_TAKE: Any = object()


def _edit(  # noqa: PLR0913 - what a page is made of
    request: MemberRequest, job: LoadJob, chosen: Choices, form: TargetForm, *, look: Look | None = _TAKE, status: int = 200
) -> HttpResponse:
    """The page on which it is chosen. A load of few rows is looked at whenever nothing is missing."""
    remembered = {row.table: row.titles for row in ColumnMemory.objects.filter(table__in=KINDS[job.kind])}
    tables = table_choices(job, chosen, remembered)
    faulty = bool(form.errors) or any(table.faulty for table in tables)
    if look is _TAKE:
        look = None if faulty or not job_files.are_there(job) else _look(request, job)
    context = {
        "job": job,
        "form": form,
        "tables": tables,
        "sheets": _sheets(job),
        "faulty": faulty,
        "plain": all(table.plain for table in tables if table.spot is not None or table.required),
        "look": look,
        "small": jobs.is_small(job),
        "gone": not job_files.are_there(job),
        "interrupted": job.state == JobState.RUNNING,
    }
    return render(request, "loading/job.html", context, status=status)


def _look(request: MemberRequest, job: LoadJob) -> Look | None:
    """What it would do, now where it is small; else what the last look or load of it said, if there was any."""
    if jobs.is_small(job):
        outcome = jobs.look(job=job, by=request.member, today=timezone.localdate())
        return Look(outcome, unknown_codes(outcome.listed))
    if not job.result:
        return None
    kept = dict(job.result)
    loaded = dict(kept.get("loaded") or {})
    return Look(Outcome(loaded, loaded.pop("made", []), kept.get("warnings", []), kept.get("errors", []), dry_run=True))


def _sheets(job: LoadJob) -> list[tuple[str, tuple[int, int], str, int]]:
    """Every sheet of every file: its value in the form, where it stands, what it is called, its rows."""
    found = []
    for at, file in enumerate(job.files):
        for number, sheet in enumerate(file["sheets"]):
            called = f"{file['name']}, {sheet['sheet']}" if sheet["sheet"] else file["name"]
            found.append((f"{at}.{number}", (at, number), called, sheet["rows"]))
    return found


def _onward(job: LoadJob) -> dict[str, Any]:
    """Where to go on from what was loaded."""
    chosen, counts = choices_of(job), dict(job.result.get("loaded") or {})
    crate = Crate.objects.filter(code__iexact=chosen.crate).first() if job.kind == "packing" else None
    made = counts.pop("made", [])
    named = [(name.replace("_", " "), count) for name, count in counts.items()]
    return {"counts": named, "made": made, "crate": crate, "project": chosen.project}


def _refreshed(request: MemberRequest) -> HttpResponse | None:
    """What tells a page that follows a load that it has ended: it is then shown whole."""
    return HttpResponse(headers={"HX-Refresh": "true"}) if request.htmx else None


def _files_page(request: MemberRequest, form: FilesForm, kind: str, status: int = 200) -> HttpResponse:
    context = {"form": form, "kind": kind, "tables": KINDS[kind], "examples": example.FILES}
    return render(request, "loading/files.html", context, status=status)


__all__ = ["TableChoice", "columns", "load", "load_job"]
