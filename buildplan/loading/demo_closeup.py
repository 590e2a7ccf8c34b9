"""Closing up in the demo: a practice tank whose list is almost through, with one leak test. It takes no stock."""

from datetime import date, datetime, time, timedelta
from fractions import Fraction
from uuid import UUID, uuid5

from django.utils import timezone

from buildplan.closeup import services
from buildplan.closeup.services import Measured, Read, Stated
from buildplan.closeup.starting import Fact
from buildplan.plan.models import Section
from buildplan.plan.services import Plan, PlannedStep, ensure_project, put_plan
from inventory.models import Bench, Member

NAMES = UUID("c105e000-5a17-4000-8000-000000000000")  # keys are made from it, so that making the demo again makes none
PROJECT, SECTION, BENCH, BUILDER = "PRACTICE-1", "Practice tank", "TERN", "Wren of Tern"
# Code, title, days before.
STEPS = (
    ("PT-01", "Bend the shell of the practice tank, round its edges", 68),
    ("PT-02", "Fit the ends and the filler neck", 66),
    ("PT-03", "Drill, deburr and clean", 65),
    ("PT-04", "Rivet the ends", 64),
    ("PT-05", "Leak-test the practice tank", 20),
)
TICKED = ((Fact.STEPS, 19), ("edges", 65), (Fact.CONFLICTS, 19), (Fact.MOVEMENTS, 19), (Fact.MARKS, 19), (Fact.CURES, 19), (Fact.LEAK, 19))
TANK = "Practice tank, one chamber"
LIMIT = Stated(
    TANK,
    drop=Measured(Fraction(1, 2), "inH2O"),
    minutes=30,
    source="practice sheet 4 of an invented maker: look yours up",
)
# Minutes after ten, inches of water, Celsius, hectopascals.
READINGS = (
    ("0", "20", "18.4", "1011.6"),
    ("10", "20.5", "18.8", "1011.6"),
    ("20", "20.4", "18.9", "1011.9"),
    ("30", "20.3", "19", "1012.2"),
)
BEFORE = timedelta(days=20)


def make_closeup(*, today: date) -> None:
    """All of it. Made again it is the same."""
    bench = Bench.objects.select_related("workshop").get(code=BENCH)
    builder = Member.objects.get(name=BUILDER)
    project, made = ensure_project(bench=bench, code=PROJECT, by=builder)
    if not made:
        return
    steps = [PlannedStep(code, SECTION, title, done=True, done_on=today - timedelta(days=before)) for code, title, before in STEPS]
    put_plan(project=project, plan=Plan(steps, None, frozenset({"done", "done_on"})), by=builder)
    section = Section.objects.select_related("project__bench__workshop").get(project=project)
    _leak(section, builder, today)
    for point, before in TICKED:
        services.tick(section=section, point=point, by=builder, now=_at(today - timedelta(days=before), 18))


def _leak(section: Section, by: Member, today: date) -> None:
    test = services.make_leak_test(section=section, stated=LIMIT, key=uuid5(NAMES, "test"), by=by)
    start = _at(today - BEFORE, 10)
    for minute, *figures in READINGS:
        pressure, warmth, weather = (Measured(Fraction(value), unit) for value, unit in zip(figures, ("inH2O", "C", "hPa"), strict=True))
        read = Read(start + timedelta(minutes=int(minute)), pressure, warmth, weather)
        services.add_reading(test=test, read=read, key=uuid5(NAMES, minute), by=by, now=start + timedelta(hours=1))


def _at(day: date, hour: int) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(hour)))
