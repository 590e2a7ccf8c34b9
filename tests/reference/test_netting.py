"""Published planning cases, netted by our rules.

Source of both: J. Orlicky, Material Requirements Planning, McGraw-Hill, 1975.
"""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from buildplan.shortfall.calc import ItemFacts, Need, Supply, net
from inventory.stock.calc import LifeRule

START = date(2027, 1, 4)
ITEM = ItemFacts(1, "A", "an item", "ea", False, None, None, LifeRule())


def period(number):
    return START + timedelta(weeks=number)


def need(number, quantity):
    return Need(period(number), (0, number), number, f"period {number}", Decimal(quantity), "as planned", "", "call-out")


def on_hand(quantity):
    return Supply(1, "stock", Decimal(quantity), None, None)


def short(needs, supplies):
    return net(ITEM, needs, supplies, as_of=START, receiving_days=0).short


GROSS = {2: 20, 4: 25, 6: 15, 7: 12}  # periods 1 to 8: 0 20 0 25 0 15 12 0
RECEIPT = Supply(-1, "", Decimal(30), period(3), None, crate="receipt")


@pytest.mark.parametrize(
    ("until", "missing"),
    [(1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, 7), (7, 7 + 12), (8, 7 + 12)],
)
def test_orlicky_net_requirements_by_period(until, missing):
    """Figures 7-2 to 7-7: on hand 23, receipt of 30 in period 3 -> net 7 in period 6 and 12 in period 7."""
    needs = [need(number, quantity) for number, quantity in GROSS.items() if number <= until]
    assert (short(needs, [on_hand(23), RECEIPT]) if needs else 0) == missing


def test_orlicky_first_short_period():
    """The same figures: the first net requirement stands in period 6."""
    found = net(ITEM, [need(*row) for row in GROSS.items()], [on_hand(23), RECEIPT], as_of=START, receiving_days=0)
    assert found.first_short == period(6)


def test_orlicky_hundred_trucks():
    """Page 105: 100 trucks, on hand A 2, B 15, C 7, D 46 down one chain -> net 98, 83, 76, 30 (not 54).

    We keep no product structure: four nettings are chained, each one's shortage the next one's need.
    """
    wanted, nets = Decimal(100), []
    for there in (2, 15, 7, 46):
        wanted = short([need(1, wanted)], [on_hand(there)])
        nets.append(int(wanted))
    assert nets == [98, 83, 76, 30]


def test_first_expired_first_out_loses_nothing_where_a_need_may_be_split():
    """Lots A days 0-5 holding 2, B days 0-9 holding 1; needs day 1 of 1, day 2 of 2 (computed): split over both lots, all 3 are met."""
    lots = [on_hand(2)._replace(code="A"), on_hand(1)._replace(key=2, code="B")]
    assert short([need(1, 1), need(2, 2)], lots) == 0
