"""Sealed seams of the plans."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from simple_history.models import HistoricalRecords

from buildplan.plan.models import Step
from buildplan.sealing import calc
from inventory.common.fields import FractionField, QuantityField
from inventory.models import Item, Workshop
from inventory.workshop.scoping import WorkshopManager


class Seam(models.Model):
    """A sealed joint in a step, as the plans give it; what it takes is worked out from its shape whenever it is asked for.

    `calc.Seam` says which sizes each shape reads. The sizes are kept as written, in `unit` and `size_unit`.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="seams")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="seams")
    code = models.CharField(max_length=40)
    position = models.PositiveIntegerField(default=0)
    sealant = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="seams")
    shape = models.CharField(max_length=13, choices=[(shape.value, shape.value) for shape in calc.Shape])
    length = FractionField(null=True, blank=True)
    unit = models.CharField(max_length=40, blank=True)
    leg_a = FractionField(null=True, blank=True)
    leg_b = FractionField(null=True, blank=True)
    thickness = FractionField(null=True, blank=True)
    size_unit = models.CharField(max_length=40, blank=True)
    count = models.PositiveIntegerField(default=1)
    grams_each = FractionField(null=True, blank=True)
    loss_percent = FractionField(default="0")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("step", Upper("code"), name="seam_code_unique"),
            models.CheckConstraint(condition=models.Q(count__gt=0), name="seam_count_positive"),
        ]

    def __str__(self) -> str:
        """Which seam of which step."""
        return f"seam {self.code} of {self.step_id}"


class SealingSupply(models.Model):
    """What each batch of sealant uses up beside the sealant: a cup, a pair of gloves, some cleaner. The workshop's own list."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="sealing_supplies")
    name = models.CharField(max_length=80)
    quantity = QuantityField("quantity for a batch")
    unit = models.CharField(max_length=40)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("workshop", Upper("name"), name="sealing_supply_name_unique"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="sealing_supply_positive"),
        ]

    def __str__(self) -> str:
        """What it is."""
        return self.name
