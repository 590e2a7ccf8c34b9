"""Rivet rows of the plans, and what a workshop loses of each rivet size."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from simple_history.models import HistoricalRecords

from buildplan.plan.models import Step
from inventory.common.fields import FractionField
from inventory.models import Item, Workshop
from inventory.workshop.scoping import WorkshopManager


class RivetRow(models.Model):
    """A line of holes in a step: its rivet, how many holes, the grip in inches, and which clecos hold it until when.

    `cleco` is the one cleco of the rivet's diameter; none without `cleco_every`. They come off on the row's own day, or with
    `clecos_until` on the day of that step.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="rivet_rows")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="rivet_rows")
    code = models.CharField(max_length=40)
    position = models.PositiveIntegerField(default=0)
    rivet = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="rivet_rows")
    holes = models.PositiveIntegerField()
    grip = FractionField("grip in inches", null=True, blank=True)
    cleco_every = models.PositiveIntegerField("a cleco in every n-th hole", null=True, blank=True)
    cleco = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="cleco_rows")
    clecos_until = models.ForeignKey(Step, on_delete=models.SET_NULL, null=True, blank=True, related_name="frees_clecos_of")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("step", Upper("code"), name="rivet_row_code_unique"),
            models.CheckConstraint(condition=models.Q(holes__gt=0), name="rivet_row_has_holes"),
            models.CheckConstraint(condition=models.Q(cleco_every__gt=0), name="rivet_row_cleco_every_positive"),
            models.CheckConstraint(
                condition=models.Q(cleco_every=None, cleco=None) | models.Q(cleco_every__isnull=False, cleco__isnull=False),
                name="rivet_row_cleco_where_spaced",
            ),
        ]

    def __str__(self) -> str:
        """Which row of which step."""
        return f"row {self.code} of {self.step_id}"


class RivetLoss(models.Model):
    """What a workshop loses of one rivet size, in percent of the holes of rivet rows. No row is no loss: call-outs count as written."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="rivet_losses")
    diameter = FractionField("diameter in inches")
    percent = models.DecimalField(max_digits=5, decimal_places=2)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "diameter"], name="rivet_loss_once_a_size"),
            models.CheckConstraint(condition=models.Q(percent__gte=0), name="rivet_loss_not_negative"),
        ]

    def __str__(self) -> str:
        """How much of which size."""
        return f"{self.percent} % of {self.diameter} in"
