"""A plan expanded to need lines: what each step that counts takes, by item. Reads with a fixed number of queries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import reduce
from math import ceil
from operator import or_
from typing import Any

from django.db.models import Q

from buildplan.cutting import queries as cutting
from buildplan.hardware.calc import clecos_for_row
from buildplan.hardware.models import RivetLoss, RivetRow
from buildplan.hardware.queries import Accepted, accepted, rivet_diameter
from buildplan.plan.models import CallOut
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import grams, mixed
from buildplan.shortfall.calc import Need
from buildplan.shortfall.demand import StepDay, StepFacts
from inventory.catalogue.units import Converted, to_stock_unit
from inventory.common.fields import plain
from inventory.common.problems import Problem

CALL_OUT = "call-out of the plan"
GRAM = "g"
OTHER = 2

Swaps = Mapping[tuple[int, int], Accepted]  # what serves instead, by step and wanted item


class SeamNotKnown(Problem):
    """A seam's grams can't be told: a demand without them would be too small."""

    title = "A seam can't be reckoned"


@dataclass(frozen=True, slots=True)
class Demand:
    """Some steps and their days: `days` of those that count, `every` of all that have one. `where` filters what hangs on them.

    `alone` is one step for its own page: done or not, and without a seam whose grams can't be told, since the page says so itself.
    `mixed` is whether what was mixed already is needed no more. `uncut` is whether pieces that are still to be cut take blanks: a finish
    takes none, since a blank leaves stock under the saw.
    `only` are the items that are asked for; None is all of them. A seam of theirs whose grams can't be told is left out as well:
    `left_out` then says so. `afters` are the pairs (step, the step it comes after), where whole plans were read.
    """

    where: Mapping[str, Any]
    steps: Mapping[int, StepFacts]
    days: Mapping[int, StepDay]
    every: Mapping[int, StepDay]
    as_of: date
    alone: bool = False
    mixed: bool = True
    uncut: bool = True
    only: frozenset[int] | None = None
    afters: Sequence[tuple[int, int]] = ()
    left_out: list[str] = field(default_factory=list)

    @property
    def filters(self) -> dict[str, Any]:
        """What call-outs and seams must be of: a step that is done takes nothing any more."""
        return dict(self.where) if self.alone else {**self.where, "step__done": False}

    def of(self, columns: Sequence[str], swaps: Swaps) -> Q:
        """The rows that name an item asked for in one of `columns`, or one that such an item serves for."""
        if self.only is None:
            return Q()
        wanted = self.only | {item for (_, item), swap in swaps.items() if swap.served_by in self.only}
        return reduce(or_, (Q(**{f"{column}__in": wanted}) for column in columns))

    def need(self, step: int, quantity: Decimal, note: str, source: str) -> Need:
        """What a step that counts takes on its day."""
        facts, day = self.steps[step], self.days[step]
        return Need(day.day, facts.order, step, facts.label, quantity, day.rule, note, source)


@dataclass(frozen=True, slots=True)
class Hanging:
    """What hangs on some steps, rows and seams by id: what those steps take follows from it, on whatever day."""

    swaps: Swaps
    call_outs: Iterable[tuple[int, int, Decimal, str]]
    losses: Mapping[Fraction, Decimal]
    rows: Iterable[RivetRow]
    seams: Iterable[Seam]
    mixed: Mapping[tuple[int, int], tuple[Decimal, str]]

    def items(self) -> set[int]:
        """The items that these rows name, those that serve instead among them. Asked of what `hanging` read."""
        rows = {item for row in self.rows for item in (row.rivet_id, row.cleco_id) if item is not None}
        return {
            *rows,
            *(row[1] for row in self.call_outs),
            *(seam.sealant_id for seam in self.seams),
            *(swap.served_by for swap in self.swaps.values()),
        }

    def of(self, steps: Collection[int]) -> "Hanging":
        """What hangs on these of them. Asked of what `hanging` read."""
        return replace(
            self,
            call_outs=[row for row in self.call_outs if row[0] in steps],
            rows=[row for row in self.rows if row.step_id in steps],
            seams=[seam for seam in self.seams if seam.step_id in steps],
            mixed={pair: of for pair, of in self.mixed.items() if pair[0] in steps},
        )


def hanging(steps: Collection[int]) -> Hanging:
    """All that hangs on these steps, done or not, kept: what a page reads once and expands for each that asks. Six queries."""
    rows = RivetRow.objects.filter(step__in=steps).select_related("rivet", "cleco", "clecos_until").order_by("pk")
    return Hanging(
        accepted(step__in=steps),
        list(CallOut.objects.filter(step__in=steps).values_list(*_CALL_OUT)),
        _losses(),
        list(rows),
        list(Seam.objects.filter(step__in=steps).select_related("sealant").order_by("pk")),
        mixed(step__in=steps),
    )


_CALL_OUT = ("step_id", "item_id", "quantity", "rounding")


def _hanging(demand: Demand) -> Hanging:
    """What hangs on the steps of a demand, read as it comes."""
    swaps = accepted(**demand.where)
    rows = RivetRow.objects.filter(demand.of(["rivet", "cleco"], swaps), **demand.where)
    return Hanging(
        swaps,
        CallOut.objects.filter(demand.of(["item"], swaps), **demand.filters).values_list(*_CALL_OUT).iterator(),
        _losses(),
        rows.select_related("rivet", "cleco").order_by("pk"),
        Seam.objects.filter(demand.of(["sealant"], {}), **demand.filters).select_related("sealant").order_by("pk"),
        mixed(**demand.where) if demand.mixed else {},
    )


def _losses() -> dict[Fraction, Decimal]:
    return dict(RivetLoss.objects.values_list("diameter", "percent"))


def expand(demand: Demand, read: Hanging | None = None) -> dict[int, list[Need]]:
    """Every need of the demand, by item. At most nine queries, seven where nothing is to be cut.

    `read` is what hangs on its steps, where a page has it already: then only what is to be cut is asked. It is for steps that stand alone.
    What was mixed for a step it needs no more. Pieces that aren't cut yet need blanks, and what they will be isn't needed as such.
    Where an inspector accepted one rivet in place of another for a step, all that the step needs of the one is needed of the other.
    Only what the plans name is replaced: what serves for one thing and is itself replaced in that step isn't followed further.
    """
    found = _hanging(demand) if read is None else read
    needs = _call_outs(demand, found)
    for item, need in (*_rows(demand, found), *_seams(demand, found)):
        needs[item].append(need)
    if demand.mixed:
        _less_mixed(found, needs, keep=demand.alone)
    if demand.uncut:
        _with_blanks(demand, needs)
    return needs if demand.only is None else {item: of for item, of in needs.items() if item in demand.only}


def _with_blanks(demand: Demand, needs: dict[int, list[Need]]) -> None:
    """Blanks for what is still to be cut, and so much less of what it will be: that is made here, not ordered."""
    steps, days = demand.steps, demand.days
    ranks = {step: (days[step].day, steps[step].order) for step in days}
    found = cutting.wanted(demand.filters, ranks, apart=demand.alone)
    for (step, item), (count, words) in found.made_here.items():
        if item in needs:
            left = list(_less(needs.pop(item), step, Decimal(count), f"{words}", keep=demand.alone, mixed=False))
            if left:
                needs[item] = left
    for blank in found.blanks:
        needs[blank.item].append(demand.need(blank.step, blank.quantity, blank.note, blank.source))


def _less_mixed(found: Hanging, needs: dict[int, list[Need]], *, keep: bool) -> None:
    """Take off what was mixed, need by need; nothing is left of an item that all was mixed of, unless the step stands alone."""
    for (step, item), (quantity, unit) in found.mixed.items():
        if item in needs:
            left = list(_less(needs.pop(item), step, quantity, f"{unit} of it are mixed", keep=keep))
            if left:
                needs[item] = left


def _less(needs: Sequence[Need], step: int, quantity: Decimal, what: str, *, keep: bool, mixed: bool = True) -> Iterator[Need]:  # noqa: PLR0913
    left = quantity
    for need in needs:
        taken = min(left, need.quantity) if need.step == step else Decimal(0)
        left -= taken
        if not taken:
            yield need
        elif keep or taken < need.quantity:
            note = "; ".join(part for part in (need.note, f"{plain(taken)} {what}") if part)
            yield need._replace(quantity=need.quantity - taken, note=note, mixed=taken if mixed else need.mixed)


def _call_outs(demand: Demand, found: Hanging) -> dict[int, list[Need]]:
    """Sorting all rows once into the order in which needs are served is cheaper than sorting each item's."""
    days, steps, swaps = demand.days, demand.steps, found.swaps
    ranks = {step: rank for rank, step in enumerate(sorted(days, key=lambda step: (days[step].day, steps[step].order)))}
    rows = sorted((row for row in found.call_outs if row[0] in ranks), key=lambda row: ranks[row[0]])
    needs: dict[int, list[Need]] = defaultdict(list)
    for step, item, quantity, rounding in rows:
        facts, day = steps[step], days[step]
        swap = swaps.get((step, item)) if swaps else None
        note = _note(rounding, swap) if swap else rounding
        needs[swap.served_by if swap else item].append(Need(day.day, facts.order, step, facts.label, quantity, day.rule, note, CALL_OUT))
    return needs


