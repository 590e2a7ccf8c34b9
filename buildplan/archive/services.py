"""Archives by page: the only writer of their rows and files. An owner asks for one; it lies here for a week, then its file goes.

Whoever writes one holds the lock of its file. A row that says "running" whose lock is free was interrupted: its process is gone.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django_scopes import scope, scopes_disabled
from django_tasks import task

from buildplan.archive.models import SavedArchive, SavedState
from buildplan.archive.saving import rows_of, save
from buildplan.loading import locks
from inventory.common.problems import Problem
from inventory.common.rows import find_or_make
from inventory.models import Member, Photo
from inventory.workshop import policy

KEPT = timedelta(days=7)  # how long a file lies here: a starting value of ours
MOST_KEPT = 3  # files of a workshop; the oldest goes first
SMALL_ROWS, SMALL_PHOTOS = 20_000, 100  # up to here the page waits: a starting value of ours
FOLDER = "archives"
BROKEN = "it broke off by a fault of the program: tell who runs the site, whose log says more"
_DONE = frozenset({SavedState.DONE, SavedState.FAILED})


class FileGone(Problem):
    """The file of an archive is kept for a while."""

    status = 409
    title = "This file is no longer kept"

    def __init__(self) -> None:
        """Say what to do."""
        super().__init__(
            f"the file of this archive is gone, as it is after {KEPT.days} days, and when {MOST_KEPT} newer ones are there: make another"
        )


@transaction.atomic
def ask(*, key: UUID, by: Member, now: datetime) -> SavedArchive:
    """Ask for an archive of the workshop. The same form again finds what it made. A long one is a worker's to write, else the caller's."""
    policy.require(by, "manage")

    def make() -> SavedArchive:
        rows, photos = rows_of(by.workshop), Photo.objects.values("digest").distinct().count()
        return SavedArchive.objects.create(workshop=by.workshop, key=key, by=by, made_at=now, rows=rows, photos=photos)

    row, made = find_or_make(lambda: SavedArchive.objects.filter(key=key).first(), make)
    if made:
        _sweep(row, now)
        if not is_small(row):
            save_archive.enqueue(row.pk)
    return row


def run(*, pk: int, clock: Callable[[], datetime]) -> None:
    """Write an archive that waits, or that was interrupted. Does nothing where somebody else has begun."""
    row = _asked(pk)
    with scope(workshop=row.workshop), locks.held(_lock(row)):
        waiting = SavedArchive.objects.filter(pk=pk, state__in=[SavedState.WAITING, SavedState.RUNNING])
        if not waiting.update(state=SavedState.RUNNING, started_at=clock()):
            return
        path = path_of(row)
        path.unlink(missing_ok=True)
        try:
            found = save(workshop=row.workshop, path=path, now=row.made_at, told=lambda rows: _say(row, rows))
        except Problem as problem:
            _end(row, SavedState.FAILED, clock(), why=str(problem))
        except Exception:
            _end(row, SavedState.FAILED, clock(), why=BROKEN)
            raise
        else:
            row.rows, row.photos, row.bytes = sum(found.rows.values()), found.photos, found.bytes
            _end(row, SavedState.DONE, clock())


@transaction.atomic
def remove(*, archive: SavedArchive, by: Member) -> None:
    """Take an archive away before its time. Refused while it is being written."""
    policy.own(by, archive)
    policy.require(by, "manage")
    if archive.state == SavedState.RUNNING and not is_interrupted(archive):
        raise Problem("it is being written: wait until it is ready")
    SavedArchive.objects.filter(pk=archive.pk).delete()
    transaction.on_commit(lambda: _forget(archive))


@task()
def save_archive(pk: int) -> None:
    """What a worker does."""
    if SavedArchive.objects.model._base_manager.filter(pk=pk).exists():  # noqa: SLF001 - removed meanwhile; a worker has no scope
        run(pk=pk, clock=timezone.now)


def is_small(archive: SavedArchive) -> bool:
    """Whether it is written while the page waits."""
    return archive.rows <= SMALL_ROWS and archive.photos <= SMALL_PHOTOS


def is_interrupted(archive: SavedArchive) -> bool:
    """Whether its process is gone in the middle. The row is read again: it may have ended since it was."""
    if archive.state != SavedState.RUNNING or locks.is_held(_lock(archive)):
        return False
    return SavedArchive.objects.filter(pk=archive.pk, state=SavedState.RUNNING).exists()


def rows_written(archive: SavedArchive) -> int:
    """How many rows were written when it was last said."""
    try:
        return int(_told(archive).read_text(encoding="ascii") or 0)
    except (FileNotFoundError, ValueError):
        return 0


def is_kept(archive: SavedArchive) -> bool:
    """Whether its file is there to be downloaded."""
    return archive.state == SavedState.DONE and path_of(archive).is_file()


def path_of(archive: SavedArchive) -> Path:
    """Where its file lies. Its name tells nobody's data, and nothing that was sent is in it."""
    return _folder() / f"{archive.workshop_id}-{archive.pk}.zip"


def _asked(pk: int) -> SavedArchive:
    with scopes_disabled():  # a worker is asked by number alone; all that it does is done in the archive's workshop
        return SavedArchive.objects.select_related("workshop").get(pk=pk)


def _end(row: SavedArchive, state: SavedState, now: datetime, why: str = "") -> None:
    row.state, row.ended_at, row.why = state, now, why
    row.save(update_fields=["state", "ended_at", "why", "rows", "photos", "bytes"])


def _say(row: SavedArchive, rows: int) -> None:
    with suppress(OSError):  # a full disk stops the archive where it matters, not here
        _told(row).write_text(str(rows), encoding="ascii")


def _sweep(newest: SavedArchive, now: datetime) -> None:
    """Take away the files of old archives, and of those behind the newest few. Their rows stay, as a record."""
    others = list(SavedArchive.objects.filter(state__in=_DONE).exclude(pk=newest.pk).order_by("-made_at", "-pk"))
    kept = others[: MOST_KEPT - 1]
    gone = [*(row for row in kept if now - row.made_at > KEPT), *others[MOST_KEPT - 1 :]]
    transaction.on_commit(lambda: _forget(*gone))


def _forget(*rows: SavedArchive) -> None:
    for row in rows:
        for path in (path_of(row), _lock(row), _told(row)):
            path.unlink(missing_ok=True)


def _lock(row: SavedArchive) -> Path:
    return path_of(row).with_suffix(".lock")


def _told(row: SavedArchive) -> Path:
    return path_of(row).with_suffix(".rows")


def _folder() -> Path:
    return Path(settings.MEDIA_ROOT) / FOLDER
