"""Each journey is written once, and gone in four ways: at a desk, on a phone, without JavaScript, by keyboard alone.

The four ways of a journey share one test, each in a workshop of its own: what costs time is the database's clean-up behind a test. A run of
what differs by database goes at a desk alone.
"""

from contextlib import contextmanager

import pytest
from django.conf import settings
from django_scopes import scope, scopes_disabled

from tests import factories, needs
from tests.browser.conftest import BACKEND
from tests.hands import Hands, Keys, Touch

DESK = {"viewport": {"width": 1280, "height": 900}}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
REFUSED = "status of 422"  # a form that came back with what is wrong: the browser tells its console of that
WAYS = {
    "at a desk": (Hands, DESK),
    "on a phone": (Touch, PHONE),
    "without JavaScript": (Hands, {**DESK, "java_script_enabled": False}),
    "by keyboard alone": (Keys, DESK),
}


@pytest.fixture(scope="session")
def contexts(browser):
    """One a way for all journeys: a new one would fetch style and scripts anew."""
    found = {way: browser.new_context(**options) for way, (_, options) in WAYS.items()}
    yield found
    for context in found.values():
        context.close()


@pytest.fixture
def each_way(live_server, contexts, client):
    """Go a journey in every way. `furnish` fills a new workshop and returns the member who goes; `check` looks at what came of it."""

    def go(furnish, journey, check):
        for way in ["at a desk"] if needs.databases_alone() else WAYS:
            kind, _ = WAYS[way]
            workshop = _new_workshop(way)
            try:
                with scope(workshop=workshop), _opened(contexts[way]) as (page, said):
                    _sign_in(client, page, live_server.url, furnish(workshop))
                    journey(kind(page, live_server.url))
                    check(workshop)
                    assert said == [], "the console isn't empty"
            except BaseException as fault:
                fault.add_note(f"The journey was gone {way}.")
                raise

    return go


def _new_workshop(way):
    with scopes_disabled():
        return factories.WorkshopFactory(name=f"The club {way}")


@contextmanager
def _opened(context):
    """A new page of somebody who isn't signed in, and what its console says."""
    context.clear_cookies()
    page, said = context.new_page(), []
    page.on("console", lambda message: REFUSED in message.text or said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    try:
        yield page, said
    finally:
        page.close()


def _sign_in(client, page, url, member):
    client.force_login(member.user, backend=BACKEND)
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": url}])
