"""A statement as PDF."""

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
from reportlab.platypus import Flowable, LongTable, Paragraph, SimpleDocTemplate, Spacer, TableStyle

from buildplan.club.sharing import money
from buildplan.club.statements import ProjectRow, Statement
from inventory.claims.pdf import TYPES, printable
from inventory.common.fields import plain

MARGIN = 20 * mm
GAP = 4 * mm
WIDTH = A4[0] - 2 * MARGIN - 12  # reportlab's frame pads by 6 points on each side
SIZE, SMALL, LARGE = 9.5, 8, 14
FIGURE = 34 * mm
NOT_SET = "not set"


def as_pdf(found: Statement, club: str) -> bytes:
    """The statement on A4 pages."""
    file = BytesIO()
    margins: dict[str, Any] = {f"{side}Margin": MARGIN for side in ("left", "right", "top", "bottom")}
    paper = SimpleDocTemplate(file, pagesize=A4, title=_title(found), author=club, creator="Rivetloft", invariant=1, **margins)
    paper.build(list(_story(found, club)))
    return file.getvalue()


def _title(found: Statement) -> str:
    whose = found.member or (found.bench.name if found.bench else "")
    return f"Shared material, {found.first} to {found.last}{f': {whose}' if whose else ''}"


@cache
def _type() -> str:
    for name in TYPES:
        with suppress(TTFError):
            pdfmetrics.registerFont(TTFont(f"Statement-{name}", name))
            return f"Statement-{name}"
    message = "reportlab has lost its own type"
    raise RuntimeError(message)


def _text(text: str, size: float = SIZE, *, after: float = 0) -> Paragraph:
    style = ParagraphStyle("statement", fontName=_type(), fontSize=size, leading=size * 1.3, spaceAfter=after)
    return Paragraph(escape(printable(text)), style)


def _story(found: Statement, club: str) -> Iterator[Flowable]:
    money_in = f" {found.currency}" if found.currency else ""
    yield _text(club, after=GAP)
    yield _text(_title(found), LARGE, after=GAP)
    for project in found.projects:
        yield from _project(project, money_in)
    if not found.projects:
        yield _text("Nothing was used of shared material in this period.", after=GAP)
    yield _text(f"Total: {money(found.cents)}{money_in}", 11, after=GAP)
    if found.members:
        yield _table(
            ["Member", "Bench", "Share"],
            [[row.member, f"{row.bench.name}, shared by {row.among}", f"{money(row.cents)}{money_in}"] for row in found.members],
            [WIDTH - 3 * FIGURE, 2 * FIGURE, FIGURE],
        )
        yield Spacer(0, GAP)
    for reason in found.trace:
        yield _text(f"{reason.text} ({reason.source})", SMALL, after=1)


def _project(project: ProjectRow, money_in: str) -> Iterator[Flowable]:
    name = f"{project.code}, {project.bench.name}" if project.bench else "For no project that is known"
    yield _text(f"{name}: {money(project.cents)}{money_in}", 11, after=2 * mm)
    rows = [
        [
            f"{row.material.code}  {row.material.name}",
            f"{plain(row.line.quantity)} {row.material.unit}",
            _cost(row.line.unpriced == row.line.quantity, row.line.cents, plain(row.line.unpriced), row.material.unit),
        ]
        for row in project.lines
    ]
    yield _table(["What", "Used", f"Cost{money_in}"], rows, [WIDTH - 2 * FIGURE, FIGURE, FIGURE])
    yield Spacer(0, GAP)


def _cost(unknown: bool, cents: int, unpriced: str, unit: str) -> str:
    if unknown:
        return NOT_SET
    return money(cents) if unpriced == "0" else f"{money(cents)}, {unpriced} {unit} {NOT_SET}"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]) -> LongTable:
    """Its headings stand again on each page that it runs over."""
    cells = [[_text(head, SMALL) for head in heads], *([_text(cell) for cell in row] for row in rows)]
    table = LongTable(cells, colWidths=list(widths), repeatRows=1, hAlign="LEFT")
    everywhere = ((0, 0), (-1, -1))
    table.setStyle(
        TableStyle([("LINEBELOW", *everywhere, 0.4, colors.grey), ("VALIGN", *everywhere, "TOP"), ("LEFTPADDING", *everywhere, 0)])
    )
    return table
