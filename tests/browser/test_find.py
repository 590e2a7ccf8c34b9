"""Finding a thing from any page, by keys alone."""

from decimal import Decimal

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from inventory.catalogue.services import add_identifier
from tests import factories

pytestmark = pytest.mark.alike


@pytest.fixture
def scene(workshop, bench, project, drawer, owner):
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet, universal head", kind="rivet")
    add_identifier(item=rivet, text="05412345000013", by=owner)
    factories.stock(factories.LotFactory(bench=bench, item=rivet, code="R7"), Decimal(112), drawer)
    factories.StepFactory(project=project, code="F3-04", title="Rivet the skin")


def to_the_field(page):
    for _ in range(3):
        page.keyboard.press("Tab")
    expect(page.get_by_role("searchbox", name="Find anything")).to_be_focused()


def test_thing_is_found_from_another_page_by_keys_alone(page, live_server, signed_in, reader, scene, axe):
    signed_in(reader)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{live_server.url}{reverse('crates')}")

    to_the_field(page)
    page.keyboard.type("rivet")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Found for rivet")
    axe(page)

    page.get_by_role("link", name="F3-04 Rivet the skin").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("F3-04 Rivet the skin")
    page.get_by_text("How this is worked out").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Clecos = holes / spacing")).to_be_visible()

    page.goto(f"{live_server.url}{reverse('words')}")
    axe(page)
    to_the_field(page)
    page.keyboard.type("]C1010541234500001310R7")
    page.keyboard.press("Control+]")
    expect(page.get_by_role("searchbox", name="Find anything")).to_have_value("]C1010541234500001310R7\u241d")
    page.keyboard.type("17290331")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("MS20470AD4-6 Rivet, universal head")

    to_the_field(page)
    page.keyboard.type("XK-999")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing is XK-999 here")
    axe(page)
