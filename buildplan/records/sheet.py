"""All that one step takes, in one view: what its page, its print and the API show. Each figure has its reasons."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext_noop

from buildplan.hardware.calc import (
    Figure,
    Rivet,
    Tool,
    call_out_question,
    check_figures,
    cleco_colour,
    clecos_for_row,
    length_reasons,
    rivet_length,
    tools_for,
)
from buildplan.hardware.models import RivetRow
from buildplan.hardware.queries import called_out, rivet_diameter
from buildplan.plan.models import Step
from buildplan.records import queries
from buildplan.records.bars import Bar
from buildplan.records.queries import Proposal
from buildplan.records.used import GRAM, calibrations, in_grams
from buildplan.sealing.calc import Calibration, calibration_reasons, calibration_text
from buildplan.sealing.models import Seam
from buildplan.sealing.queries import MixRow, grams, mixed_for
from buildplan.shortfall.calc import ItemFacts, Need
from buildplan.shortfall.needs import CALL_OUT
from buildplan.shortfall.reading import Reading, read
from buildplan.shortfall.trace import RULE, WORDS, name
from inventory.catalogue.models import DYING, Kind
from inventory.common.fields import plain, rounded
from inventory.common.problems import Problem
from inventory.common.reasons import ARITHMETIC, Reason
from inventory.models import Item

NOT_KNOWN = "not known: read it off the data sheet"
DEFER = gettext_noop("the kit's plans come first; then its maker, then the source named here")


@dataclass(frozen=True, slots=True)
class NeedLine:
    """What the step takes of one item in all. `lies` is where it would be taken from; a step that is done has none.

    `mixed` is what it took already, by batches that were mixed for it: it isn't among `quantity`.
    """

    item: str
    name: str
    unit: str
    quantity: Decimal
    short: Decimal
    returned: bool
    lies: tuple[str, ...]
    reasons: tuple[Reason, ...]
    mixed: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class ClecoLine:
    """The clecos of a row, and the step that takes them off. The colour is a label alone."""

    row: str
    item: str
    name: str
    colour: str
    count: int
    every: int
    until: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class RowLine:
    """A rivet row. `bar` is None where the rivet's code doesn't tell its length; `question` asks where grip and call-out differ.

    `instead_of` is what the plans name where an inspector accepted another rivet; grip and question are of what the plans name.
    """

    id: int
    code: str
    rivet: str
    name: str
    instead_of: str
    holes: int
    quantity: Decimal
    note: str
    grip: Fraction | None
    reckoned: Fraction | None
    question: str
    bar: Bar | None
    clecos: tuple[ClecoLine, ...]
    reasons: tuple[Reason, ...]

    @property
    def why(self) -> tuple[Reason, ...]:
        """Its reasons and those of its clecos."""
        count = Reason(self.note, f"row {self.code}") if self.note else None
        return (*((count,) if count else ()), *self.reasons, *(reason for cleco in self.clecos for reason in cleco.reasons))

    @property
    def sixteenths(self) -> Fraction | None:
        """The length by grip, as codes count it."""
        return None if self.reckoned is None else self.reckoned * 16


@dataclass(frozen=True, slots=True)
class Die:
    """A tool of the catalogue that is of a rivet's size. Its size alone doesn't tell which one the plans want: `called_out` does."""

    item: str
    name: str
    diameter: Fraction | None
    called_out: bool


@dataclass(frozen=True, slots=True)
class Check:
    """Sizes to hold a driven rivet of one diameter and its row against."""

    diameter: Fraction
    figures: tuple[Figure, ...]

    @property
    def sources(self) -> tuple[str, ...]:
        """What they rest on, each once."""
        return tuple(dict.fromkeys(figure.reason.source for figure in self.figures))


@dataclass(frozen=True, slots=True)
class SeamLine:
    """A seam. `grams` is None where it can't be told, and `fault` then says what is missing."""

    id: int
    code: str
    sealant: int
    sealant_code: str
    shape: str
    grams: Decimal | None
    fault: str
    reasons: tuple[Reason, ...]

    @property
    def form(self) -> str:
        """The shape in words."""
        return self.shape.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Product:
    """A sealant of the step: `seams` are the grams of its seams, `total` those and what is called out; None where one isn't known.

    `factor` is how many grams one stock unit is, 1 where that isn't known. `mixed` are the grams that were mixed for a step not done.
    """

    item: int
    code: str
    name: str
    gravity: Decimal | None
    base: Decimal | None
    accelerator: Decimal | None
    factor: Fraction
    seams: Decimal
    total: Decimal | None
    faults: tuple[str, ...]
    reasons: tuple[Reason, ...]
    calibration: Calibration | None
    mixed: Decimal = Decimal(0)

    @property
    def to_mix(self) -> Decimal | None:
        """What of the total is still to be mixed; None where that isn't known."""
        return None if self.total is None else max(self.total - self.mixed, Decimal(0))

    @property
    def ratio(self) -> tuple[Decimal, Decimal] | None:
        """Base and accelerator by weight; None where either isn't known."""
        return (self.base, self.accelerator) if self.base and self.accelerator else None

    @property
    def own(self) -> str:
        """The workshop's own figure beside the formula's; blank without one."""
        return calibration_text(self.seams, self.calibration) if self.calibration and self.seams else ""

    @property
    def own_reasons(self) -> tuple[Reason, ...]:
        """How it was come by."""
        return calibration_reasons(self.seams, self.calibration) if self.calibration and self.seams else ()


