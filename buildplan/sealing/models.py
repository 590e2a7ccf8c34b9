"""Sealed seams of the plans, and the batches that were really mixed."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone
from simple_history.models import HistoricalRecords

from buildplan.plan.models import Step
from buildplan.sealing import calc
from inventory.common.fields import FractionField, QuantityField
from inventory.models import Item, Member, Workshop
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


class Mix(models.Model):
    """A batch of sealant that was really mixed, and for which steps. What it took of its lots are movements under its `ref`.

    `key` is the form's own: sent again it makes no second one. Grams; the temperature is the metal's in Fahrenheit; `life_hours` is the
    work life at 77 F as the data sheet gives it, `work_until` when this batch's ends. Taken back it stays, as the record that it was.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="mixes")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="mixes")
    key = models.UUIDField(unique=True)
    base = QuantityField("grams of base")
    accelerator = QuantityField("grams of accelerator")
    mixed_at = models.DateTimeField()
    mixed_by = models.CharField("who mixed it", max_length=120)
    temperature_f = FractionField(null=True, blank=True)
    life_hours = FractionField(null=True, blank=True)
    work_until = models.DateTimeField(null=True, blank=True)
    left = QuantityField("grams left over", null=True, blank=True)
    ended_at = models.DateTimeField("used up or put away", null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="mixes")
    at = models.DateTimeField(default=timezone.now)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        verbose_name_plural = "mixes"
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(base__gt=0), name="mix_base_positive"),
            models.CheckConstraint(condition=models.Q(accelerator__gte=0), name="mix_accelerator_not_negative"),
            models.CheckConstraint(condition=models.Q(left__gte=0), name="mix_left_not_negative"),
            models.CheckConstraint(
                condition=models.Q(taken_back_at=None, taken_back_by=None)
                | models.Q(taken_back_at__isnull=False, taken_back_by__isnull=False),
                name="mix_taken_back_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """How much of what, when."""
        return f"{self.base + self.accelerator} g of {self.item_id} at {self.mixed_at}"

    @property
    def ref(self) -> str:
        """How the ledger names this batch."""
        return f"mix:{self.pk}"


class MixShare(models.Model):
    """What of a batch was mixed for one step: as long as the batch isn't taken back, that step needs so much less."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="mix_shares")
    mix = models.ForeignKey(Mix, on_delete=models.PROTECT, related_name="shares")
    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="mix_shares")
    grams = QuantityField()

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["mix", "step"], name="mix_share_once_a_step"),
            models.CheckConstraint(condition=models.Q(grams__gt=0), name="mix_share_positive"),
        ]

    def __str__(self) -> str:
        """How much for which step."""
        return f"{self.grams} g for {self.step_id}"
