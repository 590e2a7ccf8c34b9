"""Planned days of sealing: which steps, who is there, and what was mixed."""

from typing import ClassVar

from django.db import models
from django.utils import timezone
from simple_history.models import HistoricalRecords

from buildplan.plan.models import Step
from buildplan.sealing.models import Mix
from inventory.common.fields import FractionField
from inventory.models import Bench, Item, Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class SealDay(models.Model):
    """A day on which one bench seals. What it takes is worked out whenever it is asked for: only what people say is kept.

    `temperature_f` is the metal's, as expected; `pace` the grams that one person places in an hour; `division` the scale's, in grams.
    `held` says that the lots of its plan are set aside for its steps. Closed or called off it is a record.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="seal_days")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, related_name="seal_days")
    on = models.DateField()
    temperature_f = FractionField(null=True, blank=True)
    pace = FractionField(null=True, blank=True)
    division = FractionField(null=True, blank=True)
    held = models.BooleanField(default=False)
    note = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="seal_days")
    at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    called_off_at = models.DateTimeField(null=True, blank=True)
    called_off_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["bench", "on"], condition=models.Q(called_off_at=None), name="seal_day_once_a_bench"),
            models.CheckConstraint(condition=models.Q(closed_at=None) | models.Q(called_off_at=None), name="seal_day_ends_once"),
        ]

    def __str__(self) -> str:
        """Whose, when."""
        return f"seal day of {self.bench_id} on {self.on}"

    @property
    def open(self) -> bool:
        """It is still to be done: neither closed nor called off."""
        return self.closed_at is None and self.called_off_at is None


class DayStep(models.Model):
    """A step that a seal day is for. `carried_to` is the day to which closing put it off, with its reason."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="seal_day_steps")
    day = models.ForeignKey(SealDay, on_delete=models.CASCADE, related_name="steps")
    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="seal_days")
    carried_to = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["day", "step"], name="seal_day_step_once")]

    def __str__(self) -> str:
        """Which step of which day."""
        return f"{self.step_id} on seal day {self.day_id}"


class DayPerson(models.Model):
    """Who is there, from when to when, by the workshop's clock. A guest has a name and no member."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="seal_day_people")
    day = models.ForeignKey(SealDay, on_delete=models.CASCADE, related_name="people")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    name = models.CharField(max_length=120)
    comes = models.TimeField("from")
    goes = models.TimeField("to")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["day", "name"], name="seal_day_person_once"),
            models.CheckConstraint(condition=models.Q(comes__lt=models.F("goes")), name="seal_day_person_stays"),
        ]

    def __str__(self) -> str:
        """Their name."""
        return self.name


class DayProduct(models.Model):
    """What the data sheet of a sealant says, as entered for a day: work life in hours at 77 F, and hours until it is cured."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="seal_day_products")
    day = models.ForeignKey(SealDay, on_delete=models.CASCADE, related_name="products")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="+")
    life_hours = FractionField(null=True, blank=True)
    cure_hours = FractionField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["day", "item"], name="seal_day_product_once")]

    def __str__(self) -> str:
        """Which product of which day."""
        return f"{self.item_id} on seal day {self.day_id}"


class DayMix(models.Model):
    """A batch that was mixed on a seal day."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="seal_day_mixes")
    day = models.ForeignKey(SealDay, on_delete=models.PROTECT, related_name="mixes")
    mix = models.OneToOneField(Mix, on_delete=models.PROTECT, related_name="seal_day")

    objects = WorkshopManager()

    def __str__(self) -> str:
        """Which batch of which day."""
        return f"{self.mix_id} on seal day {self.day_id}"


class DayCheck(models.Model):
    """A line of the list to be through with the night before. `key` names one that the plan gave; a line of people's own has none."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="seal_day_checks")
    day = models.ForeignKey(SealDay, on_delete=models.CASCADE, related_name="checks")
    key = models.CharField(max_length=80, blank=True)
    text = models.CharField(max_length=200)
    ticked_at = models.DateTimeField(null=True, blank=True)
    ticked_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["day", "key"], condition=~models.Q(key=""), name="seal_day_check_once"),
            models.UniqueConstraint(fields=["day", "text"], condition=models.Q(key=""), name="seal_day_own_check_once"),
        ]

    def __str__(self) -> str:
        """What is to be done."""
        return self.text
