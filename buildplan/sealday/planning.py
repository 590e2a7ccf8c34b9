"""A bench's seal days planned one after the other from the same shelf, so that no gram is promised twice.

For each sealant: what other steps take before a day is drawn first, as netting does; then the day's batches, each from one lot where it
can be; then what lies between it and the next day. What was mixed already is needed no more. Nothing here reads the database.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction

from django.utils import timezone

from buildplan.records.mixing import BatchLine, Given, ProductPlan, plan_product
from buildplan.records.queries import Usable
from buildplan.records.sheet import Product
from buildplan.sealday.calc import Presence, cured, presence, share_out
from buildplan.sealday.dayview import BatchLot, PlannedBatch, ProductDay, Share
from buildplan.sealday.models import SealDay
from buildplan.sealday.reading import Facts, Lying
from buildplan.sealday.shelf import Shelf
from buildplan.sealday.wanted import NOTHING, Wanted, wanted_on
from buildplan.shortfall.calc import ItemFacts, Served, Stock
from buildplan.shortfall.trace import name
from inventory.common.exact import thousandths
from inventory.common.fields import plain
from inventory.common.reasons import ARITHMETIC, Reason
from inventory.models import Item

SHEET = "the product's data sheet, as entered"
ORDER = "needs in time order; the bench's seal days one after the other"


@dataclass(frozen=True, slots=True)
class Planned:
    """A day's plan: who is there, and its sealants in the order in which its steps first need them, batches numbered through."""

    day: SealDay
    there: Presence
    products: tuple[ProductDay, ...]
    wanted: Mapping[int, Wanted]


def plan_days(facts: Facts) -> dict[int, Planned]:
    """Every day of `facts`, by id. Of one that is over only what was mixed is told."""
    there = {day.pk: presence((one.comes, one.goes) for one in facts.people.get(day.pk, ())) for day in facts.days}
    found = {day.pk: wanted_on(facts, day) for day in facts.days}
    by_item = {item: dict(_item_days(facts, item, found, there)) for item in facts.items}
    return {
        day.pk: Planned(day, there[day.pk], _in_order([by_item[item][day.pk] for item in found[day.pk]], facts, day), found[day.pk])
        for day in facts.days
    }


# From which lots


def _item_days(
    facts: Facts, item: int, wanted: Mapping[int, Mapping[int, Wanted]], there: Mapping[int, Presence]
) -> Iterator[tuple[int, ProductDay]]:
    """The sealant on each day that has it, one after the other from the same stocks."""
    shelf = Shelf(facts, facts.items[item], [row.step_id for day in facts.days if day.open for row in facts.steps.get(day.pk, ())])
    for day in facts.days:
        if (found := wanted[day.pk].get(item)) is not None:
            yield day.pk, _product_day(facts, day, there[day.pk], shelf, found)


def _product_day(facts: Facts, day: SealDay, there: Presence, shelf: Shelf, wanted: Wanted) -> ProductDay:
    steps = [need.step_id for need in wanted.needs]
    others = shelf.draw_before(day.on, shelf.first_order(steps)) if day.open else []
    usable = shelf.usable(steps, day.on) if day.open else {}
    plan = _plan(facts, day, there, shelf, wanted, usable)
    batches = _batches(facts, plan, shelf, wanted, usable)
    if day.open and not plan.batches:
        shelf.draw_steps(wanted, day.on)
    for batch in plan.batches:
        for label, taken in batch.lots:
            shelf.take(usable[label][0], taken, steps)
    data = facts.data.get((day.pk, shelf.item.pk))
    cured_at, cure = _cure(facts, day, there, shelf.item, wanted)
    return ProductDay(
        item_id=shelf.item.pk,
        code=shelf.item.code,
        name=shelf.item.name,
        needed=wanted.grams,
        mixed=sum((facts.mixed.get((step, shelf.item.pk), NOTHING) for step in steps), NOTHING),
        life_hours=data.life_hours if data else None,
        cure_hours=data.cure_hours if data else None,
        work_life_hours=plan.life.hours if plan.life else None,
        most=plan.most,
        faults=plan.faults,
        stopped=plan.stopped,
        short=plan.short,
        exact=plan.exact,
        batches=batches,
        cured_at=cured_at,
        why=(*wanted.reasons, *_others(others, shelf.netted), *plan.why, *_two_places(facts, batches), *cure),
    )


