"""Draws sheets of labels as PDF: a code, and beside it what people read. Nothing here asks the database."""

import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from io import BytesIO
from typing import TypeVar, cast
from urllib.parse import urlsplit

import segno
import zxingcpp
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from inventory.common.problems import FieldProblem, Problem
from inventory.labels.calc import Arrangement, Box, Line, Sheet, TooSmallError, arrange, cells, fit, inner
from inventory.labels.queries import Face

MOST_LABELS = 1000  # of one request: a person prints part by part, and a server isn't kept busy by one
MOST_COPIES = 20
QUIET = {"qr": 4, "datamatrix": 2}  # modules kept free around a symbol: ISO/IEC 18004 asks 4; ISO/IEC 16022 asks 1, and we give 2
T = TypeVar("T")
Matrix = tuple[tuple[bool, ...], ...]  # the squares of a symbol, quiet zone not in it


class Symbol(StrEnum):
    """The kind of code on a label. A QR code leads a phone to the page; a Data Matrix is smaller, and is the bare token."""

    QR = "qr"
    DATA_MATRIX = "datamatrix"


class TooMany(Problem):
    """More labels than one request may ask for."""

    title = "Too many labels at once"


class BadStart(FieldProblem):
    """A first label that the sheet hasn't got."""


class SheetTooSmall(Problem):
    """Labels that the code has no room on."""

    title = "These labels are too small"


@dataclass(frozen=True, slots=True)
class Job:
    """What to print on which sheet. `base` is the site's address, `start` the first cell used, 1 being the upper left one."""

    sheet: Sheet
    base: str
    symbol: Symbol = Symbol.QR
    start: int = 1
    copies: int = 1


@dataclass(frozen=True, slots=True)
class Words:
    """What stands on a label without a code: one large word, such as a mark, and lines below it."""

    head: str
    lines: tuple[str, ...] = ()


def address(base: str, token: str) -> str:
    """What a QR code says: the site's address and a token, in capitals, which make a QR code a third smaller.

    Schemes and hosts are read in any case; a path of the site is not, and stays as it is.
    """
    parts = urlsplit(base)
    return f"{parts.scheme.upper()}://{parts.netloc.upper()}{parts.path.rstrip('/')}/T/{token}"


