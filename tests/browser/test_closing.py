"""Closing a section up in a browser: from the plan over the list and a leak test to the closed section, on a phone."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled
from playwright.sync_api import expect

from buildplan.closeup.models import Closing
from buildplan.closeup.starting import START
from tests import factories

pytestmark = pytest.mark.alike


def write_reading(page, minutes_ago, gauge):
    at = timezone.localtime() - timedelta(minutes=minutes_ago)
    page.get_by_label("Read at").fill(f"{at:%Y-%m-%dT%H:%M}")
    page.get_by_label("Gauge or manometer").fill(gauge)
    page.get_by_label("Its unit").select_option("inH2O")
    page.get_by_label("Temperature of the air inside").fill("20")
    page.get_by_label("Its scale").select_option("C")
    page.get_by_label("Barometer beside it").fill("1013")
    page.get_by_label("Unit of the barometer").select_option("hPa")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("The reading is written down.")).to_be_visible()


def test_section_is_ticked_leak_tested_closed_and_opened_again_on_a_phone(page, live_server, signed_in, owner, project, axe):
    factories.StepFactory(project=project, code="K1-01", title="Fit the baffles")
    signed_in(owner)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(live_server.url + reverse("plan", args=["TERN-1"]))
    page.get_by_role("link", name="Closing up").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Closing up")
    page.get_by_role("link", name="Floats").click()

    page.locator("#point-edges").get_by_role("button").click()
    expect(page.get_by_text('"Edges and noses are rounded, holes deburred" is ticked')).to_be_visible()
    page.get_by_role("link", name="Begin a leak test").click()
    page.get_by_label("What is tested").fill("Left tank")
    page.get_by_label("Kit maker's allowed drop").fill("0.5")
    page.get_by_label("Unit of the drop").select_option("inH2O")
    page.get_by_label("In how many minutes").fill("15")
    page.get_by_label("Where the kit maker says so").fill("an invented manual, page 3")
    page.get_by_role("button", name="Begin the test").click()
    write_reading(page, 20, "27")
    write_reading(page, 5, "26.8")
    expect(page.get_by_text("within the limit entered").first).to_be_visible()
    expect(page.get_by_role("img", name="Read beside expected")).to_be_visible()
    page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true })")
    axe(page)
    page.set_viewport_size({"width": 390, "height": 844})

    page.get_by_role("navigation", name="Where this page lies").get_by_role("link", name="Floats").click()
    page.get_by_text("With 9 points not ticked").click()
    for point in START:
        if point.code != "edges":
            page.get_by_label(f'"{point.text}" is not ticked because').fill("as built")
    axe(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("button", name="Close it up").click()
    expect(page.get_by_text("Floats is closed up. Its list is kept as it was.")).to_be_visible()
    axe(page)
    page.goto(live_server.url + reverse("step", args=["TERN-1", "K1-01"]))
    page.get_by_role("link", name="Its list").click()
    page.get_by_text("Open it again", exact=True).first.click()
    page.get_by_label("Reason").fill("the vent chafes")
    page.get_by_role("button", name="Open it again").click()
    expect(page.get_by_text("Every point is to be ticked anew.")).to_be_visible()
    with scopes_disabled():
        assert Closing.objects.get().reopened_why == "the vent chafes"
