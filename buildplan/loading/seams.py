"""seams: the sealed joints of steps, by shape and size."""

from collections.abc import Callable, Mapping
from fractions import Fraction

from buildplan.loading import values
from buildplan.loading.cells import Cells, Reading
from buildplan.loading.items import Codes, catalogued
from buildplan.loading.records import shown
from buildplan.loading.tables import Table
from buildplan.loading.values import BadValue
from buildplan.sealing import calc
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import check_length_unit, check_seam
from buildplan.sealing.services import MOST_ALIKE, MOST_LOSS, PlannedSeam
from inventory.catalogue.units import UnitError
from inventory.common.problems import FieldProblem
from inventory.models import Item

FindStep = Callable[[Cells, str], str | None]
SIZES = ("length", "leg_a", "leg_b", "thickness", "grams_each")


def read_seams(table: Table, codes: Codes, reading: Reading, find_step: FindStep) -> list[PlannedSeam]:
    """The seams of the file, each checked by the arithmetic that will tell its grams. `find_step` reads a cell that names a step."""
    items = catalogued()
    seams: dict[tuple[str, str], str] = {}
    found: list[PlannedSeam] = []
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        seam = _seam(cells, codes, items, find_step)
        if seam is not None:
            first = seams.setdefault((seam.step.upper(), seam.code.upper()), row.where)
            if first is not row.where:
                cells.fault("seam", f"{shown(seam.code)} of {seam.step} is already on {first}: give each seam of a step its own code")
            found.append(seam)
    return found


def _seam(cells: Cells, codes: Codes, items: Mapping[int, Item], find_step: FindStep) -> PlannedSeam | None:
    step = find_step(cells, "step")
    code = cells.text("seam", 40)
    known = cells.need("sealant", lambda text: codes.find(text, advise=not cells.reading.problems.full))
    shape = cells.choice("shape", calc.Shape)
    length, leg_a, leg_b, thickness, grams_each = (cells.ratio(name) for name in SIZES)
    unit, size_unit = (cells.may(name, _length_unit) or "" for name in ("unit", "size_unit"))
    count = cells.whole("count", 1, MOST_ALIKE) or 1
    loss = cells.may("loss_percent", lambda text: _loss(text, comma=cells.row.decimal_comma)) or Fraction(0)
    if cells.faulty or step is None:
        return None
    sizes = (length, unit, leg_a, leg_b, thickness, size_unit)
    seam = PlannedSeam(step, code, known.pk, shape, *sizes, count=count, grams_each=grams_each, loss_percent=loss)
    _check(cells, seam, items[known.pk])
    return None if cells.faulty else seam


def _length_unit(text: str) -> str:
    try:
        return check_length_unit(text)
    except UnitError as error:
        raise BadValue(str(error)) from error


def _loss(text: str, *, comma: bool) -> Fraction:
    percent = values.decimal_not_negative(text, decimal_comma=comma)
    if percent > MOST_LOSS or percent != round(percent, 6):
        raise BadValue(f"{shown(text)} is no loss in percent: write 0 to {MOST_LOSS}, such as 15")
    return Fraction(percent)


def _check(cells: Cells, seam: PlannedSeam, sealant: Item) -> None:
    try:
        check_seam(Seam(**seam.fields()), sealant)
    except FieldProblem as problem:
        cells.fault(problem.field if problem.field in cells.row.cells else "shape", str(problem))
