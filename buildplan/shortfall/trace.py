"""The reasons behind a line of the order sheet. Pure; made only where somebody asks."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal

from buildplan.shortfall import buying
from buildplan.shortfall.calc import Line, Need, Served, Supply, Why, back
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.stock.calc import days_to_keep
from inventory.tallying.calc import why_gives

RULE = "needs in time order, first expired first out"
PEAK = "held at once, day by day: things that come back"
CATALOGUE = "the catalogue"

WORDS = {
    Why.QUARANTINED: "quarantined",
    Why.DISPUTED: "disputed with its sender",
    Why.FAILED: "failed its test",
    Why.UNKNOWN_LIFE: "its life is unknown: neither an expiry nor a day of make with a life is recorded",
    Why.EXPIRED: "can't serve until the last need",
    Why.OTHER_BENCH: "good, but another bench's: worth asking for",
    Why.LENT: "lent",
    Why.SET_ASIDE: "set aside for another step",
    Why.LATE: "comes too late, or without a due day",
}


def why(line: Line) -> tuple[Reason, ...]:
    """Every reason of a line, in the order of the computation: needs, lots, counts, what doesn't count, shortage, dates, packs."""
    return (
        *_needs(line),
        *_lots(line),
        *_counted(line),
        *_blocked(line),
        _balance(line),
        *_order_by(line),
        *buying.why(line),
        *_buy(line),
    )


def _amount(quantity: Decimal, line: Line) -> str:
    return f"{plain(quantity)} {line.item.unit}"


def _needs(line: Line) -> Iterator[Reason]:
    return (need_of(line, need) for need in line.needs)


def need_of(line: Line, need: Need) -> Reason:
    """What one step needs of it, and when."""
    until = _held_through(need)
    note = f" ({need.note})" if need.note else ""
    return Reason(f"{need.label} needs {_amount(need.quantity, line)} on {need.day}{until}{note}: {need.rule}", need.source)


def _held_through(need: Need) -> str:
    if need.through == need.day:
        return ""
    return " and on, since the step that frees them has no day" if need.through == date.max else f" through {need.through}"


def served_by(line: Line, served: Iterable[Served]) -> Iterator[Reason]:
    """One reason for each supply that serves some of these, in the order in which they first did."""
    by_supply: dict[int, list[Served]] = defaultdict(list)
    for one in served:
        by_supply[one[1].key].append(one)
    return (_served(line, of_one[0][1], of_one) for of_one in by_supply.values())


def _lots(line: Line) -> Iterator[Reason]:
    yield from served_by(line, line.served)
    if line.item.returned:
        yield Reason(f"{_amount(line.needed, line)} held at once on {line.peak_day}", PEAK)


def _served(line: Line, supply: Supply, served: list[Served]) -> Reason:
    total = sum((quantity for _, _, quantity in served), Decimal(0))
    steps = ", ".join(f"{need.label} ({plain(quantity)})" for need, _, quantity in served)
    ending = supply.ending
    source = ending.source if ending else (supply.note or "no end of life is recorded")
    return Reason(f"{name(supply)} gives {_amount(total, line)} to {steps}{_until(line, supply)}", source)


def _counted(line: Line) -> Iterator[Reason]:
    """What was counted of each packing line that is here, and what it gives by that."""
    told = {(supply.crate, supply.told.line_id): supply.told for supply in line.supplies if supply.told is not None}
    for (crate, _), one in sorted(told.items()):
        found = why_gives(one.gives, line.item.unit)
        yield Reason(f"crate {crate}, line {one.number}: {found.text}", found.source)


def _until(line: Line, supply: Supply) -> str:
    """Until when a supply serves, and which need it thereby misses."""
    if supply.ending is None:
        return ""
    days = days_to_keep(supply.ending, line.item.rule.min_life_days)
    last = back(supply.ending.last_day, days)
    keeps = f" ({days} days of life must be left)" if days else ""
    missed = next((need for need in line.needs if need.day > last), None)
    before = f", before {missed.label} on {missed.day}" if missed else ""
    return f"; it serves until {last}{keeps}{before}"


def name(supply: Supply) -> str:
    """A supply as people know it."""
    lot = f"lot {supply.code}" if supply.code else "stock without a lot code"
    if supply.crate:
        note = f", {supply.note}" if supply.note else ""
        return f"crate {supply.crate} ({supply.where}{note})"
    return f"{lot} in {supply.where}" if supply.where else lot


def _blocked(line: Line) -> Iterator[Reason]:
    for reason, supply, quantity in line.blocked:
        until = _until(line, supply) if reason in {Why.EXPIRED, Why.OTHER_BENCH} else ""
        source = supply.ending.source if until and supply.ending else f"{reason.value}, as recorded"
        yield Reason(f"{name(supply)}: {_amount(quantity, line)} don't count, {WORDS[reason]}{until}", source)


def _balance(line: Line) -> Reason:
    parts = f"needed {plain(line.needed)} - usable {plain(line.usable)} - in transit {plain(line.in_transit)}"
    if not line.short:
        return Reason(f"{parts}: nothing short", PEAK if line.item.returned else RULE)
    rule = PEAK if line.item.returned else RULE
    return Reason(f"{parts} = short {_amount(line.short, line)}, first on {line.first_short}", rule)


def _order_by(line: Line) -> Iterator[Reason]:
    if line.first_short is None:
        return
    if line.order_by is None:
        yield Reason("no order-by day: no lead time is known", f"lead_days of {line.item.code} is blank in {CATALOGUE}")
        return
    days = f"{line.item.lead_days} days lead time - {line.receiving_days} days receiving allowance"
    past = _past(line.order_by, line.as_of)
    yield Reason(
        f"order by {line.order_by} = {line.first_short} - {days}{past}",
        f"lead_days of {CATALOGUE}; the receiving allowance is a setting of the workshop (3 is our starting value)",
    )


def _past(day: date, as_of: date) -> str:
    late = (as_of - day).days
    return f"; that is {late} days past" if late > 0 else ""


def _buy(line: Line) -> Iterator[Reason]:
    if not line.short:
        return
    if line.item.pack is None:
        yield Reason(f"buy {_amount(line.buy, line)}: no pack is known", f"pack of {line.item.code} is blank in {CATALOGUE}")
        return
    pack = _amount(line.item.pack, line)
    yield Reason(f"buy {_amount(line.buy, line)} = {line.packs} {_packs(line)} of {pack}, rounded up", f"pack of {CATALOGUE}")


def _packs(line: Line) -> str:
    return "pack" if line.packs == 1 else "packs"
