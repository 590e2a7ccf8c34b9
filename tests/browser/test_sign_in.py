"""The first page that anyone meets."""

from django.urls import reverse
from playwright.sync_api import expect

from tests import factories

PASSWORD = "a long way to the sea"


def test_sign_in_page_is_usable_by_everyone(page, live_server, axe):
    page.goto(live_server.url + reverse("sign-in"))

    expect(page.get_by_label("E-mail address")).to_be_focused()
    axe(page)


def test_member_signs_in_by_keyboard_alone(page, live_server, workshop):
    user = factories.UserFactory(email="ada@club.example")
    user.set_password(PASSWORD)
    user.save()
    factories.MemberFactory(workshop=workshop, user=user)
    page.goto(live_server.url + reverse("sign-in"))
    expect(page.get_by_label("E-mail address")).to_be_focused()

    page.keyboard.type("ada@club.example")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")

    page.wait_for_url(live_server.url + reverse("home"))


def test_wrong_password_is_told_beside_the_form(page, live_server, axe):
    page.goto(live_server.url + reverse("sign-in"))

    page.get_by_label("E-mail address").fill("ada@club.example")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()

    page.get_by_text("don't go together").wait_for()
    axe(page)
