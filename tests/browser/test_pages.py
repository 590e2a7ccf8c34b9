"""The pages as people meet them: each in both schemes and widths, and the way from a link to a shorter order sheet."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from playwright.sync_api import expect

from inventory.models import Bag
from inventory.stock.queries import on_hand
from inventory.workshop.services import sign_in_token
from tests import factories

pytestmark = pytest.mark.alike


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def rivets(workshop):
    return factories.ItemFactory(
        workshop=workshop,
        code="MS20470AD4-6",
        name="Rivet, universal head",
        kind="rivet",
        pack=Decimal(100),
        lead_days=5,
    )


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", name="Sealant, class B-2", kind="sealant", unit="g")


@pytest.fixture
def scene(workshop, bench, project, drawer, rivets, sealant, today):
    """A step that can be finished after another one, some of it short, some dead, some on its way."""
    masked = factories.StepFactory(project=project, code="F3-04", title="Mask the seams")
    step = factories.StepFactory(project=project, code="F3-05", title="Seal and rivet", after=[masked], planned_on=today + timedelta(9))
    factories.StepFactory(project=project, code="F3-06", after=[step])
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco")
    for item, quantity in ((rivets, 240), (sealant, 140), (cleco, 40)):
        factories.CallOutFactory(step=step, item=item, quantity=Decimal(quantity))
    factories.stock(factories.LotFactory(bench=bench, item=rivets, code="R7"), 300, drawer)
    for code, days in (("DEAD", -3), ("S9", 20)):
        lot = factories.LotFactory(bench=bench, item=sealant, code=code, expires_on=today + timedelta(days))
        factories.stock(lot, 60, drawer)
    crate = factories.CrateFactory(bench=bench, code="CRATE-7", due_on=today - timedelta(2))
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    factories.PackingLineFactory(crate=crate, bag=bag, item=sealant, quantity=Decimal(20))
    return step


@pytest.fixture
def visit(page, live_server, signed_in, owner, scene):
    """Open a page of the site as the owner."""
    signed_in(owner)

    def visit(name, *args):
        page.goto(live_server.url + reverse(name, args=args))
        return page

    return visit


def test_step_with_an_error_is_usable_by_everyone(visit, axe):
    page = visit("step", "TERN-1", "F3-05")
    page.get_by_label("Lot R7").fill("9999")
    page.get_by_label("Done on").fill("2099-01-01")
    page.get_by_role("button", name="Done: take what is filled in").click()

    page.get_by_text("is still to come").wait_for()
    axe(page)


def test_touch_targets_are_large_enough_for_gloves(visit):
    page = visit("step", "TERN-1", "F3-05")
    page.set_viewport_size({"width": 390, "height": 844})

    for box in page.locator("main button, main input:not([type=hidden], [type=checkbox]), nav a, summary").all():
        assert box.bounding_box()["height"] >= 48, box.evaluate("one => one.outerHTML")


def test_page_loads_nothing_from_elsewhere_and_breaks_no_policy(page, live_server, signed_in, owner, scene):
    signed_in(owner)
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))

    page.goto(live_server.url + reverse("order-sheet", args=["TERN-1"]))

    assert [address for address in asked if not address.startswith((live_server.url, "data:"))] == []
    assert said == []


def test_keyboard_skips_to_the_content(visit):
    page = visit("shelves")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"

    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"


def test_from_a_link_to_a_finished_step_and_a_shorter_order_sheet(page, live_server, owner, scene, rivets):
    address = reverse("sign-in-link", args=[urlsafe_base64_encode(force_bytes(owner.user.pk)), sign_in_token(owner.user)])
    page.goto(live_server.url + address)
    page.get_by_role("button", name=f"Sign in as {owner.user.email}").click()
    page.get_by_role("link", name="Projects: how far").click()
    page.get_by_role("link", name="Order sheet of Project TERN-1").click()
    expect(page.get_by_role("rowheader", name="SEAL-B2")).to_be_visible()

    page.get_by_role("row", name="SEAL-B2").locator("xpath=following-sibling::tr").get_by_role("link", name="F3-05").click()
    expect(page.get_by_text("Not everything before it is done")).to_be_visible()
    page.get_by_label("Lot R7").fill("236")
    page.get_by_label("Note").fill("four short of the plan")
    page.get_by_role("button", name="Done: take what is filled in").click()

    expect(page.get_by_text("F3-05 is done. What it took is below.")).to_be_visible()
    expect(page.get_by_role("cell", name="236 ea")).to_be_visible()
    assert on_hand(rivets.lots.get()) == 64
    page.get_by_role("link", name="Order sheet").click()
    expect(page.get_by_text("0 items needed, 0 short")).to_be_visible()


def test_order_sheet_works_without_javascript(browser, live_server, client, owner, scene, bench):
    client.force_login(owner.user, backend="django.contrib.auth.backends.ModelBackend")
    context = browser.new_context(java_script_enabled=False)
    context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + reverse("order-sheet", args=["TERN-1"]))

    page.get_by_text("Ordered").first.click()
    page.get_by_role("button", name="Mark as ordered").first.click()

    expect(page.get_by_text("Ordered: ").first).to_be_visible()
    assert bench.crates.count() == 2
    context.close()
