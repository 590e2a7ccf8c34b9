"""The builder's log: what was done on a day, who worked how long, and who has seen it."""

from typing import ClassVar

from django.db import models
from django.utils import timezone
from simple_history.models import HistoricalRecords

from buildplan.logbook.calc import MOST_MINUTES
from buildplan.plan.models import Project, Step
from inventory.models import Member, Workshop
from inventory.workshop.models import Role
from inventory.workshop.scoping import WorkshopManager


class LogEntry(models.Model):
    """What was done on a day, of a step or of the project in general. What it took of stock is the ledger's to say.

    `key` is the form's own: sent again it makes no second one. One that is seen and signed changes no more; a mistaken one is struck
    out and stays.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="log_entries")
    project = models.ForeignKey(Project, on_delete=models.PROTECT, related_name="log_entries")
    step = models.ForeignKey(Step, on_delete=models.PROTECT, null=True, blank=True, related_name="log_entries")
    on = models.DateField("day of the work")
    text = models.TextField("what was done")
    key = models.UUIDField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="log_entries")
    at = models.DateTimeField(default=timezone.now)
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    struck_why = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        verbose_name_plural = "log entries"
        indexes: ClassVar = [models.Index(fields=["project", "on"], name="log_entry_by_day")]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="log_entry_key_once"),
            models.CheckConstraint(
                condition=models.Q(struck_at=None, struck_by=None) | models.Q(struck_at__isnull=False, struck_by__isnull=False),
                name="log_entry_struck_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """Its day and how it begins."""
        return f"{self.on}: {self.text[:60]}"

    @property
    def ref(self) -> str:
        """How photos name it."""
        return entry_ref(self.pk)


def entry_ref(pk: int) -> str:
    """How photos name the entry of an id."""
    return f"log:{pk}"


class LogHours(models.Model):
    """How long somebody worked on what an entry tells: a member, or a helper by name who is none."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="log_hours")
    entry = models.ForeignKey(LogEntry, on_delete=models.PROTECT, related_name="hours")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="log_hours")
    name = models.CharField("helper", max_length=120, blank=True)
    minutes = models.PositiveSmallIntegerField()

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        verbose_name_plural = "log hours"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["entry", "member"], name="log_hours_member_once"),
            models.UniqueConstraint(fields=["entry", "name"], condition=~models.Q(name=""), name="log_hours_helper_once"),
            models.CheckConstraint(
                condition=models.Q(member=None) & ~models.Q(name="") | models.Q(member__isnull=False, name=""),
                name="log_hours_of_one",
            ),
            models.CheckConstraint(condition=models.Q(minutes__gte=1, minutes__lte=MOST_MINUTES), name="log_hours_within_a_day"),
        ]

    def __str__(self) -> str:
        """How long, in which entry."""
        return f"{self.minutes} min in {self.entry_id}"


class Signature(models.Model):
    """That somebody saw an entry, or a step, and what they say of it. It approves nothing. Withdrawn it stays, with the reason.

    `name`, `role` and `licence` are as they were then; `licence` is the signer's own text, which nobody checks. `seen` is what stood
    there: day, text, hours, what was taken of stock, photos.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="signatures")
    entry = models.ForeignKey(LogEntry, on_delete=models.PROTECT, null=True, blank=True, related_name="signatures")
    step = models.ForeignKey(Step, on_delete=models.PROTECT, null=True, blank=True, related_name="signatures")
    key = models.UUIDField()
    name = models.CharField("who saw it", max_length=120)
    role = models.CharField(max_length=12, choices=Role)
    licence = models.CharField("licence or authority number", max_length=120, blank=True)
    statement = models.CharField("what they say of it", max_length=400)
    seen = models.JSONField(default=dict)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="signatures")
    at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    withdrawn_why = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+", excluded_fields=["seen"])

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="signature_key_once"),
            models.UniqueConstraint(fields=["entry", "by"], condition=models.Q(withdrawn_at=None), name="signature_once_an_entry"),
            models.UniqueConstraint(fields=["step", "by"], condition=models.Q(withdrawn_at=None), name="signature_once_a_step"),
            models.CheckConstraint(
                condition=models.Q(entry__isnull=False, step=None) | models.Q(entry=None, step__isnull=False), name="signature_of_one_thing"
            ),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at=None, withdrawn_by=None)
                | (models.Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False) & ~models.Q(withdrawn_why="")),
                name="signature_withdrawn_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        """Who saw it, when."""
        return f"{self.name}, {self.at:%Y-%m-%d}"
