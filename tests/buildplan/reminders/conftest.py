"""A workshop with one thing of each kind due, seen from 2027-02-20."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.urls import reverse

from inventory.models import ClaimRule, Sender
from inventory.workshop import feeds, tokens
from tests import factories
from tests.factories import DAY

NOON = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _on_the_day():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def scene(workshop, bench, project):
    """A clock until 2027-02-25, an order by 2027-03-01, a crate due on 2027-03-03, a lot that dies on 2027-03-05."""
    sender = Sender.objects.create(workshop=workshop, name="Kit Works")
    ClaimRule.objects.create(workshop=workshop, sender=sender, fault="shortage", days=5, against="sender", source="terms of sale")
    factories.CrateFactory(bench=bench, code="CRATE-7", sender=sender, arrived_on=DAY)
    factories.PackingLineFactory(
        crate=factories.CrateFactory(bench=bench, code="CRATE-8", due_on=date(2027, 3, 3)), item__workshop=workshop
    )
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", lead_days=10)
    factories.CallOutFactory(step=factories.StepFactory(project=project, code="F3-05", planned_on=date(2027, 3, 14)), item=rivet)
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL", unit="g")
    lot = factories.LotFactory(bench=bench, item=sealant, code="R7", expires_on=date(2027, 3, 5), expires_as="day")
    factories.stock(lot, "12.5", factories.PlaceFactory(workshop=workshop, path="Fridge/Door"))
    return lot


@pytest.fixture
def secret_of():
    """A new feed address of a member: its secret."""

    def secret_of(member):
        prefix = tokens.make_prefix(tokens.FEED)
        return feeds.make_feed_address(member=member, prefix=prefix, now=NOON, by=member)[1]

    return secret_of


@pytest.fixture
def address_of(secret_of):
    return lambda member: reverse("feed", args=[secret_of(member)])
