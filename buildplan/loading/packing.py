"""packing: what should be in which bag of a crate."""

from buildplan.loading.cells import Cells, Reading, check_life, fitting
from buildplan.loading.items import Codes, amount_of, item_of
from buildplan.loading.records import shown
from buildplan.loading.tables import Table
from buildplan.loading.values import BadValue
from inventory.common.problems import Problem
from inventory.models import Crate, Member
from inventory.receiving.services import LineData, bag_key, load_lines


def load(table: Table, reading: Reading, *, crate: Crate, by: Member) -> dict[str, int]:
    """Read, check, write. Writes nothing where a problem was found."""
    lines = read(table, Codes(), reading)
    if reading.problems.error_count:
        return {}
    made = load_lines(crate=crate, lines=lines, by=by)
    return {"lines": len(made), "bags": len({line.bag_id for line in made})}


def read(table: Table, codes: Codes, reading: Reading) -> list[LineData]:
    """The lines read well; a number is one line in its bag."""
    lines: list[LineData] = []
    seen: dict[tuple[str, str], str] = {}
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        line = _line(cells, codes)
        if line is not None:
            first = seen.setdefault((bag_key(line.bag), line.number.upper()), row.where)
            if first != row.where:
                cells.fault("line", f"{shown(line.number)} of bag {line.bag} is already on {first}: give each line of a bag its own number")
            lines.append(line)
    return lines


def _line(cells: Cells, codes: Codes) -> LineData | None:
    item = item_of(cells, codes)
    amount = amount_of(cells, item)
    made, expires = cells.stated("made"), cells.stated("expires")
    if item is not None:
        check_life(cells, made, expires, None, item.life_months, None)
    line = LineData(
        bag=cells.need("bag", _bag),
        number=cells.text("line", 40),
        item_id=item.pk if item else 0,
        quantity=amount.quantity,
        name=cells.text_if_any("name", 200),
        lot_code=cells.text_if_any("lot", 80),
        made=made,
        expires=expires,
        rounding=amount.rounding,
    )
    return None if cells.faulty else line


def _bag(text: str) -> str:
    path = fitting(text, most=400)
    try:
        bag_key(path)
    except Problem as problem:
        raise BadValue(f"{shown(path)}: {problem}") from problem
    return path
