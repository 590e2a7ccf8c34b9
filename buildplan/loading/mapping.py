"""Which column of somebody's file is which of ours: pure, no Django, no clock, no files.

What is proposed is only a preselection: a person looks at it before anything is read by it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from rapidfuzz import fuzz, utils

from buildplan.loading.columns import COLUMNS

NEAR_ENOUGH = 75  # of 100: a starting value of ours
MARGIN = 8  # what is nearer than the next by less is no answer: a starting value of ours
NAMED, REMEMBERED, NEAR, SEVERAL, NONE = "named", "remembered", "near", "several", ""

# What lists of sellers and spreadsheets of builders often call our columns: common practice.
OTHER_WORDS: Mapping[str, tuple[str, ...]] = {
    "item": ("part number", "part no", "part nr", "p/n", "pn", "item no", "item number", "item code", "article", "sku", "code", "part"),
    "name": ("description", "item description", "part name", "designation", "text"),
    "kind": ("type", "category", "group", "class"),
    "unit": ("uom", "um", "units", "unit of measure", "measure"),
    "identifiers": ("other codes", "alternate part numbers", "aliases", "also known as", "barcodes"),
    "pack": ("pack size", "package quantity", "pack quantity", "pieces per pack"),
    "lead_days": ("lead time", "lead time days", "delivery days"),
    "life_months": ("shelf life", "shelf life months"),
    "quantity": ("qty", "count", "amount", "pcs", "pieces", "number", "on hand", "qty shipped", "quantity shipped"),
    "place": ("location", "bin", "shelf", "drawer", "stored at", "where"),
    "lot": ("lot number", "lot no", "batch", "batch number", "batch no"),
    "made": ("manufactured", "date of manufacture", "mfg date", "dom", "production date"),
    "expires": ("expiry", "expiry date", "expiration date", "exp date", "best before", "use by", "shelf life date"),
    "opened": ("opened on", "date opened"),
    "state": ("status", "condition"),
    "bag": ("bag number", "bag no", "bag id", "box", "subkit", "kit", "carton"),
    "line": ("line number", "line no", "pos", "position", "row", "no"),
    "step": ("step number", "step no", "task", "task number", "operation"),
    "section": ("chapter", "phase", "assembly"),
    "title": ("description", "what", "instruction", "task name"),
    "planned": ("planned date", "due", "due date", "date", "when"),
    "after": ("predecessor", "predecessors", "depends on", "waits for"),
    "minutes": ("time", "duration", "minutes planned"),
    "done": ("finished", "complete", "completed"),
    "rivet": ("rivet code", "fastener"),
    "holes": ("number of holes", "hole count", "rivets"),
    "sealant": ("product", "compound"),
}
# What may be the same in all rows of a file, and is then said once.
ONE_FOR_ALL: Mapping[str, tuple[str, ...]] = {
    "catalogue": ("kind", "unit"),
    "stock": ("unit", "place", "state"),
    "packing": ("bag", "unit"),
    "steps": ("section",),
    "needs": ("unit",),
    "rows": (),
    "seams": ("sealant", "shape", "unit", "size_unit", "loss_percent"),
    "blanks": ("form", "unit", "kerf", "end_trim"),
    "pieces": ("blank", "unit", "per_blank"),
}


@dataclass(frozen=True, slots=True)
class Proposal:
    """Where one of our columns seems to stand, and why: `several` are titles that are as near as each other."""

    at: int | None
    how: str = NONE
    several: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """Our columns by where theirs stand, and what is said of all rows alike."""

    positions: Mapping[str, int]
    constants: Mapping[str, str] = field(default_factory=dict)


def propose(table: str, titles: Sequence[str], remembered: Mapping[str, str]) -> dict[str, Proposal]:
    """For each of our columns what is most likely meant: our own name, else what was taken last time, else what is near alone."""
    names, free = COLUMNS[table].names, dict(enumerate(titles))
    found: dict[str, Proposal] = {}
    for how, wanted in ((NAMED, {name: name for name in names}), (REMEMBERED, remembered)):
        for name in names:
            same = [at for at, title in free.items() if name in wanted and _plain(title) == _plain(wanted[name])]
            if name not in found and len(same) == 1:
                found[name] = Proposal(same[0], how)
                del free[same[0]]
    _propose_near([name for name in names if name not in found], free, found)
    return {name: found.get(name, Proposal(None)) for name in names}


def faults(table: str, titles: Sequence[str], chosen: ColumnMap) -> dict[str, str]:
    """What is wrong with a choice, by our column."""
    found: dict[str, str] = {}
    taken: dict[int, str] = {}
    for name in COLUMNS[table].names:
        at, said = chosen.positions.get(name), chosen.constants.get(name, "")
        if at is not None and not 0 <= at < len(titles):
            found[name] = "the file has no such column: choose one of those listed"
        elif at is not None and (first := taken.setdefault(at, name)) != name:
            found[name] = f"{titles[at]} is taken for {first} already: a column means one thing"
        elif at is not None and said:
            found[name] = "choose a column, or give one value for all rows, not both"
        elif at is None and not said and name in COLUMNS[table].required:
            ways = ", or give one value for all rows" if may_be_said(table, name) else ""
            found[name] = f"this must be known: choose the column that says it{ways}"
    return found


def assign(tables: Sequence[str], sources: Sequence[str]) -> dict[str, int | None]:
    """Which source (file or sheet, by its name) holds which table: by its name, and the only one for the first table."""
    found: dict[str, int | None] = dict.fromkeys(tables)
    free = dict(enumerate(map(_plain, sources)))
    for match in (_is, _names):
        for table in tables:
            hits = [at for at, name in free.items() if found[table] is None and match(table, name)]
            if len(hits) == 1:
                found[table] = hits[0]
                del free[hits[0]]
    first = tables[0]
    if found[first] is None and (len(free) == 1 or (len(tables) == 1 and free)):
        found[first] = min(free)
    return found


def letters(at: int) -> str:
    """A column as spreadsheets call it: 0 is A."""
    text, left = "", at + 1
    while left:
        left, digit = divmod(left - 1, 26)
        text = chr(ord("A") + digit) + text
    return text


def may_be_said(table: str, name: str) -> bool:
    """Whether one value may be given for all rows in place of a column."""
    return name in ONE_FOR_ALL.get(table, ())


def _is(table: str, name: str) -> bool:
    return name == table


def _names(table: str, name: str) -> bool:
    return table in name.split() or table.rstrip("s") in name.split()


def _propose_near(names: Sequence[str], free: dict[int, str], found: dict[str, Proposal]) -> None:
    """Take what is each other's nearest by a margin, until nothing more is; then say where several are near."""
    scores = {(name, at): score for name in names for at, title in free.items() if (score := _score(name, title)) >= NEAR_ENOUGH}
    while pair := next(_clear(scores), None):
        name, at = pair
        found[name] = Proposal(at, NEAR)
        scores = {each: score for each, score in scores.items() if each[0] != name and each[1] != at}
    alike = Counter(name for name, _ in scores)
    for name, many in alike.items():
        if many > 1:
            found[name] = Proposal(None, SEVERAL, tuple(free[at] for each, at in scores if each == name))


def _clear(scores: Mapping[tuple[str, int], float]) -> Iterator[tuple[str, int]]:
    """The pairs that nothing else on either side comes near to, the best first."""
    for (name, at), score in sorted(scores.items(), key=lambda each: -each[1]):
        rivals = [other for pair, other in scores.items() if (pair[0] == name) != (pair[1] == at)]
        if all(score - other >= MARGIN for other in rivals):
            yield name, at


def _score(name: str, title: str) -> float:
    return max(fuzz.ratio(_plain(word), _plain(title)) for word in (name, *OTHER_WORDS.get(name, ())))


def _plain(text: str) -> str:
    return " ".join(utils.default_process(text.replace("_", " ")).split())


def to_choose(table: str) -> Iterable[tuple[str, bool]]:
    """Our columns of a table, and whether each must be known."""
    columns = COLUMNS[table]
    return ((name, name in columns.required) for name in columns.names)
