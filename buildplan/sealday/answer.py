"""A seal day as other programs read it: one object with the figures and reasons of the page."""

from collections.abc import Iterable
from dataclasses import asdict
from decimal import Decimal
from fractions import Fraction
from typing import Any

from buildplan.figures.calculator import exact_text
from buildplan.sealday.dayview import (
    BatchLot,
    DayView,
    Missing,
    MixedBatch,
    Person,
    PlannedBatch,
    ProductDay,
    Share,
    StepOnDay,
)
from buildplan.sealday.moving import Moved
from buildplan.sealing.queries import MixRow
from buildplan.shortfall.answer import line_object
from inventory.common.fields import plain
from inventory.common.reasons import Reason


def as_object(view: DayView) -> dict[str, Any]:
    """All of the page. Quantities are decimal strings; sealant is in g; null is not known or not said."""
    day = view.day
    return {
        "id": day.pk,
        "bench": day.bench.code,
        "on": day.on,
        "state": "open" if day.open else "closed" if day.closed_at else "called off",
        "held": day.held,
        "temperature_f": _exact(day.temperature_f),
        "pace": _exact(day.pace),
        "division": _exact(day.division),
        "note": day.note,
        "closed_at": day.closed_at,
        "called_off_at": day.called_off_at,
        "people": [_person(one) for one in view.people],
        "hands": view.hands,
        "hours": _exact(view.hours),
        "minutes": view.minutes,
        "steps": [_step(one) for one in view.steps],
        "products": [_product(one) for one in view.products],
        "batches": [_batch(one) for one in view.batches],
        "mixed": [_mixed(one) for one in view.mixed],
        "supplies": [{"name": one.name, "each": plain(one.each), "total": plain(one.total), "unit": one.unit} for one in view.supplies],
        "clecos": [asdict(one) for one in view.clecos],
        "blocked": [asdict(one) for one in view.blocked],
        "missing": [_missing(one) for one in view.missing],
        "checks": [asdict(one) for one in view.checks],
        "faults": list(view.faults),
        "trace": _trace(view.trace),
    }


def moved_object(found: Moved, *, moved: bool) -> dict[str, Any]:
    """A move, done or looked at: the days before and after, and what differs."""
    return {
        "moved": moved,
        "before": [as_object(one) for one in found.before],
        "after": [as_object(one) for one in found.after],
        "changes": [asdict(one) for one in found.changes],
    }


def mix_object(mix: MixRow, *, day: int | None, number: int | None) -> dict[str, Any]:
    """A batch, with the seal day that it is of, if any, and its number there."""
    return {
        "id": mix.id,
        "seal_day": day,
        "number": number,
        "item": mix.item,
        "base": plain(mix.base),
        "accelerator": plain(mix.accelerator),
        "grams": plain(mix.grams),
        "lots": list(mix.lots),
        "shares": [{"step_id": one.step_id, "step": one.code, "grams": plain(one.grams)} for one in mix.shares],
        "mixed_at": mix.mixed_at,
        "mixed_by": mix.mixed_by,
        "temperature_f": _exact(mix.temperature_f),
        "work_until": mix.work_until,
        "left": _number(mix.left),
        "ended_at": mix.ended_at,
        "taken_back_at": mix.taken_back_at,
        "note": mix.note,
        "warnings": _trace(mix.warnings),
        "ratio_trace": _trace(mix.off),
    }


def _trace(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    return [{"text": reason.text, "source": reason.source} for reason in reasons]


def _exact(value: Fraction | None) -> str | None:
    return None if value is None else exact_text(value)


def _number(value: Decimal | None) -> str | None:
    return None if value is None else plain(value)


def _person(one: Person) -> dict[str, Any]:
    times = {"comes": f"{one.comes:%H:%M}", "goes": f"{one.goes:%H:%M}"}
    return {"name": one.name, "member": one.member_id, **times, "hours": exact_text(one.hours)}


def _step(one: StepOnDay) -> dict[str, Any]:
    return {
        "id": one.step_id,
        "project": one.project,
        "step": one.code,
        "title": one.title,
        "minutes": one.minutes,
        "done": one.done,
        "planned_on": one.planned_on,
        "waits_for": list(one.waits_for),
        "carried_to": one.carried_to,
        "reason": one.reason,
    }


def _product(one: ProductDay) -> dict[str, Any]:
    return {
        "item": one.code,
        "name": one.name,
        "needed": plain(one.needed),
        "mixed": plain(one.mixed),
        "open": plain(one.open),
        "short": plain(one.short),
        "life_hours": _exact(one.life_hours),
        "cure_hours": _exact(one.cure_hours),
        "work_life_hours": one.work_life_hours,
        "most": _number(one.most),
        "stopped": one.stopped,
        "exact": one.exact,
        "faults": list(one.faults),
        "cured_at": one.cured_at,
        "trace": _trace(one.why),
    }


def _batch(one: PlannedBatch) -> dict[str, Any]:
    return {
        "number": one.number,
        "item": one.product,
        "grams": plain(one.grams),
        "base": _number(one.base),
        "accelerator": _number(one.accelerator),
        "error": one.error,
        "refused": one.refused,
        "lots": [_lot(lot) for lot in one.lots],
        "shares": [_share(share) for share in one.shares],
        "trace": _trace(one.reasons),
    }


def _lot(one: BatchLot) -> dict[str, Any]:
    places = [{"place": path, "there": plain(there)} for _, path, there in one.places]
    return {"lot": one.lot_id, "label": one.label, "grams": plain(one.grams), "places": places}


def _share(one: Share) -> dict[str, Any]:
    return {"step_id": one.step_id, "step": one.code, "grams": plain(one.grams)}


def _mixed(one: MixedBatch) -> dict[str, Any]:
    return {
        "id": one.mix_id,
        "number": one.number,
        "item": one.product,
        "base": plain(one.base),
        "accelerator": plain(one.accelerator),
        "grams": plain(one.grams),
        "lots": list(one.lots),
        "shares": [_share(share) for share in one.shares],
        "mixed_at": one.mixed_at,
        "mixed_by": one.mixed_by,
        "temperature_f": _exact(one.temperature_f),
        "work_until": one.work_until,
        "left": _number(one.left),
        "ended_at": one.ended_at,
        "taken_back_at": one.taken_back_at,
        "note": one.note,
        "warnings": _trace(one.warnings),
        "ratio_trace": _trace(one.off),
    }


def _missing(one: Missing) -> dict[str, Any]:
    return {"project": one.project, "late": one.late, **line_object(one.line)}
