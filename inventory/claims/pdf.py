"""A claim letter as PDF: the same facts as its text, with the photos small behind it."""

import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from functools import cache
from io import BytesIO
from itertools import islice
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, LongTable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from inventory.claims.calc import Letter, Photo, Row
from inventory.common.pictures import BadPicture, as_jpeg, open_picture

MARGIN = 20 * mm
WIDTH = A4[0] - 2 * MARGIN - 12  # of the text: reportlab's frame pads it by 6 points on each side
GAP = 4 * mm
NUMBER, FIGURE = 9 * mm, 21 * mm  # widths of columns; what stands between takes the rest
SIZE, SMALL = 9.5, 8  # of the type, in points
ACROSS = 3  # photos side by side
PHOTO = 52 * mm  # the longer side of a photo on paper
PIXELS = 700  # the same in the file: over 300 dots an inch
TYPES = ("DejaVuSans.ttf", "Vera.ttf")  # the first has many scripts, where a machine has it; reportlab brings the second
UNKNOWN = "\N{LOZENGE}"  # stands for a letter that the type lacks; both types below have it
UNSHOWN = f"{UNKNOWN} stands for a letter that this print has no type for. The letter as text has every name as it is written."

Pictures = Callable[[int], bytes | None]


def as_pdf(letter: Letter, pictures: Pictures) -> bytes:
    """The letter on A4 pages. `pictures` gives a photo's file by its id, None where there is none any more."""
    file = BytesIO()
    title, author = letter.subject, letter.sent_by[0]
    margins: dict[str, Any] = {f"{side}Margin": MARGIN for side in ("left", "right", "top", "bottom")}
    paper = SimpleDocTemplate(file, pagesize=A4, title=title, author=author, creator="Rivetloft", invariant=1, **margins)
    paper.build(list(_story(letter, pictures)), canvasmaker=_Numbered)
    return file.getvalue()


class _Numbered(Canvas):
    """A canvas that writes "page 2 of 5" once it knows how many there are."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - reportlab's name
        self._pages.append(dict(self.__dict__))
        self._startPage()  # type: ignore[attr-defined] # its stubs leave this out

    def save(self) -> None:
        for number, page in enumerate(self._pages, 1):
            self.__dict__.update(page)
            self.setFont(_type(), SMALL)
            self.drawRightString(A4[0] - MARGIN, MARGIN / 2, f"page {number} of {len(self._pages)}")
            super().showPage()
        super().save()


@cache
def _type() -> str:
    """The name of a letter's type, which is embedded: no printer puts another in its place."""
    for name in TYPES:
        with suppress(TTFError):
            pdfmetrics.registerFont(TTFont(f"Letter-{name}", name))
            return f"Letter-{name}"
    message = "reportlab has lost its own type"
    raise RuntimeError(message)


def _shows(char: str) -> bool:
    """Whether the type has it. Scripts that run from right to left, or whose letters join, are not set by this print."""
    if unicodedata.bidirectional(char) in {"R", "AL"}:
        return False
    return char in "\n\t" or ord(char) in pdfmetrics.getFont(_type()).face.charToGlyph  # type: ignore[attr-defined] # of TTFont alone


def printable(text: str) -> str:
    """`text` with a mark for each letter that can't be printed."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(char if _shows(char) else UNKNOWN for char in unicodedata.normalize("NFC", text))


def unshown(letter: Letter) -> bool:
    """Whether something of the letter can't be printed."""
    return any(not _shows(char) for char in unicodedata.normalize("NFC", "".join(_texts(letter))))


def _texts(letter: Letter) -> Iterator[str]:
    yield from (letter.subject, *letter.sent_by, *letter.to, *letter.closing)
    yield from (value for _, value in letter.facts)
    for row in letter.rows:
        yield from (row.item, row.name, row.where, row.note, *row.figures)
    yield from (photo.caption for photo in letter.photos)


@cache
def _style(size: float = SIZE, *, after: float = 0, right: bool = False) -> ParagraphStyle:
    return ParagraphStyle("letter", fontName=_type(), fontSize=size, leading=size * 1.3, spaceAfter=after, alignment=2 if right else 0)