def _plan(  # noqa: PLR0913 - private: what a plan is made from
    facts: Facts, day: SealDay, there: Presence, shelf: Shelf, wanted: Wanted, usable: Mapping[str, tuple[Stock, Decimal]]
) -> ProductPlan:
    item = shelf.item
    data = facts.data.get((day.pk, item.pk))
    left = wanted.left if day.open else NOTHING
    product = Product(
        item=item.pk,
        code=item.code,
        name=item.name,
        gravity=item.gravity,
        base=item.base,
        accelerator=item.accelerator,
        factor=shelf.factor,
        seams=NOTHING,
        total=None if wanted.faults or not left else left,
        faults=wanted.faults,
        reasons=(),
        calibration=None,
    )
    lots = [Usable(item.pk, label, quantity, stock.serves_until) for label, (stock, quantity) in usable.items()]
    lives = {item.code: data.life_hours} if data and data.life_hours is not None else {}
    given = Given(day.on, there.hands or None, _decimal(day.pace), day.temperature_f, _decimal(day.division), lives, there.hours or None)
    return plan_product(product, given, lots)


def _decimal(value: Fraction | None) -> Decimal | None:
    """A figure of a day, which the service keeps to thousandths."""
    return None if value is None else thousandths(int(value * 1000)).normalize() + 0


# Batches


def _batches(
    facts: Facts, plan: ProductPlan, shelf: Shelf, wanted: Wanted, usable: Mapping[str, tuple[Stock, Decimal]]
) -> tuple[PlannedBatch, ...]:
    """The batches, those of the oldest lots first, with what each step gets of each. They are numbered later."""
    ages = {label: (stock.serves_until, label) for label, (stock, _) in usable.items()}
    lines = sorted(plan.batches, key=lambda line: min(ages[label] for label, _ in line.lots))
    shares = share_out([line.grams for line in lines], [(need.step_id, need.left) for need in wanted.needs])
    codes = {need.step_id: need.code for need in wanted.needs}
    return tuple(
        PlannedBatch(
            number=0,
            item_id=shelf.item.pk,
            product=shelf.item.code,
            grams=line.grams,
            base=line.mix.base if line.mix else None,
            accelerator=line.mix.accelerator if line.mix else None,
            error=line.mix.error if line.mix else "",
            refused=line.mix.refused if line.mix else "",
            lots=_lots(facts, line, shelf, usable),
            shares=tuple(Share(step, codes[step], taken) for step, taken in shared),
            reasons=line.mix.reasons if line.mix else (),
        )
        for line, shared in zip(lines, shares, strict=True)
    )


def _lots(facts: Facts, line: BatchLine, shelf: Shelf, usable: Mapping[str, tuple[Stock, Decimal]]) -> tuple[BatchLot, ...]:
    found = []
    for label, taken in line.lots:
        supply = usable[label][0].supply
        lying: Sequence[Lying] = facts.lying.get(supply.key, ())
        places = tuple((one.place_id, one.path, shelf.grams(one.quantity)) for one in lying)
        found.append(BatchLot(supply.key if supply.on_hand else None, label, places, taken))
    return tuple(found)


def _in_order(products: Sequence[ProductDay], facts: Facts, day: SealDay) -> tuple[ProductDay, ...]:
    """Number the batches through: what was mixed comes first, then by the first step that a batch is for, as the plan has it."""
    rank = {row.step_id: at for at, row in enumerate(facts.steps.get(day.pk, ()))}
    keyed = [(rank[batch.shares[0].step_id], of, at) for of, product in enumerate(products) for at, batch in enumerate(product.batches)]
    mixed = len(facts.mixes.get(day.pk, ()))
    numbers = {(of, at): mixed + number for number, (_, of, at) in enumerate(sorted(keyed), start=1)}
    return tuple(
        replace(product, batches=tuple(replace(batch, number=numbers[of, at]) for at, batch in enumerate(product.batches)))
        for of, product in enumerate(products)
    )


