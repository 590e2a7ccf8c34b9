"""Writing a workshop into an archive: every table as CSV, row by row, and every photo. Memory stays the same however large it is."""

import csv
import hashlib
import io
import os
import zipfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.db import connection, transaction
from django_scopes import scope

from buildplan.archive import manifest
from buildplan.archive.cells import writer
from buildplan.archive.manifest import File, Manifest
from buildplan.archive.problems import NotSaved
from buildplan.archive.tables import Kind, Table, all_tables, attname
from inventory.models import Photo, Workshop

AT_ONCE = 2000  # rows that the database hands over at once
_STEP = 1 << 20
_MOST_NAMED = 10
_LEAVE = 0o600  # it has everybody's name and address
Told = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Saved:
    """An archive that was written."""

    path: Path
    workshop: str
    rows: dict[str, int]
    photos: int
    bytes: int

    def as_object(self) -> dict[str, Any]:
        """For a program."""
        told = {"workshop": self.workshop, "rows": sum(self.rows.values()), "photos": self.photos, "bytes": self.bytes}
        return {"path": str(self.path), **told, "tables": self.rows}


def save(*, workshop: Workshop, path: Path, now: datetime, told: Told | None = None) -> Saved:
    """Write the whole workshop to `path`, all of it or no file. Refuses a path where something is already, and a photo that is gone.

    `told` hears now and then how many rows are written.
    """
    if path.exists():
        raise NotSaved(f"{path} is there already: give the archive another name")
    part = path.with_name(f".{path.name}.part")
    try:
        with _made(part) as file, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as packed:
            found = _Writing(packed, workshop, now, told).run()
        _refuse_there(part, path)
    except OSError as error:
        raise NotSaved(f"{path} can't be written: {error.strerror or error}") from error
    finally:
        part.unlink(missing_ok=True)
    return Saved(path, workshop.code, {label: one.rows for label, one in found.tables.items()}, len(found.photos), path.stat().st_size)


def rows_of(workshop: Workshop) -> int:
    """How many rows an archive of it would have. One query."""
    counts = [table.of_workshop(workshop.pk).order_by().values("pk").query.sql_with_params() for table in all_tables().values()]
    each = " UNION ALL ".join(f"SELECT COUNT(*) AS many FROM ({sql}) AS ours" for sql, _ in counts)  # noqa: S608 - Django's own SQL
    total = f"SELECT SUM(many) FROM ({each}) AS counts"  # noqa: S608 - Django's own SQL
    with connection.cursor() as cursor:
        cursor.execute(total, [value for _, given in counts for value in given])
        return int(cursor.fetchone()[0])


@contextmanager
def _made(part: Path) -> Iterator[IO[bytes]]:
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, _LEAVE), "wb") as file:
        yield file


def _refuse_there(part: Path, path: Path) -> None:
    """Give it its name, unless somebody has made another meanwhile."""
    try:
        os.link(part, path)
    except FileExistsError as error:
        raise NotSaved(f"{path} is there already: give the archive another name") from error
    except OSError:  # a disk without links
        part.rename(path)


