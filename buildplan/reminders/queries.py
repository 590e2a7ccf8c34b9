"""What a workshop is to be reminded of: the reads behind the page, the feed, the mail and the API."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import MAXYEAR, date, timedelta
from typing import Any

from django.db.models import Count, Q
from django.urls import reverse

from buildplan.plan.models import Project
from buildplan.reminders import calc
from buildplan.reminders.calc import ClaimDue, CrateDue, Facts, LotDue, OrderDue, Reminder
from buildplan.shortfall.calc import Line
from buildplan.shortfall.queries import shortfall_of
from inventory.claims.queries import Clock, clocks
from inventory.models import Crate, Item
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


def due(*, today: date, days: int) -> Due:
    """What is due in the workshop in scope within `days`, and what is overdue. At most 24 queries, however many projects."""
    through = min(today, FOREVER - timedelta(days=days)) + timedelta(days=days)
    facts = _facts(today, through)
    return Due(today, days, calc.reminders(facts, through=through), calc.undated(facts))


def _facts(today: date, through: date) -> Facts:
    wanted = list(Item.objects.values_list("pk", flat=True))
    touched = shortfall_of(wanted, before=None, as_of=today)
    orders = tuple(_order(project, line) for project, found in touched.found for line in found.short)
    claims = tuple(_claim(clock) for clock in clocks(today))
    lots = tuple(_lot(one) for one in expiries(before=through))
    return Facts(claims, orders, tuple(_crates()), lots, touched.left_out)


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
