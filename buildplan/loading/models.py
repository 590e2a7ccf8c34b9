"""Which files were loaded, which are being loaded, and what their columns were taken for."""

from typing import ClassVar

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.models import Bench, Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class LoadedFile(models.Model):
    """One load that wrote something. `digest` is of the rows, so that the same rows in another kind of file are known again."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="loaded_files")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, null=True, related_name="loaded_files")
    kind = models.CharField(max_length=10)
    name = models.CharField(max_length=200)
    digest = models.CharField(max_length=64)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="loaded_files")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["workshop", "bench", "kind", "digest"], name="loaded_file_digest")]

    def __str__(self) -> str:
        """Which file, when."""
        return f"{self.name} on {self.at:%Y-%m-%d}"


class JobState(models.TextChoices):
    """How far a load by page is. That one was interrupted is no state: it is running, and nobody holds its lock."""

    CHOSEN = "chosen", _("not loaded yet")
    WAITING = "waiting", _("waits for its turn")
    RUNNING = "running", _("is being loaded")
    DONE = "done", _("loaded")
    FAILED = "failed", _("not loaded: faults")
    CANCELLED = "cancelled", _("not loaded: cancelled")


class LoadJob(models.Model):
    """A load by page, from the choice of its files to its end. The files lie in the job's own folder until they are loaded.

    `files` says what each file is called, what its sheets are and which columns they have; `choices` what it is loaded into and which
    column is taken for which; `result` what the last load of it wrote, or every fault that stood in its way.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="load_jobs")
    key = models.UUIDField()  # of the form that made it: pressed twice, it makes one
    kind = models.CharField(max_length=10)
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.CHOSEN)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="load_jobs")
    files = models.JSONField(default=list)
    choices = models.JSONField(default=dict)
    rows = models.PositiveIntegerField(default=0)
    result = models.JSONField(default=dict)
    made_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="load_job_once_a_form"),
            models.CheckConstraint(condition=models.Q(state__in=JobState.values), name="load_job_state_known"),
        ]

    def __str__(self) -> str:
        """Which files."""
        return ", ".join(file["name"] for file in self.files)


class ColumnMemory(models.Model):
    """What a workshop's files call our columns of one table: the next file of that kind is read alike."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="column_memories")
    table = models.CharField(max_length=10)
    titles = models.JSONField(default=dict)  # our column -> the title that was taken for it
    constants = models.JSONField(default=dict)  # our column -> what was said of all rows

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["workshop", "table"], name="column_memory_once")]

    def __str__(self) -> str:
        """Whose, of which table."""
        return f"{self.workshop_id} {self.table}"


class StepsHidden(models.Model):
    """A member who is led through the first steps no more."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="steps_hidden")
    member = models.OneToOneField(Member, on_delete=models.PROTECT, related_name="steps_hidden")

    objects = WorkshopManager()

    def __str__(self) -> str:
        """Who."""
        return str(self.member_id)
