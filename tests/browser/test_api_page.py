"""The API's page as people meet it, all of it unfolded."""

from django.urls import reverse
from playwright.sync_api import expect


def test_page_is_usable_by_everyone(page, live_server, signed_in, reader, axe):
    signed_in(reader)
    page.goto(live_server.url + reverse("api"))
    expect(page.get_by_role("heading", name="API", exact=True)).to_be_visible()

    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")

    axe(page)


def test_operation_unfolds_by_the_keyboard(page, live_server, reader):
    page.goto(live_server.url + reverse("api"))
    operation = page.locator("#items_create")

    operation.locator("summary").focus()
    page.keyboard.press("Enter")

    expect(operation.get_by_role("heading", name="Example of a request")).to_be_visible()
    expect(operation).to_contain_text("Idempotency-Key")
