"""What belongs to an archive and what doesn't, and where a row names another one otherwise than by a foreign key.

Tables and columns are found in the models, so that a new one is in the archive by itself. What is left out stands here, with the reason.
What no model tells is registered here too: the kinds of references (`step:12`), and the ids inside JSON and texts.
`tests/buildplan/archive/test_kinds.py` fails where the code has one that isn't here.
"""

from collections.abc import Callable, Mapping
from typing import Any

from django.db import models

# Apps whose tables are no workshop's.
APPS_LEFT_OUT: Mapping[str, str] = {
    "admin": "Django's own log of its admin, which this site doesn't use",
    "auth": "groups and permissions of Django: rights come from roles here",
    "axes": "who guessed passwords from where",
    "contenttypes": "made by migrate",
    "django_tasks_database": "the queue of this machine's worker",
    "otp_static": "backup codes are secrets of a person",
    "otp_totp": "second steps are secrets of a person",
    "sessions": "who is signed in where",
}

# Tables of ours that are left out.
LEFT_OUT: Mapping[str, str] = {
    "buildplan.LoadJob": "files that wait on this machine; what was loaded stands in LoadedFile",
    "buildplan.SavedArchive": "archives that lie on this machine",
    "inventory.KeptAnswer": "answers that are kept for programs which repeat a request to this site",
    "inventory.SignedIn": "who is signed in where",
    "inventory.User": "an account is its person's, with password and second step: a member's row has its e-mail address",
    "inventory.User_groups": "goes with the account",
    "inventory.User_user_permissions": "goes with the account",
}

# What stands in a column that is left out, made from the row's new id. A token that is gone can't be told from no token: these match none.
Filler = Callable[[int], Any]


def _nothing(_pk: int) -> None:
    return None


def _blank(_pk: int) -> str:
    return ""


def _gone(pk: int) -> str:
    return f"gone-{pk}"


_TOKEN: Mapping[str, Filler] = {"prefix": _gone, "digest": _blank}
_NO_TOKEN: Mapping[str, Filler] = {"prefix": _nothing, "digest": _nothing}

HELD_BACK: Mapping[str, Mapping[str, Filler]] = {
    "inventory.Device": _TOKEN,
    "inventory.Invitation": _TOKEN,
    "inventory.FeedAddress": _NO_TOKEN,
    "inventory.HistoricalDevice": _TOKEN,
    "inventory.HistoricalInvitation": _TOKEN,
    "inventory.HistoricalFeedAddress": _NO_TOKEN,
    "inventory.HistoricalMember": {"user": _nothing},  # the member's own row says whose it is
}

# A column named like a secret that is none, or that the workshop needs.
NO_SECRET: Mapping[str, str] = {
    "buildplan.LoadedFile.digest": "of a file's rows, to know it again",
    "inventory.Label.token": "printed on labels, which must go on meaning what they stick to",
    "inventory.Photo.digest": "of a photo, by which it is found in the archive",
    "inventory.Scan.fingerprint": "of what was scanned, to know it again",
}
SECRET_NAMES = frozenset({"password", "secret", "digest", "prefix", "token", "fingerprint", "hash", "salt", "session", "cookie"})

ACCOUNT = "inventory.User"  # a foreign key to it is written as an e-mail address
WORKSHOP = "inventory.Workshop"
MEMBER = "inventory.Member"
PHOTO = "inventory.Photo"

# What a reference starts with, and the table whose row its number is.
REFS: Mapping[str, str] = {
    "bag": "inventory.Bag",
    "crate": "inventory.Crate",
    "cut": "buildplan.Cut",
    "finish": "buildplan.Finish",
    "line": "inventory.PackingLine",  # also line:7/damaged
    "load": "buildplan.LoadedFile",
    "loan": "inventory.Loan",  # in the ledger loan:UUID, which stays as it is
    "loan-end": "inventory.LoanEnd",
    "log": "buildplan.LogEntry",
    "lot": "inventory.Lot",  # of a seal day's list, where it is no code
    "mix": "buildplan.Mix",
    "step": "buildplan.Step",
    "supply": "buildplan.SealingSupply",
    "tally": "inventory.Tally",
    "test": "inventory.UpdateTest",
    "transfer": "inventory.Transfer",
}

# Kinds whose number may be a code that people gave instead: one that no row has stays as it is.
OR_CODE = frozenset({"lot"})

# Texts in the code that look like the start of a reference, and are none that names a row.
NO_REFS: Mapping[str, str] = {
    "borrow": "a choice on a form",
    "caution": "a line of a seal day's list, by a word",
    "coming": "a task of a notice: TEXTS",
    "data": "an address of the stylesheet's",
    "dead": "a sentence",
    "gone": "a task of a notice: TEXTS",
    "item": "a choice on a form, or an item's code in a task of a notice",
    "mark": "a task of a notice: TEXTS",
    "move": "a choice on a form",
    "pins": "a sentence",
    "repair": "an address",
    "scan": "a uuid, which stays as it is",
    "thing": "a choice on a form",
    "widen": "a choice on a form",
}

