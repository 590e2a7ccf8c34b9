"""What is shown of a seal day: one dataclass for each thing. `queries` fills them."""

from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction

from buildplan.records.mixing import SupplyLine
from buildplan.sealday.models import SealDay
from buildplan.shortfall.calc import Line
from inventory.common.reasons import Reason


@dataclass(frozen=True, slots=True)
class Person:
    """Who is there, from when to when. `member_id` is None of a guest."""

    id: int
    name: str
    member_id: int | None
    comes: time
    goes: time
    hours: Fraction


@dataclass(frozen=True, slots=True)
class StepOnDay:
    """A step of the day. `waits_for` are the steps not done that it comes after, those of this day left out.

    `carried_to` and `reason` say to which day closing put it off.
    """

    id: int
    step_id: int
    project: str
    code: str
    title: str
    minutes: int | None
    done: bool
    planned_on: date | None
    waits_for: tuple[str, ...]
    carried_to: date | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class BatchLot:
    """What a batch takes of one lot, and where that lies: place, path, grams there. `lot_id` is None where it is still on its way."""

    lot_id: int | None
    label: str
    places: tuple[tuple[int, str, Decimal], ...]
    grams: Decimal


@dataclass(frozen=True, slots=True)
class Share:
    """What of a batch is for one step."""

    step_id: int
    code: str
    grams: Decimal


@dataclass(frozen=True, slots=True)
class PlannedBatch:
    """A batch to mix. `base` and `accelerator` are None where the ratio isn't known; `error` is the scale's on the smaller part in percent.

    `refused` says why this scale can't mix as little.
    """

    number: int
    item_id: int
    product: str
    grams: Decimal
    base: Decimal | None
    accelerator: Decimal | None
    error: str
    refused: str
    lots: tuple[BatchLot, ...]
    shares: tuple[Share, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class MixedBatch:
    """A batch that was mixed on the day. `lots` say what it took of which.

    `warnings` say what is wrong with it: metal too cold or too hot, a ratio that isn't the product's. `off` is the trace of the ratio.
    """

    mix_id: int
    number: int
    item_id: int
    product: str
    base: Decimal
    accelerator: Decimal
    grams: Decimal
    lots: tuple[str, ...]
    shares: tuple[Share, ...]
    mixed_at: datetime
    mixed_by: str
    temperature_f: Fraction | None
    work_until: datetime | None
    left: Decimal | None
    ended_at: datetime | None
    taken_back_at: datetime | None
    note: str = ""
    stopped: bool = False
    warnings: tuple[Reason, ...] = ()
    off: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class ProductDay:
    """A sealant over all the day's steps, in grams. `needed` is what their seams and call-outs take, `mixed` what was mixed for them.

    `life_hours` (at 77 F) and `cure_hours` are the data sheet's as entered, `work_life_hours` those at the day's temperature; `most` is
    the largest batch that the people present place within it. `faults` say why nothing is planned, `stopped` that the temperature
    forbids it; `short` is what no lot holds; `exact` where no other choice of lots does better.
    """

    item_id: int
    code: str
    name: str
    needed: Decimal
    mixed: Decimal
    life_hours: Fraction | None
    cure_hours: Fraction | None
    work_life_hours: float | None
    most: Decimal | None
    faults: tuple[str, ...]
    stopped: bool
    short: Decimal
    exact: bool
    batches: tuple[PlannedBatch, ...]
    cured_at: datetime | None
    why: tuple[Reason, ...]

    @property
    def open(self) -> Decimal:
        """What is still to be mixed: in batches, or short."""
        return sum((batch.grams for batch in self.batches), self.short)


@dataclass(frozen=True, slots=True)
class HeldClecos:
    """The clecos that a row of the day holds. `until` is the step that frees them, its own where the plan names none."""

    item: str
    count: int
    step: str
    row: str
    until: str
    until_day: date | None


@dataclass(frozen=True, slots=True)
class Blocked:
    """A step that comes after one of the day and is planned before that is cured."""

    project: str
    code: str
    title: str
    planned_on: date
    free_from: date
    text: str


@dataclass(frozen=True, slots=True)
class Missing:
    """What the day, or a step that must be done before it, is short of by the project's netting. `late`: its order-by day is past.

    `own`: it is a step of the day itself that goes short.
    """

    project: str
    line: Line
    late: bool
    own: bool


@dataclass(frozen=True, slots=True)
class CheckLine:
    """A line of the list to be through with the night before. `key` names one that the plan gives; `id` is None until it is ticked."""

    id: int | None
    key: str
    text: str
    ticked_by: str | None
    ticked_at: datetime | None
    source: str = ""


@dataclass(frozen=True, slots=True)
class DayView:
    """A seal day with all that follows from it. `hands` are the fewest present at once while anybody is there, `hours` how long that is.

    `minutes` is what the steps not done take together, as far as the plan says.
    """

    day: SealDay
    people: tuple[Person, ...]
    hands: int
    hours: Fraction
    minutes: int
    steps: tuple[StepOnDay, ...]
    products: tuple[ProductDay, ...]
    mixed: tuple[MixedBatch, ...]
    supplies: tuple[SupplyLine, ...]
    clecos: tuple[HeldClecos, ...]
    blocked: tuple[Blocked, ...]
    missing: tuple[Missing, ...]
    checks: tuple[CheckLine, ...]
    faults: tuple[str, ...]
    trace: tuple[Reason, ...]

    @property
    def batches(self) -> tuple[PlannedBatch, ...]:
        """All that are still to be mixed, in the order to mix."""
        return tuple(sorted((batch for product in self.products for batch in product.batches), key=lambda batch: batch.number))


@dataclass(frozen=True, slots=True)
class DayRow:
    """A seal day as the list shows it. `mixed` counts its batches; `state` is open, closed or called off; `past`: open, and over."""

    id: int
    on: date
    bench: str
    steps: tuple[str, ...]
    people: int
    mixed: int
    state: str
    held: bool
    past: bool
    note: str


@dataclass(frozen=True, slots=True)
class StepChoice:
    """A step that a seal day may be for: not done, of one bench. `seals`: it has seams or a sealant called out.

    `day_id` is the open seal day that it is in already.
    """

    id: int
    project: str
    code: str
    title: str
    planned_on: date | None
    seals: bool
    day_id: int | None
