"""Looking a code up, the order of counting and loading a packing list, as people meet them."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from inventory.claims.services import save_rule, save_sender
from inventory.models import Crate
from tests import factories, loads

pytestmark = pytest.mark.alike


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def scene(workshop, bench, project, drawer, owner, today):
    """Rivets of which some lie here and some are in a crate that arrived, and a step that waits for them; a plate with a price."""
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet, universal head", kind="rivet")
    step = factories.StepFactory(project=project, code="F3-05", title="Rivet the skin", planned_on=today + timedelta(9))
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(240))
    lot = factories.LotFactory(bench=bench, item=rivet, code="R7", expires_on=today + timedelta(400))
    factories.stock(lot, 112, drawer)
    sender = save_sender(name="Marsh Kits", by=owner)
    save_rule(sender=sender, fault="shortage", days=5, source="terms of sale, 4", by=owner)
    crate = factories.CrateFactory(bench=bench, code="CRATE-7", due_on=today, arrived_on=today, sender=sender)
    for path, item, price in (("7A", factories.ItemFactory(workshop=workshop), 25), ("7B", rivet, None)):
        factories.PackingLineFactory(crate=crate, bag=factories.BagFactory(crate=crate, path=path), item=item, price=price)
    return crate


@pytest.fixture
def visit(page, live_server, signed_in, owner, scene):
    signed_in(owner)
    return lambda address: page.goto(f"{live_server.url}{address}")


def test_a_code_is_looked_up_and_its_step_opened(page, visit, axe):
    visit(reverse("code"))
    axe(page)

    page.get_by_role("textbox", name="Code").fill("ms20470 ad4-6")
    page.get_by_role("button", name="Look it up").click()
    page.get_by_text("Why").first.click()
    axe(page)
    page.get_by_role("link", name="F3-05 Rivet the skin").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("F3-05 Rivet the skin")


@pytest.mark.parametrize("code", ["R7", "CRATE-7/7B", "CRATE-7", "Hangar/Rack 1/Drawer 3"])
def test_what_else_a_code_may_be(page, visit, axe, code):
    visit(f"{reverse('code')}?code={code}")

    axe(page)


def test_an_unknown_code_is_taught_with_one_press(page, visit, axe):
    visit(f"{reverse('code')}?code=MS20470AD4-7")
    axe(page)

    page.get_by_role("button", name="This code means MS20470AD4-6").click()

    expect(page.get_by_text("MS20470AD4-7 means MS20470AD4-6 from now on.")).to_be_visible()


def test_from_a_crate_to_the_bag_to_count_first(page, visit, axe, scene):
    visit(reverse("crate", args=[scene.pk]))
    page.get_by_role("link", name="Which bag first").click()
    page.get_by_text("Why").first.click()
    axe(page)
    page.get_by_role("link", name="Bag 7B").click()

    assert page.url.endswith(reverse("count-bag", args=[scene.bags.get(path="7B").pk]))


def test_a_packing_list_is_put_right_and_loaded(page, visit, axe, bench, tmp_path):
    path = loads.table(tmp_path / "list.csv", loads.PACKING, "8A,1,MS20470AD4-6X,100", "8A,2,MS20470AD4-6,40")
    visit(reverse("crates"))
    page.get_by_role("link", name="Load a packing list").click()
    axe(page)

    page.get_by_label("Packing list").set_input_files(path)
    page.get_by_label("For the bench").select_option(str(bench.pk))
    page.get_by_label("Crate", exact=True).fill("CRATE-8")
    page.get_by_label("Lines, as printed").fill("3")
    page.get_by_role("button", name="Look at it").click()
    axe(page)
    page.get_by_role("button", name="MS20470AD4-6X means MS20470AD4-6").click()
    expect(page.get_by_text("1 fewer in the file")).to_be_visible()
    axe(page)
    page.get_by_role("button", name="Load it into crate CRATE-8").click()

    expect(page.get_by_text("2 lines in 1 bag are listed in CRATE-8 now.")).to_be_visible()
    assert Crate.objects.get(code="CRATE-8").lines.count() == 2
