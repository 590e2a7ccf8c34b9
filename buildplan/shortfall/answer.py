"""The answer as other programs read it: one object, the same from the command and from the API."""

from typing import Any

from buildplan.shortfall.calc import Line
from buildplan.shortfall.queries import Shortfall
from buildplan.shortfall.trace import why
from inventory.common.fields import plain


def as_object(found: Shortfall, *, every: bool = False) -> dict[str, Any]:
    """The pinned object: quantities are decimal strings in the stock unit, days ISO. `every` adds the lines that are met."""
    lines = found.lines if every else found.short
    return {
        "project": found.project,
        "before": found.before and found.before.isoformat(),
        "as_of": found.as_of.isoformat(),
        "lines": [line_object(line) for line in lines],
    }


def line_object(line: Line) -> dict[str, Any]:
    """One line of it."""
    return {
        "item": line.item.code,
        "unit": line.item.unit,
        "needed": plain(line.needed),
        "usable": plain(line.usable),
        "in_transit": plain(line.in_transit),
        "short": plain(line.short),
        "first_short": line.first_short and line.first_short.isoformat(),
        "order_by": line.order_by and line.order_by.isoformat(),
        "not_before": line.not_before and line.not_before.isoformat(),
        "buy": plain(line.buy),
        "packs": None if line.packs is None else str(line.packs),
        "unusable": [{"reason": reason.value, "quantity": plain(quantity)} for reason, quantity in line.unusable],
        "steps": list(line.steps),
        "trace": [{"text": reason.text, "source": reason.source} for reason in why(line)],
    }
