"""Which hand a part is, where the plans disagree with themselves, and which piece was drilled with which."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from buildplan.fitting.calc import Phase as Phases
from buildplan.fitting.calc import Source
from buildplan.plan.models import Hand, Project, Step
from inventory.models import Item, Lot, Member, Workshop
from inventory.workshop.scoping import WorkshopManager

SIDED = (Hand.LEFT, Hand.RIGHT)


class ItemHand(models.Model):
    """Which hand a builder says that an item is. No row: nobody said."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="item_hands")
    item = models.OneToOneField(Item, on_delete=models.CASCADE, related_name="hand_stated")
    hand = models.CharField(max_length=5, choices=Hand)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=models.Q(hand__in=Hand.values), name="item_hand_known")]

    def __str__(self) -> str:
        """Which item is which hand."""
        return f"{self.item_id} is {self.hand}"


class MirrorPair(models.Model):
    """Two items that are each other's mirror image. An item has one partner."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="mirror_pairs")
    left = models.OneToOneField(Item, on_delete=models.CASCADE, related_name="right_partner")
    right = models.OneToOneField(Item, on_delete=models.CASCADE, related_name="left_partner")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=~models.Q(left=models.F("right")), name="mirror_pair_of_two")]

    def __str__(self) -> str:
        """Left and right."""
        return f"{self.left_id} and {self.right_id}"


class FalseMirror(models.Model):
    """Two items that look like a mirrored pair and are none, and what tells them apart. The lower id stands first."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="false_mirrors")
    one = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="false_mirrors")
    other = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="false_mirrors_of")
    told_apart = models.CharField("what tells them apart", max_length=300)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["one", "other"], name="false_mirror_once"),
            models.CheckConstraint(condition=models.Q(one__lt=models.F("other")), name="false_mirror_of_two"),
        ]

    def __str__(self) -> str:
        """Which two."""
        return f"{self.one_id} is no mirror of {self.other_id}"


class Matter(models.TextChoices):
    """What text and drawing disagree about."""

    HAND = "hand", _("hand")
    SIZE = "size", _("size")
    COUNT = "count", _("count")
    POSITION = "position", _("position")
    OTHER = "other", _("other")


class Conflict(models.Model):
    """That text and drawing of the plans disagree, with both readings. What rests on it is held until it is settled."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="conflicts")
    project = models.ForeignKey(Project, on_delete=models.PROTECT, related_name="conflicts")
    title = models.CharField(max_length=200)
    kind = models.CharField(max_length=8, choices=Matter)
    text_says = models.CharField(max_length=400)
    text_where = models.CharField(max_length=200)
    drawing_says = models.CharField(max_length=400)
    drawing_where = models.CharField(max_length=200)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="conflicts")
    at = models.DateTimeField(default=timezone.now)
    key = models.UUIDField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="conflict_key_once"),
            models.CheckConstraint(condition=models.Q(kind__in=Matter.values), name="conflict_kind_known"),
        ]

    def __str__(self) -> str:
        """What it is about."""
        return self.title


class ConflictStep(models.Model):
    """A step that rests on a conflict."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="conflict_steps")
    conflict = models.ForeignKey(Conflict, on_delete=models.CASCADE, related_name="steps")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="conflicts")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["conflict", "step"], name="conflict_step_once")]

    def __str__(self) -> str:
        """Which step."""
        return f"{self.step_id} rests on conflict {self.conflict_id}"


class ConflictItem(models.Model):
    """An item that rests on a conflict: so does each step of its project that calls it out."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="conflict_items")
    conflict = models.ForeignKey(Conflict, on_delete=models.CASCADE, related_name="items")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="conflicts")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["conflict", "item"], name="conflict_item_once")]

    def __str__(self) -> str:
        """Which item."""
        return f"{self.item_id} rests on conflict {self.conflict_id}"


class MakerAnswer(models.Model):
    """What the maker of the plans answered, and where that can be looked up. A later answer stands beside the earlier one."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="conflict_answers")
    conflict = models.ForeignKey(Conflict, on_delete=models.CASCADE, related_name="answers")
    text = models.CharField(max_length=600)
    on = models.DateField()
    reference = models.CharField(max_length=200)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    key = models.UUIDField(null=True, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["workshop", "key"], name="conflict_answer_key_once")]

    def __str__(self) -> str:
        """When, and to what."""
        return f"answer of {self.on} to {self.conflict_id}"


