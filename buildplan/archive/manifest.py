"""What an archive says of itself: its format, of which program, and each file with its rows, its size and its SHA-256."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from django.apps import apps
from django.db.migrations.loader import MigrationLoader

from buildplan.archive.problems import BadArchive

NAME = "manifest.json"
FORMAT = "rivetloft archive"
VERSION = 1
APPS = ("inventory", "buildplan")
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class File:
    """One file of an archive. A photo has no rows."""

    name: str
    bytes: int
    sha256: str
    rows: int = 0

    def as_object(self) -> dict[str, Any]:
        """As JSON has it, under its name."""
        return {"rows": self.rows, "bytes": self.bytes, "sha256": self.sha256}


@dataclass(frozen=True, slots=True)
class Manifest:
    """All of it. `tables` are by label, `photos` by digest; `migrations` are each app's last, by which programs are told apart."""

    code: str
    name: str
    saved_at: str
    migrations: Mapping[str, str]
    tables: Mapping[str, File]
    photos: Mapping[str, File]

    @property
    def rows(self) -> int:
        """The rows of all tables."""
        return sum(file.rows for file in self.tables.values())

    @property
    def bytes(self) -> int:
        """What all files take when unpacked."""
        return sum(file.bytes for file in (*self.tables.values(), *self.photos.values()))


def as_json(found: Manifest) -> str:
    """The manifest's file."""
    tables = {label: {"file": file.name, **file.as_object()} for label, file in found.tables.items()}
    photos = {file.name: {"bytes": file.bytes, "sha256": file.sha256} for file in found.photos.values()}
    head = {"format": FORMAT, "version": VERSION, "saved_at": found.saved_at, "workshop": {"code": found.code, "name": found.name}}
    return (
        json.dumps({**head, "migrations": dict(found.migrations), "tables": tables, "photos": photos}, ensure_ascii=False, indent=1) + "\n"
    )


def of_json(text: bytes) -> Manifest:
    """The manifest of an archive. Refuses what is none, and one of a newer format."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BadArchive(f"{NAME} is no JSON: the archive is damaged, or was changed by hand") from error
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise BadArchive(f"{NAME} doesn't say {FORMAT!r}: this is no archive of a workshop")
    _refuse_newer(found.get("version"))
    try:
        return _manifest(found)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise BadArchive(f"{NAME} is incomplete ({error}): the archive is damaged, or was changed by hand") from error


def _refuse_newer(version: Any) -> None:
    if type(version) is not int or version < 1:
        raise BadArchive(f"{NAME}: version {version!r} is no format version")
    if version > VERSION:
        raise BadArchive(
            f"the archive has format version {version}, and this program reads up to {VERSION}: bring the program up to date first"
        )


def _manifest(found: dict[str, Any]) -> Manifest:
    tables = {str(label): _file(one["file"], one, one["rows"]) for label, one in found["tables"].items()}
    photos = [_file(name, one) for name, one in found["photos"].items()]
    datetime.fromisoformat(found["saved_at"])
    said = found["workshop"]
    return Manifest(
        _text(said["code"]),
        _text(said["name"]),
        found["saved_at"],
        {_text(app): _text(name) for app, name in found["migrations"].items()},
        tables,
        {photo.sha256: photo for photo in photos},
    )


def _file(name: Any, said: Mapping[str, Any], rows: Any = 0) -> File:
    if type(said["bytes"]) is not int or type(rows) is not int or said["bytes"] < 0 or rows < 0:
        raise ValueError(f"the size of {name}")
    if not _DIGEST.fullmatch(_text(said["sha256"])):
        raise ValueError(f"the SHA-256 of {name}")
    return File(_text(name), said["bytes"], said["sha256"], rows)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


@cache
def our_migrations() -> Mapping[str, str]:
    """The last migration of each app of ours, as this program has it."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    return {app: max(name for label, name in loader.disk_migrations if label == app) for app in APPS if apps.is_installed(app)}


def is_known(app: str, migration: str) -> bool:
    """Whether this program has a migration."""
    return (app, migration) in MigrationLoader(None, ignore_no_migrations=True).disk_migrations