@dataclass(frozen=True, slots=True)
class StepSheet:
    """All of it. `on` is the day that stock was looked at for; `mixed` are the batches that were mixed for the step."""

    step: Step
    on: date
    needs: tuple[NeedLine, ...]
    rows: tuple[RowLine, ...]
    checks: tuple[Check, ...]
    tools: tuple[Tool, ...]
    dies: tuple[Die, ...]
    seams: tuple[SeamLine, ...]
    products: tuple[Product, ...]
    mixed: tuple[MixRow, ...]
    cautions: bool

    @property
    def bars(self) -> tuple[Bar, ...]:
        """One bar for each length, the shortest first."""
        return tuple(sorted({row.bar for row in self.rows if row.bar}, key=lambda bar: (bar.length, bar.diameter)))

    @property
    def clecos(self) -> tuple[ClecoLine, ...]:
        """Those of all rows."""
        return tuple(cleco for row in self.rows for cleco in row.clecos)

    @property
    def colours(self) -> bool:
        """Whether any cleco's size has a usual colour."""
        return any(cleco.colour for cleco in self.clecos)


def sheet_on(step: Step, day: date, known: Reading | None = None) -> StepSheet:
    """What a step takes of what can serve on a day; of one that is done, what it needed.

    Twenty-four queries at most; eleven where what hangs on it is `known` already.
    """
    found = known or read([step.pk])
    return _sheet(step, day, found, None if step.done else queries.proposals(step, on=day, known=found))


def _sheet(step: Step, on: date, known: Reading, proposals: Sequence[Proposal] | None) -> StepSheet:
    """With the lots that `proposals` found; without any, as a record of what it needed."""
    needed = [(one.item, list(one.line.needs)) for one in proposals] if proposals is not None else queries.needed(step, on=on, known=known)
    hangs = known.hanging.of([step.pk])
    kinds = Item.objects.in_bulk([item.id for item, _ in needed])
    rows = _driven(_rows(hangs.rows, kinds), needed, kinds)
    seams, mixes = _seams(hangs.seams), mixed_for(step.pk)
    lines = tuple(_open_line(one, on) for one in proposals) if proposals is not None else tuple(_line(*one) for one in needed)
    return StepSheet(
        step=step,
        on=on,
        needs=lines,
        rows=tuple(_row(one, step.project.bench.workshop.rivet_rounding) for one in rows),
        checks=_checks(rows),
        tools=tools_for((one.rivet, None) for one in rows if one.rivet),
        dies=_dies(rows, {line.item for line in lines}),
        seams=tuple(seam for seam, _ in seams),
        products=_products(needed, kinds, seams, {} if step.done else _grams_mixed(step, mixes)),
        mixed=mixes,
        cautions=any(item.kind in DYING for item in kinds.values()) or bool(seams),
    )


def _rows(rows: Iterable[RivetRow], items: Mapping[int, Item]) -> list[RivetRow]:
    """The rows as they stand in the plans, with the other codes of all that may be driven. One query at most."""
    found = sorted(rows, key=lambda row: (row.position, row.pk))
    if found:
        prefetch_related_objects([*items.values(), *(row.rivet for row in found)], "identifiers")
    return found


@dataclass(frozen=True, slots=True)
class _Driven:
    """A row with the rivet that is driven in it, which an accepted substitution may have changed, and what of it the row needs."""

    row: RivetRow
    item: Item
    need: Need | None
    rivet: Rivet | None

    @property
    def diameter(self) -> Fraction | None:
        """Of what is driven, in inches."""
        return rivet_diameter(self.item)


