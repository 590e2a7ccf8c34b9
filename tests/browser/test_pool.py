"""The pool on a phone."""

import pytest
from playwright.sync_api import expect

from inventory.models import Loan
from tests.pool import tub

pytestmark = pytest.mark.django_db(transaction=True)


def test_clecos_are_lent_by_phone_and_returned_in_part(page, live_server, signed_in, axe, shared_bench, drawer, storekeeper, builder):
    tub(shared_bench, drawer, storekeeper)
    signed_in(builder)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}/pool/")
    axe(page)

    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("link", name="Lend CLECO-3/32").click()
    page.get_by_label("How much").fill("40")
    axe(page)
    page.get_by_role("button", name="Lend it").click()
    expect(page.get_by_text(f"40 ea of CLECO-3/32 lent to {builder.name}")).to_be_visible()
    page.set_viewport_size({"width": 390, "height": 844})

    page.get_by_label("How much").fill("41")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("40 ea are still out")).to_be_visible()
    page.get_by_label("How much").fill("25")
    page.get_by_text("Condition, photo, note").click()
    page.get_by_label("Condition when it came back").fill("two bent")
    page.get_by_role("button", name="Write it down").click()

    expect(page.get_by_text("25 ea back in Hangar/Rack 1/Drawer 3")).to_be_visible()
    expect(page.get_by_text("15 ea of 40", exact=True)).to_be_visible()
    axe(page)
    assert Loan.objects.get().open == 15
