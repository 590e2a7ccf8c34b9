"""Kinds of thing, and the codes that mean them."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from inventory.common.fields import FractionField, QuantityField
from inventory.workshop.models import Workshop
from inventory.workshop.scoping import WorkshopManager


class Kind(models.TextChoices):
    """What sort of thing an item is."""

    PART = "part", _("part")
    RIVET = "rivet", _("rivet")
    FASTENER = "fastener", _("fastener")
    CLECO = "cleco", _("cleco")
    TOOL = "tool", _("tool")
    SEALANT = "sealant", _("sealant")
    CHEMICAL = "chemical", _("chemical")
    SHEET = "sheet", _("sheet")
    OTHER = "other", _("other")


RETURNED = frozenset({Kind.CLECO, Kind.TOOL})  # needed for a span, then free again
DYING = frozenset({Kind.SEALANT, Kind.CHEMICAL})  # a life must be known before one of these counts


class Item(models.Model):
    """A kind of thing, counted in one stock unit."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="items")
    code = models.CharField(max_length=80)
    name = models.CharField(max_length=200)
    kind = models.CharField(max_length=10, choices=Kind)
    unit = models.CharField("stock unit", max_length=40)
    pack = QuantityField(null=True, blank=True)
    lead_days = models.PositiveIntegerField("lead time in days", null=True, blank=True)
    life_months = models.PositiveIntegerField("life in months", null=True, blank=True)
    open_life_days = models.PositiveIntegerField("opened life in days", null=True, blank=True)
    min_life_days = models.PositiveIntegerField("smallest remaining life in days", default=0)
    extend_part = FractionField("part of its life that a passed test adds", null=True, blank=True)  # none: it can't be extended
    diameter = FractionField("diameter in inches", null=True, blank=True)
    gravity = models.DecimalField("specific gravity", max_digits=9, decimal_places=6, null=True, blank=True)
    base = models.DecimalField("parts of base", max_digits=12, decimal_places=6, null=True, blank=True)
    accelerator = models.DecimalField("parts of accelerator", max_digits=12, decimal_places=6, null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("workshop", Upper("code"), name="item_code_unique"),
            models.CheckConstraint(condition=models.Q(pack__gt=0), name="item_pack_positive"),
            models.CheckConstraint(condition=models.Q(life_months__gt=0), name="item_life_positive"),
        ]

    def __str__(self) -> str:
        """Its code and name."""
        return f"{self.code} {self.name}"


class Identifier(models.Model):
    """A code that means an item; the item's own code is one too, so that no code ever means two things.

    `key` is the code as it is compared: no blanks, one case (`calc.key`).
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="identifiers")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="identifiers")
    text = models.CharField(max_length=80)
    key = models.CharField(max_length=80)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["workshop", "key"], name="identifier_key_unique")]

    def __str__(self) -> str:
        """The code as written."""
        return self.text
