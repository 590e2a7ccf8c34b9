"""Tonight on a phone, by keyboard alone: from the evening's minutes to the pick list."""

from decimal import Decimal

from django.urls import reverse
from playwright.sync_api import expect

from tests import factories


def test_evening_from_minutes_to_ticked_pick_list(page, live_server, signed_in, workshop, bench, project, axe):
    item = factories.ItemFactory(workshop=workshop, code="RIVET", name="Rivet")
    drawer = factories.PlaceFactory(workshop=workshop, path="Hangar/Drawer 3")
    factories.stock(factories.LotFactory(bench=bench, item=item, code="R-1"), 100, drawer)
    short = factories.StepFactory(project=project, code="F2", title="Rivet the doubler", minutes=60)
    long = factories.StepFactory(project=project, code="F3", title="Rivet the skin", minutes=240, after=[short])
    for step in (short, long):
        factories.CallOutFactory(step=step, item=item, quantity=Decimal(80))
    signed_in(factories.MemberFactory(workshop=workshop, role="reader", name="Ada"))
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(live_server.url + reverse("home"))
    expect(page.get_by_role("link", name="Tonight", exact=True)).to_have_attribute("aria-current", "page")

    page.get_by_label("Minutes").focus()
    page.keyboard.type("90")
    page.keyboard.press("Enter")
    page.wait_for_url("**/?minutes=90**")
    expect(page.locator("main")).to_contain_text("in 90 minutes")
    expect(page.locator("main")).to_contain_text("takes 240 minutes, you have 90")
    page.get_by_text("Takes 1 thing").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Hangar/Drawer 3", exact=True)).to_be_visible()
    axe(page)

    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("button", name="Pick list of the ticked steps").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Pick list")).to_be_visible()
    page.get_by_role("checkbox").focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Keep my ticks in the address").focus()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text("1 ticked off")
    expect(page.get_by_role("checkbox")).to_be_checked()
    axe(page)
