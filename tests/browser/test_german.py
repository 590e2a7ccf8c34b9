"""German is longer than English: Tonight and the order sheet still fit a phone, and everyone can use them."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from inventory.workshop import reading
from tests import factories

pytestmark = pytest.mark.alike


def test_german_fits_a_phone_on_tonight_and_the_order_sheet(page, live_server, signed_in, owner, workshop, project, axe):
    reading.set_own(member=owner, by=owner, language="de", dates="day_first")
    item = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Universalniet")
    step = factories.StepFactory(project=project, code="F3-05", title="Kiel vernieten", planned_on=timezone.localdate() + timedelta(9))
    factories.CallOutFactory(step=step, item=item, quantity=120)
    factories.StepFactory(project=project, code="F3-06", title="Spant setzen", after=[step])
    signed_in(owner)

    for name, args, title in (("home", [], "Heute Abend"), ("order-sheet", [project.code], "Bestellliste von")):
        page.goto(live_server.url + reverse(name, args=args))
        expect(page.locator("h1")).to_contain_text(title)
        expect(page.locator("html")).to_have_attribute("lang", "de")
        axe(page)
