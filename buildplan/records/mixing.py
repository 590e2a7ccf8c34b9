"""A step's sealant weighed out: batches that the people present can place, each with base and accelerator, and what it uses up."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from buildplan.records import queries
from buildplan.records.queries import Usable
from buildplan.records.sheet import NOT_KNOWN, Product, StepSheet
from buildplan.records.used import GRAM
from buildplan.sealing import supplies
from buildplan.sealing.calc import (
    MOST_ERROR_PERCENT,
    OURS,
    Batch,
    DayPlan,
    LotLeft,
    WorkLife,
    largest_batch,
    mix_reasons,
    plan_day,
    scale_error_percent,
    smallest_batch,
    split,
    work_life,
)
from buildplan.shortfall.reading import Reading
from inventory.common.exact import decimal_text
from inventory.common.fields import plain
from inventory.common.reasons import Reason

_SHEET = "the product's data sheet, as entered"


@dataclass(frozen=True, slots=True)
class Given:
    """What a person says of a day: None and absent is not said. `lives` are hours at 77 F by product code.

    `hours` is how long anybody is there; not said, no work life ends sooner by it.
    """

    day: date
    people: int | None = None
    pace: Decimal | None = None
    temperature_f: Fraction | None = None
    division: Decimal | None = None
    lives: Mapping[str, Decimal | Fraction] | None = None
    hours: Fraction | None = None

    def missing(self, code: str) -> tuple[str, ...]:
        """What batches of a product still ask for."""
        asked = {
            "how many people": self.people,
            "the grams that one of them places in an hour": self.pace,
            "the temperature": self.temperature_f,
            f"the work life of {code}": (self.lives or {}).get(code),
        }
        return tuple(words for words, value in asked.items() if value is None)


@dataclass(frozen=True, slots=True)
class Mix:
    """Grams weighed out. `error` is what the scale makes of the smaller part, in percent either way, where its division is known.

    `refused` says why this scale can't mix as little.
    """

    grams: Decimal
    base: Decimal
    accelerator: Decimal
    error: str
    refused: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One batch; `mix` is None where the ratio isn't known. `lots` says what to take of which."""

    number: int
    grams: Decimal
    lots: tuple[tuple[str, Decimal], ...]
    mix: Mix | None


@dataclass(frozen=True, slots=True)
class SupplyLine:
    """What the batches use up of one thing: in one, and in all."""

    name: str
    each: Decimal
    total: Decimal
    unit: str


@dataclass(frozen=True, slots=True)
class ProductPlan:
    """A product's mix in all, and its batches on the day. `faults` say why there are none; `stopped` that the temperature forbids it."""

    product: Product
    mix: Mix | None
    smallest: Decimal | None
    life: WorkLife | None
    most: Decimal | None
    batches: tuple[BatchLine, ...]
    short: Decimal
    exact: bool
    stopped: bool
    faults: tuple[str, ...]
    reasons: tuple[Reason, ...]

    @property
    def why(self) -> tuple[Reason, ...]:
        """The reasons of the mix, of the work life and of the batches."""
        return (*(self.mix.reasons if self.mix else ()), *(self.life.reasons if self.life else ()), *self.reasons)


@dataclass(frozen=True, slots=True)
class SealingPlan:
    """All products of a step, in the order mixed, and the supplies of all their batches."""

    given: Given
    products: tuple[ProductPlan, ...]
    supplies: tuple[SupplyLine, ...]

    @property
    def batches(self) -> int:
        """How many in all."""
        return sum(len(product.batches) for product in self.products)

    @property
    def batched(self) -> frozenset[str]:
        """The codes of the products that are split into batches: their lots are said there."""
        return frozenset(plan.product.code for plan in self.products if plan.batches)


def plan_sealing(sheet: StepSheet, given: Given, known: Reading | None = None) -> SealingPlan:
    """Weigh out and split every product of a step; of one that is done what it needed, without batches.

    Eight queries; one where what hangs on the step is `known` already.
    """
    batched = bool(sheet.products) and not sheet.step.done
    lots = queries.usable(sheet.step, [product.item for product in sheet.products], on=given.day, known=known) if batched else ()
    plans = tuple(_plan(product, given.division) for product in sheet.products)
    if batched:
        plans = tuple(_with_batches(one, given, [lot for lot in lots if lot.item == one.product.item]) for one in plans)
    count = sum(len(one.batches) for one in plans)
    used = tuple(SupplyLine(one.name, one.quantity, one.quantity * count, one.unit) for one in supplies.listed())
    return SealingPlan(given, plans, used)


def plan_product(product: Product, given: Given, lots: Sequence[Usable]) -> ProductPlan:
    """Weigh out and split one product, from these lots of it."""
    return _with_batches(_plan(product, given.division), given, lots)


