"""Counting a crate on a phone, from its arrival to the receipt, by two people at once."""

from decimal import Decimal
from io import BytesIO

import pytest
from django.urls import reverse
from django.utils import timezone
from PIL import Image
from playwright.sync_api import expect

from inventory.models import Bag, Crate, Movement, PackingLine, Photo
from inventory.receiving.services import LineData, load_lines
from inventory.stock.queries import ledger_errors
from inventory.tallying import queries, services
from tests import factories

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


@pytest.fixture
def picture(tmp_path):
    path = tmp_path / "dent.png"
    file = BytesIO()
    Image.new("RGB", (60, 40), "red").save(file, "PNG")
    path.write_bytes(file.getvalue())
    return path


def press(page, name, exact=False):
    page.get_by_role("button", name=name, exact=exact).click()


def test_a_crate_is_counted_put_away_and_closed_on_a_phone(visit, phone, crate, bags, picture, axe):
    page = visit("crates")
    page.get_by_role("link", name="Count CRATE-7").click()
    press(page, "It arrived")
    expect(page.get_by_text("the days to claim run from then")).to_be_visible()

    page.get_by_role("link", name="Bag 7", exact=True).click()
    press(page, "All 20 here")
    assert page.locator(".state").inner_text().startswith("20 counted, all found")
    page.locator("button[value=fewer]").click()
    assert page.locator(".state").inner_text().startswith("19 counted, 1 to find")
    page.get_by_role("link", name="Bag 7/A").click()
    page.get_by_role("link", name="Count SPAR, line 2").click()
    page.get_by_label("How many").fill("1")
    page.get_by_label("damaged").check()
    page.get_by_label("Note").fill("dented")
    page.get_by_label("Photo").set_input_files(picture)
    press(page, "Count", exact=True)
    press(page, "+1")
    expect(page.locator(".state")).to_contain_text("1 damaged")

    press(page, "Bag 7/A is counted")
    page.get_by_role("link", name="Bag 7", exact=True).click()
    page.get_by_text("Put away what is counted").click()
    page.get_by_label("Into place").fill("Hangar/Rack 2")
    press(page, "Put away", exact=True)
    expect(page.get_by_text("3 lots are in Hangar/Rack 2 now")).to_be_visible()
    press(page, "Bag 7 is counted")

    page.get_by_role("link", name="Differences and end of counting").click()
    expect(page.get_by_text("1 ea short")).to_be_visible()
    press(page, "Close counting")
    expect(page.get_by_role("heading", name="Receipt of CRATE-7")).to_be_visible()
    expect(page.get_by_text("1 disputed in Hangar/Rack 2")).to_be_visible()
    expect(page.get_by_text("that does not agree")).to_be_visible()
    axe(page)

    found = queries.receipt(Crate.objects.get(pk=crate.pk))
    assert (found.good, found.damaged, found.went_in) == (20, 1, 21)
    assert sum(Movement.objects.filter(ref__startswith="line:").values_list("quantity", flat=True)) == 21
    assert (Photo.objects.get().caption, ledger_errors()) == ("dented", [])


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
