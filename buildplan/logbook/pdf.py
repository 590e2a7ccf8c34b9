"""The log as PDF for an inspector: entries by section and step, lots and signatures, small photos, pages numbered."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from itertools import groupby, islice
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, KeepTogether, LongTable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from buildplan.logbook.queries import EntryRow, SignatureRow
from buildplan.logbook.sums import Sums
from inventory.claims.pdf import TYPES, printable
from inventory.common.pictures import BadPicture, as_jpeg, open_picture
from inventory.photos.queries import PhotoRow

MARGIN = 18 * mm
WIDTH = A4[0] - 2 * MARGIN - 12  # reportlab's frame pads by 6 points on each side
GAP = 3 * mm
SIZE, SMALL, LARGE = 9.5, 8, 14  # of the type, in points
ACROSS = 4  # photos side by side
PHOTO = 38 * mm  # the longer side of a photo on paper
PIXELS = 450  # the same in the file: 300 dots an inch
FIGURE = 24 * mm
CAUTIONS = (
    "The kit's plans and its maker, the product's data sheet, local codes and licensed practice come first.",
    "Rivetloft keeps count; it never approves an aeroplane. A signature here says that somebody has seen the work, and no more.",
    "Lots come from the ledger of stock, as it stands on the day of this print. A licence number is its owner's own text, unchecked.",
)
GENERAL = "Of no step"

Pictures = Callable[[int], bytes | None]


@dataclass(frozen=True, slots=True)
class Paper:
    """What a print is of."""

    workshop: str
    title: str
    about: Sequence[str]
    entries: Sequence[EntryRow]
    sums: Sums
    of_steps: dict[int, list[SignatureRow]]
    photos_of_steps: Mapping[int, Sequence[PhotoRow]]


def as_pdf(paper: Paper, pictures: Pictures) -> bytes:
    """The log on A4 pages. `pictures` gives a photo's file by its id, None where there is none any more."""
    file = BytesIO()
    margins: dict[str, Any] = {f"{side}Margin": MARGIN for side in ("left", "right", "top", "bottom")}
    made = SimpleDocTemplate(file, pagesize=A4, title=paper.title, author=paper.workshop, creator="Rivetloft", invariant=1, **margins)
    made.build(list(_story(paper, pictures)), canvasmaker=_numbered(paper.title))
    return file.getvalue()


def _numbered(title: str) -> type[Canvas]:
    """A canvas that writes the title and "page 2 of 5" on each page once it knows how many there are."""

    class Numbered(Canvas):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - reportlab's name
            self._kept.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined] # its stubs leave this out

        def save(self) -> None:
            for number, page in enumerate(self._kept, 1):
                self.__dict__.update(page)
                self.setFont(_type(), SMALL)
                self.drawString(MARGIN, MARGIN / 2, printable(title)[:90])
                self.drawRightString(A4[0] - MARGIN, MARGIN / 2, f"page {number} of {len(self._kept)}")
                super().showPage()
            super().save()

    return Numbered


@cache
def _type() -> str:
    for name in TYPES:
        with suppress(TTFError):
            pdfmetrics.registerFont(TTFont(f"Log-{name}", name))
            return f"Log-{name}"
    message = "reportlab has lost its own type"
    raise RuntimeError(message)


@cache
def _style(size: float, after: float) -> ParagraphStyle:
    return ParagraphStyle("log", fontName=_type(), fontSize=size, leading=size * 1.3, spaceAfter=after)


def _text(text: str, size: float = SIZE, *, after: float = 0) -> Paragraph:
    return Paragraph(escape(printable(text)).replace("\n", "<br/>"), _style(size, after))


def _story(paper: Paper, pictures: Pictures) -> Iterator[Flowable]:
    yield _text(paper.workshop)
    yield _text(paper.title, LARGE, after=GAP)
    yield from (_text(line) for line in paper.about)
    yield Spacer(0, GAP)
    yield from (_text(line, SMALL) for line in CAUTIONS)
    yield Spacer(0, GAP)
    if not paper.entries:
        yield _text("The log has no entry in this part of it.")
        return
    yield _hours(paper.sums)
    for section, entries in groupby(paper.entries, key=lambda entry: entry.section or GENERAL):
        yield Spacer(0, 2 * GAP)
        yield _text(section, LARGE, after=GAP)
        for _, of_step in groupby(entries, key=lambda entry: entry.step_id):
            yield from _step(list(of_step), paper, pictures)


def _hours(sums: Sums) -> Flowable:
    rows = [[section.name, section.time] for section in sums.sections]
    return _table(["Hours by section", "h:min"], [*rows, ["In all", sums.time]], [WIDTH - FIGURE, FIGURE])


def _step(entries: Sequence[EntryRow], paper: Paper, pictures: Pictures) -> Iterator[Flowable]:
    """A step's entries, then once what it took, who saw it as such, and its photos."""
    first = entries[0]
    if first.step_id is not None:
        yield _text(f"{first.step}  {first.title}", 11, after=1 * mm)
    for entry in entries:
        yield from _entry(entry, pictures)
    if first.step_id is None:
        return
    if first.took:
        rows = [[took.label, took.on.isoformat()] for took in first.took]
        yield _table([f"What {first.step} took of stock, by the ledger", "Day"], rows, [WIDTH - FIGURE, FIGURE])
    yield from (_text(f"{first.step} {signature.label}", SMALL) for signature in paper.of_steps.get(first.step_id, ()))
    yield from _photos(paper.photos_of_steps.get(first.step_id, ()), pictures)
    yield Spacer(0, GAP)


def _entry(entry: EntryRow, pictures: Pictures) -> Iterator[Flowable]:
    people = "; ".join(f"{row.who} {row.time}" for row in entry.hours) or "no hours written down"
    struck = f" STRUCK OUT by {entry.struck_by}: {entry.struck_why}" if entry.struck_at else ""
    head = f"{entry.on:%a} {entry.on}, {people}. Written by {entry.by} on {entry.at:%Y-%m-%d}.{struck}"
    yield KeepTogether([_text(head, SMALL, after=0.5 * mm), _text(entry.text, after=1 * mm)])
    for signature in entry.signatures:
        changed = f" Changed since: {', '.join(signature.changed)}." if signature.stands and signature.changed else ""
        yield _text(f"{signature.label[:1].upper()}{signature.label[1:]}{changed}", SMALL, after=1 * mm)
    yield from _photos(entry.photos, pictures)
    yield Spacer(0, 1.5 * mm)


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> LongTable:
    """Its headings stand again on each page that it runs over."""
    cells = [[_text(head, SMALL) for head in heads], *([_text(cell, SMALL) for cell in row] for row in rows)]
    table = LongTable(cells, colWidths=list(widths), repeatRows=1, hAlign="LEFT")
    everywhere = ((0, 0), (-1, -1))
    look: list[Any] = [("LINEBELOW", *everywhere, 0.4, colors.grey), ("VALIGN", *everywhere, "TOP"), ("LEFTPADDING", *everywhere, 0)]
    table.setStyle(TableStyle(look))
    return table


def _photos(photos: Iterable[PhotoRow], pictures: Pictures) -> Iterator[Flowable]:
    left = iter(photos)
    while row := list(islice(left, ACROSS)):
        cells: list[Any] = [[_photo(photo, pictures), _text(photo.caption, SMALL)] for photo in row]
        table = Table([cells + [""] * (ACROSS - len(cells))], colWidths=[WIDTH / ACROSS] * ACROSS)
        table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
        yield table


def _photo(photo: PhotoRow, pictures: Pictures) -> Flowable:
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
