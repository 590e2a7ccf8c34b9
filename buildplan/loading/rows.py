"""rows: the lines of rivet holes in steps."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import partial

from buildplan.hardware.queries import check_rivet, cleco_for, clecos_by_diameter
from buildplan.hardware.services import MOST_GRIP, MOST_HOLES, PlannedRow
from buildplan.loading import values
from buildplan.loading.cells import Cells, Reading
from buildplan.loading.items import Codes, catalogued
from buildplan.loading.records import shown
from buildplan.loading.seams import FindStep
from buildplan.loading.tables import Table
from inventory.common.problems import FieldProblem
from inventory.models import Item


def read_rows(table: Table, codes: Codes, reading: Reading, find_step: FindStep) -> list[PlannedRow]:
    """The rivet rows of the file. `find_step` reads a cell that names a step."""
    items, clecos = catalogued(), clecos_by_diameter()
    places: dict[tuple[str, str], str] = {}
    found: list[PlannedRow] = []
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        planned = _row(cells, codes, items, clecos, find_step)
        if planned is not None:
            first = places.setdefault((planned.step.upper(), planned.code.upper()), row.where)
            if first is not row.where:
                cells.fault("row", f"{shown(planned.code)} of {planned.step} is already on {first}: give each row of a step its own code")
            found.append(planned)
    return found


def _row(
    cells: Cells,
    codes: Codes,
    items: Mapping[int, Item],
    clecos: Mapping[Fraction, Sequence[Item]],
    find_step: FindStep,
) -> PlannedRow | None:
    step = find_step(cells, "step")
    code = cells.text("row", 40)
    known = cells.need("rivet", lambda text: codes.find(text, advise=not cells.reading.problems.full))
    rivet = None if known is None else items[known.pk]
    holes = cells.need("holes", partial(values.whole, least=1, most=MOST_HOLES))
    grip = cells.ratio("grip", most=MOST_GRIP)
    every = cells.whole("cleco_every", 1, MOST_HOLES)
    until = find_step(cells, "clecos_until") if cells.row["clecos_until"] else None
    cleco = None if rivet is None else _cleco(cells, rivet, every, clecos)
    if cells.faulty or step is None or rivet is None:
        return None
    return PlannedRow(step, code, rivet.pk, holes, grip, every, cleco, until)


def _cleco(cells: Cells, rivet: Item, every: int | None, clecos: Mapping[Fraction, Sequence[Item]]) -> int | None:
    """The one cleco of the rivet's diameter, where the row is to have any and is well read so far."""
    try:
        check_rivet(rivet)
        return None if every is None or cells.faulty else cleco_for(rivet, clecos).pk
    except FieldProblem as problem:
        cells.fault(problem.field, str(problem))
        return None
