"""The evening's answer as other programs read it."""

from collections.abc import Iterable
from typing import Any

from buildplan.tonight.calc import Block
from buildplan.tonight.queries import StepTonight, Takes, Tonight
from inventory.common.fields import plain
from inventory.common.reasons import Reason


def as_object(found: Tonight) -> dict[str, Any]:
    """Quantities are decimal strings in the item's stock unit, days are ISO."""
    return {
        "today": found.evening.today.isoformat(),
        "minutes": found.evening.minutes,
        "people": found.evening.people,
        "steps": found.steps,
        "ready": [_step(one) for one in found.ready],
        "blocked": [_blocked(one) for one in found.blocked],
        "waiting": found.waiting,
    }


def _step(one: StepTonight) -> dict[str, Any]:
    step = one.step
    return {
        "project": step.project.code,
        "step": step.code,
        "title": step.title,
        "section": step.section.name,
        "minutes": step.minutes,
        "people": step.people,
        "planned": step.planned_on.isoformat() if step.planned_on else None,
        "takes": [_takes(takes) for takes in one.takes],
        "trace": _trace(one.verdict.trace),
    }


def _blocked(one: StepTonight) -> dict[str, Any]:
    way = one.verdict.nearest
    day = way.day.isoformat() if way and way.day else None
    return {**_step(one), "free_from": day, "nearest": way.text if way else "", "blocks": [_block(block) for block in one.verdict.blocks]}


def _block(block: Block) -> dict[str, Any]:
    return {
        "kind": block.kind.value,
        "text": block.text,
        "source": block.source,
        "way": block.way.text,
        "day": block.way.day.isoformat() if block.way.day else None,
        "trace": _trace(block.trace),
    }


def _takes(one: Takes) -> dict[str, Any]:
    return {
        "item": one.item,
        "unit": one.unit,
        "quantity": plain(one.needed),
        "returned": one.returned,
        "lies": [{"place": lies.path, "lot": lies.lot, "lot_id": lies.lot_id, "quantity": plain(lies.quantity)} for lies in one.lies],
    }


def _trace(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    return [{"text": reason.text, "source": reason.source} for reason in reasons]
