"""What finished steps really used of sealants, by the ledger: the samples behind a workshop's own figure."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from decimal import Decimal
from fractions import Fraction

from django.db.models import Sum

from buildplan.plan.models import CallOut, Finish
from buildplan.sealing.calc import Calibration, Sample, calibrate
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import grams, mixed_grams
from inventory.catalogue.units import UnitError, ratio
from inventory.models import Movement

GRAM = "g"
_Pair = tuple[int, int]  # a step and a sealant


def calibrations(sealants: Collection[int]) -> dict[int, Calibration]:
    """The workshop's own figure of each of these sealants that has one. Five queries, one where no step of them was finished.

    A step counts that was finished here with movements, has seams of the sealant, and no call-out of it: what a call-out took
    can't be told from what the seams took. A movement that was reversed took nothing; what was mixed for the step it took.
    """
    finishes = _finishes(sealants)
    if not finishes:
        return {}
    seams = _seams(sealants, finishes)
    used, mixed = _used(sealants), mixed_grams(mix__item__in=sealants, step__done=True)
    samples: dict[int, list[Sample]] = defaultdict(list)
    for step, (ref, label) in finishes.items():
        for item in sealants:
            took = used.get((ref, item), Fraction(0)) + Fraction(mixed.get((step, item), 0))
            if took and (formula := seams.get((step, item))):
                samples[item].append(Sample(label, formula, took))
    found = {item: calibrate(kept) for item, kept in samples.items()}
    return {item: one for item, one in found.items() if one is not None}


def _finishes(sealants: Collection[int]) -> dict[int, tuple[str, str]]:
    """Ledger name and label of each step finished with movements, the first finished first."""
    rows = Finish.objects.filter(taken_back_at=None, without_movements=False, step__seams__sealant__in=sealants).distinct()
    found = rows.select_related("step__project").order_by("on", "pk")
    return {finish.step_id: (finish.ref, f"{finish.step.project.code}:{finish.step.code}") for finish in found}


def _seams(sealants: Collection[int], steps: Collection[int]) -> dict[_Pair, Decimal | None]:
    """What the formula gives; None where the grams of a seam can't be told, or a call-out takes of the same sealant."""
    found: dict[_Pair, Decimal | None] = {}
    for seam in Seam.objects.filter(sealant__in=sealants, step__done=True).select_related("sealant"):
        pair = (seam.step_id, seam.sealant_id)
        if seam.step_id in steps:
            found[pair] = _added(found.get(pair, Decimal(0)), seam)
    for step, item in CallOut.objects.filter(item__in=sealants, step__done=True).values_list("step_id", "item_id"):
        if (step, item) in found:
            found[step, item] = None
    return found


def _added(before: Decimal | None, seam: Seam) -> Decimal | None:
    try:
        return None if before is None else before + grams(seam, seam.sealant.gravity).grams
    except ValueError:
        return None


def _used(sealants: Collection[int]) -> Mapping[tuple[str, int], Fraction]:
    """Grams that each finish took, by its ledger name and sealant. A stock unit that is no mass has none."""
    rows = Movement.objects.filter(lot__item__in=sealants, ref__startswith="finish:", reverses=None, reversed_by=None)
    columns = ("ref", "lot__item_id", "lot__item__unit")
    sums = rows.order_by().values_list(*columns).annotate(total=Sum("quantity"))
    return {(ref, item): Fraction(total) * factor for ref, item, unit, total in sums if (factor := in_grams(unit))}


def in_grams(unit: str) -> Fraction | None:
    """How many grams one of a stock unit is; None where it is no mass."""
    try:
        return ratio(unit, GRAM)
    except UnitError:
        return None
