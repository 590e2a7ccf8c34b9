"""Conflicts and assemblies as the API gives them."""

from collections.abc import Iterable
from typing import Any

from buildplan.fitting.assembled import AssemblyView, MarkRow, PositionRow
from buildplan.fitting.models import MakerAnswer, MarkEvent, Settlement
from buildplan.fitting.phases import Together
from buildplan.fitting.queries import ConflictView
from inventory.common.reasons import Reason

READINGS = ("title", "kind", "text_says", "text_where", "drawing_says", "drawing_where")


def conflict_object(view: ConflictView) -> dict[str, Any]:
    """A conflict."""
    row, record = view.conflict, view.record
    return {
        "id": row.pk,
        "project": row.project.code,
        "state": "open" if view.open else "settled",
        **{name: getattr(row, name) for name in READINGS},
        "by": row.by.name,
        "steps": [{"step": one.code, "title": one.title, "done": one.done, "through": one.through} for one in view.steps],
        "items": [item.code for item in view.items],
        "answers": [_answer(one) for one in view.answers],
        "settlements": [_settlement(one) for one in view.settlements],
        "record": {
            **{name: getattr(record, name) for name in ("text", "drawing", "neither", "cases")},
            "trace": _trace(record.trace),
        },
    }


def _answer(one: MakerAnswer) -> dict[str, Any]:
    return {"text": one.text, "on": one.on, "reference": one.reference, "by": one.by.name}


def _settlement(one: Settlement) -> dict[str, Any]:
    said = {name: getattr(one, name) for name in ("right", "on", "note", "reopened_at", "reopened_why")}
    return {**said, "by": one.by.name, "reopened_by": one.reopened_by.name if one.reopened_by else None}


def assembly_object(view: AssemblyView) -> dict[str, Any]:
    """An assembly."""
    row, handling = view.assembly, view.handling
    return {
        "id": row.pk,
        "project": row.project.code,
        "name": row.name,
        "note": row.note,
        "steps": [{"step": one.code, "phase": one.phase, "done": one.done} for one in view.steps],
        "times": [_time(one) for one in handling.times],
        "assemblies": handling.assemblies,
        "disassemblies": handling.disassemblies,
        "trace": _trace(handling.trace),
        "positions": [_position(one) for one in view.positions],
    }


def _time(one: Together) -> dict[str, Any]:
    clecos = [{"cleco": pins.cleco, "put": pins.put, "most": pins.most, "when": pins.when} for pins in one.pins]
    return {"number": one.number, "steps": list(one.steps), "apart": one.apart, "clecos": clecos}


def _position(one: PositionRow) -> dict[str, Any]:
    return {
        "id": one.pk,
        "number": one.number,
        "part": one.part,
        "item": one.item,
        "marks": [_mark(mark) for mark in one.marks],
        "holes": _trace(one.holes),
    }


def _mark(one: MarkRow) -> dict[str, Any]:
    said = ("item", "lot", "words", "reason", "on", "by", "ended_on", "ended_by", "ended_why")
    return {
        "id": one.pk,
        "mark": one.text,
        **{name: getattr(one, name) for name in said},
        "events": [_event(event) for event in one.events],
    }


def _event(one: MarkEvent) -> dict[str, Any]:
    said = ("deed", "on", "drill", "final", "mates", "note")
    return {**{name: getattr(one, name) for name in said}, "by": one.by.name}


def _trace(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    return [{"text": one.text, "source": one.source} for one in reasons]
