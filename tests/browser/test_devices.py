"""Devices: issued, used by curl's request, renamed and revoked, as a person does it."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from inventory.models import Device
from tests import factories

pytestmark = pytest.mark.alike


@pytest.fixture
def visit(page, live_server, signed_in, workshop):
    """Open a page of the site as a member of a role."""

    def visit(role, name, *args):
        member = factories.MemberFactory(workshop=workshop, role=role, name="Ada")
        signed_in(member)
        page.goto(live_server.url + reverse(name, args=args))
        return page, member

    return visit


def test_device_is_issued_used_and_revoked(visit, live_server, axe, playwright):
    page, _ = visit("owner", "settings")
    page.get_by_role("link", name="Devices").click()
    axe(page)

    page.get_by_label("Name").fill("Scanner at the gate")
    page.get_by_role("button", name="Issue it").click()
    axe(page)
    token = page.locator("code.token").inner_text()
    who = page.locator(".commands code").inner_text()
    assert token in who

    address = re.search(r"http\S+$", who)[0]
    program = playwright.request.new_context(extra_http_headers={"Authorization": f"Bearer {token}"})
    assert program.get(address).json()["device"]["name"] == "Scanner at the gate"

    page.get_by_role("link", name="I have copied it").click()
    expect(page.get_by_role("table", name="Devices in use")).to_contain_text("Scanner at the gate")
    expect(page.locator("body")).not_to_contain_text(token)
    axe(page)

    page.get_by_role("link", name="Scanner at the gate").click()
    axe(page)
    page.get_by_label("Name").fill("Scanner in the loft")
    page.get_by_role("button", name="Save the name").click()
    expect(page.get_by_role("status")).to_contain_text("Scanner in the loft")

    page.get_by_role("link", name="Scanner in the loft").click()
    page.get_by_role("button", name="Revoke Scanner in the loft").click()
    expect(page.get_by_role("status")).to_contain_text("is revoked")
    page.get_by_text("Revoked (1)").click()
    axe(page)
    assert program.get(address).status == 401
    program.dispose()


def test_form_sent_again_issues_nothing(visit):
    page, member = visit("storekeeper", "devices")
    page.get_by_label("Name").fill("Scanner")
    page.get_by_role("button", name="Issue it").click()
    expect(page.get_by_text("I have copied it")).to_be_visible()
    page.reload()

    expect(page.get_by_role("status")).to_contain_text("Nothing was issued now")
    assert Device.objects.filter(member=member).count() == 1


def test_form_that_does_not_do_is_shown_again(visit, axe):
    page, _ = visit("owner", "devices")
    page.get_by_label("Name").fill("Scanner")
    page.get_by_label("Look things up").uncheck()
    page.get_by_label("Send scans").uncheck()
    page.get_by_role("button", name="Issue it").click()

    expect(page.get_by_role("alert")).to_contain_text("one or more of read, scan, manage")
    expect(page.get_by_label("Name")).to_have_value("Scanner")
    axe(page)


def test_who_may_issue_none_is_told_who_does(visit, axe):
    page, _ = visit("builder", "devices")

    expect(page.get_by_role("main")).to_contain_text("Owners and storekeepers issue devices")
    expect(page.get_by_role("button", name="Issue it")).to_have_count(0)
    axe(page)
