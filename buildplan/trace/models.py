"""What makers say of what they sold: notices, each sweep for one, what is to be looked at, and the letters to who is concerned."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from buildplan.plan.models import Step
from buildplan.trace.calc import Named, Verdict
from inventory.models import Bench, Item, Lot, Member, PackingLine, Place, Workshop
from inventory.workshop.scoping import WorkshopManager


class Notice(models.Model):
    """A maker's notice as it was written: of which items and lots, and of what was made and packed when. It decides; nothing here does.

    `codes` are the maker's lot codes that it names. No item: every lot of those codes. `key` is the form's own.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="notices")
    reference = models.CharField("the maker's number of it", max_length=80)
    maker = models.CharField(max_length=120, blank=True)
    title = models.CharField(max_length=200)
    text = models.TextField("what it says", max_length=8000)
    issued_on = models.DateField()
    codes = models.JSONField("lot codes", default=list, blank=True)
    made_from = models.DateField(null=True, blank=True)
    made_to = models.DateField(null=True, blank=True)
    packed_from = models.DateField(null=True, blank=True)
    packed_to = models.DateField(null=True, blank=True)
    note = models.CharField("a note of our own", max_length=400, blank=True)
    key = models.UUIDField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="notices")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="notice_key_once"),
            models.CheckConstraint(
                condition=Q(made_from=None) | Q(made_to=None) | Q(made_from__lte=models.F("made_to")), name="notice_made_in_order"
            ),
            models.CheckConstraint(
                condition=Q(packed_from=None) | Q(packed_to=None) | Q(packed_from__lte=models.F("packed_to")), name="notice_packed_in_order"
            ),
        ]

    def __str__(self) -> str:
        """Its number and title."""
        return f"{self.reference} {self.title}"

    @property
    def named(self) -> Named:
        """What it names, for the arithmetic."""
        return Named(tuple(self.codes), self.made_from, self.made_to, self.packed_from, self.packed_to)


class NoticeItem(models.Model):
    """An item that a notice names."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="notice_items")
    notice = models.ForeignKey(Notice, on_delete=models.CASCADE, related_name="items")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="notices")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["notice", "item"], name="notice_item_once")]

    def __str__(self) -> str:
        """Which item."""
        return f"{self.item_id} in notice {self.notice_id}"


class Sweep(models.Model):
    """That somebody looked through all benches and aeroplanes for what a notice means. `counts` is what was found then."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="sweeps")
    notice = models.ForeignKey(Notice, on_delete=models.CASCADE, related_name="sweeps")
    number = models.PositiveIntegerField()
    counts = models.JSONField(default=dict)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="sweeps")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["notice", "number"], name="sweep_once")]

    def __str__(self) -> str:
        """Which, of which notice."""
        return f"sweep {self.number} of notice {self.notice_id}"


class Where(models.TextChoices):
    """Where to look for what a notice means."""

    SHELF = "shelf", _("on the shelf")
    LENT = "lent", _("lent")
    COMING = "coming", _("on its way")
    STEP = "step", _("in a step that is done")
    CLOSED = "closed", _("closed up")
    PIECE = "piece", _("in a marked piece")
    GONE = "gone", _("used or gone, where to is not said")


VERDICTS = [(Verdict.AFFECTED.value, _("affected")), (Verdict.POSSIBLY.value, _("possibly"))]


class Task(models.Model):
    """Something to look at because of a notice: found by the sweep `first`, and by each up to `last`.

    Ticked it keeps who, when and what came of it; `ticked_as` is the verdict that was looked at. `subject` tells it from the others of its
    notice. `facts` are item, name, quantity, unit and day, as texts.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="notice_tasks")
    notice = models.ForeignKey(Notice, on_delete=models.CASCADE, related_name="tasks")
    subject = models.CharField(max_length=120)
    where = models.CharField(max_length=6, choices=Where)
    verdict = models.CharField(max_length=8, choices=VERDICTS)
    bench = models.ForeignKey(Bench, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="notice_tasks")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    step = models.ForeignKey(Step, on_delete=models.SET_NULL, null=True, blank=True, related_name="notice_tasks")
    line = models.ForeignKey(PackingLine, on_delete=models.SET_NULL, null=True, blank=True, related_name="notice_tasks")
    holder = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")  # who has it on loan
    text = models.CharField(max_length=400)
    facts = models.JSONField(default=dict)
    reasons = models.JSONField(default=list)
    first = models.ForeignKey(Sweep, on_delete=models.PROTECT, related_name="found")
    last = models.ForeignKey(Sweep, on_delete=models.PROTECT, related_name="still")
    ticked_at = models.DateTimeField(null=True, blank=True)
    ticked_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    ticked_as = models.CharField(max_length=8, choices=VERDICTS, blank=True)
    outcome = models.CharField("what came of it", max_length=300, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["notice", "subject"], name="notice_task_once"),
            models.CheckConstraint(condition=Q(where__in=Where.values), name="notice_task_where_known"),
            models.CheckConstraint(
                condition=Q(ticked_at=None, ticked_by=None, outcome="", ticked_as="")
                | (Q(ticked_at__isnull=False, ticked_by__isnull=False) & ~Q(outcome="") & ~Q(ticked_as="")),
                name="notice_task_ticked_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """What to look at."""
        return self.text


class NoticeLetter(models.Model):
    """A letter to a member whom a notice concerns, as it was written: as text, and in parts (`facts`) from which the PDF is made."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="notice_letters")
    notice = models.ForeignKey(Notice, on_delete=models.PROTECT, related_name="letters")
    sweep = models.ForeignKey(Sweep, on_delete=models.PROTECT, related_name="letters")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="notice_letters")
    text = models.TextField()
    facts = models.JSONField(default=dict)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["sweep", "member"], name="notice_letter_once_a_sweep")]

    def __str__(self) -> str:
        """To whom."""
        return f"letter to {self.member_id} of notice {self.notice_id}"
