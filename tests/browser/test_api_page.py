"""The API's pages as people meet them, all of a part unfolded."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

pytestmark = pytest.mark.alike


def test_pages_are_usable_by_everyone(page, live_server, signed_in, reader, axe):
    signed_in(reader)
    page.goto(live_server.url + reverse("api"))
    expect(page.get_by_role("heading", name="API", exact=True)).to_be_visible()
    axe(page)

    page.goto(live_server.url + reverse("api-part", args=["items"]))
    expect(page.get_by_role("heading", level=1)).to_have_text("API: items")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    axe(page)


def test_operation_unfolds_by_the_keyboard(page, live_server, reader):
    page.goto(live_server.url + reverse("api"))
    page.locator("a[href$='#items_create']").click()
    operation = page.locator("#items_create")

    operation.locator("summary").focus()
    page.keyboard.press("Enter")

    expect(operation.get_by_role("heading", name="Example of a request")).to_be_visible()
    expect(operation).to_contain_text("Idempotency-Key")
