"""Labels in a browser: chosen, printed on a sheet of one's own, and read back."""

import pytest
import zxingcpp
from playwright.sync_api import expect

from inventory.models import Label, LabelSheet
from inventory.scanning.calc import is_token
from tests import factories
from tests.inventory.labels.sheets import pictures

pytestmark = pytest.mark.alike


@pytest.fixture
def storekeeper(transactional_db, workshop, signed_in):
    member = factories.MemberFactory(workshop=workshop, role="storekeeper")
    signed_in(member)
    return member


@pytest.fixture
def crate(bench):
    crate = factories.CrateFactory(bench=bench, code="CRATE-7")
    for path in ("7A", "7A/1", "7A/2", "7B"):
        factories.PackingLineFactory(crate=crate, bag=factories.BagFactory(crate=crate, path=path))
    return crate


def test_bags_are_chosen_printed_and_read_back(page, live_server, axe, storekeeper, crate):
    page.goto(f"{live_server.url}/crates/{crate.pk}/")
    page.get_by_role("link", name="Print labels of its bags").click()
    axe(page)
    page.get_by_label("Bag 7B").uncheck()
    page.get_by_label("First free label").fill("4")
    with page.expect_request("**/labels/sheet.pdf*") as asked:
        page.get_by_role("button", name="Make the PDF").click()

    # What the browser sent is sent once more, for its answer: Chromium gives a PDF to its viewer. Twice is as good as once.
    sent = {"content-type": "application/x-www-form-urlencoded", "referer": live_server.url}
    pdf = page.request.post(asked.value.url, data=asked.value.post_data, headers=sent).body()
    (picture,) = pictures(pdf, 203)
    tokens = {code.text.rsplit("/", 1)[-1] for code in zxingcpp.read_barcodes(picture)}
    assert tokens == set(Label.objects.values_list("token", flat=True))
    assert len(tokens) == 3
    assert all(map(is_token, tokens))


def test_what_cannot_be_printed_stays_as_it_was_typed(page, live_server, axe, storekeeper, crate):
    page.goto(f"{live_server.url}/labels/?what=bags&crate={crate.pk}")
    page.get_by_label("Sheet", exact=True).select_option("drawers")
    page.get_by_label("Bag 7B").uncheck()
    page.get_by_role("button", name="Make the PDF").click()

    expect(page.get_by_role("alert")).to_contain_text("too small for this code")
    expect(page.get_by_label("Sheet", exact=True)).to_have_value("drawers")
    assert not page.get_by_label("Bag 7B").is_checked()
    axe(page)


def test_sheets_are_shown_to_scale_and_kept(page, live_server, axe, storekeeper):
    page.goto(f"{live_server.url}/labels/sheets/")
    axe(page)
    page.get_by_role("link", name="Start from it A4, 3 x 8 labels").click()
    page.get_by_label("Name").fill("Office")
    page.get_by_role("spinbutton", name="Labels across").fill("4")
    page.get_by_role("button", name="Keep this sheet").click()
    expect(page.locator("main")).to_contain_text("but the page has 210 mm")
    axe(page)
    page.get_by_role("spinbutton", name="Labels across").fill("3")
    page.get_by_role("button", name="Keep this sheet").click()

    expect(page.get_by_role("img", name="Office, to scale")).to_be_visible()
    assert LabelSheet.objects.get().name == "Office"
    page.get_by_role("link", name="Change Office").click()
    axe(page)


def test_choices_and_unknown_labels(page, live_server, axe, storekeeper):
    page.goto(f"{live_server.url}/labels/")
    axe(page)
    page.goto(f"{live_server.url}/labels/?what=typed&typed=no+such+thing")
    axe(page)
    page.goto(f"{live_server.url}/T/RL00000000")
    expect(page.locator("main")).to_contain_text("no label's token")
    axe(page)
