"""Which files were loaded."""

from typing import ClassVar

from django.db import models
from django.utils import timezone

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
