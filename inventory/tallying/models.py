"""What was found in the bags of a crate, count by count, and pictures of it."""

from typing import ClassVar

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.catalogue.models import Item
from inventory.common.fields import FractionField, QuantityField
from inventory.receiving.models import Bag, Crate, PackingLine
from inventory.stock.models import Dated, Movement
from inventory.workshop.models import Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class Finding(models.TextChoices):
    """What a count found."""

    GOOD = "good", _("good")
    DAMAGED = "damaged", _("damaged")
    WRONG = "wrong", _("wrong thing")
    MYSTERY = "mystery", _("mystery")


class How(models.TextChoices):
    """How it was counted."""

    SCAN = "scan", _("by scan")
    HAND = "hand", _("by hand")
    WEIGHT = "weight", _("by weight")


class Tally(Dated):
    """One count in a bag, added to those before. What was counted of a line is the sum; a correction adds the difference.

    A tally is never changed, save that `movement` says once what took it into stock. A wrong one is undone by its opposite
    (`undoes`).
    No `line`: something that the packing list doesn't have. No `item`: a mystery, with what was measured of it.
    `at` is when it was counted; a scan kept offline arrives later than that.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="tallies")
    crate = models.ForeignKey(Crate, on_delete=models.PROTECT, related_name="tallies")
    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, null=True, blank=True, related_name="tallies")
    line = models.ForeignKey(PackingLine, on_delete=models.PROTECT, null=True, blank=True, related_name="tallies")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="tallies")
    quantity = QuantityField()
    finding = models.CharField(max_length=7, choices=Finding, default=Finding.GOOD)
    how = models.CharField(max_length=6, choices=How, default=How.HAND)
    correction = models.BooleanField(default=False)
    lot_code = models.CharField(max_length=80, blank=True)
    diameter = FractionField("diameter in inches", null=True, blank=True)
    length = FractionField("length in inches", null=True, blank=True)
    head = models.CharField(max_length=12, blank=True)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="tallies")
    at = models.DateTimeField(default=timezone.now)
    undoes = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="undone_by")
    movement = models.ForeignKey(Movement, on_delete=models.PROTECT, null=True, blank=True, related_name="tallies")
    request_key = models.UUIDField(null=True, blank=True)  # the form or scan that made it: sent twice, it counts once

    objects = WorkshopManager()

    class Meta:
        verbose_name_plural = "tallies"
        indexes: ClassVar = [
            models.Index(fields=["crate", "line"], name="tally_by_line"),
            models.Index(fields=["line"], condition=models.Q(correction=True), name="tally_corrections"),  # each scan asks for them
        ]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "request_key"], name="tally_request_once"),
            models.CheckConstraint(condition=~models.Q(quantity=0), name="tally_not_nothing"),
            models.CheckConstraint(condition=models.Q(finding__in=Finding.values), name="tally_finding_known"),
            models.CheckConstraint(condition=models.Q(item__isnull=False) | models.Q(finding="mystery"), name="tally_item_or_mystery"),
            models.CheckConstraint(condition=models.Q(how__in=How.values), name="tally_how_known"),
        ]

    def __str__(self) -> str:
        """What it found."""
        return f"{self.quantity} {self.finding}"
