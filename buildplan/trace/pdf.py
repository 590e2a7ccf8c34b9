"""A trace on paper, for who asks where a material went: its lines with their certainty and reasons, pages numbered."""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from functools import cache
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, LongTable, Paragraph, SimpleDocTemplate, Spacer, TableStyle

from buildplan.trace.answer import KINDS, every_line
from buildplan.trace.lines import TraceLine
from buildplan.trace.queries import CameFrom, Went
from inventory.claims.pdf import TYPES, printable
from inventory.common.fields import plain
from inventory.common.problems import Problem

MARGIN = 18 * mm
WIDTH = A4[0] - 2 * MARGIN - 12  # reportlab's frame pads by 6 points on each side
GAP = 3 * mm
SIZE, SMALL, LARGE = 9.5, 8, 14  # of the type, in points
NARROW, MIDDLE, WIDE = 22 * mm, 48 * mm, 38 * mm  # columns; the last takes the rest
CAUTIONS = (
    "The maker's notices, the kit's plans and licensed practice come first.",
    "Rivetloft keeps count; it never approves an aeroplane. A trace says what the records tell, and says where they can't.",
)
MOST_LINES = 2000
MARKS = {"certain": "[=] certain", "possible": "[?] possible", "not": "[ ] not"}


class TooLong(Problem):
    """A trace that is no paper."""

    title = "Too long for paper"


def as_pdf(found: Went | CameFrom, workshop: str, day: str) -> bytes:
    """The trace on A4 pages. Refuses one of more lines than anybody reads on paper."""
    if len(every_line(found)) > MOST_LINES:
        raise TooLong(f"this trace has over {MOST_LINES} lines: trace a section or a step, or take the CSV file, which has all")
    file = BytesIO()
    margins: dict[str, Any] = {f"{side}Margin": MARGIN for side in ("left", "right", "top", "bottom")}
    title = f"Trace of {found.subject}"
    paper = SimpleDocTemplate(file, pagesize=A4, title=title, author=workshop, creator="Rivetloft", invariant=1, **margins)
    paper.build(list(_story(found, workshop, day)), onFirstPage=_numbered, onLaterPages=_numbered)
    return file.getvalue()


def _numbered(canvas: Canvas, paper: Any) -> None:
    canvas.setFont(_type(), SMALL)
    canvas.drawString(MARGIN, MARGIN / 2, printable(paper.title)[:90])
    canvas.drawRightString(A4[0] - MARGIN, MARGIN / 2, f"page {canvas.getPageNumber()}")


@cache
def _type() -> str:
    for name in TYPES:
        with suppress(TTFError):
            pdfmetrics.registerFont(TTFont(f"Trace-{name}", name))
            return f"Trace-{name}"
    message = "reportlab has lost its own type"
    raise RuntimeError(message)


@cache
def _style(size: float, after: float) -> ParagraphStyle:
    return ParagraphStyle("trace", fontName=_type(), fontSize=size, leading=size * 1.3, spaceAfter=after)


def text(words: str, size: float = SIZE, *, after: float = 0) -> Paragraph:
    """Words as a paragraph, letters that can't be printed marked."""
    return Paragraph(escape(printable(words)).replace("\n", "<br/>"), _style(size, after))


def _story(found: Went | CameFrom, workshop: str, day: str) -> Iterator[Flowable]:
    yield text(workshop)
    yield text(f"Trace of {found.subject}", LARGE, after=GAP)
    yield text(f"As the records stand on {day}: " + ", ".join(f"{count} {word}" for word, count in found.counts.items()))
    yield Spacer(0, GAP)
    yield from (text(line, SMALL) for line in CAUTIONS)
    yield from (text(f"{rule.text} ({rule.source})", SMALL) for rule in found.rules)
    yield Spacer(0, GAP)
    lines = every_line(found)
    if not lines:
        yield text("Nothing is known of it: no movement, no step.")
        return
    yield _table(["How sure", "Where", "Lot and quantity", "Why"], [_cells(line) for line in lines], [NARROW, MIDDLE, WIDE])
    if isinstance(found, CameFrom):
        yield from _further(found)


def _cells(line: TraceLine) -> list[str]:
    where = [KINDS[line.kind], f"{line.project} {line.step.code} {line.step.title}" if line.step else line.what or line.place]
    lot = line.lot or line.taken
    amount = f"{plain(line.quantity)} {line.unit}" if line.quantity is not None else ""
    about = [lot.label if lot else line.item, amount, f"{line.on}" if line.on else ""]
    why = "; ".join(reason.text for reason in line.reasons)
    return [MARKS[line.certainty.value], "\n".join(filter(None, where)), "\n".join(filter(None, about)), why]


def _further(found: CameFrom) -> Iterator[Flowable]:
    if found.tools:
        yield Spacer(0, GAP)
        rows = [
            [MARKS[one.certainty.value], f"{one.item} {one.serial}", f"{one.step}, {one.on}", f"{one.calibration}: {one.reasons[-1].text}"]
            for one in found.tools
        ]
        yield _table(["How sure", "Tool", "Step", "Calibration"], rows, [NARROW, MIDDLE, WIDE])
    if found.worked or found.seen:
        yield Spacer(0, GAP)
        rows = [[one.step, one.name, f"{one.minutes} min" if one.minutes else "", f"{one.first} to {one.last}"] for one in found.worked]
        rows += [[one.step, f"{one.name}, {one.role}", "seen", f"{one.at:%Y-%m-%d}: {one.statement}"] for one in found.seen]
        yield _table(["Step", "Who", "", "When"], rows, [NARROW, MIDDLE, WIDE])


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> LongTable:
    cells = [[text(cell, SMALL) for cell in row] for row in (heads, *rows)]
    table = LongTable(cells, colWidths=[*widths, WIDTH - sum(widths)], repeatRows=1, hAlign="LEFT")
    everywhere = ((0, 0), (-1, -1))
    look: list[Any] = [("LINEBELOW", *everywhere, 0.4, colors.grey), ("VALIGN", *everywhere, "TOP"), ("LEFTPADDING", *everywhere, 0)]
    table.setStyle(TableStyle(look))
    return table
