"""The folder of a load: its files, how far it is, whether it shall stop, and the lock of who is at it.

How far it is stands in a file, not in the row: SQLite lets one process write at a time, and during a load that is the load itself.
"""

import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from django.conf import settings

from buildplan.loading import locks
from buildplan.loading.models import LoadJob
from buildplan.loading.sent_files import SentFile

FOLDER = "loads"
_LOCK, _STOP, _ROWS = "lock", "stop", "rows"


def keep(job: LoadJob, files: Sequence[SentFile]) -> list[Path]:
    """Write the files of a new job under names of our own, and say where they are."""
    folder = _folder(job)
    shutil.rmtree(folder, ignore_errors=True)  # of another database that lay beside this folder before
    folder.mkdir(parents=True)
    paths = [folder / f"{at}{Path(sent.name).suffix.lower()}" for at, sent in enumerate(files)]
    for path, sent in zip(paths, files, strict=True):
        path.write_bytes(sent.data)
    return paths


def path(job: LoadJob, stored: str) -> Path:
    """Where a file of the job lies."""
    return _folder(job) / stored


def are_there(job: LoadJob) -> bool:
    """Whether the job's files are still kept."""
    return all(path(job, file["stored"]).is_file() for file in job.files)


def forget(job: LoadJob) -> None:
    """Take the files away. Once more is no matter."""
    shutil.rmtree(_folder(job), ignore_errors=True)


@contextmanager
def at_work(job: LoadJob) -> Iterator[None]:
    """Hold the job's lock: who does is loading it."""
    with locks.held(_folder(job) / _LOCK):
        yield


def is_at_work(job: LoadJob) -> bool:
    """Whether a process that lives is loading it."""
    return locks.is_held(_folder(job) / _LOCK)


def start(job: LoadJob) -> None:
    """Nothing is read yet, and nobody asked to stop."""
    for name in (_STOP, _ROWS):
        (_folder(job) / name).unlink(missing_ok=True)


def say_rows(job: LoadJob, rows: int) -> None:
    """How many rows are read."""
    with suppress(OSError):  # a full disk stops the load where it matters, not here
        (_folder(job) / _ROWS).write_text(str(rows), encoding="ascii")


def rows_read(job: LoadJob) -> int:
    """How many rows were read when it was last said; 0 in the moment of writing."""
    try:
        return int((_folder(job) / _ROWS).read_text(encoding="ascii") or 0)
    except (FileNotFoundError, ValueError):
        return 0


def ask_to_stop(job: LoadJob) -> None:
    """Ask who loads it to stop, which they look for every thousand rows and before the end."""
    with suppress(FileNotFoundError):  # it has just been loaded
        (_folder(job) / _STOP).touch()


def shall_stop(job: LoadJob) -> bool:
    """Whether somebody asked for that."""
    return (_folder(job) / _STOP).exists()


def _folder(job: LoadJob) -> Path:
    return Path(settings.MEDIA_ROOT) / FOLDER / f"{job.workshop_id}-{job.pk}"
