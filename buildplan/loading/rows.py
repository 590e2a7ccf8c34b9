"""rows: the lines of rivet holes in steps."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import partial

from buildplan.hardware.queries import clecos_by_diameter, rivet_diameter
from buildplan.hardware.services import PlannedRow
from buildplan.loading import values
from buildplan.loading.cells import Cells, Reading
from buildplan.loading.items import Codes, catalogued
from buildplan.loading.records import shown
from buildplan.loading.seams import FindStep
from buildplan.loading.tables import Table
from inventory.catalogue.models import Kind
from inventory.catalogue.units import COUNT
from inventory.models import Item

MOST_HOLES = 1_000_000
MOST_GRIP = 100  # inches: past any airframe, so a grip in millimetres by mistake shows


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
    cleco = None if rivet is None or not _is_rivet(cells, rivet) or every is None else _cleco(cells, rivet, clecos)
    if cells.faulty or step is None or rivet is None:
        return None
    return PlannedRow(step, code, rivet.pk, holes, grip, every, cleco, until)


def _is_rivet(cells: Cells, rivet: Item) -> bool:
    if rivet.kind not in {Kind.RIVET, Kind.FASTENER}:
        cells.fault("rivet", f"{rivet.code} is of kind {rivet.kind}: name a rivet")
    elif rivet.unit != COUNT:
        cells.fault("rivet", f"{rivet.code} is counted in {rivet.unit}, holes in ea: count it in ea in the catalogue")
    return not cells.faulty


def _cleco(cells: Cells, rivet: Item, clecos: Mapping[Fraction, Sequence[Item]]) -> int | None:
    """The one cleco of the rivet's diameter."""
    diameter = rivet_diameter(rivet)
    if diameter is None:
        cells.fault("rivet", f"the diameter of {rivet.code} is not known, so neither is its cleco: write it in the catalogue")
        return None
    found = clecos.get(diameter, ())
    if len(found) != 1:
        codes = ", ".join(cleco.code for cleco in found)
        which = f"several clecos are of {diameter} in ({codes}): leave the diameter to one of them" if found else _none(diameter)
        cells.fault("cleco_every", which)
        return None
    return found[0].pk


def _none(diameter: Fraction) -> str:
    return f"no cleco of {diameter} in is in the catalogue: add one with its diameter, or leave cleco_every blank"
