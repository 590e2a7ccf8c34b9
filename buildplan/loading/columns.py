"""The pinned columns of each table, and row 1 of a file read against them."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from rapidfuzz import fuzz, process, utils

from buildplan.loading.problems import Problems
from buildplan.loading.records import SHOWN, Source, Unreadable, shown

NEAR_ENOUGH = 60


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns a table must have, and those it may have."""

    required: tuple[str, ...]
    optional: tuple[str, ...]

    @classmethod
    def of(cls, text: str) -> "Columns":
        """Columns from their names, required ones in capitals."""
        names = text.split()
        required = tuple(name.lower() for name in names if name.isupper())
        return cls(required, tuple(name for name in names if not name.isupper()))

    @property
    def names(self) -> tuple[str, ...]:
        """All of them, required ones first."""
        return self.required + self.optional


COLUMNS: Mapping[str, Columns] = {
    "catalogue": Columns.of(
        "ITEM NAME KIND UNIT identifiers pack lead_days life_months open_life_days min_life_days diameter gravity base accelerator"
    ),
    "stock": Columns.of("ITEM QUANTITY unit PLACE lot made expires opened state"),
    "packing": Columns.of("BAG LINE ITEM name QUANTITY unit lot made expires"),
    "steps": Columns.of("STEP SECTION TITLE planned after minutes done hand"),
    "needs": Columns.of("STEP ITEM QUANTITY unit"),
    "rows": Columns.of("STEP ROW RIVET HOLES grip cleco_every clecos_until"),
    "seams": Columns.of("STEP SEAM SEALANT SHAPE length unit leg_a leg_b thickness size_unit count grams_each loss_percent"),
    "blanks": Columns.of("BLANK FORM unit length width thickness grain kerf end_trim"),
    "pieces": Columns.of("STEP PIECE BLANK count per_blank cut length width unit allowance grain hand item"),
}

# Read by the command alone; what stands behind `struck` is written for people, and passed over.
FURTHER: Mapping[str, Columns] = {
    "log": Columns.of("entry DAY step TEXT person hours struck project section lots seen_by photos written_by"),
}


@dataclass(frozen=True, slots=True)
class Header:
    """Row 1 as read: every title in lower case, and where each known column stands."""

    titles: tuple[str, ...]
    positions: Mapping[str, int]
    complete: bool

    @property
    def width(self) -> int:
        """How many columns the file has."""
        return len(self.titles)

    def nameless(self, index: int) -> bool:
        """Whether a column has no title, so that nothing may stand in it."""
        return index >= self.width or not self.titles[index]


def read_header(name: str, source: Source, problems: Problems) -> Header:
    """Row 1 of `source`, its faults noted in `problems`. Raises `Unreadable` where it is no header at all."""
    titles, columns = _titles(source), COLUMNS.get(name) or FURTHER[name]
    positions = {title: titles.index(title) for title in columns.names if title in titles}
    if not positions:
        raise Unreadable(f"no header: row 1 must name the columns, at least {', '.join(columns.required)}", 1)
    for fault in _faults(titles, columns):
        problems.add_error(f"{source.label}:1: {fault}")
    return Header(titles, positions, complete=all(column in positions for column in columns.required))


def near(text: str, choices: Iterable[str]) -> str | None:
    """The choice most like `text`, or None where none is much like it."""
    found = process.extractOne(text, sorted(choices), scorer=fuzz.ratio, processor=utils.default_process, score_cutoff=NEAR_ENOUGH)
    return found[0] if found else None


def in_message(title: str) -> str:
    """A column's title as a message names it: as it is, unless that would tear or swamp the line."""
    return title if title.isprintable() and len(title) <= SHOWN else shown(title)


def _titles(source: Source) -> tuple[str, ...]:
    first = next(iter(source.records()), None)
    if first is None:
        raise Unreadable("empty: row 1 must name the columns", 1)
    if first.faults:
        raise Unreadable(first.faults[0].text, 1)
    if first.blank:
        raise Unreadable("no header: row 1 is blank, and must name the columns", 1)
    titles = [cell.lower() for cell in first.cells]
    while not source.ragged and not titles[-1]:
        titles.pop()
    return tuple(titles)


def _faults(titles: tuple[str, ...], columns: Columns) -> Iterator[str]:
    for title in dict.fromkeys(filter(None, titles)):
        if titles.count(title) > 1:
            yield f"{in_message(title)}: this column stands twice: keep one"
        if title not in columns.names:
            yield f"{in_message(title)}: no such column: {_advice(title, columns)}"
    for column in columns.required:
        if column not in titles:
            yield f"{column}: this column is missing: add it"


def _advice(title: str, columns: Columns) -> str:
    match = near(title, columns.names)
    return f"did you mean {match}?" if match else f"there are {', '.join(columns.names)}"
