"""From what was read to what the rule asks of each item: what is there, what comes, who has it. Reads nothing."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from buildplan.shortfall.calc import Line, Need, Stock, Supply, Why
from buildplan.shortfall.trace import WORDS, name, served_by
from buildplan.tonight.calc import Gain, Held, Promised, Wanted
from buildplan.tonight.desk import NOTHING, Desk, needed, on_hand
from buildplan.tonight.lies import pool_of
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.models import Bench
from inventory.pool.queries import Out


def wanted(desk: Desk, bench: Bench, item: int, needs: Sequence[Need]) -> Wanted:
    """What a step takes of an item, and what of it is there today."""
    supplies = desk.supplies(bench, item)
    line = desk.line(bench, item, needs, on_hand(supplies))
    return _returned(desk, bench, line, supplies) if line.item.returned else _used_up(desk, bench, line, supplies)


def _used_up(desk: Desk, bench: Bench, line: Line, supplies: Sequence[Supply]) -> Wanted:
    return Wanted(
        code=line.item.code,
        unit=line.item.unit,
        returned=False,
        needed=line.needed,
        there=line.usable,
        gains=tuple(_coming(desk, bench, line, supplies)) if line.short else (),
        spare=tuple(_spare(line)),
        served=tuple(Reason(f"{line.item.code}: {one.text}", one.source) for one in served_by(line, line.served)),
        lead_days=line.item.lead_days,
        receiving_days=line.receiving_days,
    )


def _coming(desk: Desk, bench: Bench, line: Line, supplies: Sequence[Supply]) -> Iterator[Gain]:
    """What netting has more of on each day on which a crate is due, today of one that is here; less, where a lot dies meanwhile."""
    before = line.usable
    days = {supply.key: supply.ready or desk.today for supply in supplies if _due(supply)}
    for day in sorted(set(days.values())):
        then = desk.line(bench, line.item.id, [need._replace(day=day) for need in line.needs], supplies)
        due = [supply for supply in supplies if days.get(supply.key) == day]
        have = then.usable + then.in_transit
        yield Gain(_crates(due, day), day, have - before)
        before = have
    yield from _undated(supplies, line)


def _due(supply: Supply) -> bool:
    """Whether a crate brings some of it on a day that somebody knows, or has brought it."""
    return bool(supply.crate) and supply.blocked is None and supply.quantity > 0


def _crates(due: Sequence[Supply], day: date) -> str:
    here = dict.fromkeys(supply.crate for supply in due if _is_here(supply))
    coming = [supply for supply in due if not _is_here(supply)]
    codes = ", ".join(dict.fromkeys(supply.crate for supply in coming))
    late = "is overdue" if any("overdue" in supply.where for supply in coming) else f"is due on {day}"
    said = [f"{', '.join(here)} is here, to be counted and put away" if here else "", f"{codes} {late}" if codes else ""]
    return "; ".join(part for part in said if part)


def _is_here(supply: Supply) -> bool:
    return supply.told is not None or not supply.coming


def _undated(supplies: Iterable[Supply], line: Line) -> Iterator[Gain]:
    for supply in supplies:
        if supply.blocked is Why.LATE:
            text = f"{plain(supply.quantity)} {line.item.unit} are on their way in {supply.crate}, without a due day"
            yield Gain(text, None, supply.quantity)


def _spare(line: Line) -> Iterator[Reason]:
    for why, supply, quantity in line.blocked:
        yield Reason(f"{name(supply)}: {plain(quantity)} {line.item.unit} don't count, {WORDS[why]}", f"{why.value}, as recorded")


# What comes back


def _returned(desk: Desk, bench: Bench, line: Line, supplies: Sequence[Supply]) -> Wanted:
    item = line.item.id
    there = [supply for supply in on_hand(supplies) if supply.blocked is None and _serves(line, supply, desk.today)]
    booked = desk.booked(bench, item)
    held = desk.wants.held.get((bench.pk, item), ())
    return Wanted(
        code=line.item.code,
        unit=line.item.unit,
        returned=True,
        needed=needed(line.needs),
        there=sum((supply.quantity for supply in there), NOTHING),
        pool=pool_of(desk, item) if booked else NOTHING,
        gains=(*_crates_of(desk, supplies), *_undated(supplies, line), *_back(desk, bench, item)),
        booked=tuple(Promised(one.member, one.quantity, one.first_day, one.last_day) for one in booked),
        held=tuple(_held(need) for need in held),
        spare=tuple(_spare(line)),
        lead_days=line.item.lead_days,
        receiving_days=line.receiving_days,
    )


def _serves(line: Line, supply: Supply, day: date) -> bool:
    return Stock(supply, line.item.rule.min_life_days).serves(day)


def _held(need: Need) -> Held:
    return Held(need.rule, need.quantity, None if need.until in {None, date.max} else need.until)


def _crates_of(desk: Desk, supplies: Iterable[Supply]) -> Iterator[Gain]:
    for supply in supplies:
        if _due(supply):
            day = supply.ready or desk.today
            yield Gain(_crates([supply], day), day, supply.quantity)


def _back(desk: Desk, bench: Bench, item: int) -> Iterator[Gain]:
    for out in desk.loans(bench, item, to_us=False):
        pool = out.open if out.owner in desk.shelves.shared else NOTHING
        due = out.due_on if out.due_on is not None and out.due_on >= desk.today else None
        yield Gain(_said_of(out, due), due, out.open, pool)


def _said_of(out: Out, due: date | None) -> str:
    has = f"{plain(out.open)} are lent to {out.member}"
    if due is not None:
        return f"{has}, due back on {due}"
    return f"{has}, overdue since {out.due_on}" if out.due_on else f"{has} without a day"
