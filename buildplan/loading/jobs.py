"""Loads by page: the only writer of their rows. All of a load or nothing, and what became of it is written in the same transaction.

Whoever loads holds the lock of the job's folder. A row that says "running" whose lock is free was interrupted: its process is gone, and
the database took back what it had written.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django_scopes import scope, scopes_disabled
from django_tasks import task

from buildplan.loading import job_files
from buildplan.loading.choices import Choices, choices_of, proposed, request_of, rows, titles
from buildplan.loading.mapping import ColumnMap
from buildplan.loading.models import ColumnMemory, JobState, LoadJob
from buildplan.loading.sent_files import SentFile
from buildplan.loading.services import Outcome, load
from buildplan.loading.sources import look_into
from inventory.common.problems import Problem
from inventory.common.rows import find_or_make
from inventory.models import Bench, Member
from inventory.workshop import policy

AT_ONCE = 2000  # rows up to which a load is done while the page waits: a starting value of ours
KEPT = timedelta(days=7)  # how long files wait that nobody loaded: a starting value of ours
MOST_KEPT = 20  # loads of a workshop with files that wait; the oldest lose theirs first
BROKEN = "the load broke off by a fault of the program, and nothing of it was kept: tell who runs the site, whose log says more"
_OPEN = (JobState.CHOSEN, JobState.FAILED, JobState.CANCELLED)
# What a command's words are on a page.
_ON_A_PAGE = {
    "load with --recount": 'tick "The file says how much lies where"',
    "load with --remove-missing": 'tick "Remove steps that the file has not"',
    "with --bench": "in the field Bench",
}


class Busy(Problem):
    """A load that is waiting or under way, or is done, can't be changed."""

    status = 409
    title = "This load can't be changed now"


class FilesGone(Problem):
    """The files of a load are kept for a while."""

    status = 409
    title = "The files are no longer kept"

    def __init__(self) -> None:
        """Say what to do."""
        super().__init__(f"the files of this load are gone, as they are after {KEPT.days} days: choose them again")


class _Stopped(Exception):  # noqa: N818 - no problem: somebody asked for it
    """Unwinds a load that somebody cancelled."""


@transaction.atomic
def begin(  # noqa: PLR0913 - what a form sends, and who and when
    *, kind: str, files: Sequence[SentFile], choices: Choices, key: UUID, by: Member, now: datetime
) -> LoadJob:
    """Keep the files of a load to be, with what they hold. The same form again finds what it made."""
    _require(by, choices.bench)
    _forget_old(now)

    def make() -> LoadJob:
        return LoadJob.objects.create(workshop=by.workshop, key=key, kind=kind, by=by, made_at=now)

    job, made = find_or_make(lambda: LoadJob.objects.filter(key=key).first(), make)
    if made:
        paths = job_files.keep(job, files)
        job.files = [look_into(path, sent.name) for path, sent in zip(paths, files, strict=True)]
        job.choices = proposed(job, choices).as_json()
        job.rows = rows(job, choices_of(job))
        job.save(update_fields=["files", "choices", "rows"])
    return job


@transaction.atomic
def choose(*, job: LoadJob, choices: Choices, by: Member) -> LoadJob:
    """Say what a load is loaded into and which column is which, and remember the columns for the next file alike."""
    _require(by, choices.bench)
    job = _held(job)
    _refuse_busy(job)
    job.choices, job.rows = choices.as_json(), rows(job, choices)
    job.save(update_fields=["choices", "rows"])
    for table, chosen in choices.columns.items():
        if table in choices.tables:
            _remember(table, titles(job, choices.tables[table]), chosen, by)
    return job


def look(*, job: LoadJob, by: Member, today: date) -> Outcome:
    """Load it without keeping anything, to see what it would do."""
    policy.require(by, "keep_stock")
    if not job_files.are_there(job):
        raise FilesGone
    return _on_a_page(load(request_of(job, dry_run=True), today=today, by=by))


@transaction.atomic
def queue(*, job: LoadJob, today: date, by: Member, dry_run: bool = False) -> LoadJob:
    """Let it be loaded, or only looked at: whoever is asked next does it. Pressed twice, it is asked for once.

    A load of few rows is not handed to a worker: the caller runs it.
    """
    _require(by, choices_of(job).bench)
    job = _held(job)
    if job.state not in _OPEN and not is_interrupted(job):
        return job
    if not job_files.are_there(job):
        raise FilesGone
    job_files.start(job)
    job.state, job.by, job.started_at, job.ended_at, job.result = JobState.WAITING, by, None, None, {}
    job.choices = {**job.choices, "today": today.isoformat(), "dry_run": dry_run}
    job.save(update_fields=["state", "by", "started_at", "ended_at", "result", "choices"])
    if not is_small(job):
        load_file.enqueue(job.pk)
    return job


