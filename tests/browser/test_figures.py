"""The bench's calculators as people meet them, each in both schemes and widths."""

import pytest
from django.urls import reverse
from django.utils.http import urlencode
from playwright.sync_api import expect

from buildplan.figures.calculators import CALCULATORS

pytestmark = pytest.mark.alike


@pytest.fixture
def visit(page, live_server, signed_in, reader):
    """Open a calculator, with what it is asked."""
    signed_in(reader)

    def visit(name, asked=None):
        query = f"?{urlencode(asked, doseq=True)}" if asked else ""
        page.goto(live_server.url + reverse("figure", args=[name]) + query)
        return page

    return visit


@pytest.mark.parametrize("name", ["seam-grams", "rivet-length", "pin-peak"])
def test_errors_are_usable_by_everyone(visit, axe, name):
    page = visit(name, dict.fromkeys(CALCULATORS[name].example, "x" * 70))

    expect(page.get_by_role("alert")).to_be_visible()
    axe(page)


def test_builder_reckons_a_length_by_keyboard_alone(visit):
    page = visit("rivet-length")
    page.get_by_role("textbox", name="Grip").focus()
    page.keyboard.type("1.6 mm")
    page.keyboard.press("Tab")
    page.keyboard.type("1/8")
    page.keyboard.press("Tab")
    page.keyboard.type("up, half")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")

    expect(page.get_by_text("9/32 in = 0.28125").first).to_be_visible()
    expect(page.get_by_text("grip: 1.6 mm = 0.062992 in")).to_be_visible()
    expect(page.get_by_role("textbox", name="Grip")).to_have_value("1.6 mm")
    assert "grip=1.6+mm" in page.url


def test_example_fills_the_form(visit):
    page = visit("pin-peak")
    page.get_by_role("link", name="Fill in an example").click()

    expect(page.get_by_label("Held")).to_have_value("2027-03-01,2027-03-04,40\n2027-03-03,2027-03-06,25")
    expect(page.get_by_text("65", exact=True)).to_be_visible()


def test_bad_input_is_said_beside_it_and_kept(visit):
    page = visit("clecos")
    page.get_by_label("Holes in the row").fill("a few")
    page.get_by_role("button", name="Reckon").click()

    expect(page.get_by_text("'a few' is no whole number")).to_be_visible()
    expect(page.get_by_label("Holes in the row")).to_have_value("a few")


@pytest.mark.parametrize("name", ["rivet-length", "seam-grams", "mean-kinetic-temperature"])
def test_touch_targets_are_large_enough_for_gloves(visit, name):
    page = visit(name, CALCULATORS[name].example)
    page.set_viewport_size({"width": 390, "height": 844})

    boxes = page.locator(
        "main button, main input:not([type=checkbox]), main select, main textarea, main label:has([type=checkbox]), main a, summary"
    )
    for box in boxes.all():
        assert box.bounding_box()["height"] >= 48, box.evaluate("one => one.outerHTML")


def test_page_loads_nothing_from_elsewhere_and_breaks_no_policy(visit, page, live_server):
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))

    visit("drill", {"name": "#30"})

    assert [address for address in asked if not address.startswith((live_server.url, "data:"))] == []
    assert said == []


@pytest.mark.parametrize("javascript", [False])
def test_calculator_works_without_javascript(browser, live_server, client, reader, javascript):
    client.force_login(reader.user, backend="django.contrib.auth.backends.ModelBackend")
    context = browser.new_context(java_script_enabled=javascript)
    context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + reverse("figure", args=["drill"]))

    page.get_by_label("Drill").fill("F")
    page.get_by_role("button", name="Reckon").click()

    expect(page.get_by_text("6.5278")).to_be_visible()
    context.close()