class Settlement(models.Model):
    """Which side of a conflict turned out right, who decided it and when. Reopened it stays, as the record that it was."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="settlements")
    conflict = models.ForeignKey(Conflict, on_delete=models.CASCADE, related_name="settlements")
    right = models.CharField(max_length=7, choices=[(one.value, one.value) for one in Source])
    note = models.CharField(max_length=400, blank=True)
    on = models.DateField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="settlements")
    at = models.DateTimeField(default=timezone.now)
    reopened_at = models.DateTimeField(null=True, blank=True)
    reopened_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reopened_why = models.CharField(max_length=400, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["conflict"], condition=models.Q(reopened_at=None), name="conflict_settled_once"),
            models.CheckConstraint(condition=models.Q(right__in=[one.value for one in Source]), name="settlement_side_known"),
            models.CheckConstraint(
                condition=models.Q(reopened_at=None, reopened_by=None) | models.Q(reopened_at__isnull=False, reopened_by__isnull=False),
                name="settlement_reopened_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """Which side, when."""
        return f"{self.right} on {self.on}"


class Assembly(models.Model):
    """Pieces that are drilled together, and so fit only each other."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="assemblies")
    project = models.ForeignKey(Project, on_delete=models.PROTECT, related_name="assemblies")
    name = models.CharField(max_length=120)
    note = models.CharField(max_length=400, blank=True)
    key = models.UUIDField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("project", Upper("name"), name="assembly_name_unique"),
            models.UniqueConstraint(fields=["workshop", "key"], name="assembly_key_once"),
        ]

    def __str__(self) -> str:
        """Its name."""
        return self.name


class AssemblyStep(models.Model):
    """A step in which an assembly is put together, drilled, taken apart or closed for good."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="assembly_steps")
    assembly = models.ForeignKey(Assembly, on_delete=models.CASCADE, related_name="steps")
    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="assemblies")
    phase = models.CharField(max_length=11, choices=[(one.value, one.value) for one in Phases])

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["assembly", "step", "phase"], name="assembly_step_once_a_phase"),
            models.CheckConstraint(condition=models.Q(phase__in=[one.value for one in Phases]), name="assembly_phase_known"),
        ]

    def __str__(self) -> str:
        """Which step, for what."""
        return f"{self.phase} of {self.assembly_id} in {self.step_id}"


class Position(models.Model):
    """A numbered place of one part in an assembly. Parts of one number are drilled together: skin 7 with stiffener 7."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="positions")
    assembly = models.ForeignKey(Assembly, on_delete=models.CASCADE, related_name="positions")
    number = models.PositiveSmallIntegerField()
    part = models.CharField(max_length=60)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="positions")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("assembly", "number", Upper("part"), name="position_once"),
            models.CheckConstraint(condition=models.Q(number__gt=0), name="position_number_positive"),
        ]

    def __str__(self) -> str:
        """As people say it: skin 7."""
        return f"{self.part} {self.number}"


class Mark(models.Model):
    """A piece that was marked for a position, by its lot or in words. `serial` counts the pieces of a position: 0 is `7`, 1 is `7b`.

    Ended it stays: its mark is never given to another piece.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="marks")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="marks")
    serial = models.PositiveSmallIntegerField()
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="marks")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="marks")
    words = models.CharField("the piece in words", max_length=200, blank=True)
    reason = models.CharField("why it is here", max_length=300, blank=True)
    came_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="went_to")
    on = models.DateField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="marks")
    at = models.DateTimeField(default=timezone.now)
    ended_on = models.DateField(null=True, blank=True)
    ended_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    ended_why = models.CharField(max_length=300, blank=True)
    key = models.UUIDField(null=True, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["position", "serial"], name="mark_never_reused"),
            models.UniqueConstraint(fields=["position"], condition=models.Q(ended_on=None), name="position_marked_once"),
            models.UniqueConstraint(fields=["workshop", "key"], name="mark_key_once"),
            models.CheckConstraint(
                condition=models.Q(ended_on=None, ended_by=None) | models.Q(ended_on__isnull=False, ended_by__isnull=False),
                name="mark_ended_by_somebody",
            ),
            models.CheckConstraint(condition=models.Q(lot__isnull=False) | ~models.Q(words=""), name="mark_names_a_piece"),
        ]

    def __str__(self) -> str:
        """Which piece of which position."""
        return f"piece {self.serial} of {self.position_id}"


class Deed(models.TextChoices):
    """What was done to a marked piece."""

    MARKED = "marked", _("marked")
    TOGETHER = "together", _("put together")
    DRILLED = "drilled", _("drilled")
    APART = "apart", _("taken apart")
    DEBURRED = "deburred", _("deburred")
    ENDED = "ended", _("replaced")


class MarkEvent(models.Model):
    """What was done to a marked piece, append-only: triggers refuse to change or delete it. `mates` are the marks it was drilled with."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="mark_events")
    mark = models.ForeignKey(Mark, on_delete=models.PROTECT, related_name="events")
    deed = models.CharField(max_length=8, choices=Deed)
    mates = models.CharField(max_length=400, blank=True)
    drill = models.CharField(max_length=10, blank=True)
    final = models.BooleanField("to final size", default=False)
    note = models.CharField(max_length=300, blank=True)
    on = models.DateField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="mark_events")
    at = models.DateTimeField(default=timezone.now)
    key = models.UUIDField(null=True, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["mark", "key"], name="mark_event_key_once"),
            models.CheckConstraint(condition=models.Q(deed__in=Deed.values), name="mark_event_deed_known"),
            models.CheckConstraint(condition=models.Q(final=False) | models.Q(deed="drilled"), name="mark_event_final_when_drilled"),
        ]

    def __str__(self) -> str:
        """What, to which."""
        return f"{self.mark_id} {self.deed}"