def _note(note: str, swap: Accepted | None) -> str:
    return "; ".join(part for part in (note, swap and swap.words) if part)


def _rows(demand: Demand, found: Hanging) -> Iterator[tuple[int, Need]]:
    """Rivets with their loss, and clecos until they come off. Dies are called out: their size alone doesn't tell which one it is.

    The loss is of the rivet that is driven. Clecos stay as planned: they stand in the holes before those are final.
    """
    for row in found.rows:
        source = f"row {row.code}"
        if row.step_id in demand.days:
            swap = found.swaps.get((row.step_id, row.rivet_id))
            diameter = swap.diameter if swap else rivet_diameter(row.rivet)
            count, note = _rivets(row.holes, None if diameter is None else found.losses.get(diameter))
            yield swap.served_by if swap else row.rivet_id, demand.need(row.step_id, count, _note(note, swap), source)
        if row.cleco_id is not None and (held := _clecos(demand, row, source)) is not None:
            yield row.cleco_id, held


def _rivets(holes: int, loss: Decimal | None) -> tuple[Decimal, str]:
    if not loss:
        return Decimal(holes), f"{holes} holes"
    count = ceil(holes * (1 + Fraction(loss) / 100))
    return Decimal(count), f"{holes} holes + {plain(loss)} % loss = {count}, rounded up"