def _plan(product: Product, division: Decimal | None) -> ProductPlan:
    mix, smallest, faults = None, None, list(product.faults)
    if product.ratio is None:
        faults.append(f"base : accelerator of {product.code} {NOT_KNOWN}; a product of one part has none")
    else:
        smallest = smallest_batch(*product.ratio, division, MOST_ERROR_PERCENT) if division else None
        mix = _mix(product, product.to_mix, division, smallest) if product.to_mix else None
    return ProductPlan(product, mix, smallest, None, None, (), Decimal(0), exact=True, stopped=False, faults=tuple(faults), reasons=())


def _mix(product: Product, total: Decimal, division: Decimal | None, smallest: Decimal | None) -> Mix | None:
    if product.ratio is None:
        return None
    base, accelerator = split(total, *product.ratio)
    small = min(base, accelerator)
    ratio = f"{plain(product.ratio[0])} : {plain(product.ratio[1])}"
    if division is None:
        reasons: tuple[Reason, ...] = (Reason(f"{base} g base + {accelerator} g accelerator, {ratio} by weight", _SHEET),)
        return Mix(total, base, accelerator, "", "", reasons)
    error = f"{decimal_text(scale_error_percent(small, division), 1)}" if small else "over 100"
    refused = _refused(division, error, smallest) if smallest is not None and total < smallest else ""
    limit = Reason(f"a part may be off by {MOST_ERROR_PERCENT} %: from {smallest} g on this scale is within it", OURS)
    return Mix(total, base, accelerator, error, refused, (*mix_reasons(total, *product.ratio, division), limit))


def _refused(division: Decimal, error: str, smallest: Decimal) -> str:
    return (
        f"too little for a scale of {plain(division)} g: its smaller part would be off by {error} %, over {MOST_ERROR_PERCENT} %; "
        f"this scale mixes {plain(smallest)} g or more"
    )


def _with_batches(empty: ProductPlan, given: Given, lots: Sequence[Usable]) -> ProductPlan:
    product = empty.product
    if not product.to_mix:
        return empty
    if missing := given.missing(product.code):
        return replace(empty, faults=(*empty.faults, f"for batches say {' and '.join(missing)}"))
    life = _life(given, product.code)
    if life.hours is None:
        return replace(empty, life=life, stopped=True)
    try:
        return _batched(replace(empty, life=life), given, _exactly(given, product.code, life.hours), lots)
    except ValueError as error:
        return replace(empty, life=life, faults=(*empty.faults, str(error).partition(": ")[2] or str(error)))


def _life(given: Given, code: str) -> WorkLife:
    hours = (given.lives or {})[code]
    return work_life(float(hours), float(given.temperature_f or 0))


def _exactly(given: Given, code: str, hours: float) -> float | Decimal | Fraction:
    """The hours as they were entered where the temperature doesn't change them: a sixth of one is no binary fraction."""
    entered = (given.lives or {})[code]
    return entered if float(entered) == hours else hours


def _batched(empty: ProductPlan, given: Given, hours: float | Decimal | Fraction, lots: Sequence[Usable]) -> ProductPlan:
    product, placing = empty.product, _placing(given, hours)
    most = largest_batch(given.people or 0, given.pace or 0, placing)
    if empty.smallest is not None and most < empty.smallest:
        span = "one work life" if placing == hours else "the time they are there"
        text = f"the people present place {plain(most)} g in {span}, and this scale mixes no less than {plain(empty.smallest)} g"
        return replace(empty, most=most, faults=(*empty.faults, f"{text}: take a finer scale, or more hands"))
    held = [LotLeft(lot.label, Fraction(lot.quantity) * product.factor, lot.serves_until) for lot in lots]
    day = plan_day(product.to_mix or 0, given.day, most, held, least=empty.smallest or 0)
    batches = tuple(_batch(at, batch, empty, given) for at, batch in enumerate(day.batches, start=1))
    return replace(empty, most=most, batches=batches, short=day.short, exact=day.exact, reasons=_reasons(given, hours, most, day))


def _placing(given: Given, hours: float | Decimal | Fraction) -> float | Decimal | Fraction:
    """How long one batch is placed: its work life, or as long as anybody is there where that is shorter."""
    return given.hours if given.hours and given.hours < hours else hours


def _batch(number: int, batch: Batch, plan: ProductPlan, given: Given) -> BatchLine:
    lots = tuple((part.lot, part.grams) for part in batch.parts)
    return BatchLine(number, batch.grams, lots, _mix(plan.product, batch.grams, given.division, plan.smallest))


def _reasons(given: Given, hours: float | Decimal | Fraction, most: Decimal, day: DayPlan) -> tuple[Reason, ...]:
    hands = "1 person places" if given.people == 1 else f"{given.people} people place"
    placing = _placing(given, hours)
    text = f"{hands} {plain(given.pace or Decimal(0))} g an hour each, {float(placing):.3f} h: {plain(most)} {GRAM} at most in one batch"
    if placing == hours:
        return (Reason(text, "as entered, and the work life"), *day.reasons)
    shorter = f"its work life is {float(hours):.3f} h, and somebody is there for {float(placing):.3f} h: the shorter counts"
    return (Reason(shorter, "the people's hours, as entered"), Reason(text, "as entered, and the hours they are there"), *day.reasons)
