"""Archives that a page made: until they are old, they lie on the site's machine to be downloaded."""

from typing import ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.models import Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class SavedState(models.TextChoices):
    """How far an archive is. That it was interrupted is no state: it is being written, and nobody holds its lock."""

    WAITING = "waiting", _("waits for its turn")
    RUNNING = "running", _("is being written")
    DONE = "done", _("ready")
    FAILED = "failed", _("not written")


class SavedArchive(models.Model):
    """One archive that somebody asked for. `key` is of the form: pressed twice, it makes one. `why` is what stood in its way."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="saved_archives")
    key = models.UUIDField()
    state = models.CharField(max_length=7, choices=SavedState, default=SavedState.WAITING)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="saved_archives")
    rows = models.PositiveIntegerField(default=0)
    photos = models.PositiveIntegerField(default=0)
    bytes = models.PositiveBigIntegerField(default=0)
    why = models.TextField(blank=True)
    made_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="saved_archive_once_a_form"),
            models.CheckConstraint(condition=models.Q(state__in=SavedState.values), name="saved_archive_state_known"),
        ]

    def __str__(self) -> str:
        """Of which day."""
        return f"archive of {self.made_at:%Y-%m-%d}"
