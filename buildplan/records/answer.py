"""A step's sheet as other programs read it: one object with the same reasons as the page."""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from typing import Any

from buildplan.figures.calculator import exact_text
from buildplan.hardware.calc import Figure, Tool
from buildplan.records.mixing import BatchLine, Mix, ProductPlan, SealingPlan
from buildplan.records.sheet import Check, ClecoLine, Die, NeedLine, Product, RowLine, SeamLine, StepSheet
from buildplan.sealing.calc import Sample
from buildplan.sealing.queries import MixRow
from inventory.common.fields import plain
from inventory.common.reasons import Reason


def as_object(sheet: StepSheet, plan: SealingPlan, cautions: Iterable[Reason]) -> dict[str, Any]:
    """All of it; `cautions` are of hands.

    Quantities are decimal strings, sizes exact ones in inches, days ISO; null is not known or not given.
    """
    step = sheet.step
    return {
        "project": step.project.code,
        "step": step.code,
        "title": step.title,
        "section": step.section.name,
        "hand": step.hand,
        "done": step.done,
        "on": sheet.on.isoformat(),
        "needs": [_need(need, done=step.done) for need in sheet.needs],
        "rows": [_row(row) for row in sheet.rows],
        "checks": [_check(check) for check in sheet.checks],
        "tools": [_tool(tool) for tool in sheet.tools],
        "dies": [_die(die) for die in sheet.dies],
        "clecos": [_cleco(cleco) for cleco in sheet.clecos],
        "seams": [_seam(seam) for seam in sheet.seams],
        "sealants": [_sealant(one) for one in plan.products],
        "mixes": [_mixed(mix, step.pk) for mix in sheet.mixed],
        "supplies": [
            {"name": supply.name, "each": plain(supply.each), "total": plain(supply.total), "unit": supply.unit} for supply in plan.supplies
        ],
        "cautions": _trace(cautions),
    }


def _trace(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    return [{"text": reason.text, "source": reason.source} for reason in reasons]


def _number(value: Decimal | None) -> str | None:
    return None if value is None else plain(value)


def _size(value: Fraction | None) -> str | None:
    return None if value is None else exact_text(value)


def _need(need: NeedLine, *, done: bool) -> dict[str, Any]:
    return {
        "item": need.item,
        "name": need.name,
        "unit": need.unit,
        "needed": plain(need.quantity),
        "mixed": plain(need.mixed),
        "short": None if done else plain(need.short),
        "returned": need.returned,
        "lies": list(need.lies),
        "trace": _trace(need.reasons),
    }


def _row(row: RowLine) -> dict[str, Any]:
    return {
        "row": row.code,
        "rivet": row.rivet,
        "instead_of": row.instead_of or None,
        "holes": row.holes,
        "rivets": plain(row.quantity),
        "length": _size(row.bar.length if row.bar else None),
        "grip": _size(row.grip),
        "length_by_grip": _size(row.reckoned),
        "question": row.question or None,
        "trace": _trace(row.why),
    }


def _check(check: Check) -> dict[str, Any]:
    return {"diameter": exact_text(check.diameter), "figures": [_figure(figure) for figure in check.figures]}


def _figure(figure: Figure) -> dict[str, Any]:
    return {"name": figure.name, "value": exact_text(figure.value), "text": figure.reason.text, "source": figure.reason.source}


def _tool(tool: Tool) -> dict[str, str]:
    return {"use": tool.use, "name": tool.name, "text": tool.reason.text, "source": tool.reason.source}


def _die(die: Die) -> dict[str, Any]:
    return {"item": die.item, "name": die.name, "diameter": _size(die.diameter), "called_out": die.called_out}


def _cleco(cleco: ClecoLine) -> dict[str, Any]:
    return {
        "row": cleco.row,
        "item": cleco.item,
        "count": cleco.count,
        "every": cleco.every,
        "until": cleco.until or None,
        "colour": cleco.colour or None,
        "trace": _trace(cleco.reasons),
    }


def _seam(seam: SeamLine) -> dict[str, Any]:
    return {
        "seam": seam.code,
        "sealant": seam.sealant_code,
        "shape": seam.shape,
        "grams": _number(seam.grams),
        "fault": seam.fault or None,
        "trace": _trace(seam.reasons),
    }


def _sealant(one: ProductPlan) -> dict[str, Any]:
    product = one.product
    return {
        "item": product.code,
        "gravity": _number(product.gravity),
        "base": _number(product.base),
        "accelerator": _number(product.accelerator),
        "grams": _number(product.total),
        "mixed": plain(product.mixed),
        "faults": list(one.faults),
        "trace": _trace(product.reasons),
        "mix": _mix(one.mix),
        "smallest_batch": _number(one.smallest),
        "stopped": one.stopped,
        "work_life_hours": None if one.life is None else one.life.hours,
        "largest_batch": _number(one.most),
        "batches": [_batch(batch) for batch in one.batches],
        "short": plain(one.short),
        "exact": one.exact,
        "mix_trace": _trace(one.why),
        "calibration": _calibration(product),
    }


def _mix(mix: Mix | None) -> dict[str, Any] | None:
    if mix is None:
        return None
    return {
        "base": plain(mix.base),
        "accelerator": plain(mix.accelerator),
        "error_percent": mix.error or None,
        "refused": mix.refused or None,
    }


def _mixed(mix: MixRow, step: int) -> dict[str, Any]:
    return {
        "id": mix.id,
        "item": mix.item,
        "grams": plain(mix.grams),
        "for_this_step": plain(mix.of(step)),
        "base": plain(mix.base),
        "accelerator": plain(mix.accelerator),
        "lots": list(mix.lots),
        "mixed_at": mix.mixed_at.isoformat(),
        "mixed_by": mix.mixed_by,
        "work_until": mix.work_until and mix.work_until.isoformat(),
        "left": _number(mix.left),
        "warnings": _trace(mix.warnings),
        "ratio_trace": _trace(mix.off),
    }


def _batch(batch: BatchLine) -> dict[str, Any]:
    lots = [{"lot": lot, "grams": plain(grams)} for lot, grams in batch.lots]
    return {"number": batch.number, "grams": plain(batch.grams), "lots": lots, "mix": _mix(batch.mix)}


def _calibration(product: Product) -> dict[str, Any] | None:
    found = product.calibration
    if found is None:
        return None
    return {
        "n": found.n,
        "mean": exact_text(found.mean),
        "least": exact_text(found.least),
        "most": exact_text(found.most),
        "deviation": _number(found.deviation),
        "formula": plain(product.seams),
        "own": plain(found.grams(product.seams)) if product.seams else None,
        "samples": [_sample(sample) for sample in found.samples],
        "trace": _trace(product.own_reasons),
    }


def _sample(sample: Sample) -> dict[str, str]:
    return {"step": sample.step, "formula": exact_text(Fraction(sample.formula)), "used": exact_text(Fraction(sample.used))}
