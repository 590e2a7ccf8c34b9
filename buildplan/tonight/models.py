"""What of a pick list is fetched already. The list itself is worked out anew whenever somebody looks."""

from typing import ClassVar

from django.db import models

from inventory.common.fields import QuantityField
from inventory.models import Lot, Member, Place, Workshop
from inventory.workshop.scoping import WorkshopManager

MOST_STEPS = 60  # of one list


class PickTick(models.Model):
    """A line of the pick list of some steps that is ticked off: rows, so that two phones see each other's. Nothing moves by it."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="pick_ticks")
    steps = models.CharField(max_length=1200)  # their ids in order, with commas: the same steps are the same list
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    quantity = QuantityField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["workshop", "steps", "lot", "place"], name="pick_tick_once")]

    def __str__(self) -> str:
        """What was fetched for which steps."""
        return f"lot {self.lot_id} from place {self.place_id} for steps {self.steps}"
