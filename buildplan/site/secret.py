"""The key that signs sessions, made on first use so that a fresh clone starts and no two sites share one."""

import os
import secrets
import tempfile
from contextlib import suppress
from pathlib import Path


def secret_key(path: Path) -> str:
    """Return the key kept in `path`, made once and readable by its owner alone."""
    if not path.exists():
        _make(path)
    return path.read_text(encoding="ascii").strip()


def _make(path: Path) -> None:
    """Write the whole key under another name first: a process that starts meanwhile never reads half of it."""
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=path.name)  # mkstemp makes it 0600
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(64))
    with suppress(FileExistsError):
        os.link(draft, path)
    Path(draft).unlink()
