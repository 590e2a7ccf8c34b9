"""The invented scenario: loaded from fixtures/ by the same loads that a builder uses."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django_scopes import scope

from buildplan.loading.demo_closeup import make_closeup
from buildplan.loading.demo_club import make_club
from buildplan.loading.demo_cutting import make_cutting
from buildplan.loading.demo_fitting import make_fitting
from buildplan.loading.demo_log import make_log
from buildplan.loading.demo_trace import make_trace
from buildplan.loading.models import LoadedFile
from buildplan.loading.services import Request, load
from buildplan.loading.targets import Named
from buildplan.plan.models import Step
from buildplan.sealday.services import PersonData, plan_seal_day, set_people, set_product
from inventory.catalogue.services import edit_item
from inventory.claims.models import Fault
from inventory.claims.services import save_rule, save_sender, set_sender
from inventory.common.problems import Problem
from inventory.labels.services import ensure_labels
from inventory.models import Bag, Crate, Item, Lot, Member, Place, User, Workshop
from inventory.shelflife.services import save_rule as save_storage
from inventory.stock.models import End
from inventory.workshop.services import hand, issue_device, set_member, set_password

CODE = "SALTMARSH"
PROJECT = "TERN-1"
SEALING = timedelta(days=25)  # the second day of the scenario's sealing weekend, counted from the day it was loaded
CRATE_DUE = timedelta(days=9)
KEEPER = "keeper@saltmarsh.example"
CRATE = "CRATE-7"
SENDER, CARRIER = "Reedling Kit Works", "Fenland Freight"
ORDERED_BEFORE, SHIPPED_BEFORE = timedelta(days=38), timedelta(days=1)
CARRIERS = "an invented club's setting: look yours up in the carrier's conditions"
SENDERS = "an invented club's setting: look yours up in the order"
CLOCKS = (
    (Fault.DAMAGE, 2, "carrier", CARRIERS),
    (Fault.CONCEALED, 5, "carrier", CARRIERS),
    (Fault.SHORTAGE, 10, "sender", SENDERS),
    (Fault.WRONG, 14, "sender", SENDERS),
)
# The sealing weekend: steps of each day, who is there, and what the data sheets say, as invented as the products: hours of work life at
# 77 F, hours until cured.
WEEKEND = ((SEALING - timedelta(days=1), ("F3-04", "F3-05")), (SEALING, ("F3-06", "F3-07", "K1-04", "K1-05")))
HANDS = (("Demo keeper", time(9), time(17)), ("Ida of Plover", time(9), time(17)), ("Jon, a guest", time(10), time(16)))
SHEETS = {"SEAL-B2": ("2", "14"), "SEAL-C24": ("24", "96"), "SEAL-A2": ("2", "14"), "SEAL-QC": ("0.5", "6")}
# How the two-part sealants are stored and what a passed test adds, as invented as the products: not over 27 C, else used within 35 days,
# never under 4.5 C or over 35 C; half the life.
STORED = ("SEAL-A2", "SEAL-B2", "SEAL-B12", "SEAL-C24", "SEAL-QC")
STORED_AT: dict[str, Any] = {"high": Decimal(27), "use_within_days": 35, "never_below": Decimal("4.5"), "never_above": Decimal(35)}
EXTENDED = Fraction(1, 2)
STORED_BY = "an invented data sheet of the demo: look yours up"
METAL_F, PACE, DIVISION = Fraction(72), Fraction(40), Fraction("0.1")


class NotTheDemo(Problem):
    """The database holds somebody's own work."""

    title = "This is no demo database"


@dataclass(frozen=True, slots=True)
class Demo:
    """The scenario as it stands in the database."""

    workshop: Workshop
    loaded_on: date
    fresh: bool

    @property
    def sealing_day(self) -> date:
        """The day by which the sealing weekend's steps are planned."""
        return self.loaded_on + SEALING


@transaction.atomic
def ensure_demo(folder: Path, *, password: str, today: date) -> Demo:
    """The scenario, loaded where it is not there yet: all of it or nothing. A database with workshops of its own is refused."""
    workshop = Workshop.objects.filter(code=CODE).first()
    if workshop is not None:
        return Demo(workshop, _loaded_on(workshop), fresh=False)
    if others := ", ".join(Workshop.objects.order_by("code").values_list("code", flat=True)):
        raise NotTheDemo(f"this database holds work of your own ({others}): give the demo a file of its own with DATABASE_URL")
    load_files(folder, code=CODE, today=today)
    workshop = Workshop.objects.get(code=CODE)
    _name(workshop)
    with scope(workshop=workshop):
        keeper, _ = set_member(email=KEEPER, workshop=workshop, name="Demo keeper", role="owner", by=hand(workshop))
        furnish(keeper, today)
        make_club(workshop=workshop, keeper=keeper, password=password, today=today)
        make_fitting(today=today)
        make_cutting(folder, today=today)
        make_log(today=today)
        make_closeup(today=today)
        make_trace(today=today)
    set_password(user=User.objects.get(email=KEEPER), password=password)
    return Demo(workshop, today, fresh=True)


