"""Claim clocks, and what is claimed from whom."""

from typing import ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from inventory.catalogue.models import Item
from inventory.common.fields import QuantityField
from inventory.receiving.models import Crate, PackingLine, Sender
from inventory.workshop.models import Workshop
from inventory.workshop.scoping import WorkshopManager


class Fault(models.TextChoices):
    """What a claim is about."""

    SHORTAGE = "shortage", _("shortage")
    DAMAGE = "damage", _("damage seen at delivery")
    CONCEALED = "concealed", _("damage found inside")
    WRONG = "wrong", _("wrong thing")


class ClaimRule(models.Model):
    """A claim clock: how many days after arrival a fault can be claimed, and with whom. `source` is where that is written."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="claim_rules")
    sender = models.ForeignKey(Sender, on_delete=models.CASCADE, related_name="rules")
    fault = models.CharField(max_length=9, choices=Fault)
    days = models.PositiveSmallIntegerField()
    against = models.CharField("claimed from", max_length=120)
    source = models.CharField("where this is written", max_length=200, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["sender", "fault"], name="claim_rule_once"),
            models.CheckConstraint(condition=models.Q(fault__in=Fault.values), name="claim_rule_fault_known"),
        ]

    def __str__(self) -> str:
        """Its days."""
        return f"{self.fault}: {self.days} days"


class ClaimState(models.TextChoices):
    """How far a claim has come."""

    DRAFT = "draft", _("draft")
    SENT = "sent", _("sent")
    CREDITED = "credited", _("credited")
    REPLACED = "replaced", _("replaced")
    REFUSED = "refused", _("refused")


class Claim(models.Model):
    """What is claimed from one addressee for one fault of a crate.

    `letter` is the text as it was sent, `facts` the same in its parts: the PDF is made from them.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="claims")
    crate = models.ForeignKey(Crate, on_delete=models.PROTECT, related_name="claims")
    fault = models.CharField(max_length=9, choices=Fault)
    against = models.CharField("claimed from", max_length=120)
    due_on = models.DateField("last day to claim", null=True, blank=True)
    state = models.CharField(max_length=8, choices=ClaimState, default=ClaimState.DRAFT)
    made_on = models.DateField()
    sent_on = models.DateField(null=True, blank=True)
    answered_on = models.DateField(null=True, blank=True)
    answer = models.CharField(max_length=500, blank=True)
    letter = models.TextField(blank=True)
    facts = models.JSONField(default=dict, blank=True)
    request_key = models.UUIDField(null=True, blank=True)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "request_key"], name="claim_request_once"),
            models.CheckConstraint(condition=models.Q(state__in=ClaimState.values), name="claim_state_known"),
            models.CheckConstraint(condition=models.Q(fault__in=Fault.values), name="claim_fault_known"),
            models.CheckConstraint(
                condition=models.Q(state="draft", sent_on=None) | (~models.Q(state="draft") & models.Q(sent_on__isnull=False)),
                name="claim_sent_has_its_day",
            ),
            models.CheckConstraint(
                condition=models.Q(sent_on=None) | models.Q(sent_on__gte=models.F("made_on")),
                name="claim_sent_after_made",
            ),
            models.CheckConstraint(
                condition=models.Q(answered_on=None) | models.Q(answered_on__gte=models.F("sent_on")),
                name="claim_answered_after_sent",
            ),
        ]

    def __str__(self) -> str:
        """What it claims."""
        return f"{self.fault} of {self.crate}"


class ClaimLine(models.Model):
    """How much of one packing line, or of something not listed, is claimed. `replacement` is what was promised for it."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="claim_lines")
    claim = models.ForeignKey(Claim, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(PackingLine, on_delete=models.PROTECT, null=True, blank=True, related_name="claim_lines")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True, related_name="claim_lines")
    quantity = QuantityField()
    note = models.CharField(max_length=200, blank=True)
    replacement = models.OneToOneField(PackingLine, on_delete=models.PROTECT, null=True, blank=True, related_name="replaces")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [models.CheckConstraint(condition=models.Q(quantity__gt=0), name="claim_line_positive")]

    def __str__(self) -> str:
        """What it claims."""
        return f"{self.quantity} of {self.item}"
