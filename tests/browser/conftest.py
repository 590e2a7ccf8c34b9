"""A real browser on the real site: Debian's Chromium, driven by Playwright."""

import os

import pytest
from axe_playwright_python.base import AxeResults
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.db import connection
from playwright.sync_api import expect, sync_playwright

from tests import needs

# Playwright's sync API keeps an event loop running in the test's thread, where Django refuses database calls unless told that
# no coroutine makes them. None does: tests call it as plain code.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

FLAGS = [
    "--no-sandbox",  # the sandbox needs rights that root in a container lacks
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
BACKEND = "django.contrib.auth.backends.ModelBackend"
SCHEMES = ("light", "dark")
WIDTHS = (390, 1280)  # a phone and a desk, in CSS pixels
# What another scheme or width can change: the rest of axe's rules look at the document, which stays the same.
LOOKS = ("color-contrast", "link-in-text-block", "scrollable-region-focusable")
RUN = """only => axe
    .run(document, {resultTypes: ["violations"], ...(only ? {runOnly: {type: "rule", values: only}} : {})})
    .then(found => ({...found, passes: [], incomplete: [], inapplicable: []}))"""
BEYOND = "document.documentElement.scrollWidth - document.documentElement.clientWidth"

expect.set_options(timeout=30_000)  # as long as Playwright waits for a page or a control: the machine may have other work


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    path = needs.chromium()
    if path is None:
        pytest.skip(needs.NO_CHROMIUM)
    return {**browser_type_launch_args, "executable_path": path, "args": FLAGS}


@pytest.fixture(scope="session")
def playwright():
    """The plugin's own, with the database's connection closed at both ends.

    Once the event loop runs, Django keeps another connection for this thread. One left open behind it would keep PostgreSQL from
    dropping the test database.
    """
    connection.close()
    with sync_playwright() as found:
        yield found
        connection.close()


@pytest.fixture
def signed_in(live_server, context, client):
    """Sign a member in, in this test's browser."""

    def sign_in(member):
        client.force_login(member.user, backend=BACKEND)
        cookie = client.cookies[settings.SESSION_COOKIE_NAME]
        context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])

    return sign_in


@pytest.fixture
def axe():
    """Check what `page` shows for everyone: no violation of axe's rules, nothing cut off, by day on a phone and by night at a desk.

    Colours and widths are those of one stylesheet; test_every_page looks at the main pages in both schemes at both widths.
    """

    def check(page):
        page.wait_for_load_state()  # behind a press, the page may be there before its style
        page.evaluate(Axe().axe_script)
        for scheme, width in zip(SCHEMES, WIDTHS, strict=True):
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": 844})
            first = (scheme, width) == (SCHEMES[0], WIDTHS[0])
            _check_look(page, f"{scheme}, {width} px wide", None if first else LOOKS)

    return check


# Colours glide from one scheme to the other: half way, no contrast is the page's own. A glide that never ends is not waited for.
GLIDES = "document.getAnimations().filter(each => each instanceof CSSTransition).map(each => each.finished)"
SETTLED = f"Promise.race([Promise.allSettled({GLIDES}), new Promise(done => setTimeout(done, 2000))])"


def _check_look(page, look, only):
    page.evaluate(SETTLED)
    results = AxeResults(page.evaluate(RUN, only))
    assert not results.violations_count, f"{look}: {results.generate_report()}"
    beyond = page.evaluate(BEYOND)
    assert beyond <= 0, f"{look}: the page scrolls sideways by {beyond} px"
