"""blanks and pieces: what pieces are cut from, and what steps need from it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

from buildplan.cutting.models import Blank, Form, Grain
from buildplan.cutting.services import BlankData, PlannedPiece
from buildplan.cutting.stating import MOST_COUNT, MOST_PER_BLANK, blank_fields, check_piece
from buildplan.loading import values
from buildplan.loading.cells import Cells, Reading, fitting
from buildplan.loading.items import Codes, catalogued
from buildplan.loading.records import shown
from buildplan.loading.seams import FindStep
from buildplan.loading.tables import Table
from buildplan.loading.values import BadValue
from buildplan.plan.models import Hand
from inventory.common.problems import FieldProblem
from inventory.models import Item

MOST_CODE = 40
SIZES = ("length", "width", "thickness")


@dataclass(frozen=True, slots=True)
class StatedBlank:
    """A blank of the file."""

    item: Item
    said: BlankData


def read_blanks(table: Table, codes: Codes, reading: Reading) -> list[StatedBlank]:
    """The blanks of the file, one row each."""
    items = catalogued()
    rows: dict[int, str] = {}
    found: list[StatedBlank] = []
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        known = cells.need("blank", lambda text: codes.find(text, advise=not reading.problems.full))
        said = _said(cells)
        if cells.faulty:
            continue
        if (first := rows.setdefault(known.pk, row.where)) is not row.where:
            cells.fault("blank", f"{known.code} is already on {first}: give each blank one row")
        _check(cells, partial(blank_fields, items[known.pk], said), "blank")
        found.append(StatedBlank(items[known.pk], said))
    return found


def _said(cells: Cells) -> BlankData:
    form = cells.choice("form", Form.values)
    length, width, thickness = (cells.ratio(name) for name in SIZES)
    kerf, end_trim = (cells.may(name, partial(_or_none, comma=cells.row.decimal_comma)) for name in ("kerf", "end_trim"))
    grain = cells.choice("grain", Grain.values) if cells.row["grain"] else ""
    unit = cells.row["unit"] or "mm"
    return BlankData(form, unit, length, width, thickness, grain, kerf, end_trim)


def _or_none(text: str, *, comma: bool) -> Fraction:
    """A size of 0 or more: a shear takes nothing."""
    try:
        return values.fraction(text, decimal_comma=comma)
    except BadValue:
        number = values.decimal_not_negative(text, decimal_comma=comma)
        if number:
            raise
        return Fraction(0)


def read_pieces(table: Table, codes: Codes, reading: Reading, find_step: FindStep, stated: list[StatedBlank]) -> list[PlannedPiece]:
    """The pieces of the file, each checked against its blank: one that is here already, or of the blanks beside it.

    The blank of each is named by its item's id, since one of the same load has no row yet.
    """
    blanks = _blanks(stated)
    places: dict[tuple[str, str], str] = {}
    found: list[PlannedPiece] = []
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        piece = _piece(cells, codes, blanks, find_step)
        if piece is not None:
            first = places.setdefault((piece.step.upper(), piece.code.upper()), row.where)
            if first is not row.where:
                cells.fault("piece", f"{shown(piece.code)} of {piece.step} is already on {first}: give each piece of a step its own code")
            found.append(piece)
    return found


def _blanks(stated: list[StatedBlank]) -> dict[int, Blank]:
    """By item, those of the file as they will be."""
    found = {blank.item_id: blank for blank in Blank.objects.select_related("item")}
    for one in stated:
        try:
            found[one.item.pk] = Blank(item=one.item, **blank_fields(one.item, one.said))
        except FieldProblem:
            found.setdefault(one.item.pk, Blank(item=one.item))  # its own row says what is wrong
    return found


def _piece(cells: Cells, codes: Codes, blanks: Mapping[int, Blank], find_step: FindStep) -> PlannedPiece | None:
    step, code = find_step(cells, "step"), cells.text("piece", MOST_CODE)
    advise = not cells.reading.problems.full
    known = cells.need("blank", lambda text: codes.find(text, advise=advise))
    made = cells.may("item", lambda text: codes.find(text, advise=advise))
    count = cells.need("count", partial(values.whole, least=1, most=MOST_COUNT)) if cells.row["count"] else 1
    per_blank = cells.whole("per_blank", 1, MOST_PER_BLANK)
    length, width = (cells.ratio(name) for name in ("length", "width"))
    allowance = cells.may("allowance", partial(_or_none, comma=cells.row.decimal_comma))
    grain = cells.choice("grain", Grain.values) if cells.row["grain"] else ""
    hand = cells.choice("hand", Hand.values) if cells.row["hand"] else ""
    cut = cells.may("cut", partial(fitting, most=MOST_CODE)) or ""
    if cells.faulty or step is None:
        return None
    if known.pk not in blanks:
        cells.fault("blank", f"{known.code} is no blank here: add it to blanks.csv, or on the page Cutting")
        return None
    made_id = None if made is None else made.pk
    sizes = (length, width, cells.row["unit"], allowance)
    piece = PlannedPiece(step, code, known.pk, count, made_id, *sizes, grain, per_blank, cut, hand)
    _check(cells, partial(check_piece, piece, blanks[known.pk]), "piece")
    return None if cells.faulty else piece


def _check(cells: Cells, check: Callable[[], object], otherwise: str) -> None:
    try:
        check()
    except FieldProblem as problem:
        field = {"code": "piece", "item": "blank"}.get(problem.field, problem.field)
        cells.fault(field if field in cells.row.cells else otherwise, str(problem))


def with_blanks(pieces: list[PlannedPiece]) -> list[PlannedPiece]:
    """The pieces once their blanks are saved. One query."""
    blanks = dict(Blank.objects.values_list("item_id", "pk"))
    return [replace(piece, blank_id=blanks[piece.blank_id]) for piece in pieces]
