"""An evening: how long it is, what can be done, the walk through the shelves, the finished step."""

from decimal import Decimal

from buildplan.models import Step
from inventory.models import Holding
from tests import factories


def furnish(workshop):
    """A step of an hour and one of four, which comes after; both take rivets from one drawer."""
    bench = factories.BenchFactory(workshop=workshop)
    project = factories.ProjectFactory(bench=bench, code="TERN-1", name="Tern one")
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet", kind="rivet")
    factories.stock(
        factories.LotFactory(bench=bench, item=rivet, code="R7"), 100, factories.PlaceFactory(workshop=workshop, path="Hangar/Drawer 3")
    )
    factories.stock(factories.LotFactory(bench=factories.BenchFactory(workshop=workshop), item=rivet, code="R8"), 5)
    short = factories.StepFactory(project=project, code="F2", title="Rivet the doubler", minutes=60)
    long = factories.StepFactory(project=project, code="F3", title="Rivet the skin", minutes=240, after=[short])
    for step in (short, long):
        factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(80))
    return factories.MemberFactory(workshop=workshop, role="builder", name="Ada")


def an_evening(hands):
    hands.start()
    hands.at("Tonight")
    hands.write("Minutes", "90")
    hands.press("Show")
    hands.sees("in 90 minutes", "takes 240 minutes, you have 90")
    hands.unfold("Takes 1 thing")
    hands.sees("Hangar/Drawer 3")
    hands.press("Pick list of the ticked steps")

    hands.at("Pick list")
    hands.sees("Hangar/Drawer 3", "80 ea")
    hands.write("Scan what you take", "R8")
    hands.press("Tick it off")
    hands.sees("Wrong lot: this is lot R8 of MS20470AD4-6, and the list wants lot R7 in Hangar/Drawer 3")
    hands.write("Scan what you take", "R7")
    hands.press("Tick it off")
    hands.sees("MS20470AD4-6 is ticked off: 80 ea", "1 ticked off", "Ada")
    hands.follow("Finish F2")
    hands.at("F2 Rivet the doubler")
    hands.press("Done: take what is filled in")
    hands.sees("Written down by Ada")


def check(workshop):
    assert Step.objects.get(code="F2").done
    assert Holding.objects.get(lot__code="R7", place__end="storage").quantity == 20  # taken once: ticks move nothing


def test_an_evening_goes_from_its_minutes_to_a_finished_step(each_way):
    each_way(furnish, an_evening, check)