def _clecos(demand: Demand, row: RivetRow, source: str) -> Need | None:
    """What a row holds: on its step's day, or through the day of the step that frees it, even after its own is done."""
    every = row.cleco_every or 1
    count = clecos_for_row(row.holes, every)
    note = f"a cleco in {_every(every)} of {row.holes}, the ends filled"
    frees = None if row.clecos_until_id is None else demand.steps.get(row.clecos_until_id)
    until = None if frees is None or frees.done else _day(demand, frees)
    if row.step_id in demand.days:
        return demand.need(row.step_id, Decimal(count), note, source)._replace(until=until)
    facts = demand.steps[row.step_id]
    if not facts.done or frees is None or until is None:
        return None
    rule = f"{facts.label} is done, but its clecos stay until {frees.label}"
    return Need(demand.as_of, facts.order, facts.id, facts.label, Decimal(count), rule, note, source, until)


def _every(every: int) -> str:
    if every == 1:
        return "every hole"
    return "every other hole" if every == OTHER else f"one hole in {every}"


def _day(demand: Demand, step: StepFacts) -> date:
    """The day on which a step not done takes its clecos off; one without any day holds them to the end of the calendar."""
    found = demand.every.get(step.id)
    return date.max if found is None else found.day


def _seams(demand: Demand, found: Hanging) -> Iterator[tuple[int, Need]]:
    """Sealant by geometry, in the stock unit of the product."""
    for seam in found.seams:
        if seam.step_id not in demand.days:
            continue
        try:
            converted, note = _sealant(seam)
        except (ValueError, Problem) as error:
            fault = f"seam {seam.code} of {demand.steps[seam.step_id].label}, {seam.sealant.code}: {error}"
            if demand.alone or demand.only is not None:
                demand.left_out.append(fault)
                continue
            raise SeamNotKnown(f"{fault}. Nothing is reckoned without it") from error
        yield seam.sealant_id, demand.need(seam.step_id, converted.quantity, note, f"seam {seam.code}")


def _sealant(seam: Seam) -> tuple[Converted, str]:
    found = grams(seam, seam.sealant.gravity)
    converted = to_stock_unit(found.grams, GRAM, seam.sealant.unit)
    return converted, converted.rounding or "; ".join(reason.text for reason in found.reasons)
