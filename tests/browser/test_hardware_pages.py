"""Settings, pins and what may serve, as people meet them: in both schemes and widths, on paper, and by an inspector's hand."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from buildplan.models import RivetLoss, Substitution
from tests import factories

pytestmark = pytest.mark.alike


@pytest.fixture
def scene(workshop, bench, project):
    """Clecos that don't reach on one day, a tool that does, a rivet that another may serve for."""
    today = timezone.localdate()
    RivetLoss.objects.create(workshop=workshop, diameter=Fraction(1, 8), percent=Decimal(5))
    rivet, thicker, cleco, gun = (
        factories.ItemFactory(workshop=workshop, code=code, name=name, kind=kind, diameter=size)
        for code, name, kind, size in (
            ("MS20470D4-6", "Rivet, 2017", "rivet", Fraction(1, 8)),
            ("MS20470AD5-7", "Rivet, thicker", "rivet", Fraction(5, 32)),
            ("CLECO-4", "Cleco, copper", "cleco", Fraction(1, 8)),
            ("GUN-3X", "Rivet gun", "tool", None),
        )
    )
    for item, quantity in ((thicker, 500), (cleco, 40), (gun, 1)):
        factories.stock(factories.LotFactory(bench=bench, item=item), quantity)
    first = factories.StepFactory(project=project, code="F3-04", planned_on=today + timedelta(3))
    later = factories.StepFactory(project=project, code="F3-09", planned_on=today + timedelta(9), after=[first])
    factories.RivetRowFactory(step=first, rivet=rivet, holes=84, cleco_every=3, cleco=cleco, clecos_until=later)
    factories.RivetRowFactory(step=later, rivet=rivet, holes=30, cleco_every=1, cleco=cleco)
    factories.CallOutFactory(step=first, item=gun, quantity=Decimal(1))
    return project


@pytest.fixture
def visit(page, live_server, signed_in, workshop, scene):
    """Open a page of the site as a member of a role."""

    def visit(role, name, *args):
        signed_in(factories.MemberFactory(workshop=workshop, role=role))
        page.goto(live_server.url + reverse(name, args=args))
        return page

    return visit


def test_settings_with_an_error_are_usable_by_everyone(visit, axe):
    page = visit("owner", "settings")
    page.get_by_label("Rivet diameter in inches").fill("one eighth")
    page.get_by_label("Lost, in percent of the holes").fill("5")
    page.get_by_role("button", name="Set the loss of a size").click()

    page.get_by_text("Write the size in inches").wait_for()
    axe(page)


def test_owner_sets_and_removes_a_loss(visit):
    page = visit("owner", "settings")
    page.get_by_label("Rivet diameter in inches").fill("3/32")
    page.get_by_label("Lost, in percent of the holes").fill("7.5")
    page.get_by_role("button", name="Set the loss of a size").click()
    expect(page.get_by_text("Rivets of 3/32 in: 7.5 % more than there are holes.")).to_be_visible()

    page.get_by_role("button", name="Remove the loss of 1/8 in").click()
    expect(page.get_by_text("no loss is added any more")).to_be_visible()
    assert [loss.diameter for loss in RivetLoss.objects.all()] == [Fraction(3, 32)]


def test_pins_chart_is_named_and_fits_a_phone(visit):
    page = visit("reader", "pins", "TERN-1")
    page.set_viewport_size({"width": 390, "height": 844})
    chart = page.get_by_role("img", name="CLECO-4: held and owned, day by day")

    assert chart.is_visible()
    assert chart.bounding_box()["width"] > 300
    for text in chart.locator("text").all():
        box = text.bounding_box()
        assert 0 <= box["x"] <= box["x"] + box["width"] <= 390
        assert box["height"] > 10


def test_pins_break_no_policy_of_the_site(page, visit):
    said = []
    page.on("console", lambda message: said.append(message.text))
    visit("reader", "pins", "TERN-1")
    assert said == []


def test_pins_on_paper_keep_the_chart_and_the_table(visit):
    page = visit("reader", "pins", "TERN-1")
    page.emulate_media(media="print")
    expect(page.get_by_role("img", name="CLECO-4")).to_be_visible()
    expect(page.get_by_role("table", name="CLECO-4")).to_be_visible()
    assert not page.get_by_text("Choose what to show").is_visible()


def test_inspector_accepts_from_the_order_sheet_and_withdraws(visit, axe):
    page = visit("inspector", "order-sheet", "TERN-1")
    page.get_by_role("link", name="what may serve in F3-04").click()
    page.get_by_label("What the plans or the maker said").fill("maker's letter of 3 February")
    page.get_by_role("button", name="Accept MS20470AD5-7 for MS20470D4-6").click()

    expect(page.get_by_text("Accepted: MS20470AD5-7 serves for MS20470D4-6 in F3-04.")).to_be_visible()
    axe(page)
    page.get_by_role("button", name="Withdraw MS20470AD5-7 for MS20470D4-6").click()
    expect(page.get_by_text("F3-04 needs MS20470D4-6 again.")).to_be_visible()
    assert Substitution.objects.get().withdrawn_at is not None
