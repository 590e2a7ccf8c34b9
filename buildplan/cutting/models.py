"""Blanks, the pieces that steps need from them, what was planned to be cut and what was sawn."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from buildplan.plan.models import Hand, Step
from inventory.common.fields import FractionField, QuantityField
from inventory.models import Item, Lot, Member, Workshop
from inventory.workshop.scoping import WorkshopManager


class Form(models.TextChoices):
    """What a blank is cut along: its length alone, or both."""

    BAR = "bar", _("bar, tube or strip")
    SHEET = "sheet", _("sheet")


class Grain(models.TextChoices):
    """Which side the grain runs along; blank: none, or not known."""

    LENGTH = "length", _("along the length")
    WIDTH = "width", _("along the width")


class CuttingRules(models.Model):
    """How a workshop saws, where a blank or a piece says nothing else."""

    workshop = models.OneToOneField(Workshop, on_delete=models.PROTECT, related_name="cutting_rules")
    unit = models.CharField(max_length=10, default="mm")
    kerf = FractionField(default="0")
    end_trim = FractionField(default="0")
    allowance = FractionField(default="0")  # that a piece is sawn larger, for the file

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        verbose_name_plural = "cutting rules"

    def __str__(self) -> str:
        """The kerf."""
        return f"kerf {self.kerf} {self.unit}"


class Blank(models.Model):
    """An item that pieces are cut from. One whole blank is `quantity` of its stock unit; sizes are as written, in `unit`.

    A blank without sizes gives only pieces whose number from one blank somebody has said.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="blanks")
    item = models.OneToOneField(Item, on_delete=models.PROTECT, related_name="blank")
    form = models.CharField(max_length=5, choices=Form, default=Form.SHEET)
    quantity = QuantityField("what one blank is in the stock unit", default=1)
    unit = models.CharField(max_length=10, default="mm")
    length = FractionField(null=True, blank=True)
    width = FractionField(null=True, blank=True)
    thickness = FractionField(null=True, blank=True)
    grain = models.CharField(max_length=6, choices=Grain, blank=True)
    kerf = FractionField(null=True, blank=True)
    end_trim = FractionField(null=True, blank=True)
    offcut = models.OneToOneField(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="offcut_of")  # what its offcuts are

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=Q(quantity__gt=0), name="blank_quantity_positive")]

    def __str__(self) -> str:
        """Its item."""
        return str(self.item)


class Piece(models.Model):
    """What a step needs from a blank: `count` alike.

    `per_blank` is how many one blank gives, as the kit says; pieces with one `cut` name come out of the same blank together. Else the
    sizes say what fits. `item` is what a finished piece is in the catalogue, where it is anything.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="pieces")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="pieces")
    code = models.CharField(max_length=40)
    position = models.PositiveIntegerField(default=0)
    blank = models.ForeignKey(Blank, on_delete=models.PROTECT, related_name="pieces")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="pieces")
    count = models.PositiveIntegerField(default=1)
    unit = models.CharField(max_length=10, blank=True)
    length = FractionField(null=True, blank=True)
    width = FractionField(null=True, blank=True)
    allowance = FractionField(null=True, blank=True)
    grain = models.CharField(max_length=6, choices=Grain, blank=True)
    per_blank = models.PositiveIntegerField(null=True, blank=True)
    cut = models.CharField("name of the stated cut", max_length=40, blank=True)
    hand = models.CharField(max_length=5, choices=Hand, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("step", Upper("code"), name="piece_code_unique"),
            models.CheckConstraint(condition=Q(count__gt=0), name="piece_count_positive"),
            models.CheckConstraint(condition=Q(per_blank__gt=0), name="piece_yield_positive"),
            models.CheckConstraint(condition=Q(per_blank__isnull=False) | Q(length__isnull=False), name="piece_has_size_or_yield"),
        ]

    def __str__(self) -> str:
        """Which piece of which step."""
        return f"{self.code} of {self.step_id}"


class Cut(models.Model):
    """A blank that is to be cut, or was. Planned, it is held for its pieces; sawn, it is a record.

    `key` is the form's own: sent again it makes no second one. `mother` is the cut that left the offcut this one is planned on.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="cuts")
    blank = models.ForeignKey(Blank, on_delete=models.PROTECT, related_name="cuts")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="cuts")
    quantity = QuantityField("of the lot, in its stock unit")
    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="cuts")  # the first that needs it: the lot is set aside for it
    key = models.UUIDField(unique=True)
    note = models.CharField(max_length=200, blank=True)
    accepted = models.BooleanField("that it leaves pieces without material was seen and accepted", default=False)
    mother = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="daughters")
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="cuts")
    at = models.DateTimeField(default=timezone.now)
    sawn_on = models.DateField(null=True, blank=True)
    sawn_at = models.DateTimeField(null=True, blank=True)
    sawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="cut_quantity_positive"),
            models.CheckConstraint(condition=Q(sawn_at=None) | Q(undone_at=None), name="cut_sawn_is_not_undone"),
            models.CheckConstraint(
                condition=Q(sawn_at=None, sawn_on=None, sawn_by=None)
                | Q(sawn_at__isnull=False, sawn_on__isnull=False, sawn_by__isnull=False),
                name="cut_sawn_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(undone_at=None, undone_by=None) | Q(undone_at__isnull=False, undone_by__isnull=False),
                name="cut_undone_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """Of which lot."""
        return f"cut {self.pk} of lot {self.lot_id}"

    @property
    def ref(self) -> str:
        """How the ledger names this cut."""
        return f"cut:{self.pk}"

    @property
    def state(self) -> str:
        """planned, sawn or undone."""
        return "undone" if self.undone_at else "sawn" if self.sawn_at else "planned"


class CutPiece(models.Model):
    """What a cut gives of a piece. `later`: promised from what this cut leaves, not sawn with it. `lot` is what the sawn pieces are."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="cut_pieces")
    cut = models.ForeignKey(Cut, on_delete=models.PROTECT, related_name="pieces")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="cuts")
    count = models.PositiveIntegerField()
    later = models.BooleanField(default=False)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["cut", "piece", "later"], name="cut_piece_once"),
            models.CheckConstraint(condition=Q(count__gt=0), name="cut_piece_positive"),
        ]

    def __str__(self) -> str:
        """How many of which."""
        return f"{self.count} of {self.piece_id}"