def matrix(symbol: Symbol, base: str, token: str) -> Matrix:
    """The squares of a token's symbol, dark ones True."""
    if symbol is Symbol.QR:
        made = segno.make(address(base, token), micro=False, error="m")
        return tuple(tuple(map(bool, row)) for row in made.matrix)
    barcode = zxingcpp.create_barcode(token, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    grey = memoryview(cast("bytes", barcode.to_image(scale=1, add_quiet_zones=False)))
    return tuple(tuple(not value for value in cast("list[int]", row)) for row in grey.tolist())


def refuse_many(count: int) -> None:
    """Refuse more labels than one request may ask for."""
    if count > MOST_LABELS:
        raise TooMany(f"these are {count:,} labels: {MOST_LABELS:,} at once are the most. Print them part by part")


def check(count: int, job: Job) -> None:
    """Refuse a job that can't be printed: too many labels, or a first cell that isn't there."""
    refuse_many(count * job.copies)
    if not 1 <= job.start <= job.sheet.cells:
        raise BadStart("start", f"{job.sheet.name} has the labels 1 to {job.sheet.cells} on a page")


def sheet_pdf(faces: Sequence[Face], job: Job) -> bytes:
    """The PDF: each face `copies` times, one after the other. The same job gives the same bytes."""
    return _pdf(faces, job, lambda canvas, face: _label(canvas, face, job))


def words_pdf(labels: Sequence[Words], job: Job) -> bytes:
    """The PDF of labels without a code, as `sheet_pdf` otherwise. Of `job` neither address nor symbol is used."""
    return _pdf(
        labels, job, lambda canvas, words: _draw_lines(canvas, _lines_of(words), inner(job.sheet.label_width, job.sheet.label_height))
    )


def _pdf(labels: Sequence[T], job: Job, draw: Callable[[Canvas, T], None]) -> bytes:
    check(len(labels), job)
    out = BytesIO()
    size = (float(job.sheet.page_width) * mm, float(job.sheet.page_height) * mm)
    canvas = Canvas(out, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(f"{len(labels)} label{'' if len(labels) == 1 else 's'}")
    canvas.setCreator("Rivetloft")
    wanted = [label for label in labels for _ in range(job.copies)]
    page = 0
    for label, cell in zip(wanted, cells(job.sheet, start=job.start, count=len(wanted)), strict=True):
        if cell.page > page:
            canvas.showPage()
            page = cell.page
        canvas.saveState()
        canvas.translate(float(cell.left) * mm, float(job.sheet.page_height - cell.top) * mm)  # the label's upper left corner
        draw(canvas, label)
        canvas.restoreState()
    canvas.save()
    return out.getvalue()


def _label(canvas: Canvas, face: Face, job: Job) -> None:
    squares = matrix(job.symbol, job.base, face.token or "")
    found = _arranged(job.sheet, len(squares) + 2 * QUIET[job.symbol])
    _draw_symbol(canvas, squares, found, QUIET[job.symbol])
    _draw_lines(canvas, _lines(face), found.text)


def _arranged(sheet: Sheet, modules: int) -> Arrangement:
    try:
        return arrange(sheet.label_width, sheet.label_height, modules)
    except TooSmallError as error:
        raise SheetTooSmall(f"{error}. A Data Matrix takes less room than a QR code") from error


def _draw_symbol(canvas: Canvas, squares: Matrix, found: Arrangement, quiet: int) -> None:
    """All dark squares as one path: drawn one by one, they would show seams where a page is smoothed."""
    module = float(found.module) * mm
    left = float(found.symbol.left) * mm + quiet * module
    top = -float(found.symbol.top) * mm - quiet * module
    path = canvas.beginPath()
    for row, line in enumerate(squares):
        for start, length in _runs(line):
            path.rect(left + start * module, top - (row + 1) * module, length * module, module)
    canvas.drawPath(path, stroke=0, fill=1)


def _runs(line: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """Dark squares in a row: where each run starts, and how long it is."""
    start = None
    for at, dark in enumerate((*line, False)):
        if dark and start is None:
            start = at
        elif not dark and start is not None:
            yield start, at - start
            start = None


def _lines(face: Face) -> list[Line]:
    return [
        Line(face.head, 11, bold=True),
        Line(face.name, 7.5, need=3),
        *(Line(fact, 7.5, need=1) for fact in face.facts),
        Line(face.where, 7.5, need=2, tail=True),
        Line(face.token or "", 7),
    ]


def _lines_of(words: Words) -> list[Line]:
    return [Line(words.head, 24, bold=True), *(Line(line, 7.5, need=1) for line in words.lines)]


def _draw_lines(canvas: Canvas, given: Sequence[Line], box: Box) -> None:
    left, top = float(box.left) * mm, -float(box.top) * mm
    lines = [Line(printable(line.text), line.size, line.need, bold=line.bold, tail=line.tail) for line in given]
    for placed in fit(lines, float(box.width) * mm, float(box.height) * mm, measure):
        font = _font(bold=placed.bold)
        canvas.setFont(font.fontName, placed.size)
        canvas.drawString(left, top - placed.foot, placed.text)


@cache
def _font(*, bold: bool) -> TTFont:
    """Bitstream Vera, which reportlab brings: the same on every machine, and embedded, so that no printer puts another in its place."""
    font = TTFont("LabelBold", "VeraBd.ttf") if bold else TTFont("Label", "Vera.ttf")
    pdfmetrics.registerFont(font)
    return font


def measure(text: str, size: float, bold: bool) -> float:
    """The width of a text in points."""
    width: float = _font(bold=bold).stringWidth(text, size)
    return width


def printable(text: str) -> str:
    """`text` in the letters that the type has: accents it lacks are left off, and what it can't show at all is a question mark."""
    return "".join(_shown(char) for char in unicodedata.normalize("NFC", text))


def _shown(char: str) -> str:
    has = _font(bold=False).face.charToGlyph
    if ord(char) in has:
        return char
    if unicodedata.category(char) in {"Mn", "Cf", "Cc"}:
        return ""
    plain = "".join(part for part in unicodedata.normalize("NFKD", char) if ord(part) in has and not unicodedata.combining(part))
    return plain or "?"
