"""Whether a worker is there to do the long loads."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings

from buildplan.loading import locks

FOLDER = "workers"


@contextmanager
def present() -> Iterator[None]:
    """Be a worker, one of perhaps several, for as long as this lasts."""
    path = _folder() / f"{os.getpid()}.lock"
    with locks.held(path):
        try:
            yield
        finally:
            path.unlink(missing_ok=True)


def is_present() -> bool:
    """Whether any worker is running. One that was killed leaves its file, which nobody holds."""
    return any(locks.is_held(path) for path in _folder().glob("*.lock"))


def _folder() -> Path:
    return Path(settings.MEDIA_ROOT) / FOLDER
