"""A crate with nested bags, counted by our members."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django_scopes import scopes_disabled

from inventory.models import Bag, Crate, PackingLine
from inventory.receiving.services import LineData, load_lines
from inventory.shelflife.calc import StatedDate
from inventory.tallying import services
from tests import factories

MAY = StatedDate(date(2027, 5, 31), "month")
LISTED = [("7", "1", "MS20470AD4-6", 20), ("7/A", "2", "MS20470AD4-7", 50), ("7/A", "3", "SPAR", 2), ("8", "4", "SEAL-B2", 500)]
NINE = datetime(2027, 2, 20, 9, tzinfo=UTC)


@pytest.fixture
def minute():
    """An instant so many minutes after nine."""
    return lambda number: NINE + timedelta(minutes=number)


@pytest.fixture
def items(workshop):
    kinds = {"MS20470AD4-6": ("rivet", "ea"), "MS20470AD4-7": ("rivet", "ea"), "SPAR": ("part", "ea"), "SEAL-B2": ("sealant", "g")}
    return {code: factories.ItemFactory(workshop=workshop, code=code, kind=kind, unit=unit) for code, (kind, unit) in kinds.items()}


@pytest.fixture
def crate(bench, items, storekeeper):
    """Bag 7 with 20 rivets, in it bag A with 50 others and 2 spars; bag 8 with 500 g of sealant that states a lot."""
    crate = factories.CrateFactory(bench=bench, code="CRATE-7", due_on=date(2027, 3, 1))
    data = [LineData(bag, number, items[code].pk, Decimal(quantity)) for bag, number, code, quantity in LISTED[:-1]]
    bag, number, code, quantity = LISTED[-1]
    data.append(LineData(bag, number, items[code].pk, Decimal(quantity), lot_code="S9", expires=MAY))
    load_lines(crate=crate, lines=data, by=storekeeper)
    return Crate.objects.select_related("bench").get(pk=crate.pk)


@pytest.fixture
def bags(crate):
    return {bag.path: bag for bag in Bag.objects.filter(crate=crate).select_related("crate__bench")}


@pytest.fixture
def lines(crate):
    found = PackingLine.objects.filter(crate=crate).select_related("crate__bench", "item", "bag")
    return {line.number: line for line in found}


@pytest.fixture
def count(crate, bags, items, builder):
    """Count some of an item in a bag."""

    def count(code, quantity, bag="7", **said):
        where = bags[bag] if bag else None
        return services.tally(
            **{"crate": crate, "bag": where, "item": items[code], "quantity": Decimal(quantity), "at": NINE, "by": builder, **said}
        )

    return count


@pytest.fixture
def foreign(outsider):
    """The outsider's crate with a line."""
    with scopes_disabled():
        return PackingLine.objects.select_related("crate__bench", "item").get(workshop=outsider)
