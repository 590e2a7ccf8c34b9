"""Pictures of whatever the workshop keeps: a crate, a finding, a test, a loan."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

from inventory.workshop.models import Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class Photo(models.Model):
    """A picture made anew from what was sent: nothing else of the upload is kept.

    `ref` says of what, as the slice that asked for it names its row (`crate:7`, `tally:12`); no other slice reads into it. `file` is its
    name in the folder of uploads, which lies outside what the server shows by itself.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="photos")
    ref = models.CharField("of what", max_length=60, db_index=True)
    file = models.CharField(max_length=100, unique=True)
    digest = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    caption = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="photos")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["workshop", "ref", "digest"], name="photo_once")]

    def __str__(self) -> str:
        """Its caption, else its file."""
        return self.caption or self.file
