"""Rivet rows of the plans, what a workshop sets for its rivets and clecos, and what an inspector accepted in place of what."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from buildplan.plan.models import Step
from inventory.common.fields import FractionField
from inventory.models import Item, Member, Workshop
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


class Stage(models.TextChoices):
    """Stages of work that want their clecos more or less close; `clecos.cleco_every` has the usual spacing of each."""

    FIT_UP = "fit_up", _("first fit-up")
    MATCH_DRILL = "match_drill", _("match drilling")
    FINAL = "final", _("final fit, and curves")
    CURING = "curing", _("while sealant cures")


class ClecoSpacing(models.Model):
    """A workshop's own spacing of clecos at a stage of work. No row is the common practice of the trade."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="cleco_spacings")
    stage = models.CharField(max_length=11, choices=Stage)
    every = models.PositiveSmallIntegerField("a cleco in every n-th hole")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "stage"], name="cleco_spacing_once_a_stage"),
            models.CheckConstraint(condition=models.Q(stage__in=Stage.values), name="cleco_spacing_stage_known"),
            models.CheckConstraint(condition=models.Q(every__gt=0), name="cleco_spacing_positive"),
        ]

    def __str__(self) -> str:
        """How close at which stage."""
        return f"every {self.every}. at {self.stage}"


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
            models.CheckConstraint(condition=models.Q(percent__lte=100), name="rivet_loss_at_most_all"),
        ]

    def __str__(self) -> str:
        """How much of which size."""
        return f"{self.percent} % of {self.diameter} in"


class Substitution(models.Model):
    """That an inspector accepted one item in place of another for a step, and what the plans or the maker said. Withdrawn it stays."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="substitutions")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="substitutions")
    wanted = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="replaced_by")
    served_by = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="serves_for")
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="substitutions")
    at = models.DateTimeField(default=timezone.now)
    note = models.CharField(max_length=300)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["step", "wanted"], condition=models.Q(withdrawn_at=None), name="substitution_once_a_step"),
            models.CheckConstraint(condition=~models.Q(wanted=models.F("served_by")), name="substitution_of_another_item"),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at=None, withdrawn_by=None) | models.Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
                name="substitution_withdrawn_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """What serves for what."""
        return f"{self.served_by_id} for {self.wanted_id} in {self.step_id}"
