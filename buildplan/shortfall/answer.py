"""The answer as other programs read it: one object, the same from the command and from the API."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from buildplan.plan.models import Project
from buildplan.shortfall import pins, weeks
from buildplan.shortfall.calc import Line
from buildplan.shortfall.pins import Pins, Stretch
from buildplan.shortfall.queries import Shortfall
from buildplan.shortfall.trace import why
from buildplan.shortfall.weeks import Week
from inventory.catalogue.models import RETURNED
from inventory.common.fields import plain
from inventory.models import Item


def as_object(found: Shortfall, *, every: bool = False) -> dict[str, Any]:
    """The pinned object: quantities are decimal strings in the stock unit, days ISO. `every` adds the lines that are met."""
    lines = found.lines if every else found.short
    return {
        "project": found.project,
        "before": found.before and found.before.isoformat(),
        "as_of": found.as_of.isoformat(),
        "lines": [line_object(line) for line in lines],
    }


def pins_object(found: Shortfall) -> dict[str, Any]:
    """Held against owned, day by day, for each thing of the demand that comes back. A day without an end known is null."""
    return {
        "project": found.project,
        "before": found.before and found.before.isoformat(),
        "as_of": found.as_of.isoformat(),
        "items": [_held_object(one) for one in pins.pins(found.lines)],
    }


def _held_object(found: Pins) -> dict[str, Any]:
    line = found.line
    return {
        "item": line.item.code,
        "unit": line.item.unit,
        "peak": plain(line.needed),
        "peak_day": line.peak_day and line.peak_day.isoformat(),
        "lacking": plain(line.short),
        "first_lacking": line.first_short and line.first_short.isoformat(),
        "days": [_stretch_object(stretch) for stretch in found.stretches],
        "trace": [{"text": reason.text, "source": reason.source} for reason in (*why(line), *pins.why(found))],
    }


def _stretch_object(stretch: Stretch) -> dict[str, Any]:
    return {
        "first": stretch.first.isoformat(),
        "through": stretch.through and stretch.through.isoformat(),
        "held": plain(stretch.held),
        "owned": plain(stretch.owned),
        "lacking": plain(stretch.lacking),
        "steps": [{"step": one.label, "held": plain(one.held), "alone": one.alone} for one in stretch.holders],
    }


def weeks_object(named: Sequence[Project], item: Item, line: Line | None, *, before: date | None, as_of: date) -> dict[str, Any]:
    """Stock against need of one item, week by week; no weeks where no step of the demand needs it."""
    found = weeks.weeks(line) if line else ()
    short = weeks.first_short(found)
    reasons = (*why(line), *weeks.why(line, found)) if line else ()
    return {
        "project": ",".join(project.code for project in named),
        "before": before and before.isoformat(),
        "as_of": as_of.isoformat(),
        "item": item.code,
        "unit": item.unit,
        "returned": item.kind in RETURNED,
        "needed": plain(line.needed) if line else "0",
        "short": plain(line.short) if line else "0",
        "first_short": line.first_short.isoformat() if line and line.first_short else None,
        "first_short_week": short and short.first.isoformat(),
        "weeks": [_week_object(week) for week in found],
        "trace": [{"text": reason.text, "source": reason.source} for reason in reasons],
    }


def _week_object(week: Week) -> dict[str, Any]:
    return {
        "first": week.first.isoformat(),
        "through": None if week.open else week.last.isoformat(),
        "opening": plain(week.opening),
        "due": plain(week.came),
        "ended": plain(week.died),
        "needed": plain(week.need),
        "missing": plain(week.missing),
        "left": plain(week.left),
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
