"""Scans that were sent."""

from typing import ClassVar

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.workshop.models import Device, Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class Scan(models.Model):
    """One scan as it was sent, with the answer it got. A repeat of its `uuid` gets the same answer and moves nothing.

    `fingerprint` tells another scan under the same uuid; `at` is when it was scanned, by the device's clock as corrected.
    """

    class Outcome(models.TextChoices):
        """What became of it."""

        DONE = "done", _("done")
        REFUSED = "refused", _("refused")
        UNKNOWN = "unknown", _("unknown code")
        CONFLICT = "conflict", _("older than a correction")

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="scans")
    uuid = models.UUIDField()
    fingerprint = models.CharField(max_length=64)
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="scans")
    device = models.ForeignKey(Device, on_delete=models.PROTECT, null=True, blank=True, related_name="scans")
    code = models.CharField(max_length=4000)
    action = models.CharField(max_length=6)
    asked = models.JSONField(default=dict)  # what else was sent: place, bag, lot, quantity, note, and the times by its own clock
    at = models.DateTimeField()
    received_at = models.DateTimeField(default=timezone.now)
    outcome = models.CharField(max_length=8, choices=Outcome)
    status = models.PositiveSmallIntegerField()
    answer = models.JSONField()
    settled_at = models.DateTimeField(null=True, blank=True)  # a person looked at the conflict
    settled_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["workshop", "outcome"], name="scan_by_outcome"),
            models.Index(fields=["workshop", "received_at"], name="scan_by_arrival"),
        ]
        constraints: ClassVar = [models.UniqueConstraint(fields=["workshop", "uuid"], name="scan_once")]

    def __str__(self) -> str:
        """What was asked of which code."""
        return f"{self.action} {self.code}"
