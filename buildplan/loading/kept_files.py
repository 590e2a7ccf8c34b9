"""Files that are looked at before they are loaded: kept for an hour, since a browser sends a file only once.

They lie in the folder of uploads under random names. A signed reference, which the form carries, says which one and whose.
"""

from datetime import datetime, timedelta
from pathlib import Path
from uuid import uuid4

from django.conf import settings
from django.core import signing

from buildplan.loading.sent_files import SentFile
from inventory.common.problems import FieldProblem
from inventory.models import Member

KEPT = timedelta(hours=1)
MOST_KEPT = 10  # of one member; the oldest goes first
FOLDER = "lists"
_SALT = "buildplan.loading.kept_files"


class NotKept(FieldProblem):
    """A file that is gone, or was never this member's."""

    status = 409
    title = "This file is no longer kept"

    def __init__(self) -> None:
        """Say what to do."""
        super().__init__("file", "the file is kept for an hour, and gone once it is loaded: choose it again")


def keep(sent: SentFile, *, now: datetime, by: Member) -> str:
    """Keep a file for an hour, and give the reference that finds it again. What is older goes."""
    _sweep(now, by)
    name = f"{by.pk}-{uuid4().hex}{Path(sent.name).suffix.lower()}"
    path = _folder() / name
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(sent.data)
    return signing.dumps([by.pk, name, sent.name, (now + KEPT).timestamp()], salt=_SALT)


def find(reference: str, *, now: datetime, by: Member) -> SentFile:
    """The file of a reference. Raises `NotKept` where it is over an hour old, another's, loaded already, or none."""
    name, called = _named(reference, now, by)
    try:
        return SentFile(called, (_folder() / name).read_bytes())
    except FileNotFoundError as error:
        raise NotKept from error


def forget(reference: str, *, now: datetime, by: Member) -> None:
    """Take a file away. One that is gone already is no matter."""
    try:
        name, _ = _named(reference, now, by)
    except NotKept:
        return
    (_folder() / name).unlink(missing_ok=True)


def _named(reference: str, now: datetime, by: Member) -> tuple[str, str]:
    """Under which name the file lies, and what it is called. Only what was signed here gets past this."""
    try:
        owner, name, called, until = signing.loads(reference, salt=_SALT)
    except signing.BadSignature as error:
        raise NotKept from error
    if owner != by.pk or now.timestamp() > until:
        raise NotKept
    return name, called


def _sweep(now: datetime, by: Member) -> None:
    """Take away what is over an hour old, whosever it is, and the oldest of a member who keeps many."""
    found = sorted(((_age(path, now), path) for path in _folder().glob("*.*")), key=lambda each: each[0])
    own = [path for _, path in found if path.name.startswith(f"{by.pk}-")]
    for path in [*(path for age, path in found if age > KEPT), *own[MOST_KEPT - 1 :]]:
        path.unlink(missing_ok=True)


def _age(path: Path, now: datetime) -> timedelta:
    try:
        return timedelta(seconds=now.timestamp() - path.stat().st_mtime)
    except FileNotFoundError:  # swept by another request meanwhile
        return timedelta(0)


def _folder() -> Path:
    return Path(settings.MEDIA_ROOT) / FOLDER
