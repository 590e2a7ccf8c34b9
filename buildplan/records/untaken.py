"""What the plan names for finished steps and nobody took: a need that is left blank doesn't pass in silence."""

from collections import defaultdict
from collections.abc import Collection

from buildplan.hardware.models import RivetRow
from buildplan.hardware.queries import accepted
from buildplan.plan.models import CallOut, Finish
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import mixed_grams
from inventory.catalogue.models import RETURNED
from inventory.models import Movement


def untaken(steps: Collection[int]) -> dict[int, tuple[str, ...]]:
    """Codes of the items that finishing a step took nothing of, by step, in the order of codes; the plan as it stands now.

    Only of steps that were finished with movements. What comes back isn't taken; what was mixed for the step, or stands in by a
    substitution that was accepted, was. Seven queries, one where no step was finished so.
    """
    finishes = {finish.ref: finish.step_id for finish in Finish.objects.filter(step__in=steps, taken_back_at=None, without_movements=False)}
    if not finishes:
        return {}
    finished = set(finishes.values())
    took = _took(finishes) | set(mixed_grams(step__in=finished))
    stands_in = {pair: one.served_by for pair, one in accepted(step__in=finished).items()}
    found: dict[int, set[str]] = defaultdict(set)
    for step, item, code in _named(finished):
        if (step, item) not in took and (step, stands_in.get((step, item))) not in took:
            found[step].add(code)
    return {step: tuple(sorted(codes)) for step, codes in found.items()}


def _took(finishes: dict[str, int]) -> set[tuple[int, int | None]]:
    rows = Movement.objects.filter(ref__in=finishes, reverses=None, reversed_by=None).order_by()
    return {(finishes[ref], item) for ref, item in rows.values_list("ref", "lot__item_id").distinct()}


def _named(steps: Collection[int]) -> set[tuple[int, int, str]]:
    """Step, item and its code, by call-outs, rivet rows and seams."""
    call_outs = CallOut.objects.filter(step__in=steps).exclude(item__kind__in=RETURNED).values_list("step_id", "item_id", "item__code")
    rows = RivetRow.objects.filter(step__in=steps).values_list("step_id", "rivet_id", "rivet__code")
    seams = Seam.objects.filter(step__in=steps).values_list("step_id", "sealant_id", "sealant__code")
    return {*call_outs.order_by(), *rows.order_by(), *seams.order_by()}
