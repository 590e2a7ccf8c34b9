"""The browser tests' own tools, and what frames every page: where it lies, what was just done, and what broke."""

from datetime import date
from http import HTTPStatus

import pytest
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.urls import reverse
from playwright.sync_api import expect

from tests import factories

pytestmark = pytest.mark.alike

PAGE = """<!doctype html><html lang="en"><head><title>Shelves</title>
<meta name="viewport" content="width=device-width"><style>{style}</style></head>
<body><main><h1>Shelves</h1><p>Drawer 3</p></main></body></html>"""


def test_browser_reaches_the_site(page, live_server):
    answer = page.goto(f"{live_server.url}/no-such-page/")

    assert answer.status == HTTPStatus.NOT_FOUND


def test_signed_in_member_has_a_session(signed_in, builder, context):
    signed_in(builder)

    (cookie,) = context.cookies()
    assert cookie["name"] == settings.SESSION_COOKIE_NAME
    assert SessionStore(cookie["value"])[SESSION_KEY] == str(builder.user_id)


def test_axe_passes_a_plain_page(page, axe):
    page.set_content(PAGE.format(style=""))

    axe(page)


@pytest.mark.parametrize(
    ("style", "told"),
    [
        ("p { color: #aaa; background: #fff }", "light, 390 px wide: .*color contrast"),
        ("@media (prefers-color-scheme: dark) { p { color: #444; background: #222 } }", "dark, 1280 px wide: .*color contrast"),
        ("p { width: 600px }", "light, 390 px wide: the page scrolls sideways"),
        ("@media (min-width: 1000px) { p { color: #aaa; background: #fff } }", "dark, 1280 px wide: "),
    ],
)
def test_axe_refuses_a_page_that_someone_cannot_use(page, axe, style, told):
    page.set_content(PAGE.format(style=style))

    with pytest.raises(AssertionError, match=f"(?s){told}"):
        axe(page)


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05", title="Rivet the keel", planned_on=date(2027, 3, 6))


@pytest.mark.browser_context_args(java_script_enabled=False)
def test_planned_day_is_taken_back_from_its_message_without_scripts(page, live_server, signed_in, builder, project, step):
    signed_in(builder)
    page.goto(live_server.url + reverse("planned", args=[project.code, step.code]))
    crumbs = page.get_by_role("navigation", name="Where this page lies").get_by_role("listitem")
    expect(crumbs).to_have_text(["Plan", "TERN-1", "F3-05", "Planned day"])

    page.get_by_label("Planned", exact=False).first.fill("2027-04-03")
    page.get_by_role("button", name="Set the day").click()
    expect(page.get_by_role("status")).to_contain_text("planned for 2027-04-03")
    page.get_by_role("button", name="Undo").click()

    expect(page.get_by_role("status")).to_contain_text("planned for 2027-03-06")
    step.refresh_from_db()
    assert step.planned_on == date(2027, 3, 6)


def test_message_crumbs_and_error_pages_are_usable_by_everyone(page, live_server, signed_in, builder, project, step, axe):
    signed_in(builder)
    page.goto(live_server.url + reverse("planned", args=[project.code, step.code]))
    page.get_by_role("button", name="Set the day").click()
    expect(page.get_by_role("button", name="Undo")).to_be_visible()
    axe(page)

    page.goto(live_server.url + reverse("step", args=[project.code, step.code]))
    assert [crumb.bounding_box()["height"] for crumb in page.locator(".crumbs a").all()] == [48, 48]
    assert page.goto(f"{live_server.url}/nothing/here/").status == HTTPStatus.NOT_FOUND
    axe(page)
    assert page.goto(live_server.url + reverse("sign-out")).status == HTTPStatus.METHOD_NOT_ALLOWED
    expect(page.get_by_role("link", name="Go to Tonight")).to_be_visible()