def _others(drawn: Iterable[Served], item: ItemFacts) -> Iterator[Reason]:
    for need, supply, quantity in drawn:
        yield Reason(f"{need.label} takes {plain(quantity)} {item.unit} of {name(supply)} on {need.day}, before this day", ORDER)


def _two_places(facts: Facts, batches: Iterable[PlannedBatch]) -> Iterator[Reason]:
    """Which of several places a lot is taken from first, and why."""
    lots = {lot.lot_id: lot for batch in batches for lot in batch.lots if lot.lot_id is not None and len(lot.places) > 1}
    for pk, lot in lots.items():
        first, *rest = facts.lying[pk]
        for other in rest:
            if other.warm and not first.warm:
                text = (
                    f"{lot.label} lies in {len(rest) + 1} places: take it from {first.path}, since in {other.path} it lay at {other.warm}"
                )
                yield Reason(text, "the temperature log, against the product's storage rule")


# Cure


def day_end(day: SealDay, there: Presence) -> datetime:
    """When the last of them goes, by the workshop's clock; midnight where nobody has said."""
    zone = timezone.get_current_timezone()
    if there.last is None:
        return datetime.combine(day.on, time.min, tzinfo=zone) + timedelta(days=1)
    return datetime.combine(day.on, there.last, tzinfo=zone)


def day_start(day: SealDay, there: Presence) -> datetime:
    """When the first of them comes; midnight where nobody has said."""
    return datetime.combine(day.on, there.first or time.min, tzinfo=timezone.get_current_timezone())


def _cure(facts: Facts, day: SealDay, there: Presence, item: Item, wanted: Wanted) -> tuple[datetime | None, tuple[Reason, ...]]:
    """When the last batch of a sealant is cured: of what is to be mixed, as if that were in the day's last hour."""
    data = facts.data.get((day.pk, item.pk))
    mixed = [mix.mixed_at for mix in facts.mixes.get(day.pk, ()) if mix.item_id == item.pk and mix.taken_back_at is None]
    to_come = [day_end(day, there)] if _seals_unseen(facts, day, wanted, mixed) else []
    if not mixed and not to_come:
        return None, ()
    if data is None or data.cure_hours is None:
        return None, (Reason(f"how long {item.code} cures isn't entered: what waits for it isn't known", SHEET),)
    last = max([*mixed, *to_come])
    at = cured(last, data.cure_hours)
    what = "the day's last hour" if last in to_come else "the last batch"
    text = f"cured {_moment(at)} = {what} {_moment(last)} + {float(data.cure_hours):g} h"
    return at.astimezone(UTC), (Reason(text, f"{SHEET}; {ARITHMETIC}"),)


def _seals_unseen(facts: Facts, day: SealDay, wanted: Wanted, mixed: Sequence[datetime]) -> bool:
    """Whether sealant of the day is to be mixed still, or was placed without a batch on record: it may be as late as the day's end."""
    if day.open and (wanted.left or wanted.faults):
        return True
    done = {row.step_id for row in facts.steps.get(day.pk, ()) if row.step.done}
    return day.called_off_at is None and not mixed and any(need.step_id in done for need in wanted.needs)


def _moment(at: datetime) -> str:
    return f"{timezone.localtime(at):%Y-%m-%d %H:%M}"


@dataclass(frozen=True, slots=True)
class Cured:
    """When a sealant of a day is cured, and the steps it was for. `planned`: some of it is still to be mixed."""

    day: SealDay
    item: Item
    at: datetime
    planned: bool
    steps: tuple[int, ...]
    trace: tuple[Reason, ...]


def cures(facts: Facts) -> Iterator[Cured]:
    """The sealants of all days of `facts` whose cure is known, the earliest day first. They are those of `plan_days`."""
    for day in facts.days:
        there = presence((one.comes, one.goes) for one in facts.people.get(day.pk, ()))
        for item, wanted in wanted_on(facts, day).items():
            at, trace = _cure(facts, day, there, facts.items[item], wanted)
            if at is not None:
                planned = day.open and bool(wanted.left or wanted.faults)
                yield Cured(day, facts.items[item], at, planned, tuple(need.step_id for need in wanted.needs), trace)
