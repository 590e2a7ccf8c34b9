"""Labels that were printed, and the sheets they are printed on."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from simple_history.models import HistoricalRecords

from inventory.receiving.models import Bag
from inventory.stock.models import Lot, Place
from inventory.workshop.models import Workshop
from inventory.workshop.scoping import WorkshopManager


class Label(models.Model):
    """The token of one bag, lot or place, as it stands on its label. A label outlives the row numbers of one database."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="labels")
    token = models.CharField(max_length=16, unique=True)
    bag = models.OneToOneField(Bag, on_delete=models.PROTECT, null=True, blank=True, related_name="label")
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="label")
    place = models.OneToOneField(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="label")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(bag__isnull=False, lot=None, place=None)
                | models.Q(bag=None, lot__isnull=False, place=None)
                | models.Q(bag=None, lot=None, place__isnull=False),
                name="label_of_one_thing",
            ),
        ]

    def __str__(self) -> str:
        """Its token."""
        return self.token


class LabelSheet(models.Model):
    """A sheet of labels by its measurements, all in millimetres: where the first label starts, how large each is, how far apart."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="label_sheets")
    name = models.CharField(max_length=80)
    page_width = models.DecimalField(max_digits=6, decimal_places=2)
    page_height = models.DecimalField(max_digits=6, decimal_places=2)
    left = models.DecimalField(max_digits=6, decimal_places=2)
    top = models.DecimalField(max_digits=6, decimal_places=2)
    columns = models.PositiveSmallIntegerField()
    rows = models.PositiveSmallIntegerField()
    label_width = models.DecimalField(max_digits=6, decimal_places=2)
    label_height = models.DecimalField(max_digits=6, decimal_places=2)
    gap_x = models.DecimalField(max_digits=6, decimal_places=2, default=0)
    gap_y = models.DecimalField(max_digits=6, decimal_places=2, default=0)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("workshop", Upper("name"), name="label_sheet_name_unique"),
            models.CheckConstraint(condition=models.Q(columns__gt=0, rows__gt=0), name="label_sheet_has_cells"),
        ]

    def __str__(self) -> str:
        """Its name."""
        return self.name
