"""Two people: one invites, the other joins, sets up two-step sign-in and signs in by a code."""

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone
from django_otp.oath import totp
from django_otp.plugins.otp_totp.models import TOTPDevice
from playwright.sync_api import expect

pytestmark = pytest.mark.alike

PASSWORD = "a long way to the sea"


def code(steps=0):
    """What the app shows, now or so many half minutes later: each code works once, and the next one already does."""
    return f"{totp(TOTPDevice.objects.get().bin_key, t0=-30 * steps):06}"


def invite(page, live_server, builder, bench, axe):
    """The first person looks at who is here, gives a bench away and invites Wren; gives the link."""
    page.goto(live_server.url + reverse("members"))
    expect(page.get_by_role("heading", name="Members")).to_be_visible()
    axe(page)
    page.get_by_role("link", name="Who may do what").click()
    expect(page.get_by_role("heading", name="Who may do what")).to_be_visible()
    axe(page)
    page.goto(live_server.url + reverse("bench-holders", args=[bench.pk]))
    page.get_by_label(builder.name).check()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("is held by")).to_be_visible()
    page.get_by_role("link", name="Invite somebody").click()
    page.get_by_label("Name").fill("Wren")
    page.get_by_role("button", name="Make the invitation").click()
    expect(page.get_by_role("heading", name="Wren is invited")).to_be_visible()
    return page.locator("code.token").inner_text()


def join(page, link, axe):
    page.goto(link)
    expect(page.get_by_role("heading", name="Join Workshop MARSH")).to_be_visible()
    axe(page)
    page.get_by_label("E-mail address").fill("wren@club.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Join").click()
    expect(page.get_by_text("Welcome to Workshop MARSH, Wren")).to_be_visible()


def set_up_two_steps(page, axe):
    page.get_by_role("link", name="Account").click()
    expect(page.get_by_text("here, now")).to_be_visible()
    axe(page)
    page.get_by_role("link", name="Set up two-step sign-in").click()
    page.get_by_role("button", name="Set it up").click()
    picture = page.get_by_alt_text("QR code of the key below")
    expect(picture).to_be_visible()
    assert picture.evaluate("img => img.naturalWidth") > 0
    axe(page)
    page.get_by_label("Code").fill(code())
    page.get_by_role("button", name="Turn it on").click()
    expect(page.get_by_role("heading", name="Two-step sign-in is on")).to_be_visible()
    expect(page.locator("ul.codes li")).to_have_count(10)
    page.get_by_role("button", name="Sign out").click()


def sign_in_by_code(page):
    page.get_by_label("E-mail address").fill("wren@club.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Now the code")).to_be_visible()
    page.get_by_label("Code").fill(code(1))
    page.get_by_role("button", name="Sign in").click()


def test_person_is_invited_joins_and_signs_in_in_two_steps(page, browser, live_server, signed_in, owner, builder, bench, axe):
    signed_in(owner)
    link = invite(page, live_server, builder, bench, axe)
    second = browser.new_context()
    other = second.new_page()

    join(other, link, axe)
    page.goto(live_server.url + reverse("members"))
    page.get_by_text("Earlier invitations (1)").click()
    expect(page.get_by_text("used by Wren")).to_be_visible()
    with time_machine.travel(timezone.now(), tick=False):  # a half minute that ends between two pages would make another code the right one
        set_up_two_steps(other, axe)
        sign_in_by_code(other)
        other.wait_for_url(live_server.url + reverse("home"))
    second.close()
