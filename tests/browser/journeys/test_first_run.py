"""From an empty workshop to the first order sheet: a catalogue and a plan of other column names, and what is short."""

from buildplan.models import Step
from tests import factories

CATALOGUE = "Part No.,Description,Type,UoM\nMS20470AD4-6,Universal rivet,rivet,ea\n"
STEPS = "Step,Section,Title,Planned\nF1,Floats,Rivet the bottom,today+20\n"
NEEDS = "Step,Part,Qty\nF1,MS20470AD4-6,240\n"


def furnish(workshop):
    factories.BenchFactory(workshop=workshop)
    return factories.MemberFactory(workshop=workshop, role="owner", name="Ada")


def first_run(hands):
    hands.start()
    hands.follow("First steps")
    hands.at("First steps")
    hands.sees("0 of 7 done")
    hands.follow("Load a catalogue")
    hands.give("File", ("parts.csv", CATALOGUE))
    hands.press("Go on")
    hands.sees("It can be loaded")
    hands.press("Load it")
    hands.sees("parts.csv is loaded")

    hands.follow("First steps")
    hands.at("First steps")
    hands.follow("Load a plan")
    hands.give("Files", ("steps.csv", STEPS), ("needs.csv", NEEDS))
    hands.write("Project", "TERN-1")
    hands.press("Go on")
    hands.sees("It can be loaded")
    hands.press("Load it")
    hands.sees("is loaded")
    hands.follow("What is short: the order sheet")
    hands.at("Order sheet of")
    hands.sees("MS20470AD4-6", "240 ea")


def check(workshop):
    assert Step.objects.get().project.code == "TERN-1"


def test_first_run_leads_from_nothing_to_an_order_sheet(each_way):
    each_way(furnish, first_run, check)
