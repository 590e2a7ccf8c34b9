"""packing: what should be in which bag of a crate."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import partial

from buildplan.loading import values
from buildplan.loading.cells import Cells, Reading, check_life, fitting
from buildplan.loading.columns import in_message
from buildplan.loading.items import Codes, Known, amount_of, item_of, warn_of_part
from buildplan.loading.records import shown
from buildplan.loading.tables import Row, Table
from buildplan.loading.totals import ALL, Printed, Totals, difference, figure
from buildplan.loading.values import BadValue
from inventory.claims.services import set_sender
from inventory.common.fields import LIMIT, PLACES
from inventory.common.problems import Problem
from inventory.models import Crate, Member, Sender
from inventory.receiving.services import LineData, bag_key, load_lines, state_totals

TOTAL = "total"
LOOK = "compare the file with the paper"


@dataclass(frozen=True, slots=True)
class Paper:
    """What a packing list says beside its lines: who sent it, and the totals printed on it."""

    sender: Sender | None = None
    printed_lines: int | None = None
    printed_quantity: Decimal | None = None


@dataclass(slots=True)
class Listed:
    """A packing list as it was read: its lines, what they add up to, and the totals that rows of it state."""

    lines: list[LineData] = field(default_factory=list)
    totals: Totals = field(default_factory=Totals)
    printed: list[Printed] = field(default_factory=list)
    unknown: dict[str, Known | None] = field(default_factory=dict)  # each code that means nothing yet, and the item most like it

    @property
    def printed_in_all(self) -> Decimal | None:
        """The one total of all that a row states, where a crate can keep it."""
        found = [each.quantity for each in self.printed if each.key == ALL and not each.unit]
        kept = len(found) == 1 and found[0] <= LIMIT and found[0] == round(found[0], PLACES)
        return found[0] if kept else None


def load(  # noqa: PLR0913 - what is read, and what it is read into
    table: Table, reading: Reading, *, crate: Crate, paper: Paper, by: Member, listed: Listed
) -> dict[str, int]:
    """Read into `listed`, check, write. Writes nothing where a problem was found; a total that doesn't agree is only warned of."""
    read(table, reading, listed)
    if not listed.lines and not reading.problems.error_count:
        reading.problems.add_error(f"{table.label}: totals alone: add the lines that they are of")
    if reading.problems.error_count:
        return {}
    for warning in differences(listed, paper, table.label):
        reading.problems.add_warning(warning)
    made = load_lines(crate=crate, lines=listed.lines, by=by)
    _state(crate, listed, paper, by)
    return {"lines": len(made), "bags": len({line.bag_id for line in made})}


def read(table: Table, reading: Reading, listed: Listed) -> None:
    """The lines read well; a number is one line in its bag. A row of a total is no line."""
    codes = Codes()
    listed.unknown = codes.unknown
    seen: dict[tuple[str, str], str] = {}
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        if states_total(row):
            _read_total(cells, listed)
            continue
        line, unit = _line(cells, codes)
        if line is not None:
            key = bag_key(line.bag)
            first = seen.setdefault((key, line.number.upper()), row.where)
            if first != row.where:
                cells.fault("line", f"{shown(line.number)} of bag {line.bag} is already on {first}: give each line of a bag its own number")
            listed.lines.append(line)
            listed.totals.add(key, values.quantity(row["quantity"], decimal_comma=row.decimal_comma), unit)


def states_total(row: Row) -> bool:
    """Whether a row is no line, but a total that is printed on the list."""
    return row["line"].lower() == TOTAL and not row["item"]


def differences(listed: Listed, paper: Paper, label: str) -> Iterator[str]:
    """Each printed total that isn't what the lines add up to, in words."""
    lines = listed.totals.lines
    if paper.printed_lines is not None and paper.printed_lines != lines:
        by = difference(Fraction(lines), Fraction(paper.printed_lines))
        yield f"{label}: the printed number of lines is {paper.printed_lines}, and the file has {lines}, {by}: {LOOK}"
    if paper.printed_quantity is not None:
        yield from _difference(listed.totals, Printed(paper.printed_quantity), label)
    for printed in listed.printed:
        yield from _difference(listed.totals, printed, f"{printed.where}: quantity")


def _difference(totals: Totals, printed: Printed, where: str) -> Iterator[str]:
    found = totals.compare(printed)
    if found.difference:
        what = f"the printed total of bag {printed.bag}" if printed.bag else "the printed total"
        sums = totals.sums(printed.key)
        told = " and ".join(f"{figure(quantity)} {unit}" for unit, quantity in sums.items()) or "nothing"
        by = f", {found.difference}" if len(sums) == 1 and found.unit in sums else ""
        yield f"{where}: {what} is {figure(found.printed)}{_unit(printed)}, and the lines add up to {told}{by}: {LOOK}"


def _unit(printed: Printed) -> str:
    return f" {in_message(printed.unit)}" if printed.unit else ""


def _read_total(cells: Cells, listed: Listed) -> None:
    row = cells.row
    bag = cells.need("bag", _bag) if row["bag"] else ""
    quantity = cells.need("quantity", partial(values.decimal_not_negative, decimal_comma=row.decimal_comma))
    if not cells.faulty:
        listed.printed.append(Printed(quantity, bag, bag_key(bag) if bag else ALL, row["unit"], row.where))


def _state(crate: Crate, listed: Listed, paper: Paper, by: Member) -> None:
    """Keep what the paper says with the crate, as far as it says anything."""
    if paper.sender is not None:
        set_sender(crate=crate, sender=paper.sender, by=by)
    quantity = paper.printed_quantity if paper.printed_quantity is not None else listed.printed_in_all
    if paper.printed_lines is not None or quantity is not None:
        state_totals(crate=crate, printed_lines=paper.printed_lines, printed_quantity=quantity, by=by)


def _line(cells: Cells, codes: Codes) -> tuple[LineData | None, str]:
    """The line, if it reads well, and the unit that it is written in."""
    item = item_of(cells, codes)
    amount = amount_of(cells, item)
    warn_of_part(cells, amount, item)
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
    return (None, "") if cells.faulty else (line, cells.row["unit"] or item.unit)


def _bag(text: str) -> str:
    path = fitting(text, most=400)
    try:
        bag_key(path)
    except Problem as problem:
        raise BadValue(f"{shown(path)}: {problem}") from problem
    return path
