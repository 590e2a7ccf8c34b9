"""Closing a section up: its list, who ticked what, the closings themselves; and leak tests with their readings."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone
from simple_history.models import HistoricalRecords

from buildplan.closeup.starting import CODES
from buildplan.closeup.units import PRESSURES, SCALES
from buildplan.plan.models import Section
from inventory.common.fields import FractionField
from inventory.models import Member, Workshop
from inventory.workshop.scoping import WorkshopManager

UNITS = [(name, name) for name in PRESSURES]
DEGREES = [(name, name) for name in SCALES]


class GatePoint(models.Model):
    """A point of a section's list. A section without any has the starting list, of which `code` names the points.

    A point that was taken off the list stays, for who ticked it once.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="gate_points")
    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="gate_points")
    code = models.CharField(max_length=12, blank=True)
    text = models.CharField(max_length=200)
    position = models.PositiveSmallIntegerField()
    dropped_at = models.DateTimeField(null=True, blank=True)
    dropped_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["section", "code"], condition=models.Q(dropped_at=None) & ~models.Q(code=""), name="gate_point_code_once"
            ),
            models.UniqueConstraint("section", Upper("text"), condition=models.Q(dropped_at=None), name="gate_point_text_once"),
            models.CheckConstraint(condition=models.Q(code__in=["", *CODES]), name="gate_point_code_known"),
            models.CheckConstraint(
                condition=models.Q(dropped_at=None, dropped_by=None) | models.Q(dropped_at__isnull=False, dropped_by__isnull=False),
                name="gate_point_dropped_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """What must be true."""
        return self.text

    @property
    def name(self) -> str:
        """How forms and programs name it: by its code, else by its id."""
        return self.code or str(self.pk)


class GateTick(models.Model):
    """That somebody says a point is so. `said` is what the program knew of it then. Taken off it stays, as the record that it was."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="gate_ticks")
    point = models.ForeignKey(GatePoint, on_delete=models.PROTECT, related_name="ticks")
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="gate_ticks")
    at = models.DateTimeField(default=timezone.now)
    said = models.CharField("what the program knew", max_length=400, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["point"], condition=models.Q(withdrawn_at=None), name="gate_tick_once_a_point"),
            models.CheckConstraint(
                condition=models.Q(withdrawn_at=None, withdrawn_by=None) | models.Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False),
                name="gate_tick_withdrawn_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        """Which point, when."""
        return f"{self.point_id} on {self.at:%Y-%m-%d}"


class Closing(models.Model):
    """That a section was closed up. `kept` is its list as it was then, which no later change of the list alters.

    Opened again it stays, with the reason. While it stands, `Section.closed_at` says so to the slices below.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="closings")
    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="closings")
    key = models.UUIDField()
    kept = models.JSONField()
    note = models.CharField(max_length=400, blank=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="closings")
    at = models.DateTimeField(default=timezone.now)
    reopened_at = models.DateTimeField(null=True, blank=True)
    reopened_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reopened_why = models.CharField(max_length=400, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="closing_key_once"),
            models.UniqueConstraint(fields=["section"], condition=models.Q(reopened_at=None), name="closing_once_a_section"),
            models.CheckConstraint(
                condition=models.Q(reopened_at=None, reopened_by=None)
                | (models.Q(reopened_at__isnull=False, reopened_by__isnull=False) & ~models.Q(reopened_why="")),
                name="closing_reopened_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        """Which section, when."""
        return f"{self.section_id} on {self.at:%Y-%m-%d}"


class LeakTest(models.Model):
    """A test of a tank of a section, and what its kit maker allows, as somebody entered it; sizes as written, in their units.

    `pressure` is the one that the kit maker's instructions name. Nothing here is ever filled in by the program.
    """

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="leak_tests")
    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="leak_tests")
    key = models.UUIDField()
    name = models.CharField("what is tested", max_length=120)
    pressure = FractionField("test pressure", null=True, blank=True)
    pressure_unit = models.CharField(max_length=5, choices=UNITS, blank=True)
    drop = FractionField("allowed drop", null=True, blank=True)
    drop_unit = models.CharField(max_length=5, choices=UNITS, blank=True)
    minutes = models.PositiveIntegerField("time in minutes", null=True, blank=True)
    source = models.CharField("where the kit maker says so", max_length=200, blank=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="leak_tests")
    at = models.DateTimeField(default=timezone.now)

    objects = WorkshopManager()
    history = HistoricalRecords(user_model="inventory.Member", related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="leak_test_key_once"),
            models.CheckConstraint(
                condition=models.Q(pressure=None, pressure_unit="") | (models.Q(pressure__isnull=False) & ~models.Q(pressure_unit="")),
                name="leak_test_pressure_with_its_unit",
            ),
            models.CheckConstraint(
                condition=models.Q(drop=None, drop_unit="") | (models.Q(drop__isnull=False) & ~models.Q(drop_unit="")),
                name="leak_test_drop_with_its_unit",
            ),
            models.CheckConstraint(
                condition=models.Q(pressure=None, drop=None, minutes=None) | ~models.Q(source=""), name="leak_test_limit_with_its_source"
            ),
            models.CheckConstraint(condition=models.Q(minutes=None) | models.Q(minutes__gt=0), name="leak_test_takes_time"),
        ]

    def __str__(self) -> str:
        """What is tested."""
        return self.name


class LeakReading(models.Model):
    """What was read at one moment of a leak test, as written. A mistaken one is struck out and stays."""

    workshop = models.ForeignKey(Workshop, on_delete=models.PROTECT, related_name="leak_readings")
    test = models.ForeignKey(LeakTest, on_delete=models.PROTECT, related_name="readings")
    key = models.UUIDField()
    at = models.DateTimeField("read at")
    pressure = FractionField()
    pressure_unit = models.CharField(max_length=5, choices=UNITS)
    temperature = FractionField()
    temperature_unit = models.CharField(max_length=1, choices=DEGREES)
    barometer = FractionField()
    barometer_unit = models.CharField(max_length=5, choices=UNITS)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="leak_readings")
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    struck_why = models.CharField(max_length=200, blank=True)

    objects = WorkshopManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["workshop", "key"], name="leak_reading_key_once"),
            models.CheckConstraint(condition=models.Q(temperature_unit__in=SCALES), name="leak_reading_scale_known"),
            models.CheckConstraint(
                condition=models.Q(pressure_unit__in=list(PRESSURES), barometer_unit__in=list(PRESSURES)), name="leak_reading_units_known"
            ),
            models.CheckConstraint(
                condition=models.Q(struck_at=None, struck_by=None)
                | (models.Q(struck_at__isnull=False, struck_by__isnull=False) & ~models.Q(struck_why="")),
                name="leak_reading_struck_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        """Of which test, when."""
        return f"{self.test_id} at {self.at}"
