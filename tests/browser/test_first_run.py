"""From an empty workshop to the first order sheet, on a phone: a catalogue and a plan of other column names, and what is short."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

PHONE = {"width": 390, "height": 844}
CATALOGUE = "Part No.,Description,Type,UoM\nMS20470AD4-6,Universal rivet,rivet,ea\nSEAL-B2,Tank sealant,sealant,g\n"
STEPS = "Step,Section,Title,Planned\nF1,Floats,Rivet the bottom,today+20\n"
NEEDS = "Step,Part,Qty\nF1,MS20470AD4-6,240\n"


def files(*named):
    return [{"name": name, "mimeType": "text/csv", "buffer": text.encode()} for name, text in named]


@pytest.mark.usefixtures("bench")
def test_first_run_leads_from_nothing_to_an_order_sheet(page, live_server, signed_in, axe, owner):
    page.set_viewport_size(PHONE)
    signed_in(owner)
    page.goto(live_server.url + reverse("home"))
    page.get_by_role("link", name="First steps").click()
    expect(page.get_by_text("0 of 7 done")).to_be_visible()
    axe(page)
    page.set_viewport_size(PHONE)

    page.get_by_role("link", name="Load a catalogue").click()
    page.get_by_label("File", exact=True).set_input_files(files(("parts.csv", CATALOGUE)))
    axe(page)
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_role("heading", name="It can be loaded")).to_be_visible()
    expect(page.get_by_text("written alike: check it").first).to_be_visible()
    axe(page)
    page.get_by_role("button", name="Load it").click()
    expect(page.get_by_role("heading", name="parts.csv is loaded")).to_be_visible()

    page.get_by_role("link", name="First steps").last.click()
    page.get_by_role("link", name="Load a plan").click()
    page.get_by_label("Files").set_input_files(files(("steps.csv", STEPS), ("needs.csv", NEEDS)))
    page.get_by_label("Project").fill("TERN-1")
    page.get_by_role("button", name="Go on").click()
    page.get_by_role("button", name="Load it").click()
    expect(page.get_by_role("heading", name="is loaded")).to_be_visible()
    axe(page)
    page.get_by_role("link", name="What is short: the order sheet").click()
    expect(page.get_by_text("MS20470AD4-6").first).to_be_visible()