class Spoiled(models.Model):
    """Sawn pieces that are no good, and why. They are needed anew. A record: it is never taken back."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="spoiled_pieces")
    line = models.ForeignKey(CutPiece, on_delete=models.PROTECT, related_name="spoiled")
    key = models.UUIDField(unique=True)
    count = models.PositiveIntegerField()
    cause = models.CharField(max_length=200)
    on = models.DateField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="spoiled_pieces")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()

    class Meta:
        verbose_name_plural = "spoiled pieces"
        constraints: ClassVar = [models.CheckConstraint(condition=Q(count__gt=0), name="spoiled_positive")]

    def __str__(self) -> str:
        """How many, why."""
        return f"{self.count}: {self.cause}"


class Measured(models.Model):
    """A lot that was measured, or that came out of a cut: its sizes, and the lot it was cut from with its certificate."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="measured_lots")
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, related_name="measured")
    unit = models.CharField(max_length=10, default="mm")
    length = FractionField(null=True, blank=True)
    width = FractionField(null=True, blank=True)
    thickness = FractionField(null=True, blank=True)
    grain = models.CharField(max_length=6, choices=Grain, blank=True)
    certificate = models.CharField(max_length=120, blank=True)
    yields = models.JSONField(default=list, blank=True)  # what it still gives of pieces by yield: group, piece, how many
    mother = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="cut_into")
    cut = models.ForeignKey(Cut, on_delete=models.PROTECT, null=True, blank=True, related_name="made")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        verbose_name_plural = "measured lots"

    def __str__(self) -> str:
        """Its sizes."""
        return f"{self.length} x {self.width} {self.unit}"


class Operation(models.Model):
    """Something done to so many of a step's pieces: trim 2 left and 2 right of 12. The rest stays as it is."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="operations")
    piece = models.ForeignKey(Piece, on_delete=models.CASCADE, related_name="operations")
    name = models.CharField(max_length=40)
    hand = models.CharField(max_length=5, choices=Hand, default=Hand.NONE)
    count = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("piece", Upper("name"), "hand", name="operation_once_a_hand"),
            models.CheckConstraint(condition=Q(count__gt=0), name="operation_positive"),
        ]

    def __str__(self) -> str:
        """What, to how many."""
        return f"{self.name} {self.count}"


class OperationDone(models.Model):
    """Pieces to which an operation was really done, more than were wanted included: a record."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="operations_done")
    operation = models.ForeignKey(Operation, on_delete=models.PROTECT, related_name="done")
    key = models.UUIDField(unique=True)
    count = models.PositiveIntegerField()
    on = models.DateField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="operations_done")
    at = models.DateTimeField(default=timezone.now)
    undone_at = models.DateTimeField(null=True, blank=True)  # counted by mistake; what is trimmed stays trimmed

    objects = WorkshopManager()

    class Meta:
        verbose_name_plural = "operations done"
        constraints: ClassVar = [models.CheckConstraint(condition=Q(count__gt=0), name="operation_done_positive")]

    def __str__(self) -> str:
        """How many."""
        return f"{self.count} of {self.operation_id}"