class _Writing:
    """One archive in the making."""

    def __init__(self, packed: zipfile.ZipFile, workshop: Workshop, now: datetime, told: Told | None) -> None:
        self._zip, self._workshop, self._told = packed, workshop, told
        self._now = now.astimezone(UTC)
        self._rows = 0

    def run(self) -> Manifest:
        with _one_moment(), scope(workshop=self._workshop):
            workshop = Workshop.objects.get(pk=self._workshop.pk)
            tables = {label: self._table(table) for label, table in all_tables().items()}
            pictures = list(Photo.objects.order_by("pk").values_list("digest", "file"))
        photos = self._photos(pictures)
        found = Manifest(workshop.code, workshop.name, self._now.isoformat(), manifest.our_migrations(), tables, photos)
        with self._entry(manifest.NAME) as file:
            file.write(manifest.as_json(found).encode())
        return found

    def _table(self, table: Table) -> File:
        rows = 0
        with self._entry(table.file) as raw, io.TextIOWrapper(io.BufferedWriter(raw), encoding="utf-8", newline="") as text:
            write = csv.writer(text, lineterminator="\r\n")
            write.writerow(table.names)
            for cells in _cells(table, self._workshop.pk):
                write.writerow(cells)
                rows += 1
                if rows % AT_ONCE == 0:
                    self._tell(self._rows + rows)
        self._rows += rows
        self._tell(self._rows)
        return raw.file(table.file, rows)

    def _photos(self, pictures: list[tuple[str, str]]) -> dict[str, File]:
        found: dict[str, File] = {}
        lost = []
        for digest, stored in pictures:
            if digest in found:
                continue
            try:
                found[digest] = self._photo(digest, Path(settings.MEDIA_ROOT) / stored)
            except FileNotFoundError:
                lost.append(stored)
        if lost:
            more = f" and {len(lost) - _MOST_NAMED} more" if len(lost) > _MOST_NAMED else ""
            raise NotSaved(
                f"photos are missing from the folder of uploads: {', '.join(lost[:_MOST_NAMED])}{more}. "
                "Put them back from a copy of that folder, or remove these photos on their pages, then save again"
            )
        return found

    def _photo(self, digest: str, path: Path) -> File:
        name = f"photos/{digest}.jpg"
        with path.open("rb") as picture, self._entry(name, zipfile.ZIP_STORED) as raw:
            while piece := picture.read(_STEP):
                raw.write(piece)
        file = raw.file(name)
        if file.sha256 != digest:
            raise NotSaved(
                f"the photo {path.name} is not what was kept: its SHA-256 is another. Put it back from a copy of the folder of uploads"
            )
        return file

    def _entry(self, name: str, packed_as: int = zipfile.ZIP_DEFLATED) -> "_Hashed":
        entry = zipfile.ZipInfo(name, self._now.timetuple()[:6])
        entry.compress_type, entry.external_attr = packed_as, _LEAVE << 16
        return _Hashed(self._zip.open(entry, "w", force_zip64=True))

    def _tell(self, rows: int) -> None:
        if self._told is not None:
            self._told(rows)


class _Hashed(io.RawIOBase):
    """What is written to a file of the archive, counted and hashed."""

    def __init__(self, packed: IO[bytes]) -> None:
        self._packed = packed
        self._hash, self._bytes = hashlib.sha256(), 0

    def writable(self) -> bool:
        return True

    def write(self, piece: Any) -> int:
        self._packed.write(piece)
        self._hash.update(piece)
        self._bytes += len(piece)
        return len(piece)

    def close(self) -> None:
        if not self.closed:
            self._packed.close()
        super().close()

    def file(self, name: str, rows: int = 0) -> File:
        """What the manifest says of it."""
        return File(name, self._bytes, self._hash.hexdigest(), rows)


def _cells(table: Table, workshop: int) -> Iterator[list[str]]:
    """Its rows as texts, a few thousand of them in memory at once."""
    rows = table.of_workshop(workshop).values_list(*(attname(column) for column in table.columns))
    writers = [_writer(column.field, column.kind) for column in table.columns]
    for row in rows.iterator(chunk_size=AT_ONCE):
        yield [write(value) for write, value in zip(writers, row, strict=True)]


def _writer(field: Any, kind: Kind) -> Callable[[Any], str]:
    if kind in {Kind.LINK, Kind.ACCOUNT}:
        return lambda value: "" if value is None else str(value)
    return writer(field)


def _one_moment() -> AbstractContextManager[None]:
    """All tables are read as they are at one moment, and nobody has to wait meanwhile.

    PostgreSQL shows one moment to a transaction that asks for it. On SQLite every transaction is so, and one that only reads need
    not hold the lock of writing, which ours take at their start.
    """
    if connection.in_atomic_block:
        return transaction.atomic()
    return _reading_sqlite() if connection.vendor == "sqlite" else _reading_postgresql()


@contextmanager
def _reading_sqlite() -> Iterator[None]:
    before = connection.transaction_mode  # type: ignore[attr-defined]
    connection.transaction_mode = "DEFERRED"  # type: ignore[attr-defined]
    try:
        with transaction.atomic():
            yield
    finally:
        connection.transaction_mode = before  # type: ignore[attr-defined]


@contextmanager
def _reading_postgresql() -> Iterator[None]:
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield
