"""Who is at work, by locks of files: the system lets go of them when a process ends, however it ends, so nobody has to guess.

They hold on one machine, and on several that share the folder of uploads by a file system with locks. `fcntl` is imported where it is
used: a system without it can do all but loads by a worker.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Hold the lock of a file, waiting for it."""
    import fcntl  # noqa: PLC0415

    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def is_held(path: Path) -> bool:
    """Whether anybody holds the lock of a file now. Asking shares it for a moment, so that two who ask don't see each other."""
    import fcntl  # noqa: PLC0415

    try:
        with path.open("a") as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except FileNotFoundError:  # no folder: nobody ever held it, or all is done
        return False
    return False
