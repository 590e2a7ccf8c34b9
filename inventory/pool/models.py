"""What a club shares: single things, loans, bookings, what a stock unit costs, and passing things from bench to bench."""

from typing import ClassVar

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from inventory.catalogue.models import Item
from inventory.common.fields import QuantityField
from inventory.stock.models import Lot, Movement, Place
from inventory.workshop.models import Bench, Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class PoolRules(models.Model):
    """A club's rules of lending; a workshop without a row has none. None is no limit.

    Deposit and fee are figures only: nothing is paid here.
    """

    workshop = models.OneToOneField(Workshop, on_delete=models.PROTECT, related_name="pool_rules")
    longest_days = models.PositiveSmallIntegerField("longest loan in days", null=True, blank=True)
    renewals = models.PositiveSmallIntegerField("how often a loan may be renewed", null=True, blank=True)
    renew_while_waited = models.BooleanField("renew although somebody waits", default=False)
    remind_days = models.PositiveSmallIntegerField("days before its end to be reminded", default=1)
    book_ahead_days = models.PositiveSmallIntegerField("how far ahead to book, in days", null=True, blank=True)
    deposit = models.CharField(max_length=80, blank=True)
    fee = models.CharField(max_length=80, blank=True)
    currency = models.CharField("money is in", max_length=12, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        verbose_name_plural = "pool rules"

    def __str__(self) -> str:
        """Whose."""
        return f"pool rules of {self.workshop_id}"


class Thing(models.Model):
    """A single thing of the pool, such as a squeezer: a lot of one piece, with its serial number, condition and calibration."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="things")
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, related_name="thing")
    serial = models.CharField("serial number", max_length=80, blank=True)
    condition = models.CharField(max_length=200, blank=True)
    calibrated_on = models.DateField(null=True, blank=True)
    calibrated_until = models.DateField(null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(calibrated_on=None)
                | models.Q(calibrated_until=None)
                | models.Q(calibrated_on__lte=models.F("calibrated_until")),
                name="thing_calibration_in_order",
            ),
        ]

    def __str__(self) -> str:
        """Its serial number, else its lot."""
        return self.serial or str(self.lot)


class Booking(models.Model):
    """A pool thing promised for days to come, both days included: pieces of an item, or one single thing.

    `waiting` asks for what was promised to others: it holds nothing. `ref` is what it is for, as who asked names it.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="bookings")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="bookings")
    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, null=True, blank=True, related_name="bookings")
    quantity = QuantityField()
    first_day = models.DateField()
    last_day = models.DateField()
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="bookings")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="bookings")
    ref = models.CharField(max_length=60, blank=True, db_index=True)
    note = models.CharField(max_length=200, blank=True)
    key = models.UUIDField(unique=True)
    waiting = models.BooleanField(default=False)
    asked_at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_as = models.CharField(max_length=9, choices=[("cancelled", "cancelled"), ("lent", "lent"), ("lapsed", "lapsed")], blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        indexes: ClassVar = [models.Index(fields=["item", "first_day"], name="booking_by_item")]
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="booking_quantity_positive"),
            models.CheckConstraint(condition=models.Q(first_day__lte=models.F("last_day")), name="booking_days_in_order"),
            models.CheckConstraint(
                condition=models.Q(ended_at=None, ended_as="") | (models.Q(ended_at__isnull=False) & ~models.Q(ended_as="")),
                name="booking_ends_somehow",
            ),
        ]

    def __str__(self) -> str:
        """What, when."""
        return f"{self.quantity} of {self.item_id}, {self.first_day} to {self.last_day}"


