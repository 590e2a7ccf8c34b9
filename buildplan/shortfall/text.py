"""The order list as people read it in a terminal of 80 columns."""

from collections.abc import Iterator
from io import StringIO
from textwrap import fill

from rich.console import Console
from rich.table import Table

from buildplan.shortfall.buying import buying
from buildplan.shortfall.calc import Line
from buildplan.shortfall.queries import Shortfall
from buildplan.shortfall.trace import why
from inventory.common.fields import plain

WIDTH = 80


def order_list(found: Shortfall, *, every: bool = False, reasons: bool = False) -> str:
    """A table, the earliest order-by day first, then why: a line for each item, or with `reasons` the whole trace of each."""
    lines = found.lines if every else found.short
    title = f"{found.project}: to order{_before(found)}, as of {found.as_of}"
    if not lines:
        return f"{title}\nNothing is short: {len(found.lines)} items needed, all met.\n"
    explained = _reasons if reasons else _line_of_why
    parts = [title, "", _table(lines), "Why", *(text for line in lines for text in explained(line))]
    return "\n".join(parts) + "\n"


def _before(found: Shortfall) -> str:
    return f" for the steps up to {found.before}" if found.before else " for the whole plan"


def _table(lines: tuple[Line, ...]) -> str:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("order by", no_wrap=True)
    table.add_column("item", overflow="fold")
    for heading in ("needed", "usable", "coming", "short", "buy"):
        table.add_column(heading, justify="right", overflow="fold")
    table.add_column("unit", overflow="fold")
    for line in lines:
        figures = (line.needed, line.usable, line.in_transit, line.short, line.buy)
        table.add_row(_day(line), line.item.code, *map(plain, figures), line.item.unit)
    out = StringIO()
    Console(file=out, width=WIDTH, color_system=None, highlight=False, markup=False).print(table)
    return "\n".join(row.rstrip() for row in out.getvalue().splitlines()) + "\n"


def _day(line: Line) -> str:
    if line.order_by is not None:
        return line.order_by.isoformat()
    return "not known" if line.short else "-"


def _line_of_why(line: Line) -> Iterator[str]:
    """The shortage, what doesn't count, and the day, in one sentence."""
    blocked = [f"{reason.value} {plain(quantity)}" for reason, quantity in line.unusable]
    first = f" first short on {line.first_short} ({_first_step(line)})" if line.first_short else " all met"
    extra = f"; doesn't count: {', '.join(blocked)}" if blocked else ""
    yield fill(f"{line.item.code}:{first}{_order_by(line)}{_not_before(line)}{_packs(line)}{extra}", WIDTH, subsequent_indent="    ")


def _first_step(line: Line) -> str:
    return next(need.label for need in line.needs if need.through >= (line.first_short or need.day))


def _order_by(line: Line) -> str:
    if line.first_short is None:
        return ""
    if line.order_by is None:
        return ", no lead time known"
    return f" - {line.item.lead_days} days lead - {line.receiving_days} days receiving = {line.order_by}"


def _not_before(line: Line) -> str:
    """The window of what dies; an empty one with what moves it, and how many purchases serve several short days."""
    found = buying(line)
    if found is None:
        return ""
    empty = f": no day to buy; {found.moved_by}" if found.moved_by else ""
    several = f"; short on several days: {found.words}" if found.several_days else ""
    return f", not before {line.not_before}{empty}{several}"


def _packs(line: Line) -> str:
    if not line.short or line.packs is None or line.item.pack is None:
        return ""
    return f", {line.packs} x {plain(line.item.pack)}"


def _reasons(line: Line) -> Iterator[str]:
    yield f"{line.item.code} {line.item.name}"
    for reason in why(line):
        yield fill(f"{reason.text} [{reason.source}]", WIDTH, initial_indent="  - ", subsequent_indent="    ")
