"""A packing list, or another file to load, as it was sent: looked at before it is read, since anything may be sent."""

import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from django.core.files.uploadedfile import UploadedFile

from inventory.common.problems import FieldProblem, Problem

MB = 1_000_000
MOST_BYTES = 10 * MB
MOST_UNPACKED = 100 * MB
MOST_ROWS = 10_000  # far more than any crate has lines: what is longer is another file, and would hold the database up
MOST_LINES = 10 * MOST_ROWS  # blank ones among them
MOST_NAME = 100
PACKING = "packing list"

_OTHER = {
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
    b"BM": "a picture",
    b"II*\0": "a picture",
    b"MM\0*": "a picture",
    b"%PDF": "a PDF",
    b"{\\rtf": "a text document",
}
_BOX = slice(8, 12)  # where WebP says what it is; HEIC says so in its fifth to eighth byte
_WITH_MACROS = frozenset({".xlsm", ".xltm", ".xlsb", ".xlam"})
_READ = frozenset({".csv", ".xlsx"})


class BadFile(FieldProblem):
    """A file that is no packing list, or whatever it was sent as, by its kind or its size."""

    title = "This file is no packing list"

    def __init__(self, text: str, what: str = PACKING, *, too_large: bool = False) -> None:
        """Say `text` of the file."""
        super().__init__("file", text)
        self.title = f"This file is no {what}"
        self.too_large = too_large
        self.status = 413 if too_large else 422


class TooLong(Problem):
    """More rows than a packing list has."""

    title = "This list is too long"


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file as it was sent; `name` is what messages call it."""

    name: str
    data: bytes


def take(file: "UploadedFile[bytes]", what: str = PACKING) -> SentFile:
    """Take a file of a form, by its size before it is read. Refuses what can't be `what` it is sent as (`BadFile`)."""
    if (file.size or 0) > MOST_BYTES:
        raise BadFile(_too_large(plain_name(file.name or ""), file.size or 0, what), what, too_large=True)
    return look_at(SentFile(plain_name(file.name or ""), file.read()), what)


def look_at(sent: SentFile, what: str = PACKING) -> SentFile:
    """The same file. Refuses what can't be `what` it is sent as by its kind or its size (`BadFile`)."""
    name, suffix = sent.name, Path(sent.name).suffix.lower()
    if len(sent.data) > MOST_BYTES:
        raise BadFile(_too_large(name, len(sent.data), what), what, too_large=True)
    if not sent.data:
        raise BadFile(f"{name} is empty: choose the file that the {what} was saved in", what)
    if other := _other_kind(sent.data):
        raise BadFile(f"{name} is {other} by its content: send the {what} as .csv or .xlsx", what)
    if suffix in _WITH_MACROS:
        raise BadFile(f"{name} is a workbook with macros: save it as .xlsx, without them")
    if suffix not in _READ:
        raise BadFile(f"{name} is neither .csv nor .xlsx: save it as one of these")
    if suffix == ".xlsx":
        _refuse_book(sent)
    elif sent.data.count(b"\n") > MOST_LINES:
        raise BadFile(f"{name} has over {MOST_LINES} lines: is it the right file?", too_large=True)
    return sent


def refuse_many(count: int) -> None:
    """Told now and then how many rows are read: stop where they are too many."""
    if count > MOST_ROWS:
        raise TooLong(f"the list has over {MOST_ROWS} rows: split it, one crate a list")


@contextmanager
def on_disk(sent: SentFile) -> Iterator[Path]:
    """The file under a path of its own while it is read; of its name only the kind is in it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"list{Path(sent.name).suffix.lower()}"
        path.write_bytes(sent.data)
        yield path


def plain_name(name: str) -> str:
    """What a person called a file, fit for a message: without folders, line breaks or what can't be seen."""
    name = name.replace("\\", "/").rpartition("/")[2]
    shown = "".join(char if char.isprintable() else "_" for char in name)
    stem, suffix = Path(shown).stem, Path(shown).suffix[:10]
    return f"{stem[: MOST_NAME - len(suffix)]}{suffix}" or "list"


def _too_large(name: str, size: int, what: str) -> str:
    return f"{name} has {size / MB:.1f} MB, and {MOST_BYTES // MB} MB are the most: a {what} is far smaller. Is it the right file?"


def _other_kind(data: bytes) -> str:
    if (data.startswith(b"RIFF") and data[_BOX] == b"WEBP") or data[4:8] == b"ftyp":
        return "a picture"
    return next((kind for start, kind in _OTHER.items() if data.startswith(start) and not _is_text(data)), "")


def _is_text(data: bytes) -> bool:
    """Whether the first line has the commas of a header: a list may well begin with BM."""
    first = data.split(b"\n", 1)[0][:200]
    return first.isascii() and b"\0" not in first and (b"," in first or b";" in first)


def _refuse_book(sent: SentFile) -> None:
    """Of a workbook: macros, and what would fill the memory. What is none is told when it is read."""
    try:
        with zipfile.ZipFile(BytesIO(sent.data)) as archive:
            parts = archive.infolist()
    except zipfile.BadZipFile:
        return
    if any(Path(part.filename).name.lower() == "vbaproject.bin" for part in parts):
        raise BadFile(f"{sent.name} is a workbook with macros: save it as .xlsx, without them")
    if sum(part.file_size for part in parts) > MOST_UNPACKED:
        raise BadFile(f"{sent.name} has over {MOST_UNPACKED // MB} MB when unpacked: is it the right file?", too_large=True)
