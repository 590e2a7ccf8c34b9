"""catalogue: what there is, and the codes that mean it."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import partial

from buildplan.loading import values
from buildplan.loading.cells import Cells
from buildplan.loading.problems import Problems
from buildplan.loading.records import shown
from buildplan.loading.tables import Progress, Row, Table
from buildplan.loading.values import BadValue
from buildplan.models import CallOut
from inventory.catalogue import calc
from inventory.catalogue.models import Kind
from inventory.catalogue.services import ItemData, put_items
from inventory.catalogue.units import UnitError, check_unit
from inventory.models import Identifier, Item, Lot, Member, PackingLine

CODE_LENGTH = 80
MOST_DAYS = 99_999
MOST_MONTHS = 9_999
OPTIONAL = frozenset(
    {"pack", "lead_days", "life_months", "open_life_days", "min_life_days", "diameter", "gravity", "base", "accelerator"},
)


@dataclass(slots=True)
class Taken:
    """Which item each code means: as the database has it, and as the rows so far add to it."""

    items: dict[str, Item]  # by the key of any of its codes
    rows: dict[str, tuple[str, str]] = field(default_factory=dict)  # key -> (item's own key, where)


def load(table: Table, *, by: Member, today: date, problems: Problems, progress: Progress | None) -> dict[str, int]:
    """Read, check, write. Writes nothing where a problem was found."""
    taken = Taken(_present())
    read = [_read(Cells(row, problems, today), taken) for row in table.rows(progress)]
    found = [pair for pair in read if pair is not None]
    _refuse_unit_changes(found, taken, problems)
    if problems.error_count:
        return {}
    put = put_items(items=[data for _, data in found], stated=table.columns & OPTIONAL, by=by)
    return {"items": len(found), "new": put.made, "changed": put.changed, "identifiers": put.identifiers}


def _present() -> dict[str, Item]:
    return {identifier.key: identifier.item for identifier in Identifier.objects.select_related("item")}


def _read(cells: Cells, taken: Taken) -> tuple[Row, ItemData] | None:
    code = cells.need("item", _code)
    data = ItemData(
        code=code,
        name=cells.text("name", 200),
        kind=cells.choice("kind", Kind.values),
        unit=cells.need("unit", _unit),
        identifiers=cells.may("identifiers", _identifiers) or (),
        **_figures(cells),
    )
    if code is not None:
        _claim(cells, data, taken)
    return None if cells.faulty else (cells.row, data)


def _figures(cells: Cells) -> dict[str, Decimal | Fraction | int | None]:
    return {
        "pack": cells.decimal("pack", 12, 3),
        "lead_days": cells.whole("lead_days", 0, MOST_DAYS),
        "life_months": cells.whole("life_months", 1, MOST_MONTHS),
        "open_life_days": cells.whole("open_life_days", 0, MOST_DAYS),
        "min_life_days": cells.whole("min_life_days", 0, MOST_DAYS) or 0,
        "diameter": cells.may("diameter", partial(_diameter, comma=cells.row.decimal_comma)),
        "gravity": cells.decimal("gravity", 3, 6),
        "base": cells.decimal("base", 6, 6),
        "accelerator": cells.decimal("accelerator", 6, 6),
    }
