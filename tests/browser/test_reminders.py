"""What is due, the calendar's address and the mail, as a person does it."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar
from playwright.sync_api import expect

from tests import factories

pytestmark = pytest.mark.alike


@pytest.fixture
def visit(page, live_server, signed_in, workshop, bench):
    """Open Home as a member, with a crate due in three days and a lot that died yesterday."""
    today = timezone.localdate()
    factories.CrateFactory(bench=bench, code="CRATE-8", due_on=today + timedelta(days=3))
    factories.CrateFactory(bench=bench, code="CRATE-9")
    factories.stock(factories.LotFactory(bench=bench, code="R7", expires_on=today - timedelta(days=1), expires_as="day"), 2)
    signed_in(factories.MemberFactory(workshop=workshop, role="reader", name="Ada"))
    page.goto(live_server.url + reverse("home"))
    return page


def test_due_things_are_listed_with_days_left_and_lead_to_their_pages(visit, axe):
    visit.get_by_role("link", name="Reminders").click()
    expect(visit.get_by_role("heading", name="Overdue")).to_be_visible()
    expect(visit.locator("main")).to_contain_text("1 day ago")
    expect(visit.locator("main")).to_contain_text("in 3 days")
    expect(visit.locator("main")).to_contain_text("1 crate on the way without a due day")
    axe(visit)

    visit.get_by_label("Days ahead").fill("2")
    visit.get_by_role("button", name="Look that far").click()
    expect(visit.locator("main")).not_to_contain_text("CRATE-8")
    visit.get_by_label("Days ahead").fill("30")
    visit.get_by_role("button", name="Look that far").click()
    visit.get_by_role("link", name="CRATE-8").click()
    expect(visit.get_by_role("heading", level=1)).to_contain_text("CRATE-8")


def test_address_is_made_changed_and_ended(visit, axe, playwright):
    program = playwright.request.new_context()
    visit.get_by_role("link", name="Reminders").click()
    visit.get_by_role("button", name="Make an address").click()
    axe(visit)
    first = visit.locator("code.token").inner_text()
    assert len(Calendar.from_ical(program.get(first).body()).walk("VEVENT")) == 2

    visit.reload()  # sends the form again
    expect(visit.get_by_role("status")).to_contain_text("No address was made now")
    assert program.get(first).status == 200
    axe(visit)

    visit.get_by_role("button", name="Make a new address").click()
    second = visit.locator("code.token").inner_text()
    assert (program.get(first).status, program.get(second).status) == (404, 200)

    visit.get_by_role("link", name="I have copied it").click()
    visit.get_by_role("button", name="End the feed").click()
    expect(visit.get_by_role("status")).to_contain_text("is ended")
    assert program.get(second).status == 404
    program.dispose()


def test_mail_is_asked_for(visit, axe):
    visit.get_by_role("link", name="Reminders").click()
    visit.get_by_role("button", name="Mail me what is due").click()
    expect(visit.get_by_role("status")).to_contain_text("once a day at most")
    axe(visit)
    visit.get_by_role("button", name="Send me no more mail").click()
    expect(visit.get_by_role("button", name="Mail me what is due")).to_be_visible()
