"""A crate that came short: what claims are made of."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from inventory.claims import services
from inventory.models import Bag, Sender
from inventory.tallying import services as tallying
from tests import factories
from tests.factories import DAY

NOON = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)


@pytest.fixture
def sender(workshop):
    return Sender.objects.create(workshop=workshop, name="Kit Works", address="1 Hangar Lane\nMarsh", email="claims@kit.example")


@pytest.fixture
def crate(bench, sender):
    """Arrived on 2027-02-20."""
    facts = {"order_code": "4711", "carrier": "Marsh Freight", "arrived_on": DAY}
    return factories.CrateFactory(bench=bench, code="CRATE-7", sender=sender, **facts)


@pytest.fixture
def bag(crate, workshop):
    return Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")


@pytest.fixture
def rivets(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="rivet, universal head")


@pytest.fixture
def line(crate, bag, rivets):
    """240 rivets listed in bag 7A."""
    return factories.PackingLineFactory(crate=crate, bag=bag, item=rivets, number="12", quantity=Decimal(240), name="rivet, universal head")


@pytest.fixture
def count(crate, storekeeper):
    """Count some of a line or item in its bag."""

    def count(line=None, quantity=1, finding="good", **more):
        given = {"crate": crate, "bag": line.bag if line else None, "line": line, "at": NOON, "by": storekeeper, **more}
        return tallying.tally(quantity=Decimal(quantity), finding=finding, **given)

    return count


@pytest.fixture
def short(line, bag, count, storekeeper):
    """200 of the 240 found good, 3 damaged: 37 are missing once the bag is counted."""
    count(line, 200)
    count(line, 3, "damaged")
    tallying.finish_bag(bag=bag, on=DAY, by=storekeeper)
    return line


@pytest.fixture
def clock(sender, storekeeper):
    """Set a claim clock of the sender."""

    def clock(fault="shortage", days=10, **more):
        return services.save_rule(sender=sender, fault=fault, days=days, by=storekeeper, **more)

    return clock


@pytest.fixture
def drafts(crate, short, storekeeper):
    """The claims of a short crate, by fault."""
    return {claim.fault: claim for claim in services.draft_claims(crate=crate, on=DAY, by=storekeeper)}


@pytest.fixture
def sent(drafts, storekeeper):
    """The shortage, claimed and sent."""
    return services.send_claim(claim=drafts["shortage"], on=DAY, by=storekeeper)
