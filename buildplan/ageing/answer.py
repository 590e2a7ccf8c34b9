"""What dies by a day as other programs read it: one object, the same from the command and from the API; and the page's rows as a file."""

import csv
from collections.abc import Iterable, Sequence
from datetime import date
from io import StringIO
from typing import Any

from buildplan.ageing.calc import Use
from buildplan.ageing.queries import Row, ShelfLife
from buildplan.shortfall.sheet import text_cell
from inventory.common.fields import plain
from inventory.shelflife.queries import Expiry

HEADINGS = (
    *("last_usable_day", "days_left", "item", "name", "lot", "place", "bench", "state", "quantity", "unit", "limit"),
    *("unused", "value", "currency", "taken_by", "too_late_for", "could_use", "why"),
)


def as_object(found: Sequence[Expiry], *, before: date) -> dict[str, Any]:
    """The pinned object: quantities are decimal strings in the stock unit, days ISO, an unknown life null."""
    return {"before": before.isoformat(), "lines": [_object(one) for one in found]}


def _object(one: Expiry) -> dict[str, Any]:
    held = one.held
    return {
        "item": held.item,
        "lot": held.lot,
        "place": held.place,
        "quantity": plain(held.quantity),
        "unit": held.unit,
        "last_usable_day": one.last_usable_day and one.last_usable_day.isoformat(),
        "limit": one.limit,
        "trace": [{"text": reason.text, "source": reason.source} for reason in one.trace],
    }


def shelf_life_object(found: ShelfLife) -> dict[str, Any]:
    """All of the page: each line as in `as_object`, with the needs of the plans for it."""
    dying = {id(row.expiry) for row in found.dying}
    return {
        "as_of": found.today.isoformat(),
        "days": found.days,
        "left_out": list(found.left_out),
        "lines": [_row_object(row, dying=id(row.expiry) in dying) for row in found.rows],
    }


def _row_object(row: Row, *, dying: bool) -> dict[str, Any]:
    held = row.expiry.held
    return {
        **_object(row.expiry),
        "bench": held.bench,
        "state": held.state,
        "days_left": row.days_left,
        "dying": dying,
        "unused": plain(row.unused),
        "value": str(row.value.amount) if row.value else None,
        "currency": row.value.currency if row.value else "",
        "needs": [_use_object(use) for use in row.uses],
        "could_use": [use.label for use in row.could_use],
        "trace": [{"text": reason.text, "source": reason.source} for reason in row.trace],
    }


def _use_object(use: Use) -> dict[str, Any]:
    return {
        "step": use.label,
        "on": use.day.isoformat(),
        "quantity": plain(use.quantity),
        "taken": plain(use.taken),
        "late": use.late,
        "waits_for": list(use.waits_for),
    }


def as_csv(rows: Iterable[Row]) -> str:
    """The rows as a file for spreadsheets; `why` holds every reason with its source."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADINGS)
    writer.writerows(_cells(row) for row in rows)
    return out.getvalue()


def _cells(row: Row) -> list[str]:
    held = row.expiry.held
    return [
        "" if row.last_day is None else row.last_day.isoformat(),
        "" if row.days_left is None else str(row.days_left),
        *map(text_cell, (held.item, held.name, held.lot, held.place, held.bench, held.state)),
        plain(held.quantity),
        text_cell(held.unit),
        row.expiry.limit or "",
        plain(row.unused),
        str(row.value.amount) if row.value else "",
        text_cell(row.value.currency) if row.value else "",
        *(text_cell(_named(uses)) for uses in (row.taking, row.late, row.could_use)),
        text_cell("; ".join(f"{reason.text} [{reason.source}]" for reason in row.trace)),
    ]


def _named(uses: Iterable[Use]) -> str:
    return "; ".join(f"{use.label} on {use.day}" for use in uses)