def _text(text: str, size: float = SIZE, *, after: float = 0, right: bool = False) -> Paragraph:
    return Paragraph(escape(printable(text)), _style(size, after=after, right=right))


def _story(letter: Letter, pictures: Pictures) -> Iterator[Flowable]:
    yield from (_text(line) for line in letter.sent_by)
    yield Spacer(0, 3 * GAP)
    yield from (_text(line) for line in letter.to)
    yield Spacer(0, 2 * GAP)
    yield _text(letter.day, after=GAP)
    yield _text(letter.subject, 13, after=GAP)
    yield from (_text(f"{name}: {value}") for name, value in letter.facts)
    yield Spacer(0, GAP)
    yield _text(letter.opening, after=GAP)
    yield _table(letter)
    yield Spacer(0, GAP)
    yield from (_text(line, after=2 * mm) for line in letter.closing)
    if unshown(letter):
        yield _text(UNSHOWN, SMALL)
    if letter.photos:
        yield Spacer(0, 2 * GAP)
        yield _text("Photos", 13, after=GAP)
        yield from _photos(letter.photos, pictures)


def _table(letter: Letter) -> LongTable:
    """The claimed things; its headings stand again on each page that it runs over."""
    width = WIDTH - NUMBER - FIGURE * len(letter.heads)
    heads = ["", _text("What", SMALL), *(_text(head, SMALL, right=True) for head in letter.heads)]
    rows = [_cells(number, row) for number, row in enumerate(letter.rows, 1)]
    table = LongTable([heads, *rows], colWidths=[NUMBER, width, *([FIGURE] * len(letter.heads))], repeatRows=1)
    everywhere = ((0, 0), (-1, -1))
    look: list[Any] = [
        ("LINEBELOW", *everywhere, 0.4, colors.grey),
        ("VALIGN", *everywhere, "TOP"),
        ("FONT", *everywhere, _type(), SIZE, SIZE * 1.3),
    ]
    look += [("ALIGN", (2, 0), (-1, -1), "RIGHT"), ("LEFTPADDING", *everywhere, 0), ("RIGHTPADDING", (-1, 0), (-1, -1), 0)]
    table.setStyle(TableStyle(look))
    return table


def _cells(number: int, row: Row) -> list[Any]:
    lines = [f"{row.item}  {row.name}".rstrip(), *(text for text in (row.where, row.note) if text)]
    first, *more = (escape(printable(line)) for line in lines)
    what = "<br/>".join([first, *(f'<font size="{SMALL}">{line}</font>' for line in more)])
    return [f"{number}.", Paragraph(what, _style()), *(_figure(figure) for figure in row.figures)]


def _figure(figure: str) -> Any:
    """A plain text takes a tenth of a paragraph's time; one that is too wide for its column must wrap."""
    text = printable(figure)
    return text if pdfmetrics.stringWidth(text, _type(), SIZE) < FIGURE - GAP and "\n" not in text else _text(figure, right=True)


def _photos(photos: Sequence[Photo], pictures: Pictures) -> Iterator[Flowable]:
    """Row by row, each with its number and caption below it, so that a page may end between rows."""
    width = WIDTH / ACROSS
    for row in _in_rows(enumerate(photos, 1)):
        cells = [[_photo(photo, pictures), _text(f"{number}. {photo.caption}", SMALL)] for number, photo in row]
        table = Table([cells + [""] * (ACROSS - len(cells))], colWidths=[width] * ACROSS)
        table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
        yield table


def _in_rows(numbered: Iterable[tuple[int, Photo]]) -> Iterator[list[tuple[int, Photo]]]:
    left = iter(numbered)
    while row := list(islice(left, ACROSS)):
        yield row


def _photo(photo: Photo, pictures: Pictures) -> Flowable:
    data = pictures(photo.id)
    if data is None:
        return _text("This photo is no longer kept.", SMALL)
    try:
        small = as_jpeg(open_picture(data), PIXELS)
    except BadPicture as error:
        return _text(str(error), SMALL)
    image = Image(BytesIO(small))
    image._restrictSize(PHOTO, PHOTO)  # type: ignore[attr-defined]  # noqa: SLF001 - reportlab's own way to keep the proportions
    image.hAlign = "LEFT"
    return image
