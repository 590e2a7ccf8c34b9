"""What a workshop is to be reminded of: the reads behind the page, the feed, the mail and the API."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import MAXYEAR, date, timedelta
from typing import Any

from django.db.models import Count, Q
from django.urls import reverse
from django.utils import timezone

from buildplan.plan.models import Project
from buildplan.reminders import calc
from buildplan.reminders.calc import (
    BookingDue,
    ClaimDue,
    CrateDue,
    CureDue,
    Facts,
    Lacking,
    LoanDue,
    LotDue,
    OrderDue,
    Reminder,
    SealDayDue,
)
from buildplan.sealday.reading import NearDays, near_days
from buildplan.sealday.watched import Watched, watched
from buildplan.shortfall.calc import NOTHING, Line
from buildplan.shortfall.pins import stretches
from buildplan.shortfall.queries import Touched, items, shortfall_of
from buildplan.trace.notices import still_to_look_at
from inventory.claims.queries import Clock, clocks
from inventory.models import Crate, Member
from inventory.pool import queries as pool
from inventory.pool.models import PoolRules
from inventory.shelflife.queries import Expiry, expiries

MOST_DAYS = 366
FOREVER = date(MAXYEAR, 1, 1)


@dataclass(frozen=True, slots=True)
class Due:
    """What is due from a day on, for some days; all that is overdue is part of it. `undated` says what has no day."""

    as_of: date
    days: int
    reminders: tuple[Reminder, ...]
    undated: tuple[str, ...]

    @property
    def to_do(self) -> tuple[Reminder, ...]:
        """What somebody can still do something about."""
        return calc.to_do(self.reminders, self.as_of)


def due(*, today: date, days: int, member: Member, known: NearDays | None = None, projects: Sequence[Project] | None = None) -> Due:
    """What a member is told to be due within `days`, and overdue: all that is their workshop's, and their own loans and bookings.

    `known` are the seal days and `projects` all of the workshop's, where the page has read them already.
    """
    return due_of([member.pk], today=today, days=days, known=known, projects=projects)[member.pk]


def due_of(
    members: Collection[int], *, today: date, days: int, known: NearDays | None = None, projects: Sequence[Project] | None = None
) -> dict[int, Due]:
    """`due` of several members of the workshop in scope. At most 40 queries, however many of them, of projects and of seal days."""
    through = min(today, FOREVER - timedelta(days=days)) + timedelta(days=days)
    facts = _facts(today, through, known or near_days(today), projects)
    return {member: _due(facts.own(member), today, days, through) for member in members}


def _due(facts: Facts, today: date, days: int, through: date) -> Due:
    return Due(today, days, calc.reminders(facts, through=through), calc.undated(facts))


def _facts(today: date, through: date, sealed: NearDays, projects: Sequence[Project] | None) -> Facts:
    touched = shortfall_of(items(), before=None, as_of=today, projects=projects)
    orders = tuple(_order(project, line) for project, found in touched.found for line in found.short)
    claims = tuple(_claim(clock) for clock in clocks(today))
    lots = tuple(_lot(one) for one in expiries(before=through))
    days = watched(sealed, through)
    return Facts(
        claims=claims,
        orders=orders,
        crates=tuple(_crates()),
        lots=lots,
        left_out=touched.left_out,
        seal_days=tuple(_seal_day(day, touched, today) for day in days if day.open),
        cures=tuple(one for day in days for one in _cures(day, today)),
        loans=tuple(_loans()),
        bookings=tuple(_bookings(today, through)),
        to_look_at=still_to_look_at(),
    )


def _claim(clock: Clock) -> ClaimDue:
    fault, label = (clock.fault.value, str(clock.fault.label)) if clock.fault else ("", "")
    link = reverse("crate-claims", args=[clock.crate_id])
    named = (clock.crate_id, clock.crate, fault, label, clock.against)
    return ClaimDue(*named, clock.last_day, clock.open, clock.drafts, clock.source, link)


def _order(project: Project, line: Line) -> OrderDue:
    return OrderDue(
        project_id=project.pk,
        project=project.code,
        item=line.item.code,
        unit=line.item.unit,
        short=line.short,
        buy=line.buy,
        first_short=line.first_short,
        lead_days=line.item.lead_days,
        receiving_days=line.receiving_days,
        not_before=line.not_before,
        day=line.order_by,
        link=reverse("order-sheet", args=[project.code]),
    )


def _lot(one: Expiry) -> LotDue:
    held = one.held
    named = (held.lot_id, held.lot, held.item, held.unit, held.quantity, held.place, held.state)
    return LotDue(*named, one.last_usable_day, one.trace, reverse("lot", args=[held.lot_id]))


def _crates() -> Iterator[CrateDue]:
    """The crates on their way: not arrived, and not all taken in already. One query."""
    counted = Crate.objects.filter(arrived_on=None, closed_on=None)
    counted = counted.annotate(all_lines=Count("lines"), open_lines=Count("lines", filter=Q(lines__open_quantity__gt=0)))
    rows: Iterable[tuple[Any, ...]] = counted.filter(Q(open_lines__gt=0) | Q(all_lines=0)).values_list(
        "pk", "code", "bench__code", "open_lines", "due_on"
    )
    for pk, code, bench, lines, due_on in rows:
        yield CrateDue(pk, code, bench, lines, due_on, reverse("crate", args=[pk]))


def _seal_day(day: Watched, touched: Touched, today: date) -> SealDayDue:
    lacking = tuple(one for project, netted in touched.found for line in netted.short for one in _lacking(day, project, line))
    unknown = tuple(fault for fault in touched.left_out if any(f" of {step}, " in fault for step in day.steps))
    link = reverse("seal-day", args=[day.id])
    return SealDayDue(day.id, day.bench, day.on, day.on < today, day.steps, lacking, link, unknown)


def _lacking(day: Watched, project: Project, line: Line) -> Iterator[Lacking]:
    """What the day's steps, and those before them, go short of, as the day's own page has it."""
    if line.item.returned:
        over = [one for one in stretches(line) if one.first <= day.on and any(holder.step in day.to_do for holder in one.holders)]
        short = max((one.lacking for one in over), default=NOTHING)
        named = [holder.label for one in over for holder in one.holders if holder.step in day.to_do]
    else:
        missing = [(need, quantity) for need, quantity in line.missing if need.step in day.to_do]
        short = sum((quantity for _, quantity in missing), NOTHING)
        named = [need.label for need, _ in missing]
    if short:
        yield Lacking(project.code, line.item.code, line.item.unit, short, tuple(dict.fromkeys(named)))


def _cures(day: Watched, today: date) -> Iterator[CureDue]:
    """Those still to come: what is cured is no news."""
    for one in day.cures:
        at = timezone.localtime(one.at)
        if at.date() >= today:
            named = (day.id, day.bench, one.item_id, one.item)
            yield CureDue(*named, at, at.date(), one.planned, one.frees, one.trace, reverse("seal-day", args=[day.id]))


def _loans() -> Iterator[LoanDue]:
    """What members have out. Three queries."""
    rules = PoolRules.objects.first() or PoolRules()
    for out in pool.loans():
        named = (out.id, out.member_id, out.item, out.unit, out.open)
        yield LoanDue(*named, out.due_on, rules.remind_days, out.trace, reverse("loan", args=[out.id]))


def _bookings(today: date, through: date) -> Iterator[BookingDue]:
    """What is promised and not fetched, save for what begins later. Four queries at most."""
    for one in pool.bookings(first=today, last=through):
        if not one.waiting:
            named = (one.id, one.member_id, one.item, one.unit, one.quantity)
            yield BookingDue(*named, one.first_day, one.last_day, one.trace, reverse("my-pool"))
