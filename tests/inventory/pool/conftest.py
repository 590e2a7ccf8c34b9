"""A pool: clecos in a tub and a squeezer, three people, and what they say."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from inventory.pool import services
from tests import factories
from tests.factories import DAY

NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


def day(number):
    return DAY + timedelta(days=number)


@pytest.fixture
def tub(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Hangar/Tub 3")


@pytest.fixture
def clecos(shared_bench, workshop, tub):
    """Forty of one size, in one lot."""
    item = factories.ItemFactory(workshop=workshop, code="CLECO-1/8", kind="cleco")
    lot = factories.LotFactory(bench=shared_bench, item=item, code="")
    factories.stock(lot, 40, place=tub)
    return lot


@pytest.fixture
def squeezers(shared_bench, workshop):
    return factories.ItemFactory(workshop=workshop, code="SQUEEZER", kind="tool")


@pytest.fixture
def make_thing(shared_bench, squeezers, tub, storekeeper):
    def make_thing(serial, **more):
        lot = factories.LotFactory(bench=shared_bench, item=squeezers, code=serial)
        factories.stock(lot, 1, place=tub)
        return services.add_thing(lot=lot, serial=serial, by=storekeeper, today=DAY, **more)

    return make_thing


@pytest.fixture
def squeezer(make_thing):
    return make_thing("SN-1")


@pytest.fixture
def people(workshop):
    return [factories.MemberFactory(workshop=workshop, name=name, role="builder") for name in ("Ann", "Bea", "Cy")]


@pytest.fixture
def lend(tub):
    def lend(lot, quantity, member, **more):
        said = {"on": DAY, "by": member, "now": NOW, "key": uuid4(), "place": tub, **more}
        return services.lend(lot=lot, quantity=Decimal(quantity), member=member, **said)

    return lend


@pytest.fixture
def take_in():
    def take_in(loan, quantity, kind="returned", **more):
        said = {"on": DAY, "by": loan.member, "now": NOW, "key": uuid4(), **more}
        return services.take_in(loan=loan, kind=kind, quantity=Decimal(quantity), **said)

    return take_in


@pytest.fixture
def book():
    def book(item, quantity, member, first=0, last=None, **more):
        said = {"by": member, "today": DAY, "now": NOW, "key": uuid4(), **more}
        days = {"first_day": day(first), "last_day": day(first if last is None else last)}
        return services.book(item=item, quantity=Decimal(quantity), member=member, **days, **said)

    return book


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector")
