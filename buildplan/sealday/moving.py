"""Moving seal days, and what waits for them, to other dates; and a look at what that would change, which changes nothing."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import transaction

from buildplan.plan.calc import too_far
from buildplan.plan.models import Project, Step, StepAfter
from buildplan.plan.services import set_planned
from buildplan.sealday.calc import reachable
from buildplan.sealday.dayview import DayView
from buildplan.sealday.holding import hold_anew, release_held
from buildplan.sealday.models import DayMix, DayStep, SealDay
from buildplan.sealday.problems import BadDay, BatchesMixed, DayOver, DayTaken
from buildplan.sealday.queries import view
from buildplan.shortfall.calc import Line, Why
from buildplan.shortfall.pins import Pins, stretches, when
from buildplan.shortfall.queries import shortfall
from buildplan.shortfall.trace import name
from inventory.common.fields import plain
from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.models import Member
from inventory.workshop import policy

NONE = "none"


@dataclass(frozen=True, slots=True)
class Change:
    """What a move changes: `what` it is about, as it stands now, and as it would stand."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Moved:
    """A look at a move: the days as they are, as they would be, and what differs."""

    before: tuple[DayView, ...]
    after: tuple[DayView, ...]
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class _Move:
    """What a move takes along: the days, and with `later` the steps that come after and are in none of them."""

    days: tuple[SealDay, ...]
    later: tuple[Step, ...]
    shift: timedelta


@transaction.atomic
def move(*, days: Sequence[SealDay], to: date, later: bool, by: Member, today: date, now: datetime) -> tuple[SealDay, ...]:  # noqa: ARG001, PLR0913 - as the look takes it
    """Move the first of `days` to another date and the others by as many days; with `later` all undone planned steps after them too.

    A later step that is in another open seal day takes that whole day along. Steps not done are planned anew; lots that were held are
    held anew. Gives back every day that moved. Refused: a day that is over or has batches mixed, a date that is past or taken.
    """
    found = _move(_locked(days, by), to, later=later)
    _refuse(found, today)
    held = [day for day in found.days if day.held]
    for day in held:
        release_held(day=day, by=by)
    for day in sorted(found.days, key=lambda day: day.on, reverse=found.shift > timedelta(0)):
        day.on += found.shift
        changed_by(day, by).save(update_fields=["on"])
        for row in day.steps.select_related("step__project__bench").exclude(step__planned_on=day.on).filter(step__done=False):
            set_planned(step=row.step, planned_on=day.on, by=by)
    for step in found.later:
        set_planned(step=step, planned_on=(step.planned_on or to) + found.shift, by=by)
    for day in sorted(held, key=lambda day: day.on):
        hold_anew(day=day, by=by)
    return found.days


def _locked(days: Sequence[SealDay], by: Member) -> list[SealDay]:
    """The days as they are now, in the order given, held until the transaction ends."""
    policy.own(by, *days)
    rows = SealDay.objects.select_for_update(of=("self",)).select_related("bench").filter(pk__in=[day.pk for day in days])
    found = {row.pk: row for row in rows.order_by("pk")}
    for day in found.values():
        policy.require(by, "plan", day.bench)
        if not day.open:
            raise DayOver(f"the seal day of {day.on} is {'closed' if day.closed_at else 'called off'}: it changes no more")
    if not found:
        raise BadDay("no seal day is named: say which to move")
    return [found[pk] for pk in dict.fromkeys(day.pk for day in days)]


def _move(days: Sequence[SealDay], to: date, *, later: bool) -> _Move:
    shift = to - days[0].on
    if not later:
        return _Move(tuple(days), (), shift)
    benches = {day.bench_id for day in days}
    rows = DayStep.objects.filter(day__closed_at=None, day__called_off_at=None, step__done=False, day__bench__in=benches)
    of_day: dict[int, set[int]] = defaultdict(set)
    for day, step in rows.values_list("day_id", "step_id"):
        of_day[day].add(step)
    going = {day.pk for day in days}
    behind = _behind(benches)
    while True:
        after = reachable([step for day in going for step in of_day[day]], behind)
        more = {day for day, steps in of_day.items() if steps & after} - going
        if not more:
            break
        going |= more
    along = SealDay.objects.select_for_update(of=("self",)).select_related("bench").filter(pk__in=going - {day.pk for day in days})
    inside = {step for day in going for step in of_day[day]}
    steps = Step.objects.select_related("project__bench").filter(pk__in=after - inside, done=False).exclude(planned_on=None)
    return _Move((*days, *along.order_by("on", "pk")), tuple(steps.order_by("pk")), shift)


def _behind(benches: Collection[int]) -> dict[int, set[int]]:
    """Who comes after each step of these benches' projects. One query."""
    behind: dict[int, set[int]] = defaultdict(set)
    for step, after in StepAfter.objects.filter(step__project__bench__in=benches).values_list("step_id", "after_id"):
        behind[after].add(step)
    return behind


