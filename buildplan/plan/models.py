"""Projects and their steps, as the plans tell them."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from inventory.common.fields import QuantityField
from inventory.models import Bench, Item, Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class Hand(models.TextChoices):
    """Which of a mirrored pair."""

    LEFT = "left", _("left")
    RIGHT = "right", _("right")
    NONE = "none", _("none")


class Project(models.Model):
    """One aeroplane, built at one bench."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="projects")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, related_name="projects")
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint("workshop", Upper("code"), name="project_code_unique")]

    def __str__(self) -> str:
        """Its name."""
        return self.name


class Section(models.Model):
    """A chapter of the plans, in the order of the plans. `closed_at` is set while it is closed up; the slice closeup writes it."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="sections")
    project = models.ForeignKey(Project, on_delete=models.PROTECT, related_name="sections")
    name = models.CharField(max_length=120)
    position = models.PositiveIntegerField()
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint("project", Upper("name"), name="section_name_unique")]

    def __str__(self) -> str:
        """Its name."""
        return self.name


class Step(models.Model):
    """One instruction of the plans. `position` is plan order."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="steps")
    project = models.ForeignKey(Project, on_delete=models.PROTECT, related_name="steps")
    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="steps")
    code = models.CharField(max_length=40)
    title = models.CharField(max_length=300)
    position = models.PositiveIntegerField()
    planned_on = models.DateField(null=True, blank=True)
    minutes = models.PositiveIntegerField(null=True, blank=True)
    people = models.PositiveSmallIntegerField("people it takes at once", null=True, blank=True)  # no plan file says it: set on its page
    hand = models.CharField(max_length=5, choices=Hand, blank=True)
    done = models.BooleanField(default=False)
    done_on = models.DateField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("project", Upper("code"), name="step_code_unique"),
            models.CheckConstraint(condition=models.Q(done=True) | models.Q(done_on=None), name="step_day_only_when_done"),
        ]

    def __str__(self) -> str:
        """Its code and title."""
        return f"{self.code} {self.title}"


class StepAfter(models.Model):
    """`step` can only begin when `after` is done. Both are steps of one project, and no chain of these leads back."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="step_afters")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="afters")
    after = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="befores")

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["step", "after"], name="step_after_once"),
            models.CheckConstraint(condition=~models.Q(step=models.F("after")), name="step_not_after_itself"),
        ]

    def __str__(self) -> str:
        """Which comes after which."""
        return f"{self.step_id} after {self.after_id}"


class CallOut(models.Model):
    """What a step needs of one item, in its stock unit. `rounding` says how the plans' figure was converted, where that rounded."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="call_outs")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="call_outs")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="call_outs")
    quantity = QuantityField()
    rounding = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["step", "item"], name="call_out_once_a_step"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="call_out_positive"),
        ]

    def __str__(self) -> str:
        """How much of what."""
        return f"{self.quantity} of {self.item_id}"


class Finish(models.Model):
    """That a step was finished here, and how. Taken back it stays, as the record that it was."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="finishes")
    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="finishes")
    on = models.DateField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="finishes")
    at = models.DateTimeField(default=timezone.now)
    without_movements = models.BooleanField(default=False)
    note = models.CharField(max_length=200, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["step"], condition=models.Q(taken_back_at=None), name="step_finished_once"),
        ]

    def __str__(self) -> str:
        """Which step, when."""
        return f"{self.step_id} on {self.on}"

    @property
    def ref(self) -> str:
        """How the ledger names this finish."""
        return f"finish:{self.pk}"