def _driven(rows: Iterable[RivetRow], needed: Iterable[tuple[ItemFacts, Iterable[Need]]], items: Mapping[int, Item]) -> list[_Driven]:
    by_source = {need.source: (items[item.id], need) for item, needs in needed if not item.returned for need in needs}
    found = []
    for row in rows:
        item, need = by_source.get(f"row {row.code}", (row.rivet, None))
        found.append(_Driven(row, item, need, called_out(item)))
    return found


def _line(item: ItemFacts, needs: Iterable[Need]) -> NeedLine:
    kept = list(needs)
    total = sum((need.quantity for need in kept), Decimal(0))
    reasons = tuple(_need_reason(item, need) for need in kept)
    return NeedLine(item.code, item.name, item.unit, total, Decimal(0), item.returned, (), reasons)


def _open_line(proposal: Proposal, on: date) -> NeedLine:
    item, line = proposal.item, proposal.line
    lies = tuple(f"{choice.lot_code or 'no lot code'} in {choice.path}" for choice in proposal.choices if choice.proposed)
    reasons = (*(_need_reason(item, need) for need in line.needs), *_stock_reasons(proposal, on))
    mixed = sum((need.mixed for need in line.needs), Decimal(0))
    return NeedLine(item.code, item.name, item.unit, line.needed, line.short, item.returned, lies, reasons, mixed)


def _need_reason(item: ItemFacts, need: Need) -> Reason:
    note = f": {need.note}" if need.note else ""
    return Reason(f"{plain(need.quantity)} {item.unit}{note}", need.source)


def _stock_reasons(proposal: Proposal, on: date) -> Iterator[Reason]:
    """The lots proposed, what doesn't count, what is short."""
    unit = proposal.item.unit
    for choice in proposal.choices:
        if choice.proposed:
            text = f"{plain(choice.proposed)} of {plain(choice.there)} {unit} from {choice.lot_code or 'no lot code'} in {choice.path}"
            yield Reason(text, choice.until)
    for reason, supply, quantity in proposal.line.blocked:
        yield Reason(f"{name(supply)}: {plain(quantity)} {unit} don't count, {WORDS[reason]}", f"{reason.value}, as recorded")
    if proposal.line.short:
        yield Reason(f"{plain(proposal.line.short)} {unit} short: nothing more is on hand that can serve on {on}", RULE)


def _row(one: _Driven, policy: str) -> RowLine:
    row = one.row
    reckoned, question, reasons = _reckoned(row, policy)
    return RowLine(
        id=row.pk,
        code=row.code,
        rivet=one.item.code,
        name=one.item.name,
        instead_of=row.rivet.code if one.item.pk != row.rivet_id else "",
        holes=row.holes,
        quantity=one.need.quantity if one.need else Decimal(row.holes),
        note=one.need.note if one.need else "",
        grip=row.grip,
        reckoned=reckoned,
        question=question,
        bar=Bar(one.rivet.length, one.rivet.diameter) if one.rivet else None,
        clecos=() if row.cleco is None else (_clecos(row, row.cleco),),
        reasons=reasons,
    )


def _reckoned(row: RivetRow, policy: str) -> tuple[Fraction | None, str, tuple[Reason, ...]]:
    """The length by grip, and the question where it isn't what is called out: never a correction."""
    rivet = called_out(row.rivet)
    if rivet is None:
        return None, "", (Reason(f"the code {row.rivet.code} doesn't tell a length: nothing is reckoned", "the catalogue"),)
    if row.grip is None:
        return None, "", (Reason("no grip is given: the call-out stands unchecked", "the plans"),)
    try:
        length = rivet_length(row.grip, rivet.diameter, policy)
        question = call_out_question(rivet, row.grip, policy)
    except ValueError as error:
        return None, str(error), ()
    agreed = Reason("the call-out of the plans is as long", "the plans; they win over what is reckoned")
    return length, question or "", (*length_reasons(row.grip, rivet.diameter, policy), *(() if question else (agreed,)))


def _checks(rows: Iterable[_Driven]) -> tuple[Check, ...]:
    diameters = {one.diameter for one in rows if one.diameter}
    return tuple(Check(diameter, check_figures(diameter)) for diameter in sorted(diameters))


