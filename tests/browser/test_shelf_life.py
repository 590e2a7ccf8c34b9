"""The timeline of what dies, for everyone: light and dark, phone and desk."""

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from playwright.sync_api import expect

from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.alike


@pytest.fixture
def scene(workshop, bench, project):
    """Lots dead, dying, alive beyond the picture, and of unknown life, with steps that take them or come too late."""
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2-1/2-LONG-CODE", name="Sealant", kind="sealant", unit="g")
    place = factories.PlaceFactory(workshop=workshop, path="Hangar/Fridge/Door")
    for code, days in (("R6-WITH-A-LONG-CODE", -5), ("R7", 10), ("R8", 200), ("R9", 4000), ("R10", None)):
        dates = {} if days is None else {"expires_on": DAY + timedelta(days=days)}
        factories.stock(factories.LotFactory(bench=bench, item=sealant, code=code, **dates), 50, place)
    for code, days, grams in (("F3-04", 7, 12), ("F3-09", 21, 20)):
        step = factories.StepFactory(project=project, code=code, planned_on=DAY + timedelta(days=days))
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(grams))


def test_shelf_life_page(page, live_server, signed_in, axe, reader, scene):
    with time_machine.travel(DAY, tick=False):
        signed_in(reader)
        page.goto(f"{live_server.url}/shelf-life/")
        expect(page.get_by_role("img", name="Lots by their last usable day")).to_be_visible()
        page.get_by_text("Why").first.click()
        axe(page)


def test_order_sheet_with_two_purchases(page, live_server, signed_in, axe, reader, workshop, project):
    with time_machine.travel(DAY, tick=False):
        sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", life_months=3, lead_days=5)
        for code, days in (("F3-04", 21), ("F3-09", 120)):
            step = factories.StepFactory(project=project, code=code, planned_on=DAY + timedelta(days=days))
            factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(12))
        signed_in(reader)
        page.goto(f"{live_server.url}/projects/{project.code}/order-sheet/")
        expect(page.get_by_text("No day to buy").first).to_be_visible()
        expect(page.get_by_role("list", name="Purchases of SEAL-B2")).to_be_visible()
        axe(page)
