"""Traces and notices in a browser: a notice is written on a phone, looked for, looked at, and the lot put into quarantine."""

from decimal import Decimal

import pytest
from django.urls import reverse
from django_scopes import scope
from playwright.sync_api import expect

from buildplan.models import Notice
from buildplan.records.services import Use, finish_step
from inventory.models import Lot
from inventory.stock import services as stock
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.alike


@pytest.fixture
def lot(bench, drawer, owner, project):
    """Rivets of which a step took three; others took some without a code from beside them."""
    item = factories.ItemFactory(workshop=bench.workshop, code="MS20470AD4-6", kind="rivet")
    lots = [factories.LotFactory(bench=bench, item=item, code=code) for code in ("R7", "")]
    for number, lot in enumerate(lots):
        stock.receive(lot=lot, quantity=Decimal(10), place=drawer, on=DAY, by=owner)
        step = factories.StepFactory(project=project, code=f"F3-0{number}", title="Rivet the seams")
        finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(3))], by=owner)
    return lots[0]


def test_a_notice_is_written_looked_for_and_looked_at_on_a_phone(page, live_server, signed_in, owner, lot, axe):
    signed_in(owner)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(live_server.url + reverse("lot", args=[lot.pk]))
    page.get_by_role("link", name="Where it went").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Where MS20470AD4-6, lot R7 went")
    expect(page.get_by_text("possible").first).to_be_visible()
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    axe(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("link", name="Makers' notices").click()
    page.get_by_role("link", name="Write a notice down").click()
    for label, said in (("Number of the notice", "SB-7"), ("Title", "Cracked heads"), ("Issued on", "2027-03-01")):
        page.get_by_label(label, exact=True).fill(said)
    page.get_by_label("What it says").fill("Look at each head with a lens.")
    page.get_by_label("Items").fill("MS20470AD4-6")
    page.get_by_label("Lot codes").fill("R7")
    axe(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("button", name="Write it down, and look for it").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("SB-7: Cracked heads")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    axe(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("button", name="Into quarantine").first.click()
    expect(page.get_by_text("is in quarantine: nothing takes of it.")).to_be_visible()
    page.get_by_role("link", name="Looked at").first.click()
    page.get_by_label("What you found").fill("all sound")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("That is written down.")).to_be_visible()
    page.get_by_role("button", name="Write the letters").click()
    expect(page.get_by_text("The letters are written")).to_be_visible()
    with scope(workshop=lot.workshop):
        assert Lot.objects.get(pk=lot.pk).state == "quarantined"
        letter = Notice.objects.get().letters.get().pk
    for where in ("notices", "trace"):
        page.goto(live_server.url + reverse(where))
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        axe(page)
    page.goto(live_server.url + reverse("notice-letter", args=[letter]))
    axe(page)
    page.goto(live_server.url + reverse("trace") + "?project=TERN-1")
    expect(page.get_by_role("heading", level=1)).to_contain_text("What went into")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    axe(page)
