"""The order sheet as its page and its CSV file show it: which lines, in which words, with links to the steps."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from io import StringIO

from buildplan.plan import queries as plan
from buildplan.plan.models import Project
from buildplan.shortfall import queries
from buildplan.shortfall.buying import Buying, buying
from buildplan.shortfall.calc import Line
from buildplan.shortfall.serving import Offer, offers
from buildplan.shortfall.trace import WORDS, why
from inventory.common.fields import plain
from inventory.common.reasons import Reason

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")

HEADINGS = (
    *("not_before", "order_by", "item", "name", "needed", "usable", "in_transit", "short", "buy", "packs", "unit"),
    *("first_short", "unusable", "steps", "why"),
)


@dataclass(frozen=True, slots=True)
class StepLink:
    """A step that needs an item: its label on the sheet, and the codes that its page goes by."""

    label: str
    project: str
    code: str


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the sheet. `late` is by how many days its order-by day is past."""

    line: Line
    steps: tuple[StepLink, ...]
    unusable: tuple[tuple[Decimal, str], ...]
    reasons: tuple[Reason, ...]
    late: int
    may_serve: tuple[Offer, ...] = ()
    buying: Buying | None = None  # the window of what dies


@dataclass(frozen=True, slots=True)
class Sheet:
    """The sheet: `rows` are those shown; `needed` and `short` count all lines of the demand, shown or not."""

    before: date | None
    as_of: date
    rows: tuple[Row, ...]
    needed: int
    short: int
    sections: tuple[tuple[int, str], ...]
    section: str


def sheet(named: Sequence[Project], *, before: date | None, section: int | None, every: bool, as_of: date) -> Sheet:
    """Net the projects together and take the lines to show: those short, `every` line, or of these what steps of a section need.

    The section only chooses what is shown: the whole demand is netted all the same. Seventeen queries
    at most.
    """
    found = queries.shortfall(named, before=before, as_of=as_of)
    codes = plan.step_codes(named)
    choices = tuple(plan.section_choices(named))
    lines = found.lines if every else found.short
    if section is not None:
        lines = tuple(line for line in lines if any(codes[need.step][2] == section for need in line.needs))
    offered = offers(named[0].bench, [line for line in lines if line.short], found.lines)
    return Sheet(
        before=before,
        as_of=as_of,
        rows=tuple(_row(line, codes, as_of, offered.get(line.item.id, ())) for line in lines),
        needed=len(found.lines),
        short=len(found.short),
        sections=choices,
        section=dict(choices).get(section or 0, ""),
    )


def _row(line: Line, codes: Mapping[int, tuple[str, str, int]], as_of: date, may_serve: tuple[Offer, ...]) -> Row:
    links = {need.label: StepLink(need.label, *codes[need.step][:2]) for need in line.needs}
    late = (as_of - line.order_by).days if line.order_by else 0
    unusable = tuple((quantity, WORDS[reason]) for reason, quantity in line.unusable)
    return Row(line, tuple(links[label] for label in line.steps), unusable, why(line), max(late, 0), may_serve, buying(line))


def as_csv(rows: Iterable[Row]) -> str:
    """The lines as a file for spreadsheets; `why` holds every reason with its source."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADINGS)
    writer.writerows(_cells(row) for row in rows)
    return out.getvalue()


def _cells(row: Row) -> list[str]:
    line = row.line
    figures = (line.needed, line.usable, line.in_transit, line.short, line.buy)
    return [
        _day(line.not_before),
        _day(line.order_by),
        text_cell(line.item.code),
        text_cell(line.item.name),
        *map(plain, figures),
        "" if line.packs is None else str(line.packs),
        text_cell(line.item.unit),
        _day(line.first_short),
        text_cell("; ".join(f"{plain(quantity)} {words}" for quantity, words in row.unusable)),
        text_cell("; ".join(line.steps)),
        text_cell("; ".join(f"{reason.text} [{reason.source}]" for reason in row.reasons)),
    ]


def _day(day: date | None) -> str:
    return "" if day is None else day.isoformat()


def text_cell(text: str) -> str:
    """A text cell that a spreadsheet doesn't run: one that starts like a formula gets a ' before it, which Excel hides.

    A part number or name comes from other people's files, and `=HYPERLINK(...)` in one must stay text.
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
