"""What was sent and is not on the shelf yet."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from simple_history.models import HistoricalRecords

from inventory.catalogue.models import Item
from inventory.common.fields import QuantityField
from inventory.stock.models import Dated, Place
from inventory.workshop.models import Bench, Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class Sender(models.Model):
    """Who sends crates, and answers for what is missing from them."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="senders")
    name = models.CharField(max_length=120)
    address = models.TextField(max_length=500, blank=True)
    email = models.EmailField("e-mail", blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint("workshop", Upper("name"), name="sender_name_unique")]

    def __str__(self) -> str:
        """Its name."""
        return self.name


class Crate(models.Model):
    """What a sender sends to a bench at once. An order marked on the order sheet is a crate on its way with one line."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="crates")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, related_name="crates")
    code = models.CharField(max_length=40)
    ordered_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    sender = models.ForeignKey(Sender, on_delete=models.PROTECT, null=True, blank=True, related_name="crates")
    order_code = models.CharField("order", max_length=80, blank=True)
    carrier = models.CharField(max_length=120, blank=True)
    shipped_on = models.DateField(null=True, blank=True)
    arrived_on = models.DateField(null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True)  # counting is over: what is missing is a difference, not on its way
    printed_lines = models.PositiveIntegerField(null=True, blank=True)  # totals as printed on the list: compared, never used
    printed_quantity = QuantityField(null=True, blank=True)
    request_key = models.UUIDField(null=True, blank=True)  # the form that made it: sent twice, it makes one crate

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("workshop", Upper("code"), name="crate_code_unique"),
            models.UniqueConstraint(fields=["workshop", "request_key"], name="crate_request_once"),
        ]

    def __str__(self) -> str:
        """Its code."""
        return self.code


class Bag(models.Model):
    """A bag in a crate; bags nest. `path` is the whole way down.

    `counted_on` says that somebody has counted it to the end: only then is what it lacks short. `place` is where it lies as a whole.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="bags")
    crate = models.ForeignKey(Crate, on_delete=models.PROTECT, related_name="bags")
    parent = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="children")
    name = models.CharField(max_length=80)
    path = models.CharField(max_length=400)
    counted_on = models.DateField(null=True, blank=True)
    counted_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="bags")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint("crate", Upper("path"), name="bag_path_unique")]

    def __str__(self) -> str:
        """The whole path."""
        return self.path


class PackingLine(Dated):
    """What should be in a bag. `open_quantity` isn't in stock and not given up: on its way, or in a crate that is here, counted or not."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="packing_lines")
    crate = models.ForeignKey(Crate, on_delete=models.PROTECT, related_name="lines")
    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, null=True, blank=True, related_name="lines")
    number = models.CharField(max_length=40)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="packing_lines")
    name = models.CharField(max_length=200, blank=True)
    quantity = QuantityField()
    open_quantity = QuantityField()
    lot_code = models.CharField(max_length=80, blank=True)
    price = models.DecimalField("price of one stock unit", max_digits=14, decimal_places=4, null=True, blank=True)
    back_order_of = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="back_orders")
    rounding = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("crate", "bag", Upper("number"), name="packing_line_once_a_bag"),
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="packing_line_positive"),
            models.CheckConstraint(condition=models.Q(open_quantity__gte=0), name="packing_line_open_not_negative"),
            models.CheckConstraint(condition=models.Q(open_quantity__lte=models.F("quantity")), name="packing_line_open_within"),
        ]

    def __str__(self) -> str:
        """What it lists."""
        return f"{self.number}: {self.quantity} of {self.item}"