# Columns that hold references, beside every one that is called `ref`.
REF_COLUMNS = frozenset({"buildplan.DayCheck.key"})

# JSON: a value with its ids put through `new`, which is told the table and the old id.
New = Callable[[str, int], int]
Renamer = Callable[[Any, New], Any]

_OF_SCANS: Mapping[str, str] = {
    "loan": "inventory.Loan",
    "lot": "inventory.Lot",
    "movements": "inventory.Movement",
    "tally": "inventory.Tally",
}


def _scan(value: Any, new: New) -> Any:
    """A scan as it was asked and answered: ids stand under names, at any depth; `lot` may be a code instead."""
    if isinstance(value, list):
        return [_scan(one, new) for one in value]
    if not isinstance(value, dict):
        return value
    return {name: _named(_OF_SCANS[name], one, new) if name in _OF_SCANS else _scan(one, new) for name, one in value.items()}


def _named(table: str, value: Any, new: New) -> Any:
    if isinstance(value, list):
        return [_named(table, one, new) for one in value]
    return new(table, value) if type(value) is int else value


def _letter(value: Any, new: New) -> Any:
    """A claim's letter: the photos that it names."""
    if not isinstance(value, dict) or not isinstance(value.get("photos"), list):
        return value
    photos = [{**one, "id": _named(PHOTO, one.get("id"), new)} if isinstance(one, dict) else one for one in value["photos"]]
    return {**value, "photos": photos}


def _seen(value: Any, new: New) -> Any:
    """What was signed as seen: photos, and hours by member or name, in the order in which they are compared."""
    if not isinstance(value, dict):
        return value
    found = dict(value)
    if isinstance(found.get("photos"), list):
        found["photos"] = _named(PHOTO, found["photos"], new)
    hours = found.get("hours")
    if isinstance(hours, list) and all(isinstance(one, list) and one for one in hours):
        found["hours"] = sorted(([_named(MEMBER, one[0], new), *one[1:]] for one in hours), key=str)
    return found


def _closed(value: Any, new: New) -> Any:
    """The list of a section as it was closed up: who ticked each point."""
    if not isinstance(value, dict) or not isinstance(value.get("points"), list):
        return value
    points = [{**one, "by": _named(MEMBER, one.get("by"), new)} if isinstance(one, dict) else one for one in value["points"]]
    return {**value, "points": points}


def as_it_is(value: Any, _new: New) -> Any:
    """JSON without ids."""
    return value


JSON: Mapping[str, Renamer] = {
    "buildplan.Closing.kept": _closed,
    "buildplan.ColumnMemory.constants": as_it_is,  # texts of a file
    "buildplan.ColumnMemory.titles": as_it_is,
    "buildplan.Measured.yields": as_it_is,  # codes
    "buildplan.Notice.codes": as_it_is,
    "buildplan.NoticeLetter.facts": as_it_is,
    "buildplan.Signature.seen": _seen,
    "buildplan.Sweep.counts": as_it_is,
    "buildplan.Task.facts": as_it_is,
    "buildplan.Task.reasons": as_it_is,
    "inventory.Claim.facts": _letter,
    "inventory.Scan.answer": _scan,
    "inventory.Scan.asked": _scan,
}


# Texts of several parts.
_SUBJECTS: Mapping[str, tuple[str, ...]] = {
    "coming": ("inventory.PackingLine",),
    "gone": ("inventory.Movement",),
    "lent": ("inventory.Lot", "inventory.Place"),
    "mark": ("buildplan.Mark",),
    "shelf": ("inventory.Lot", "inventory.Place"),
    "step": ("buildplan.Step", "", "inventory.Lot"),  # step:7:lot:9, or step:7:item:CODE
}


def _subject(value: str, new: New) -> str:
    """What a task of a notice is told apart by: `shelf:7:12`."""
    start, *parts = value.split(":")
    tables = _SUBJECTS.get(start, ())
    if parts[1:2] == ["item"]:
        tables = tables[:1]
    named = [str(new(table, int(part))) if table and is_id(part) else part for table, part in zip(tables, parts, strict=False)]
    return ":".join([start, *named, *parts[len(named) :]])


def _steps(value: str, new: New) -> str:
    """Ids of steps in their order, with commas."""
    parts = value.split(",")
    if not all(map(is_id, parts)):
        return value
    return ",".join(map(str, sorted(new("buildplan.Step", int(one)) for one in parts)))


TEXTS: Mapping[str, Callable[[str, New], str]] = {"buildplan.PickTick.steps": _steps, "buildplan.Task.subject": _subject}

MOST_ID = 2**62


def is_id(text: str) -> bool:
    """Whether a text is a row's number, as we write one."""
    return text.isascii() and text.isdigit() and len(text) < len(str(MOST_ID)) and str(int(text)) == text


def is_left_out(model: type[models.Model]) -> bool:
    """Whether a table is no part of an archive."""
    return model._meta.app_label in APPS_LEFT_OUT or model._meta.label in LEFT_OUT  # noqa: SLF001 - Django's documented API