def load_files(folder: Path, *, code: str, today: date, by: Member | None = None) -> None:
    """Load the files of the scenario into the workshop of a code, which the first of them makes where it is not there."""
    for request in _requests(folder, today, code):
        outcome = load(request, today=today, by=by)
        if outcome.errors:
            raise Problem("\n".join(outcome.errors))


def furnish(by: Member, today: date) -> None:
    """What no file says, and no further people are needed for: it is there in the demo and in the example alike."""
    _send(Crate.objects.get(code=CRATE), by, today)
    _label(by)
    _store(by, today)
    _seal(by, today)


def _send(crate: Crate, by: Member, today: date) -> None:
    """Who sends the crate and how it comes, with their claim clocks: the club's own settings, as invented as the club."""
    sender = save_sender(name=SENDER, address="3 Sluice Lane\nSaltmarsh", email="spares@reedling.example", by=by)
    for fault, days, against, source in CLOCKS:
        save_rule(sender=sender, fault=fault, days=days, against=against, source=source, by=by)
    ordered, shipped = today - ORDERED_BEFORE, today - SHIPPED_BEFORE
    set_sender(crate=crate, sender=sender, order_code="RK-2214", carrier=CARRIER, ordered_on=ordered, shipped_on=shipped, by=by)


def _label(by: Member) -> None:
    """Every place and every bag has its label, as if they had been printed and stuck on."""
    rows: list[Bag | Lot | Place] = [*Place.objects.filter(end=End.STORAGE).order_by("key"), *Bag.objects.order_by("crate", "path")]
    ensure_labels(rows=rows, by=by)


def _store(by: Member, today: date) -> None:
    """How the sealants are stored, and what an update test adds to their lives. Set again it is the same."""
    now = timezone.make_aware(datetime.combine(today, time.min))
    for item in Item.objects.filter(code__in=STORED).order_by("code"):
        edit_item(item=item, changes={"extend_part": EXTENDED}, by=by)
        save_storage(item=item, source=STORED_BY, by=by, now=now, **STORED_AT)


def _seal(by: Member, today: date) -> None:
    """The sealing weekend as its builder planned it."""
    for after, codes in WEEKEND:
        steps = list(Step.objects.filter(project__code=PROJECT, code__in=codes).select_related("project__bench__workshop"))
        said: dict[str, Any] = {"temperature_f": METAL_F, "pace": PACE, "division": DIVISION}
        day = plan_seal_day(bench=steps[0].project.bench, on=today + after, steps=steps, by=by, today=today, **said)
        people = [PersonData(name, comes, goes, member=by if name == by.name else None) for name, comes, goes in HANDS]
        set_people(day=day, people=people, by=by)
        taken = Q(seams__step__in=steps) | Q(call_outs__step__in=steps)
        for item in Item.objects.filter(taken, code__in=SHEETS).distinct().order_by("code"):
            life, cure = map(Fraction, SHEETS[item.code])
            set_product(day=day, item=item, life_hours=life, cure_hours=cure, by=by)


def ensure_device(demo: Demo) -> str | None:
    """The token of a device for the demo's keeper that may do everything; None where they have one already."""
    with scope(workshop=demo.workshop):
        keeper = Member.objects.get(user__email=KEEPER)
        if keeper.devices.exists():
            return None
        return issue_device(member=keeper, name="Demo device", scopes=("manage",), by=keeper)[1]


def _loaded_on(workshop: Workshop) -> date:
    with scope(workshop=workshop):
        first = LoadedFile.objects.order_by("at").first()
    if first is None:
        raise NotTheDemo(f"the workshop {CODE} was not loaded from the demo's files: give the demo a file of its own with DATABASE_URL")
    return timezone.localdate(first.at)


def _name(workshop: Workshop) -> None:
    workshop.name = "Saltmarsh Build Club"
    workshop.save(update_fields=["name"])


def _requests(folder: Path, today: date, code: str) -> list[Request]:
    """What is loaded, in order: the catalogue first, each builder's bench, the club's pool, the plans, the crate on its way."""
    tern = Named(workshop=code, bench="TERN")
    plover = Named(workshop=code, bench="PLOVER")
    pool = Named(workshop=code, bench="POOL", shared=True)
    crate = Named(workshop=code, bench="TERN", crate=CRATE, due=today + CRATE_DUE)
    return [
        Request("catalogue", folder / "catalogue.csv", tern),
        Request("stock", folder / "stock-tern.csv", tern),
        Request("stock", folder / "stock-plover.csv", plover),
        Request("stock", folder / "stock-pool.csv", pool),
        Request("plan", folder / "plan-tern", Named(workshop=code, bench="TERN", project=PROJECT)),
        Request("plan", folder / "plan-plover", Named(workshop=code, bench="PLOVER", project="PLOVER-1")),
        Request("packing", folder / "packing.csv", crate),
    ]
