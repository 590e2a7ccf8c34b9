"""Counting a crate on a phone, by two people at once, and its pages for everyone. From arrival to receipt: journeys/."""

from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from inventory.models import Bag, PackingLine
from inventory.receiving.services import LineData, load_lines
from inventory.tallying import services
from tests import factories

pytestmark = pytest.mark.alike

PHONE = {"width": 390, "height": 844}
SMALLEST = 44  # CSS pixels of a press in gloves; ours are 48 and 56
SIZES = """
[...document.querySelectorAll('main button, main .press a, main .links a, main input:not([type=hidden])')]
    .filter(one => one.checkVisibility() && !['radio', 'checkbox'].includes(one.type))
    .map(one => [one.textContent.trim() || one.name, Math.round(one.getBoundingClientRect().height)])
"""


@pytest.fixture
def crate(workshop, bench, storekeeper):
    """Bag 7 with rivets, in it bag A with spars; bag 8 with longer rivets of the same diameter."""
    kinds = {"MS20470AD4-6": "rivet", "MS20470AD4-7": "rivet", "SPAR": "part"}
    items = {code: factories.ItemFactory(workshop=workshop, code=code, kind=kind) for code, kind in kinds.items()}
    crate = factories.CrateFactory(bench=bench, code="CRATE-7", printed_lines=4)
    listed = [("7", "1", "MS20470AD4-6", 20), ("7/A", "2", "SPAR", 2), ("8", "3", "MS20470AD4-7", 50)]
    load_lines(
        crate=crate,
        lines=[LineData(bag, number, items[code].pk, Decimal(quantity)) for bag, number, code, quantity in listed],
        by=storekeeper,
    )
    return crate


@pytest.fixture
def bags(crate):
    return {bag.path: bag for bag in Bag.objects.filter(crate=crate).select_related("crate__bench")}


@pytest.fixture
def phone(page, signed_in, storekeeper):
    signed_in(storekeeper)
    page.set_viewport_size(PHONE)
    return page


@pytest.fixture
def visit(phone, live_server):
    def visit(name, *args, query=""):
        phone.goto(f"{live_server.url}{reverse(name, args=args)}{query}")
        return phone

    return visit


def press(page, name, exact=False):
    page.get_by_role("button", name=name, exact=exact).click()


def test_somebody_else_s_count_appears_by_itself_and_the_presses_stay(visit, phone, crate, bags, builder):
    page = visit("count-bag", bags["7"].pk)
    line = PackingLine.objects.select_related("crate__bench", "bag", "item").get(crate=crate, number="1")
    page.get_by_role("button", name="All 20 here").focus()
    services.tally(crate=crate, bag=bags["7"], line=line, quantity=Decimal(5), at=timezone.now(), by=builder)

    page.get_by_text("5 counted, 15 to find").wait_for()
    assert builder.name in page.locator(".state").inner_text()
    assert page.evaluate("document.activeElement.id") == f"listed-{line.pk}"
    press(page, "+1")
    assert page.locator(".state").inner_text().startswith("6 counted")


def test_the_list_of_bags_follows_by_itself(visit, phone, crate, bags, builder):
    page = visit("count-crate", crate.pk)
    services.finish_bag(bag=bags["8"], on=timezone.localdate(), by=builder)

    page.get_by_text(f"counted by {builder.name}").wait_for()


def test_mystery_is_named_by_its_measures(visit, phone, crate, bags, axe):
    page = visit("count-mystery", crate.pk, query=f"?bag={bags['7'].pk}")
    page.get_by_label("How many").fill("3")
    page.get_by_label("Diameter in inches").fill("1/8")
    page.get_by_label("Length in inches").fill("0.44")
    axe(page)
    press(page, "Count", exact=True)

    axe(page)
    press(page, "It is this")
    expect(page.get_by_text("counted for line 3")).to_be_visible()


def test_weighing_says_whether_the_count_is_certain(visit, phone, crate, axe):
    line = PackingLine.objects.get(crate=crate, number="3")
    page = visit("weigh-line", line.pk)
    for label, value in (("Pieces in the sample", "10"), ("The sample weighs", "3.5"), ("All of it weighs", "17.5"), ("steps of", "0.1")):
        page.get_by_label(label).fill(value)
    press(page, "Reckon")

    said = page.locator(".result > p").first.inner_text()
    assert "Not certain to one piece" in said
    assert "A sample of 21 pieces would make it certain" in said
    axe(page)
    press(page, "Count 50")
    expect(page.get_by_text("50 counted, all found")).to_be_visible()


def test_targets_of_the_counting_pages_are_large_enough_for_gloves(visit, crate, bags, storekeeper):
    _count_some(crate, bags, storekeeper)
    of_crate = ["count-crate", "close-crate", "receipt", "counts", "crate-photos", "crate-here", "put-away", "count-other"]
    small = {}
    for name, pk in [*((name, crate.pk) for name in of_crate), ("count-bag", bags["7"].pk), ("lay-bag", bags["7"].pk)]:
        small[name] = [found for found in visit(name, pk).evaluate(SIZES) if found[1] < SMALLEST]

    assert not any(small.values()), small


def _count_some(crate, bags, by):
    line = PackingLine.objects.select_related("crate__bench", "bag", "item").get(crate=crate, number="1")
    said = {"crate": crate, "at": timezone.now(), "by": by}
    services.tally(line=line, bag=bags["7"], quantity=Decimal(5), note="a note", **said)
    services.undo(tally=services.tally(line=line, bag=bags["7"], quantity=Decimal(5), **said), by=by, at=timezone.now())
    services.tally(item=line.item, bag=bags["8"], quantity=Decimal(2), finding="damaged", **said)
    services.tally(bag=bags["7"], quantity=Decimal(2), finding="mystery", note="bent", **said)
    services.finish_bag(bag=bags["8"], on=timezone.localdate(), by=by)
