"""Which bag is it in, and where does that lie? From the item's name to the shelf, and from the bag's number as well."""

from inventory.tallying.services import lay_bag
from tests import factories
from tests.factories import DAY


def furnish(workshop):
    """Rivets came in bag 7B, which lies as it is on a shelf; nobody has counted it."""
    keeper = factories.MemberFactory(workshop=workshop, role="storekeeper")
    crate = factories.CrateFactory(bench=factories.BenchFactory(workshop=workshop), code="CRATE-7", arrived_on=DAY)
    bag = factories.BagFactory(crate=crate, path="7B")
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet, universal head", kind="rivet")
    factories.PackingLineFactory(crate=crate, bag=bag, number="12", item=rivet)
    lay_bag(bag=bag, place=factories.PlaceFactory(workshop=workshop, path="Hangar/Rack 1"), by=keeper)
    return factories.MemberFactory(workshop=workshop, role="reader")


def find_a_bag(hands):
    hands.start()
    hands.find("universal head")
    hands.at("Found for")
    hands.sees("10 ea in bag 7B of CRATE-7 in Hangar/Rack 1, not counted yet")

    hands.find("7B")
    hands.at("Bag 7B")
    hands.sees("Hangar/Rack 1", "10 ea", "MS20470AD4-6")
    hands.follow("CRATE-7", exact=True)
    hands.at("CRATE-7")


def check(workshop):
    assert workshop.pk  # nothing was written: a reader looked


def test_a_bag_is_found_by_what_is_in_it_and_by_its_number(each_way):
    each_way(furnish, find_a_bag, check)
