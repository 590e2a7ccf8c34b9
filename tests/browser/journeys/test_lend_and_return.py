"""Clecos of the pool go out, and come back in two parts."""

from inventory.models import Loan
from tests import factories, pool


def furnish(workshop):
    bench = factories.BenchFactory(workshop=workshop, code="POOL", shared=True)
    drawer = factories.PlaceFactory(workshop=workshop, path="Hangar/Rack 1/Drawer 3")
    pool.tub(bench, drawer, factories.MemberFactory(workshop=workshop, role="storekeeper"))
    return factories.MemberFactory(workshop=workshop, role="builder", name="Ada")


def lend_and_return(hands):
    hands.start()
    hands.follow("Club", exact=True)
    hands.at("Club")
    hands.follow("The pool")
    hands.sees("200 ea")
    hands.follow("Lend CLECO-3/32")
    hands.at("Lend CLECO-3/32")
    hands.write("How much", "40")
    hands.press("Lend it")
    hands.sees("40 ea of CLECO-3/32 lent to Ada")

    hands.write("How much", "41")
    hands.press("Write it down")
    hands.sees("40 ea are still out")
    hands.write("How much", "25")
    hands.unfold("Condition, photo, note")
    hands.write("Condition when it came back", "two bent")
    hands.press("Write it down")
    hands.sees("25 ea back in Hangar/Rack 1/Drawer 3", "15 ea of 40")


def check(workshop):
    assert Loan.objects.get().open == 15


def test_clecos_are_lent_and_come_back_in_part(each_way):
    each_way(furnish, lend_and_return, check)
