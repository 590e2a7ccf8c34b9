"""The invented scenario: loaded from fixtures/ by the same loads that a builder uses."""

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from django.db import transaction
from django.utils import timezone
from django_scopes import scope

from buildplan.loading.models import LoadedFile
from buildplan.loading.services import Request, load
from buildplan.loading.targets import Named
from inventory.claims.models import Fault
from inventory.claims.services import save_rule, save_sender, set_sender
from inventory.common.problems import Problem
from inventory.labels.services import ensure_labels
from inventory.models import Bag, Crate, Lot, Member, Place, User, Workshop
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
    for request in _requests(folder, today):
        outcome = load(request, today=today)
        if outcome.errors:
            raise Problem("\n".join(outcome.errors))
    workshop = Workshop.objects.get(code=CODE)
    _name(workshop)
    with scope(workshop=workshop):
        keeper, _ = set_member(email=KEEPER, workshop=workshop, name="Demo keeper", role="owner", by=hand(workshop))
        _send(Crate.objects.get(code=CRATE), keeper, today)
        _label(keeper)
    set_password(user=User.objects.get(email=KEEPER), password=password)
    return Demo(workshop, today, fresh=True)


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


def _requests(folder: Path, today: date) -> list[Request]:
    """What is loaded, in order: the catalogue first, each builder's bench, the club's pool, the plans, the crate on its way."""
    tern = Named(workshop=CODE, bench="TERN")
    plover = Named(workshop=CODE, bench="PLOVER")
    pool = Named(workshop=CODE, bench="POOL", shared=True)
    crate = Named(workshop=CODE, bench="TERN", crate=CRATE, due=today + CRATE_DUE)
    return [
        Request("catalogue", folder / "catalogue.csv", tern),
        Request("stock", folder / "stock-tern.csv", tern),
        Request("stock", folder / "stock-plover.csv", plover),
        Request("stock", folder / "stock-pool.csv", pool),
        Request("plan", folder / "plan-tern", Named(workshop=CODE, bench="TERN", project=PROJECT)),
        Request("plan", folder / "plan-plover", Named(workshop=CODE, bench="PLOVER", project="PLOVER-1")),
        Request("packing", folder / "packing.csv", crate),
    ]
