"""A trace as programs read it, as a CSV file and as text: one shape for page, API and command."""

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from io import StringIO
from typing import Any

from buildplan.logbook.files import guarded
from buildplan.trace.lines import TraceLine
from buildplan.trace.picture import LotRow, MixRow
from buildplan.trace.queries import Arrival, CameFrom, Went
from buildplan.trace.tools import Tool
from inventory.common.fields import plain
from inventory.common.reasons import Reason

KINDS = {
    "step": "taken by a step",
    "batch": "in a batch for a step",
    "piece": "sawn for a step",
    "mark": "marked in an assembly",
    "done": "done without movements",
    "used": "used, step not said",
    "shelf": "on the shelf",
    "lent": "lent",
    "scrapped": "scrapped",
    "lost": "lost",
    "counted": "missing at a count",
    "supplier": "sent back",
}
TITLES = (
    *("certainty", "how", "project", "section", "step", "title", "bench", "item", "lot", "taken_as", "quantity", "unit"),
    *("on", "by", "place", "what", "reasons"),
)


def reasons(given: Iterable[Reason]) -> list[dict[str, str]]:
    """Reasons as programs read them."""
    return [{"text": reason.text, "source": reason.source} for reason in given]


def lot_object(lot: LotRow | None) -> dict[str, Any] | None:
    """A lot by what it is called."""
    if lot is None:
        return None
    dates = {"made": str(lot.made) if lot.made else None, "expires": str(lot.expires) if lot.expires else None}
    return {"id": lot.id, "code": lot.code, "item": lot.item, "bench": lot.bench, "state": lot.state, **dates}


def line_object(line: TraceLine, closed: Mapping[int, str]) -> dict[str, Any]:
    """One line; `closed` says of steps what closed them up."""
    return {
        "certainty": line.certainty.value,
        "kind": line.kind,
        "project": line.project or None,
        "section": line.section or None,
        "step": line.step.code if line.step else None,
        "title": line.step.title if line.step else None,
        "bench": line.bench or None,
        "lot": lot_object(line.lot),
        "taken": lot_object(line.taken),
        "choices": list(line.choices),
        "quantity": None if line.quantity is None else plain(line.quantity),
        "unit": line.unit,
        "on": line.on.isoformat() if line.on else None,
        "by": line.by,
        "place": line.place,
        "what": line.what,
        "closed": closed.get(line.step.id) if line.step else None,
        "movement": line.told.movement,
        "mix": line.told.mix,
        "cut": line.told.cut,
        "trace": reasons(line.reasons),
    }


def _arrival(row: Arrival) -> dict[str, Any]:
    said = {"lot": row.lot, "on": row.on.isoformat(), "crate": row.crate_code or None, "bag": row.bag, "line": row.line}
    return {**said, "sender": row.sender, "instead_of": row.instead_of, "note": row.note}


def _tool(tool: Tool) -> dict[str, Any]:
    names = ("step", "item", "name", "serial", "who", "calibration")
    said = {name: getattr(tool, name) for name in names}
    until = tool.until.isoformat() if tool.until else None
    return {"certainty": tool.certainty.value, "on": tool.on.isoformat(), "until": until, **said, "trace": reasons(tool.reasons)}


def _mix(mix: MixRow) -> dict[str, Any]:
    return {"id": mix.id, "item": mix.item, "mixed_at": mix.at.isoformat(), "mixed_by": mix.mixed_by, "grams": plain(mix.grams)}


def as_object(found: Went | CameFrom) -> dict[str, Any]:
    """A trace, either way: what doesn't belong to its way is empty."""
    shared = {
        "subject": found.subject,
        "way": "forward" if isinstance(found, Went) else "back",
        "counts": found.counts,
        "lines": [line_object(line, found.closed) for line in found.lines],
        "arrivals": [_arrival(row) for row in found.arrivals],
        "trace": reasons(found.rules),
    }
    if isinstance(found, Went):
        lots = [{**_sure(lot), "certainty": "certain"} for lot in found.lots]
        lots += [{**_sure(lot), "certainty": "possible"} for lot in found.possible]
        others = [line_object(line, found.closed) for line in found.others]
        sources = [{**_sure(lot), "certainty": sure.value} for lot, sure in found.sources]
        return {**shared, "lots": lots, "sources": sources, "not": others, "batches": [], "tools": [], "worked": [], "seen": []}
    return {
        **shared,
        "lots": [{**_sure(lot), "certainty": sure.value} for lot, sure in found.lots],
        "sources": [],
        "not": [],
        "batches": [_mix(mix) for mix in found.mixes],
        "tools": [_tool(tool) for tool in found.tools],
        "worked": [{**row._asdict(), "first": row.first.isoformat(), "last": row.last.isoformat()} for row in found.worked],
        "seen": [{**row._asdict(), "at": row.at.isoformat()} for row in found.seen],
    }


def _sure(lot: LotRow) -> dict[str, Any]:
    return lot_object(lot) or {}


def cells(line: TraceLine) -> list[str]:
    """A line as the cells of a file."""
    step = line.step
    return [
        line.certainty.value,
        KINDS[line.kind],
        line.project,
        line.section,
        step.code if step else "",
        step.title if step else "",
        line.bench,
        line.lot.item if line.lot else line.taken.item if line.taken else line.item,
        _lot_text(line.lot),
        _lot_text(line.taken) if line.taken and line.lot and line.taken.id != line.lot.id else "",
        "" if line.quantity is None else plain(line.quantity),
        line.unit,
        line.on.isoformat() if line.on else "",
        line.by,
        line.place,
        line.what,
        "; ".join(reason.text for reason in line.reasons),
    ]


def _lot_text(lot: LotRow | None) -> str:
    return "" if lot is None else f"{lot.code or f'no. {lot.id}, no code'} ({lot.bench})"


def every_line(found: Went | CameFrom) -> Sequence[TraceLine]:
    """Those that went there, then those of which it is known that they did not."""
    return (*found.lines, *found.others) if isinstance(found, Went) else found.lines


def as_csv(found: Went | CameFrom) -> str:
    """Every line of a trace. What a spreadsheet would take for a formula begins with an apostrophe."""
    file = StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(TITLES)
    writer.writerows([guarded(cell) for cell in cells(line)] for line in every_line(found))
    return file.getvalue()


def as_text(found: Went | CameFrom, *, why: bool = False) -> str:
    """A trace for a terminal."""
    return "\n".join(_text(found, why=why)) + "\n"


def _text(found: Went | CameFrom, *, why: bool) -> Iterator[str]:
    yield f"{found.subject}: " + ", ".join(f"{count} {word}" for word, count in found.counts.items())
    if not found.lines:
        yield "Nothing is known of it: no movement, no step."
    for line in found.lines:
        amount = f" {plain(line.quantity)} {line.unit}" if line.quantity is not None else ""
        where = f"{line.project} {line.step.code} {line.step.title}" if line.step else line.place or line.what
        lot = f", {line.lot.label}" if line.lot else f", {line.item}, and of which lot is not known" if line.item else ""
        day = f", {line.on}" if line.on else ""
        yield f"  {line.certainty.value:<8} {KINDS[line.kind]}:{amount} {where}{lot}{day}"
        if why:
            yield from (f"           {reason.text} ({reason.source})" for reason in line.reasons)