def _dies(rows: Iterable[_Driven], needed: Collection[str]) -> tuple[Die, ...]:
    """The tools of the catalogue that are of the size of a rivet in these rows."""
    diameters = [str(one.diameter) for one in rows if one.diameter]
    found = Item.objects.filter(kind=Kind.TOOL, diameter__in=diameters).order_by("code")
    return tuple(Die(item.code, item.name, item.diameter, item.code in needed) for item in found)


def _clecos(row: RivetRow, cleco: Item) -> ClecoLine:
    every = row.cleco_every or 1
    count = clecos_for_row(row.holes, every)
    colour = cleco_colour(cleco.diameter) if cleco.diameter else None
    until = row.clecos_until.code if row.clecos_until else ""
    text = f"{count} clecos in {row.holes} holes: one in {every}, the ends filled"
    reasons = (Reason(text, "the row's spacing in the plans"), Reason(_off(until), "the row in the plans"))
    return ClecoLine(row.code, cleco.code, cleco.name, colour or "", count, every, until, reasons)


def _off(until: str) -> str:
    return f"they stay until {until}" if until else "they come off with this step"


def _seams(seams: Iterable[Seam]) -> list[tuple[SeamLine, Item]]:
    found = sorted(seams, key=lambda seam: (seam.position, seam.pk))
    return [(_seam(seam), seam.sealant) for seam in found]


def _seam(seam: Seam) -> SeamLine:
    try:
        found = grams(seam, seam.sealant.gravity)
    except (ValueError, Problem) as error:
        return SeamLine(seam.pk, seam.code, seam.sealant_id, seam.sealant.code, seam.shape, None, str(error), ())
    return SeamLine(seam.pk, seam.code, seam.sealant_id, seam.sealant.code, seam.shape, found.grams, "", found.reasons)


def _products(
    needed: Iterable[tuple[ItemFacts, Iterable[Need]]],
    kinds: Mapping[int, Item],
    seams: Sequence[tuple[SeamLine, Item]],
    mixed: Mapping[int, Decimal],
) -> tuple[Product, ...]:
    """The sealants of seams and call-outs, by code."""
    items = {item.pk: item for item in (*kinds.values(), *(item for _, item in seams)) if item.kind == Kind.SEALANT}
    called = {item.id: need for item, needs in needed for need in needs if item.id in items and need.source == CALL_OUT}
    own = calibrations(sorted(items))
    found = [_product(item, [seam for seam, _ in seams if seam.sealant == pk], called.get(pk), own.get(pk)) for pk, item in items.items()]
    return tuple(sorted((_less_mixed(product, mixed) for product in found), key=lambda product: product.code))


def _grams_mixed(step: Step, mixes: Iterable[MixRow]) -> dict[int, Decimal]:
    """What was mixed for the step, by product."""
    found: dict[int, Decimal] = {}
    for mix in mixes:
        found[mix.item_id] = found.get(mix.item_id, Decimal(0)) + mix.of(step.pk)
    return found


def _less_mixed(product: Product, mixed: Mapping[int, Decimal]) -> Product:
    if not (grams := mixed.get(product.item)):
        return product
    reason = Reason(f"{plain(grams)} {GRAM} of it are mixed", "the batches that were mixed for this step")
    return replace(product, mixed=grams, reasons=(*product.reasons, reason))


def _product(item: Item, seams: Sequence[SeamLine], called: Need | None, own: Calibration | None) -> Product:
    summed = sum((seam.grams for seam in seams if seam.grams is not None), Decimal(0))
    faults = [f"seam {seam.code}: {seam.fault}" for seam in seams if seam.grams is None]
    total, reasons = summed, [Reason(f"seam {seam.code}: {seam.grams} g", "its geometry") for seam in seams if seam.grams is not None]
    factor = in_grams(item.unit)
    stated = None if called is None else called.quantity + called.mixed
    if stated is not None and factor is None:
        faults.append(f"{plain(stated)} {item.unit} are called out: how many grams that is isn't known")
    elif stated is not None and factor is not None:
        total += rounded(Fraction(stated) * factor)
        reasons.append(Reason(f"{plain(stated)} {item.unit} as the plans say", CALL_OUT))
    reasons.append(Reason(f"{plain(total)} {GRAM} in all", ARITHMETIC))
    return Product(
        item=item.pk,
        code=item.code,
        name=item.name,
        gravity=item.gravity,
        base=item.base,
        accelerator=item.accelerator,
        factor=factor or Fraction(1),
        seams=summed,
        total=None if faults else total,
        faults=tuple(faults),
        reasons=tuple(reasons),
        calibration=own,
    )
