"""The pages of what was scanned."""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inventory.stock import services as stock
from tests.scans import act, scan

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def scanned(lot, drawer, item, owner):
    """One scan that was done, and a count from before another count."""
    now = timezone.now()
    moment = {"device_time": now, "place": drawer.path}
    stock.receive(lot=lot, quantity=10, place=drawer, on=now.date(), by=owner)
    act(
        owner,
        scan(item.code, "take", at=now - timedelta(minutes=2), quantity=3, **moment),
        scan(item.code, "count", at=now - timedelta(minutes=1), quantity=8, **moment),
        scan(item.code, "count", at=now - timedelta(hours=1), quantity=5, **moment),
        now=now,
    )


def test_conflict_is_settled_and_a_scan_undone(page, live_server, signed_in, axe, owner, scanned):
    signed_in(owner)
    page.goto(f"{live_server.url}/scans/")
    axe(page)
    page.get_by_role("link", name="1 scan waits for a person").click()
    axe(page)
    page.get_by_role("button", name="Let it go").click()
    expect(page.get_by_text("Nothing waits")).to_be_visible()
    page.get_by_role("link", name="All scans").click()
    page.get_by_role("button", name="Undo 3 ea").click()
    expect(page.get_by_text("Undone: 3 ea")).to_be_visible()
    axe(page)
