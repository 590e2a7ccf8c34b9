"""Rules of storage, temperatures, update tests, acceptances, disposals."""

from typing import ClassVar

from django.db import models
from simple_history.models import HistoricalRecords

from inventory.catalogue.models import Item
from inventory.common.fields import QuantityField
from inventory.stock.models import Lot, Movement, Place
from inventory.workshop.models import Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class StorageRule(models.Model):
    """How an item is to be stored, in Celsius; what is not stated is null. `source` is where that is written."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="storage_rules")
    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="storage_rule")
    low = models.DecimalField("not under, in C", max_digits=5, decimal_places=2, null=True, blank=True)
    high = models.DecimalField("not over, in C", max_digits=5, decimal_places=2, null=True, blank=True)
    use_within_days = models.PositiveIntegerField("days of use after an excursion", null=True, blank=True)
    never_below = models.DecimalField("never under, in C", max_digits=5, decimal_places=2, null=True, blank=True)
    never_above = models.DecimalField("never over, in C", max_digits=5, decimal_places=2, null=True, blank=True)
    longest_gap_hours = models.PositiveIntegerField("hours that a reading holds", default=6)
    source = models.CharField(max_length=200)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=models.Q(longest_gap_hours__gt=0), name="storage_gap_positive")]

    def __str__(self) -> str:
        """Of what."""
        return f"storage of {self.item}"


class Temperature(models.Model):
    """What a thermometer in a place showed at a time, in Celsius."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="temperatures")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="temperatures")
    at = models.DateTimeField()
    celsius = models.DecimalField(max_digits=5, decimal_places=2)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["place", "at"], name="temperature_once")]

    def __str__(self) -> str:
        """How warm, where, when."""
        return f"{self.celsius} C in {self.place} at {self.at}"


class UpdateTest(models.Model):
    """An update test of one lot, which speaks for its maker's whole batch. It is added, never changed."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="update_tests")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="update_tests")
    on = models.DateField()
    passed = models.BooleanField()
    method = models.CharField(max_length=200)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="update_tests")
    note = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["lot", "on", "passed"], name="update_test_once_a_day")]

    def __str__(self) -> str:
        """How it went."""
        return f"{self.lot} {'passed' if self.passed else 'failed'} on {self.on}"

    @property
    def ref(self) -> str:
        """How its photos name it."""
        return f"test:{self.pk}"


class Acceptance(models.Model):
    """An inspector's word that a lot may be used through a day, whatever its dates say. It is withdrawn, never removed."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="acceptances")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="acceptances")
    on = models.DateField()
    until = models.DateField()
    reason = models.CharField(max_length=200)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="acceptances")
    withdrawn = models.DateField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)
    withdrawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+", null=True, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=models.Q(until__gte=models.F("on")), name="acceptance_reaches")]

    def __str__(self) -> str:
        """Of what, until when."""
        return f"{self.lot} accepted through {self.until}"


class Disposal(models.Model):
    """How goods that were scrapped left: their mass, and the way. Which way is right, local rules say."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="disposals")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="disposals")
    movement = models.OneToOneField(Movement, on_delete=models.PROTECT, related_name="disposal")
    mass_g = QuantityField("mass in g")
    way = models.CharField(max_length=200)
    note = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=models.Q(mass_g__gt=0), name="disposal_mass_positive")]

    def __str__(self) -> str:
        """How much, how."""
        return f"{self.mass_g} g: {self.way}"
