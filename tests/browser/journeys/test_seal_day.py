"""A day of sealing: planned, its lots set aside, a batch mixed, the day closed with its step done."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

from django.utils import timezone

from buildplan.models import SealDay, Step
from inventory.common.filters import day
from tests import factories


def furnish(workshop):
    """A step of 32.085 g, planned for today, and 90 g of its sealant in date."""
    today = timezone.localdate()
    bench = factories.BenchFactory(workshop=workshop)
    project = factories.ProjectFactory(bench=bench, code="TERN-1", name="Tern one")
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", name="Sealant", kind="sealant", unit="g", **known)
    step = factories.StepFactory(project=project, code="F3-04", title="Seal the keel", planned_on=today, minutes=60)
    factories.SeamFactory(step=step, sealant=sealant, code="KEEL", length=Fraction("1.15"))
    factories.stock(factories.LotFactory(bench=bench, item=sealant, code="S-1", expires_on=today + timedelta(40)), 90)
    return factories.MemberFactory(workshop=workshop, role="owner", name="Ada")


def seal_day(hands):
    hands.start()
    hands.follow("Shelf life", exact=True)
    hands.at("Shelf life")
    hands.follow("Seal days")
    hands.at("Seal days")
    hands.follow(f"Plan {day(timezone.localdate())}")
    hands.at("Plan a seal day")
    hands.write("Temperature of the metal, as expected", "72 F")
    hands.write("Grams that one person places in an hour", "60")
    hands.write("Division of the scale in grams", "0.1")
    hands.press("Plan this day")
    hands.sees("is planned")
    hands.follow("Enter what the data sheets say")
    hands.at("What the data sheets say")
    hands.write("Work life of SEAL-B2 in hours at 77 F", "2")
    hands.write("Hours until SEAL-B2 is cured", "14")
    hands.press("Save")
    hands.at("Seal day")
    hands.press("Set these lots aside")
    hands.sees("set aside for the day's steps")

    hands.follow("Mix batch 1")
    hands.at("Batch 1")
    hands.press("Mixed: write it down")
    hands.sees("When it is used up or put away")
    hands.write("Grams left over", "1.5")
    hands.press("Used up or put away")
    hands.sees("1.5 g")
    hands.follow("Close the day")
    hands.at("Close the seal day")
    hands.press("Close the day")
    hands.sees("Closed by Ada")


def check(workshop):
    assert SealDay.objects.get().closed_at
    assert Step.objects.get().done


def test_a_seal_day_is_planned_mixed_and_closed(each_way):
    each_way(furnish, seal_day, check)
