"""From a short crate to the answer of its claim, as a storekeeper meets it."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.claims import services
from inventory.models import Bag, Claim, Crate
from inventory.tallying import services as tallying
from tests import factories

pytestmark = pytest.mark.alike


@pytest.fixture
def crate(bench, workshop, storekeeper):
    """Bag 7A of CRATE-7 lacks 2 of 10, and 1 of it is damaged."""
    today, now = timezone.localdate(), datetime.now(UTC)
    crate = factories.CrateFactory(bench=bench, code="CRATE-7", arrived_on=today)
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    line = factories.PackingLineFactory(crate=crate, bag=bag, number="1", item=factories.ItemFactory(workshop=workshop, code="RIB-3"))
    for quantity, finding in ((7, "good"), (1, "damaged")):
        tallying.tally(crate=crate, bag=bag, line=line, quantity=Decimal(quantity), finding=finding, at=now, by=storekeeper)
    tallying.finish_bag(bag=bag, on=today, by=storekeeper)
    return crate


def test_claim_from_the_crate_to_the_answer(page, live_server, signed_in, axe, storekeeper, crate):
    signed_in(storekeeper)
    page.goto(live_server.url + reverse("crate", args=[crate.pk]))
    page.get_by_role("link", name="Details").click()
    axe(page)
    page.get_by_label("Sender").fill("Kit Works")
    page.get_by_label("Carrier").fill("Marsh Freight")
    page.get_by_role("button", name="Save the details").click()
    page.get_by_text("Kit Works is new among the senders").wait_for()
    page.get_by_text("no clock known").first.wait_for()
    axe(page)

    page.get_by_role("link", name="set it").first.click()
    page.get_by_label("For", exact=True).select_option("shortage")
    page.get_by_label("Days after arrival").fill("ten")
    page.get_by_role("button", name="Set this clock").click()
    page.get_by_text("Enter a whole number").wait_for()
    axe(page)
    page.get_by_label("Days after arrival").fill("10")
    page.get_by_label("Where this is written").fill("terms of sale, 7")
    page.get_by_role("button", name="Set this clock").click()
    page.get_by_text("The clock for shortage is set.").wait_for()
    axe(page)
    page.get_by_role("link", name="All senders").click()
    axe(page)

    page.goto(live_server.url + reverse("projects"))
    page.get_by_text("10 days left").wait_for()
    axe(page)
    page.get_by_role("link", name="CRATE-7, shortage").click()
    axe(page)
    page.get_by_label("Claim", exact=True).nth(1).fill("0")
    page.get_by_role("button", name="Draft the claims").click()
    page.get_by_text("1 claim is drafted").wait_for()
    axe(page)

    page.get_by_role("link", name="CRATE-7, shortage").last.click()
    page.get_by_text("listed 10 ea, found good 7 ea, found damaged 1 ea, claimed 2 ea").wait_for()
    axe(page)
    with page.context.expect_page() as opened:
        page.get_by_role("link", name="Letter as PDF").click(modifiers=["Control"])
    opened.value.close()
    page.get_by_role("button", name="Mark as sent").click()
    page.get_by_text("The letter as it was sent").wait_for()
    page.get_by_label("Answer", exact=True).select_option("replaced")
    page.get_by_label("Replacement due").fill(str(timezone.localdate()))
    axe(page)
    page.get_by_role("button", name="Save the answer").click()
    page.get_by_role("link", name="CRATE-7/R1").wait_for()
    axe(page)

    assert Claim.objects.get().state == "replaced"
    assert Crate.objects.filter(code="CRATE-7/R1").exists()


def test_empty_lists_and_a_list_of_claims_are_for_everyone(page, live_server, signed_in, axe, reader, crate, storekeeper):
    signed_in(reader)
    for name in ("claims", "senders"):
        page.goto(live_server.url + reverse(name))
        axe(page)

    services.set_sender(crate=crate, sender=services.save_sender(name="Kit Works", by=storekeeper), by=storekeeper)
    services.draft_claims(crate=crate, on=timezone.localdate(), by=storekeeper)
    page.goto(live_server.url + reverse("claims"))
    page.get_by_text("draft", exact=True).first.wait_for()
    axe(page)
