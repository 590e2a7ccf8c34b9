"""What the steps of a seal day take of each sealant, and what of it is still to be mixed. Reads nothing."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from buildplan.plan.models import CallOut
from buildplan.records.used import in_grams
from buildplan.sealday.models import DayStep, SealDay
from buildplan.sealday.reading import Facts
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import grams
from inventory.common.fields import plain, rounded
from inventory.common.problems import Problem
from inventory.common.reasons import Reason
from inventory.models import Item

NOTHING = Decimal(0)
CALL_OUT = "call-out of the plan"


@dataclass(frozen=True, slots=True)
class StepNeed:
    """What a step of the day takes of a sealant in all, and what of it is still to be mixed, in grams."""

    step_id: int
    code: str
    grams: Decimal
    left: Decimal


@dataclass(frozen=True, slots=True)
class Wanted:
    """A sealant over the steps of a day. `faults` say what can't be told: nothing is planned then."""

    needs: tuple[StepNeed, ...]
    faults: tuple[str, ...]
    reasons: tuple[Reason, ...]

    @property
    def grams(self) -> Decimal:
        """All that the steps take."""
        return sum((need.grams for need in self.needs), NOTHING)

    @property
    def left(self) -> Decimal:
        """What is still to be mixed."""
        return sum((need.left for need in self.needs), NOTHING)


def wanted_on(facts: Facts, day: SealDay) -> dict[int, Wanted]:
    """The sealants of a day's steps, by item, in the order first needed; then those that were mixed and are needed no more."""
    steps = facts.steps.get(day.pk, ())
    named = [item for row in steps for item in _named(facts, row.step_id)]
    named += [mix.item_id for mix in facts.mixes.get(day.pk, ())]
    return {item: _wanted(facts, steps, facts.items[item]) for item in dict.fromkeys(named)}


def _named(facts: Facts, step: int) -> Iterator[int]:
    """The sealants that a step names, seams first."""
    yield from (seam.sealant_id for seam in facts.seams.get(step, ()))
    yield from (row.item_id for row in facts.call_outs.get(step, ()))


def _wanted(facts: Facts, steps: Sequence[DayStep], item: Item) -> Wanted:
    needs, faults, reasons = [], [], []
    for row in steps:
        seams = [seam for seam in facts.seams.get(row.step_id, ()) if seam.sealant_id == item.pk]
        called = [call for call in facts.call_outs.get(row.step_id, ()) if call.item_id == item.pk]
        done = facts.mixed.get((row.step_id, item.pk), NOTHING)
        if not seams and not called and not done:
            continue
        total = NOTHING
        for part, text, source in _parts(seams, called, item):
            if part is None:
                faults.append(f"{row.step.code}, {text}")
                continue
            total += part
            reasons.append(Reason(f"{row.step.code} takes {plain(part)} g: {text}", source))
        left = NOTHING if row.step.done else max(NOTHING, total - done)
        if done:
            reasons.append(Reason(f"{plain(done)} g are mixed for {row.step.code}: {plain(left)} g are left to mix", "the batches mixed"))
        needs.append(StepNeed(row.step_id, row.step.code, total, left))
    return Wanted(tuple(needs), tuple(faults), tuple(reasons))


def _parts(seams: Iterable[Seam], called: Iterable[CallOut], item: Item) -> Iterator[tuple[Decimal | None, str, str]]:
    """The grams of each seam and call-out, None where they can't be told and the text says why."""
    for seam in seams:
        try:
            yield grams(seam, item.gravity).grams, f"seam {seam.code}", "its geometry"
        except (ValueError, Problem) as error:
            yield None, f"seam {seam.code}: {error}", ""
    factor = in_grams(item.unit)
    for call in called:
        said = f"{plain(call.quantity)} {item.unit} are called out"
        if factor is None:
            yield None, f"{said}: how many grams that is isn't known", ""
        else:
            yield rounded(Fraction(call.quantity) * factor), said, CALL_OUT