class BookedDay(models.Model):
    """One day of a booking that holds a single thing: no two bookings hold one thing on one day, on either database."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="booked_days")
    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="days")
    thing = models.ForeignKey(Thing, on_delete=models.PROTECT, related_name="booked_days")
    day = models.DateField()

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["thing", "day"], name="thing_booked_once_a_day")]

    def __str__(self) -> str:
        """Which thing, when."""
        return f"{self.thing_id} on {self.day}"


class Loan(models.Model):
    """A pool thing that is out: pieces of a lot carried from their place to the borrower's hands (`held_in`), both by the ledger.

    What came back, was lost or wore out are `LoanEnd`s; `open` pieces are still out, and the loan is over when none is.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="loans")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="loans")
    quantity = QuantityField()
    open = QuantityField("still out")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="loans")
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="loans")
    held_in = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    movement = models.OneToOneField(Movement, on_delete=models.PROTECT, related_name="loan")
    booking = models.OneToOneField(Booking, on_delete=models.PROTECT, null=True, blank=True, related_name="loan")
    out_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    renewals = models.PositiveSmallIntegerField(default=0)
    condition = models.CharField("condition when lent", max_length=200, blank=True)
    ref = models.CharField(max_length=60, blank=True, db_index=True)
    note = models.CharField(max_length=200, blank=True)
    key = models.UUIDField(unique=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="loan_quantity_positive"),
            models.CheckConstraint(condition=models.Q(open__gte=0) & models.Q(open__lte=models.F("quantity")), name="loan_open_within"),
            models.CheckConstraint(condition=models.Q(due_on=None) | models.Q(due_on__gte=models.F("out_on")), name="loan_due_after_out"),
        ]

    def __str__(self) -> str:
        """What, since when."""
        return f"{self.quantity} of {self.lot_id} since {self.out_on}"


class LoanEnd(models.Model):
    """Pieces of a loan that are out no more: back in a place, lost, or worn out. `movement` is the line of the ledger."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="loan_ends")
    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="ends")
    kind = models.CharField(max_length=8, choices=[("returned", _("returned")), ("lost", _("lost")), ("worn", _("worn out"))])
    quantity = QuantityField()
    movement = models.OneToOneField(Movement, on_delete=models.PROTECT, related_name="loan_end")
    condition = models.CharField("condition when it came back", max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)
    key = models.UUIDField(unique=True)
    on = models.DateField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=models.Q(quantity__gt=0), name="loan_end_positive")]

    def __str__(self) -> str:
        """How much, how."""
        return f"{self.quantity} {self.kind}"


class Transfer(models.Model):
    """Things that are to pass from one bench to another: they do once both sides agreed.

    Offered by the giver or asked for by the taker: `asked_by_taker` says which, and the other side answers. Until then the pieces are
    the giver's. An offer or a wish to everybody names one bench only. `lot` is the giver's; `made` what the taker got of it, with the
    same history.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="transfers")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="transfers")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="transfers")
    giver = models.ForeignKey(Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="given")
    taker = models.ForeignKey(Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="taken")
    asked_by_taker = models.BooleanField(default=False)
    quantity = QuantityField()
    until = models.DateField("open until", null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    key = models.UUIDField(unique=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_as = models.CharField(
        max_length=9,
        choices=[("done", _("done")), ("declined", _("declined")), ("withdrawn", _("withdrawn")), ("lapsed", _("lapsed"))],
        blank=True,
    )
    ended_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    made = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="came_by")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(quantity__gt=0), name="transfer_quantity_positive"),
            models.CheckConstraint(condition=~models.Q(giver=models.F("taker")), name="transfer_goes_somewhere"),
            models.CheckConstraint(condition=models.Q(giver__isnull=False) | models.Q(taker__isnull=False), name="transfer_is_somebodys"),
            models.CheckConstraint(
                condition=models.Q(ended_at=None, ended_as="") | (models.Q(ended_at__isnull=False) & ~models.Q(ended_as="")),
                name="transfer_ends_somehow",
            ),
        ]

    def __str__(self) -> str:
        """What, from whom to whom."""
        return f"{self.quantity} of {self.item_id} from {self.giver_id} to {self.taker_id}"

    @property
    def ref(self) -> str:
        """How the ledger names it."""
        return f"transfer:{self.pk}"


class UnitCost(models.Model):
    """What a stock unit of a shared material costs from a day on, in the workshop's money: set by the club, for its statements alone."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="unit_costs")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="unit_costs")
    since = models.DateField()
    amount = models.DecimalField("for one stock unit", max_digits=14, decimal_places=6)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["item", "since"], name="unit_cost_once_a_day"),
            models.CheckConstraint(condition=models.Q(amount__gte=0), name="unit_cost_not_negative"),
        ]

    def __str__(self) -> str:
        """Of what, since when."""
        return f"{self.amount} for {self.item_id} since {self.since}"