def _refuse(found: _Move, today: date) -> None:
    if not found.shift:
        raise BadDay(f"it is on {found.days[0].on} already: name another day")
    try:
        dates = {day.pk: day.on + found.shift for day in found.days}
        steps = {step.code: step.planned_on + found.shift for step in found.later if step.planned_on}
    except OverflowError as error:
        raise BadDay("that leaves the calendar: name an earlier day") from error
    if past := [day for day in [*dates.values(), *steps.values()] if day < today]:
        raise BadDay(f"that would plan for {min(past)}, which is past: name a day from {today} on")
    if why := too_far(max([*dates.values(), *steps.values()]), today):
        raise BadDay(why)
    _refuse_taken(found.days, dates)
    if mixed := DayMix.objects.filter(day__in=dates, mix__taken_back_at=None).select_related("day").first():
        raise BatchesMixed(f"batches were mixed on {mixed.day.on}: close that day and carry over what isn't done")


def _refuse_taken(days: Iterable[SealDay], dates: Mapping[int, date]) -> None:
    for day in days:
        others = SealDay.objects.filter(bench_id=day.bench_id, on=dates[day.pk], called_off_at=None).exclude(pk__in=dates)
        if others.exists():
            raise DayTaken(f"bench {day.bench.code} has a seal day on {dates[day.pk]} already: name another day")


# A look


def try_move(*, days: Sequence[SealDay], to: date, later: bool, by: Member, today: date, now: datetime) -> Moved:  # noqa: PLR0913 - what a move takes
    """What `move` would do, with the days as they are and as they would be. It is really done and rolled back: the two can't differ."""
    with transaction.atomic():
        going = _move(_locked(days, by), to, later=later)
        was = _Seen(going, today, now)
        move(days=days, to=to, later=later, by=by, today=today, now=now)
        is_now = _Seen(going, today, now)
        transaction.set_rollback(True)
    return Moved(was.views, is_now.views, tuple(_changes(was, is_now)))


class _Seen:
    """The days of a move and what their projects are short of, at one moment."""

    def __init__(self, going: _Move, today: date, now: datetime) -> None:
        self.views = tuple(view(day, today=today, now=now) for day in going.days)
        self.later = {step.code: step for step in Step.objects.filter(pk__in=[step.pk for step in going.later]).order_by("position")}
        self.lines = dict(_lines({row.project for one in self.views for row in one.steps}, today))


def _lines(codes: Collection[str], today: date) -> Iterator[tuple[tuple[str, str], Line]]:
    """What the order sheet of each project says of its whole plan, by project and item."""
    for project in Project.objects.select_related("bench__workshop").filter(code__in=codes).order_by("code"):
        try:
            found = shortfall([project], before=None, as_of=today)
        except Problem:  # the day's own page says so
            continue
        yield from (((project.code, line.item.code), line) for line in found.lines)


def _changes(was: _Seen, now: _Seen) -> Iterator[Change]:
    for one, other in zip(was.views, now.views, strict=True):
        yield Change(f"seal day of {', '.join(step.code for step in one.steps)}", f"{one.day.on}", f"{other.day.on}")
    for code, step in was.later.items():
        yield Change(f"{code} {step.title}", f"{step.planned_on}", f"{now.later[code].planned_on}")
    for what, tell in (("short of", _short), ("pins:", _lacking), ("dead:", _dead)):
        yield from _differing(what, tell, was, now)
    for one, other in zip(was.views, now.views, strict=True):
        codes = ", ".join(step.code for step in one.steps)
        for said, told in (("lots for", _lots), ("blocked by", _blocked), ("to look at in", _faults)):
            if (before := told(one)) != (after := told(other)):
                yield Change(f"{said} {codes}", before, after)


def _differing(what: str, tell: Callable[[Line], str], was: _Seen, now: _Seen) -> Iterator[Change]:
    for key in sorted(was.lines.keys() | now.lines.keys()):
        before, after = (tell(seen.lines[key]) if key in seen.lines else NONE for seen in (was, now))
        if before != after:
            yield Change(f"{what} {key[1]} ({key[0]})", before, after)


def _short(line: Line) -> str:
    """A shortage with its window."""
    if line.item.returned or not line.short:
        return NONE
    order = f"order by {line.order_by}" if line.order_by else "no lead time known"
    window = f", not before {line.not_before}" if line.not_before else ""
    empty = ", no day does both" if line.not_before and line.order_by and line.not_before > line.order_by else ""
    return f"{plain(line.short)} {line.item.unit}, first on {line.first_short}; {order}{window}{empty}"


def _lacking(line: Line) -> str:
    if not line.item.returned:
        return NONE
    over = Pins(line, stretches(line)).over
    return "; ".join(f"{plain(stretch.lacking)} lacking {when(stretch)}" for stretch in over) or NONE


def _dead(line: Line) -> str:
    """What is left of lots that end before the last need."""
    found = [f"{plain(quantity)} {line.item.unit} of {name(supply)}" for reason, supply, quantity in line.blocked if reason is Why.EXPIRED]
    return ", ".join(found) or NONE


def _lots(seen: DayView) -> str:
    taken: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for batch in seen.batches:
        for lot in batch.lots:
            taken[batch.product, lot.label] += lot.grams
    return "; ".join(f"{plain(grams)} g of {product} {label}" for (product, label), grams in taken.items()) or NONE


def _blocked(seen: DayView) -> str:
    return "; ".join(f"{one.code}: {one.text}" for one in seen.blocked) or NONE


def _faults(seen: DayView) -> str:
    of_products = (f"{product.code}: {fault}" for product in seen.products for fault in product.faults)
    return "; ".join([*seen.faults, *of_products]) or NONE
