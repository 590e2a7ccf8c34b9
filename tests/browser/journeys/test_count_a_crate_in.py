"""A crate comes: its bags are counted, put away, and counting ends with what is short."""

from decimal import Decimal

from inventory.models import Crate
from inventory.receiving.services import LineData, load_lines
from inventory.stock.queries import ledger_errors
from inventory.tallying.queries import receipt
from tests import factories

LISTED = [("7", "1", "MS20470AD4-6", 20), ("7/A", "2", "SPAR", 2)]


def furnish(workshop):
    """Bag 7 with rivets, and in it bag A with spars."""
    keeper = factories.MemberFactory(workshop=workshop, role="storekeeper")
    crate = factories.CrateFactory(bench=factories.BenchFactory(workshop=workshop), code="CRATE-7", printed_lines=2)
    items = {code: factories.ItemFactory(workshop=workshop, code=code).pk for _, _, code, _ in LISTED}
    load_lines(crate=crate, lines=[LineData(bag, number, items[code], Decimal(count)) for bag, number, code, count in LISTED], by=keeper)
    return keeper


def count_a_crate_in(hands):
    hands.start()
    hands.follow("Crates", exact=True)
    hands.at("Crates on their way")
    hands.follow("Count CRATE-7")
    hands.at("Count crate CRATE-7")
    hands.press("It arrived")
    hands.sees("the days to claim run from then")

    hands.follow("Bag 7", exact=True)
    hands.at("Bag 7")
    hands.press("All 20 here")
    hands.sees("20 counted, all found")
    hands.press("\N{MINUS SIGN}1")
    hands.sees("19 counted, 1 to find")
    hands.follow("Bag 7/A")
    hands.at("Bag 7/A")
    hands.press("All 2 here")
    hands.sees("2 counted, all found")
    hands.press("Bag 7/A is counted")
    hands.at("Count crate CRATE-7")

    hands.follow("Bag 7", exact=True)
    hands.at("Bag 7")
    hands.press("Bag 7 is counted")
    hands.at("Count crate CRATE-7")
    hands.follow("Put away all that is counted")
    hands.write("Into place", "Hangar/Rack 2")
    hands.press("Put away", exact=True)
    hands.sees("are in Hangar/Rack 2 now")
    hands.follow("Differences and end of counting")
    hands.sees("1 ea short")
    hands.press("Close counting")
    hands.at("Receipt of CRATE-7")


def check(workshop):
    assert (receipt(Crate.objects.get()).good, ledger_errors()) == (21, [])


def test_a_crate_is_counted_put_away_and_closed(each_way):
    each_way(furnish, count_a_crate_in, check)