def run(*, job_id: int, clock: Callable[[], datetime]) -> None:
    """Load a job that waits. Does nothing where somebody else has begun, or it was cancelled meanwhile."""
    job = _asked(job_id)
    if job.state != JobState.WAITING:
        return
    with scope(workshop=job.workshop), job_files.at_work(job):
        if not LoadJob.objects.filter(pk=job_id, state=JobState.WAITING).update(state=JobState.RUNNING, started_at=clock()):
            return
        job = _asked(job_id)
        try:
            _load(job, clock)
        except _Stopped:
            _end(job, JobState.CANCELLED, {}, clock())
        except Exception:
            _end(job, JobState.FAILED, {"errors": [BROKEN]}, clock())
            raise
        if job.state == JobState.DONE:
            job_files.forget(job)


def cancel(*, job: LoadJob, by: Member, now: datetime) -> None:
    """Take it out of the queue, or ask who is loading it to stop. What is done is done.

    Asking writes to a file, not to the database, which on SQLite is the load's own until it ends.
    """
    policy.own(by, job)
    policy.require(by, "keep_stock")
    waiting = job.state == JobState.WAITING
    if waiting and LoadJob.objects.filter(pk=job.pk, state=JobState.WAITING).update(state=JobState.CANCELLED, ended_at=now):
        return
    job_files.ask_to_stop(job)


def is_interrupted(job: LoadJob) -> bool:
    """Whether its process is gone in the middle. The row is read again: it may have ended since it was."""
    if job.state != JobState.RUNNING or job_files.is_at_work(job):
        return False
    return LoadJob.objects.filter(pk=job.pk, state=JobState.RUNNING).exists()


def is_small(job: LoadJob) -> bool:
    """Whether it is loaded while the page waits."""
    return job.rows <= AT_ONCE


@task()
def load_file(job_id: int) -> None:
    """What a worker does."""
    run(job_id=job_id, clock=timezone.now)


def _asked(job_id: int) -> LoadJob:
    with scopes_disabled():  # a worker is asked by number alone; all that it does is done in the job's workshop
        return LoadJob.objects.select_related("workshop", "by__workshop").get(pk=job_id)


def _require(by: Member, bench: Bench | None) -> None:
    policy.require(by, "keep_stock", bench)


def _held(job: LoadJob) -> LoadJob:
    return LoadJob.objects.select_for_update(no_key=True).get(pk=job.pk)


def _refuse_busy(job: LoadJob) -> None:
    if job.state == JobState.DONE:
        raise Busy("these files are loaded: choose files anew to load more")
    if job.state not in _OPEN and not is_interrupted(job):
        raise Busy("this is being loaded, or waits for it: cancel it first")


def _forget_old(now: datetime) -> None:
    """Take away files that nobody loaded for long, and the oldest where many wait. Their rows stay, as a record."""
    waiting = list(LoadJob.objects.filter(state__in=_OPEN).order_by("-made_at", "-pk"))
    for job in [*(job for job in waiting[:MOST_KEPT] if now - job.made_at > KEPT), *waiting[MOST_KEPT:]]:
        job_files.forget(job)


def _remember(table: str, named: Sequence[str], chosen: ColumnMap, by: Member) -> None:
    """Keep what a workshop's files call our columns, unless they call them as we do."""
    given = {name: named[at] for name, at in chosen.positions.items() if named[at].lower() != name}
    if not given and not chosen.constants:
        return
    row, _ = find_or_make(
        lambda: ColumnMemory.objects.filter(table=table).first(),
        lambda: ColumnMemory.objects.create(workshop=by.workshop, table=table),
    )
    row.titles, row.constants = {**row.titles, **given}, dict(chosen.constants)
    row.save(update_fields=["titles", "constants"])


def _load(job: LoadJob, clock: Callable[[], datetime]) -> None:
    dry_run, today = job.choices["dry_run"], date.fromisoformat(job.choices["today"])
    with transaction.atomic():
        outcome = _on_a_page(load(request_of(job, dry_run=dry_run), today=today, progress=_Progress(job), by=job.by))
        if job_files.shall_stop(job):
            raise _Stopped
        state = JobState.FAILED if outcome.errors else JobState.CHOSEN if dry_run else JobState.DONE
        _end(job, state, outcome.as_object(), clock())


def _end(job: LoadJob, state: JobState, result: dict[str, Any], now: datetime) -> None:
    job.state, job.result, job.ended_at = state, result, now
    job.save(update_fields=["state", "result", "ended_at"])


class _Progress:
    """Adds up the rows of one table after the other, and looks whether somebody cancelled."""

    def __init__(self, job: LoadJob) -> None:
        self._job, self._before, self._last = job, 0, 0

    def __call__(self, count: int) -> None:
        if count <= self._last:
            self._before += self._last
        self._last = count
        job_files.say_rows(self._job, self._before + count)
        if job_files.shall_stop(self._job):
            raise _Stopped


def _on_a_page(outcome: Outcome) -> Outcome:
    """The same, where a command's words are told as a page's."""
    return replace(outcome, errors=[_said(text) for text in outcome.errors])


def _said(text: str) -> str:
    for command, page in _ON_A_PAGE.items():
        text = text.replace(command, page)
    return text
