"""catalogue: what there is, and the codes that mean it."""

from dataclasses import dataclass, field

from buildplan.loading import values
from buildplan.loading.cells import Cells, Reading, fitting
from buildplan.loading.records import shown
from buildplan.loading.tables import Row, Table
from buildplan.loading.values import BadValue
from inventory.catalogue import calc
from inventory.catalogue.models import Kind
from inventory.catalogue.services import BadItems, ItemData, save_items
from inventory.catalogue.units import UnitError, check_unit
from inventory.models import Member

CODE_LENGTH = 80
FRACTION_LENGTH = 31
MOST_DAYS = 99_999
MOST_MONTHS = 9_999


@dataclass(slots=True)
class Claims:
    """Which row said first that a code means its item: a code means one thing, within a file as well."""

    owners: dict[str, tuple[str, str]] = field(default_factory=dict)  # key -> the item's own key, and the row

    def fault(self, text: str, own: str, where: str) -> str | None:
        """Claim `text` for the item of key `own`. What is wrong with that, if another row has it."""
        owner, first = self.owners.setdefault(calc.key(text), (own, where))
        if first == where or (owner == own and calc.key(text) != own):
            return None
        if owner == own:
            return f"{shown(text)} is already on {first}: keep one of these rows"
        return f"{shown(text)} already means another item, on {first}: a code means one item"


def load(table: Table, reading: Reading, *, by: Member) -> dict[str, int]:
    """Read, check, write. Where a problem was found the caller rolls back: the codes are checked as they are saved."""
    rows, items = read(table, reading)
    try:
        saved = save_items(items=items, stated=table.columns, by=by)
    except BadItems as bad:
        for fault in bad.faults:
            reading.problems.add_error(rows[fault.index].error("item" if fault.column == "code" else fault.column, fault.text))
        return {}
    return {"items": len(items), "new": saved.made, "changed": saved.changed, "identifiers": saved.identifiers}


def read(table: Table, reading: Reading) -> tuple[list[Row], list[ItemData]]:
    """The rows read well, and the item of each."""
    rows, items, claims = [], [], Claims()
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        item = _item(cells)
        if not cells.faulty:
            _claim(cells, item, claims)
        if not cells.faulty:
            rows.append(row)
            items.append(item)
    return rows, items


def _item(cells: Cells) -> ItemData:
    return ItemData(
        code=cells.need("item", _code),
        name=cells.text("name", 200),
        kind=cells.choice("kind", Kind.values),
        unit=cells.need("unit", _unit),
        identifiers=cells.may("identifiers", _identifiers) or (),
        pack=cells.decimal("pack", 12, 3),
        lead_days=cells.whole("lead_days", 0, MOST_DAYS),
        life_months=cells.whole("life_months", 1, MOST_MONTHS),
        open_life_days=cells.whole("open_life_days", 0, MOST_DAYS),
        min_life_days=cells.whole("min_life_days", 0, MOST_DAYS) or 0,
        diameter=cells.ratio("diameter"),
        gravity=cells.decimal("gravity", 3, 6),
        base=cells.decimal("base", 6, 6),
        accelerator=cells.decimal("accelerator", 6, 6),
    )


def _claim(cells: Cells, item: ItemData, claims: Claims) -> None:
    own = calc.key(item.code)
    for column, text in [("item", item.code), *(("identifiers", text) for text in item.identifiers)]:
        if fault := claims.fault(text, own, cells.row.where):
            cells.fault(column, fault)


def _code(text: str) -> str:
    text = fitting(text, most=CODE_LENGTH)
    if ";" in text:
        raise BadValue(f'{shown(text)} holds a ";", which stands between codes: leave it out')
    if not 0 < len(calc.key(text)) <= CODE_LENGTH:
        raise BadValue(f"{shown(text)} cannot be compared with other codes: write letters and digits")
    return text


def _identifiers(text: str) -> tuple[str, ...]:
    return tuple(map(_code, values.codes(text)))


def _unit(text: str) -> str:
    try:
        return check_unit(values.filled(text))
    except UnitError as error:
        raise BadValue(str(error)) from error
