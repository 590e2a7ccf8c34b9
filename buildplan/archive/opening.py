"""An archive, opened as something that anybody may have made: nothing in it is believed before it is looked at.

No name of it is ever used as a path, sizes are counted while it is read, and every file is held against the manifest.
"""

import csv
import hashlib
import io
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from buildplan.archive import manifest
from buildplan.archive.manifest import File, Manifest
from buildplan.archive.problems import BadArchive

MB = 1_000_000
MOST_MANIFEST = 64 * MB
MOST_FILES = 1_000_000
MOST_BYTES = 200_000 * MB  # unpacked: more photos than years of building make. A starting value of ours
MOST_RATIO = 200  # unpacked to packed, of all of it: rows of text come to 30. A starting value of ours
SMALL = 10 * MB  # up to here no ratio is asked for
MOST_CELL = 10 * MB
_PACKED_AS = frozenset({zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED})
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, struct.error, NotImplementedError, RuntimeError)
_ENCRYPTED = 0x1
_STEP = 1 << 20


class Archive:
    """An open archive whose names and manifest are sound. `tables` of it are read as rows, photos as bytes."""

    def __init__(self, packed: zipfile.ZipFile, found: Manifest) -> None:
        """Use `opened` instead."""
        self._zip = packed
        self.manifest = found

    def rows(self, file: File) -> Iterator[tuple[int, list[str]]]:
        """Each row of a table with the line on which it starts, the header first. Its size and hash are held against the manifest."""
        with self._stream(file) as raw, io.TextIOWrapper(io.BufferedReader(raw, _STEP), encoding="utf-8", newline="") as text:
            reader = csv.reader(text, strict=True)
            while True:
                line = reader.line_num + 1
                try:
                    yield line, next(reader)
                except StopIteration:
                    break
                except (csv.Error, UnicodeDecodeError) as error:
                    raise BadArchive(f"{file.name}:{line}: {_unreadable(error)}") from error
            raw.finish()

    def photo(self, file: File) -> Iterator[bytes]:
        """A photo in pieces."""
        with self._stream(file) as raw:
            while piece := raw.read(_STEP):
                yield piece
            raw.finish()

    @contextmanager
    def _stream(self, file: File) -> Iterator["_Counted"]:
        try:
            with self._zip.open(file.name) as packed:
                yield _Counted(packed, file)
        except _DAMAGED as error:
            raise BadArchive(f"{file.name} is damaged ({error}): take another copy of the archive") from error


class _Counted(io.RawIOBase):
    """What is read of a file, counted and hashed: one that goes on behind its size is refused before it fills anything."""

    def __init__(self, packed: IO[bytes], file: File) -> None:
        self._packed, self._file = packed, file
        self._read, self._hash = 0, hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        piece = self._packed.read(len(buffer))
        self._read += len(piece)
        if self._read > self._file.bytes:
            raise BadArchive(f"{self._file.name} is larger than the manifest says ({self._file.bytes} bytes): it is not read further")
        self._hash.update(piece)
        buffer[: len(piece)] = piece
        return len(piece)

    def finish(self) -> None:
        """At the end: it is what the manifest says it is."""
        if self._read != self._file.bytes:
            raise BadArchive(f"{self._file.name} has {self._read} bytes, and the manifest says {self._file.bytes}: take another copy")
        if self._hash.hexdigest() != self._file.sha256:
            raise BadArchive(f"{self._file.name} is not what was saved: its SHA-256 is another than in the manifest. Take another copy")


@contextmanager
def opened(path: Path) -> Iterator[Archive]:
    """An archive whose names, sizes and manifest are sound. Raises `BadArchive`."""
    with _zip(path) as packed, _large_cells():
        _refuse_names(packed.infolist())
        found = manifest.of_json(_manifest(packed))
        _refuse_sizes(packed, found)
        yield Archive(packed, found)


def _zip(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except (FileNotFoundError, IsADirectoryError, PermissionError) as error:
        raise BadArchive(f"{path} can't be read ({error.strerror}): name the archive's file") from error
    except (*_DAMAGED, OSError, ValueError) as error:
        raise BadArchive(f"{path.name} is no zip, or a damaged one: take another copy of the archive") from error


@contextmanager
def _large_cells() -> Iterator[None]:
    """A letter may be longer than the csv module takes by itself; other loads keep its limit."""
    before = csv.field_size_limit(MOST_CELL)
    try:
        yield
    finally:
        csv.field_size_limit(before)


def _manifest(packed: zipfile.ZipFile) -> bytes:
    if manifest.NAME not in packed.namelist():
        raise BadArchive(f"there is no {manifest.NAME} in it: this is no archive of a workshop")
    try:
        with packed.open(manifest.NAME) as file:
            text = file.read(MOST_MANIFEST + 1)
    except _DAMAGED as error:
        raise BadArchive(f"{manifest.NAME} is damaged: take another copy of the archive") from error
    if len(text) > MOST_MANIFEST:
        raise BadArchive(f"{manifest.NAME} has over {MOST_MANIFEST // MB} MB: this is no archive of a workshop")
    return text


def _refuse_names(entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > MOST_FILES:
        raise BadArchive(f"there are over {MOST_FILES} files in it: this is no archive of a workshop")
    seen: set[str] = set()
    for entry in entries:
        name = entry.orig_filename
        if fault := _fault(entry):
            raise BadArchive(f"{name!r} {fault}: this archive was not made by Rivetloft")
        if entry.filename in seen:
            raise BadArchive(f"{name!r} is in it twice: this archive was not made by Rivetloft")
        seen.add(entry.filename)


def _fault(entry: zipfile.ZipInfo) -> str:
    name = entry.orig_filename
    faults = {
        "is an absolute path": name.startswith(("/", "\\")) or ":" in name,
        "is a path that climbs out": ".." in name.replace("\\", "/").split("/"),
        "is no plain name": "\\" in name or not name.isprintable(),
        "is a link": stat.S_ISLNK(entry.external_attr >> 16),
        "is a folder": entry.is_dir(),
        "is encrypted": bool(entry.flag_bits & _ENCRYPTED),
        "is packed in a way that isn't read": entry.compress_type not in _PACKED_AS,
    }
    return next((fault for fault, there in faults.items() if there), "")


def _refuse_sizes(packed: zipfile.ZipFile, found: Manifest) -> None:
    """Every file is in the archive and in the manifest, and unpacking it fills nothing."""
    there = {entry.filename: entry for entry in packed.infolist() if entry.filename != manifest.NAME}
    named = [*found.tables.values(), *found.photos.values()]
    if len({file.name for file in named}) != len(named):
        raise BadArchive(f"{manifest.NAME} names a file twice: it was changed by hand")
    missing = [file.name for file in named if file.name not in there]
    if missing:
        raise BadArchive(*(f"{name} is missing from the archive: take another copy" for name in missing[:20]))
    if strange := sorted(set(there) - {file.name for file in named}):
        raise BadArchive(*(f"{name} is in the archive and not in its manifest: it was changed by hand" for name in strange[:20]))
    if found.bytes > MOST_BYTES:
        raise BadArchive(f"unpacked it has {found.bytes // MB} MB, and {MOST_BYTES // MB} are the most")
    size = sum(entry.compress_size for entry in there.values())
    if found.bytes > SMALL and found.bytes > size * MOST_RATIO:
        raise BadArchive(f"{size} bytes claim to unpack to {found.bytes}: no workshop's rows do so. This is a zip bomb, or damaged")


def _unreadable(error: Exception) -> str:
    if isinstance(error, UnicodeDecodeError):
        return "is not UTF-8"
    return f"can't be read as CSV ({error})"
