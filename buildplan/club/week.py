"""The page Club: who has what, what is promised, what is waited for, and the week of the pool. A fixed number of queries."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from buildplan.club.days import within
from buildplan.club.queries import step_days
from buildplan.plan.models import Step
from inventory.pool import calc
from inventory.pool import queries as pool
from inventory.pool.calc import Day
from inventory.pool.queries import Out, Promise

DAYS = 7
ONE_DAY = timedelta(days=1)
AHEAD = timedelta(days=60)  # how far ahead promises are listed: ours


@dataclass(frozen=True, slots=True)
class Row:
    """Something of the pool over the week: the counted pieces of an item, or one single thing (`serial`, `lot_id`)."""

    item_id: int
    code: str
    name: str
    unit: str
    thing_id: int | None
    serial: str
    days: tuple[Day, ...]

    @property
    def label(self) -> str:
        """What people call it."""
        return f"{self.code} {self.serial}".strip()


@dataclass(frozen=True, slots=True)
class Work:
    """What is planned on a day: how many steps of each project."""

    day: date
    steps: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days of the pool, and what is planned on each."""

    first: date
    today: date
    rows: tuple[Row, ...]
    work: tuple[Work, ...]

    @property
    def last(self) -> date:
        """Its last day."""
        return self.first + (DAYS - 1) * ONE_DAY

    @property
    def days(self) -> tuple[date, ...]:
        """Its days."""
        return tuple(self.first + at * ONE_DAY for at in range(DAYS))


@dataclass(frozen=True, slots=True)
class Club:
    """All of the page."""

    week: Week
    out: tuple[Out, ...]
    promised: tuple[Promise, ...]
    waiting: tuple[Promise, ...]


def week(first: date, *, today: date) -> Week:
    """Seven days from a day on. Seven queries."""
    days = [first + at * ONE_DAY for at in range(DAYS)]
    return Week(first, today, tuple(_rows(days, today)), _work(days, today))


def club(first: date, *, today: date) -> Club:
    """Everything on the page; promises and wishes are those of the two months to come. Twelve queries."""
    found = week(first, today=today)
    asked = pool.bookings(first=today, last=max(today + AHEAD, found.last))
    promised = tuple(one for one in asked if not one.waiting)
    return Club(found, tuple(pool.loans()), promised, tuple(one for one in asked if one.waiting))


def _rows(days: Sequence[date], today: date) -> list[Row]:
    items = pool.pool_items()
    pots = pool.pots([item.pk for item in items], today=today)
    rows = []
    for item in items:
        for pot in pots[item.pk]:
            on = tuple(calc.days(pot.there, pot.spans, days[0], days[-1]))
            rows.append(Row(item.pk, item.code, item.name, item.unit, pot.thing, pot.name, on))
    return rows


def _work(days: Sequence[date], today: date) -> tuple[Work, ...]:
    """Steps by the day on which they count, as demand has it. Three queries."""
    found, _ = step_days(days[-1])
    here = within(found, days[0], days[-1], today)
    counted: dict[date, Counter[str]] = defaultdict(Counter)
    for step, code in Step.objects.filter(pk__in=here, done=False).order_by("project__code").values_list("id", "project__code"):
        counted[max(found[step].day, today)][code] += 1
    return tuple(Work(day, tuple(counted[day].items())) for day in days)
