"""Lists of sections and leak tests as programs read them."""

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from buildplan.closeup.leaks import LeakRow, ReadingRow
from buildplan.closeup.queries import ClosingRow, GateView, PointRow
from inventory.common.exact import decimal_text
from inventory.common.reasons import Reason

PLACES = 6


def gate_object(view: GateView) -> dict[str, Any]:
    """A section with its list."""
    closings = ([view.closing] if view.closing else []) + list(view.past)
    return {
        "id": view.section.pk,
        "project": view.section.project.code,
        "section": view.section.name,
        "closed_at": view.section.closed_at,
        "points": [_point(point) for point in view.points],
        "closings": [_closing(one) for one in closings],
        "leak_tests": [leak.test.pk for leak in view.leaks],
        "taken_off": [asdict(row) for row in view.off.rows],
        "taken_off_earlier": view.off.earlier,
    }


def _point(point: PointRow) -> dict[str, Any]:
    tick, known = point.tick, point.known
    return {
        "point": point.name,
        "text": point.text,
        "position": point.position,
        "tick": {"by": tick.by, "at": tick.at, "said": tick.said} if tick else None,
        "known": {"says": known.says, "text": known.text, "trace": _trace(known.trace)} if known else None,
    }


def _closing(row: ClosingRow) -> dict[str, Any]:
    names = ("by", "at", "note", "reopened_at", "reopened_by", "reopened_why")
    kept = ("text", "ticked", "by", "at", "why", "known")
    points = [{name: getattr(point, name) for name in kept} for point in row.points]
    return {**{name: getattr(row, name) for name in names}, "points": points}


def leak_object(leak: LeakRow) -> dict[str, Any]:
    """A leak test with its readings."""
    test = leak.test
    said = {name: getattr(test, name) for name in ("name", "pressure_unit", "drop_unit", "minutes", "source")}
    return {
        "id": test.pk,
        "gate": test.section_id,
        "project": test.section.project.code,
        **said,
        "pressure": None if test.pressure is None else decimal_text(test.pressure, PLACES),
        "drop": None if test.drop is None else decimal_text(test.drop, PLACES),
        "unit": leak.unit.name,
        "verdict": leak.verdict,
        "trace": _trace(leak.judged.trace),
        "readings": [_reading(row) for row in leak.readings],
    }


def _reading(one: ReadingRow) -> dict[str, Any]:
    row = one.row
    figures = {name: decimal_text(getattr(row, name), PLACES) for name in ("pressure", "temperature", "barometer")}
    return {
        **{name: getattr(row, name) for name in ("at", "pressure_unit", "temperature_unit", "barometer_unit", "note")},
        **figures,
        "id": row.pk,
        "by": row.by.name,
        "expected": one.expected or None,
        "missing": one.drop or None,
        "by_temperature": one.by_warmth or None,
        "by_barometer": one.by_weather or None,
        "struck": row.struck_why if row.struck_at else None,
        "trace": _trace(one.found.trace) if one.found else [],
    }


def _trace(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    return [{"text": reason.text, "source": reason.source} for reason in reasons]
