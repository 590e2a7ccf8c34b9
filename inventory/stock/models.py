"""Lots, where they lie, and the ledger that moves them."""

from typing import ClassVar

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from inventory.catalogue.models import Item
from inventory.common.fields import QuantityField
from inventory.shelflife.calc import StatedDate, of_columns
from inventory.workshop.models import Bench, Member, Workshop
from inventory.workshop.scoping import WorkshopManager

PRECISIONS = [("day", "day"), ("month", "month"), ("quarter", "quarter")]


class End(models.TextChoices):
    """What a place is: storage keeps holdings, every other kind is an end of the ledger and keeps none."""

    STORAGE = "storage", _("storage")
    SUPPLIER = "supplier", _("supplier")
    USED = "used", _("used")
    SCRAPPED = "scrapped", _("scrapped")
    LOST = "lost", _("lost")
    COUNTED = "counted", _("counted")
    CUT = "cut", _("cut")  # what is cut up goes in, its parts come out
    PASSED = "passed", _("passed")  # from bench to bench: what comes in here leaves again, as another bench's lot


class Place(models.Model):
    """Where a lot lies, nested: `path` is the whole way down, `Hangar/Rack 2/Drawer 7`. The ends of the ledger are places too."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="places")
    parent = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="children")
    name = models.CharField(max_length=80)
    path = models.CharField(max_length=400)
    key = models.CharField(max_length=400)  # path in one case, as it is compared
    end = models.CharField(max_length=10, choices=End, default=End.STORAGE)
    hands = models.OneToOneField(
        Member, on_delete=models.PROTECT, null=True, blank=True, related_name="hands"
    )  # whose: what is here is lent

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["workshop", "end", "key"], name="place_path_unique")]

    def __str__(self) -> str:
        """The whole path."""
        return self.path


class Dated(models.Model):
    """The dates that a label states, as precisely as it states them: columns for the database, `StatedDate` for the arithmetic."""

    made_on = models.DateField(null=True, blank=True)
    made_as = models.CharField(max_length=7, choices=PRECISIONS, default="day")
    expires_on = models.DateField(null=True, blank=True)
    expires_as = models.CharField(max_length=7, choices=PRECISIONS, default="day")

    class Meta:
        abstract = True

    @property
    def made(self) -> StatedDate | None:
        """When it was made."""
        return of_columns(self.made_on, self.made_as)

    @property
    def expires(self) -> StatedDate | None:
        """When it expires."""
        return of_columns(self.expires_on, self.expires_as)


class State(models.TextChoices):
    """Whether a lot may be used."""

    GOOD = "good", _("good")
    QUARANTINED = "quarantined", _("quarantined")
    DISPUTED = "disputed", _("disputed")
    FAILED = "failed", _("failed")


class Lot(Dated):
    """A quantity of one item with one history. One maker's batch (`code`) may be several lots; no code is no batch known."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="lots")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, related_name="lots")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lots")
    code = models.CharField(max_length=80, blank=True)
    opened_on = models.DateField(null=True, blank=True)
    state = models.CharField(max_length=11, choices=State, default=State.GOOD)
    rounding = models.CharField(max_length=200, blank=True)  # how its quantity was converted, where that rounded
    passes = models.PositiveSmallIntegerField(default=0)  # update tests that its batch passed
    storage_until = models.DateField(null=True, blank=True)  # what it lay through set this day
    storage_why = models.CharField(max_length=200, blank=True)
    accepted_until = models.DateField(null=True, blank=True)  # the last day of an inspector's acceptance

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        indexes: ClassVar = [models.Index(fields=["workshop", "item"], name="lot_by_item")]

    def __str__(self) -> str:
        """Its code, or that it has none."""
        return self.code or "no lot code"


class Movement(models.Model):
    """One line of the ledger, append-only: triggers refuse to change or delete it. A wrong one is undone by its reverse."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="movements")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements")
    quantity = QuantityField()
    source = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_out")
    target = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_in")
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="movements")
    at = models.DateTimeField(default=timezone.now)
    on = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    ref = models.CharField(max_length=60, blank=True, db_index=True)  # opaque: given and resolved by who asked for it
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by")

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="movement_quantity_positive"),
            models.CheckConstraint(condition=~models.Q(source=models.F("target")), name="movement_goes_somewhere"),
        ]

    def __str__(self) -> str:
        """What went where."""
        return f"{self.quantity} from {self.source} to {self.target}"


class Holding(models.Model):
    """What a place holds of a lot: the running sum of its movements, never below zero."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="holdings")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="holdings")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="holdings")
    quantity = QuantityField()

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["lot", "place"], name="holding_once"),
            models.CheckConstraint(condition=models.Q(quantity__gte=0), name="holding_not_negative"),
        ]

    def __str__(self) -> str:
        """How much of what, where."""
        return f"{self.quantity} of {self.lot} in {self.place}"


class SetAside(models.Model):
    """A quantity of a lot held for one step; `ref` is the step as buildplan names it."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="set_asides")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="set_asides")
    ref = models.CharField(max_length=60, db_index=True)
    quantity = QuantityField()

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["lot", "ref"], name="set_aside_once"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="set_aside_positive"),
        ]

    def __str__(self) -> str:
        """How much of what, for which step."""
        return f"{self.quantity} of {self.lot} for {self.ref}"
