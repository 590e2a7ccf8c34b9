"""The club of the demo: its members, what is lent and promised, what shared material costs, and a Saturday that both projects want."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid5

from django.utils import timezone

from buildplan.club.services import set_unit_cost
from buildplan.plan.models import Step
from buildplan.plan.services import set_people, set_planned
from inventory.models import Bench, Item, Lot, Member, Workshop
from inventory.pool import services as pool
from inventory.stock.models import End
from inventory.workshop.memberships import set_holders
from inventory.workshop.services import set_member, set_password

PEOPLE = (
    ("ruth", "Ruth Sluice", "storekeeper", None),
    ("wren", "Wren of Tern", "builder", "TERN"),
    ("joss", "Joss of Tern", "builder", "TERN"),
    ("ida", "Ida of Plover", "builder", "PLOVER"),
    ("amos", "Amos Reed", "inspector", None),
)
SATURDAY, SOONEST = 5, 5  # the contested day: the first Saturday that is at least so many days off
CONTESTED = (("TERN-1", "W2-01"), ("PLOVER-1", "W1-01"))
PAIRS = (("TERN-1", "W1-01"), ("TERN-1", "W2-01"), ("PLOVER-1", "T1-03"))  # steps that take two: one drives, one bucks
RULES: dict[str, Any] = {"longest_days": 28, "renewals": 2, "book_ahead_days": 120, "remind_days": 2, "currency": "EUR"}
COSTS = {
    "SEAL-B2": "0.21",
    "SEAL-A2": "0.24",
    "SEAL-QC": "0.3",
    "PRIMER-EP-B": "0.085",
    "CONV-COAT": "0.04",
    "MEK": "0.012",
    "MS20426AD3-4": "0.035",
    "AN960-10": "0.06",
    "GLOVE-NIT": "0.18",
}  # for one stock unit, as invented as the lots; what isn't named has none
SINCE = timedelta(days=90)
NAMES = UUID("5a17a125-0000-4000-8000-000000000000")  # keys of loans and bookings are made from it, so that making them again makes none


def saturday(today: date) -> date:
    """The contested day of a demo that was loaded on `today`."""
    soonest = today + timedelta(days=SOONEST)
    return soonest + timedelta(days=(SATURDAY - soonest.weekday()) % 7)


def make_club(*, workshop: Workshop, keeper: Member, password: str, today: date) -> None:
    """Six members with the keeper, what they have and were promised, and the Saturday. All sign in with the demo's password."""
    people = _people(workshop, keeper, password)
    pool.set_rules(workshop=workshop, by=keeper, **RULES)
    _singles(keeper, today)
    _lend_and_book(people, keeper, today)
    for code, amount in COSTS.items():
        set_unit_cost(item=Item.objects.get(code=code), since=today - SINCE, amount=Decimal(amount), by=keeper)
    for project, code in PAIRS:
        set_people(step=Step.objects.select_related("project__bench").get(project__code=project, code=code), people=2, by=keeper)
    for project, code in CONTESTED:
        step = Step.objects.select_related("project__bench").get(project__code=project, code=code)
        set_planned(step=step, planned_on=saturday(today), by=keeper)


def _people(workshop: Workshop, keeper: Member, password: str) -> dict[str, Member]:
    found: dict[str, Member] = {}
    for name, called, role, _ in PEOPLE:
        found[name], _made = set_member(email=f"{name}@saltmarsh.example", workshop=workshop, name=called, role=role, by=keeper)
        user = found[name].user
        if user is not None:
            set_password(user=user, password=password)
    for code in ("TERN", "PLOVER"):
        theirs = [found[name] for name, _, _, bench in PEOPLE if bench == code]
        set_holders(bench=Bench.objects.get(code=code), members=theirs, by=keeper)
    return found


def _singles(by: Member, today: date) -> None:
    """The squeezer and the torque wrench of the pool, each with its number."""
    pool.add_thing(lot=_lot("SQUEEZER-PNEU"), serial="SQ-0007", condition="yoke reground", by=by, today=today)
    calibrated = {"calibrated_on": today - timedelta(days=200), "calibrated_until": today + timedelta(days=165)}
    pool.add_thing(lot=_lot("TORQUE-IN"), serial="TQ-4412", condition="as new", **calibrated, by=by, today=today)


def _lend_and_book(people: Mapping[str, Member], keeper: Member, today: date) -> None:
    """Four clecos and a cage are out; the wrench is promised, and waited for."""
    now = timezone.make_aware(datetime.combine(today, time(9)))
    plover, tern = (Bench.objects.get(code=code) for code in ("PLOVER", "TERN"))
    for code, quantity, who, bench, days in (("CLECO-6", 4, "ida", plover, 6), ("CSINK-CAGE", 1, "joss", tern, 13)):
        lot = _lot(code)
        pool.lend(
            lot=lot,
            place=lot.holdings.filter(quantity__gt=0, place__end=End.STORAGE).select_related("place").earliest("pk").place,
            quantity=Decimal(quantity),
            member=people[who],
            bench=bench,
            on=today,
            due_on=today + timedelta(days=days),
            key=_key(code),
            by=keeper,
            now=now,
        )
    for who, bench, first, last in (("joss", tern, 14, 16), ("ida", plover, 15, 15)):
        pool.book(
            item=Item.objects.get(code="TORQUE-IN"),
            quantity=Decimal(1),
            first_day=today + timedelta(days=first),
            last_day=today + timedelta(days=last),
            member=people[who],
            bench=bench,
            wait=who == "ida",
            key=_key(f"wrench {who}"),
            by=people[who],
            today=today,
            now=now,
        )


def _lot(code: str) -> Lot:
    return Lot.objects.select_related("item", "bench").get(item__code=code, bench__code="POOL")


def _key(what: str) -> UUID:
    return uuid5(NAMES, what)
