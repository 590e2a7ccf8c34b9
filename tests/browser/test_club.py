"""A contested Saturday, driven by two people at once: one gets the squeezer, the other takes the change that the page proposes."""

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from playwright.sync_api import expect

from inventory.models import BenchHolder, Booking
from tests import factories
from tests.factories import DAY

SATURDAY = DAY + timedelta(days=7)
SUNDAY = SATURDAY + timedelta(days=1)
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def people(workshop, bench, other_bench):
    """Who holds which bench."""
    found = {}
    for name, held in (("Wren", bench), ("Heron", other_bench)):
        found[name] = factories.MemberFactory(workshop=workshop, name=name, role="builder")
        BenchHolder.objects.create(workshop=workshop, bench=held, member=found[name])
    return found


@pytest.fixture
def steps(workshop, bench, other_bench, shared_bench):
    """A step of each project, both on Saturday, and one squeezer."""
    squeezer = factories.ItemFactory(workshop=workshop, code="SQUEEZER", name="Squeezer", kind="tool")
    factories.stock(factories.LotFactory(bench=shared_bench, item=squeezer, code=""), 1)
    found = {}
    for held, code, name in ((bench, "TERN-1", "W2-01"), (other_bench, "PLOVER-1", "F1-07")):
        project = factories.ProjectFactory(bench=held, code=code)
        found[code] = factories.StepFactory(project=project, code=name, planned_on=SATURDAY)
        factories.CallOutFactory(step=found[code], item=squeezer, quantity=Decimal(1))
    return found


@pytest.fixture
def page_of(browser, live_server):
    """A browser of its own for each person."""
    opened = []

    def page_of(member):
        client = Client()
        client.force_login(member.user, backend=BACKEND)
        cookie = client.cookies[settings.SESSION_COOKIE_NAME]
        context = browser.new_context(base_url=live_server.url)
        context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])
        opened.append(context)
        return context.new_page()

    yield page_of
    for context in opened:
        context.close()


def test_two_people_want_the_squeezer_on_saturday_and_the_page_resolves_it(page_of, live_server, axe, people, steps):
    with time_machine.travel(DAY, tick=False):
        wren, heron = page_of(people["Wren"]), page_of(people["Heron"])
        for page in (wren, heron):
            page.goto("/club/")
            page.get_by_label("Can this day go ahead?").fill(SATURDAY.isoformat())
            page.get_by_role("button", name="Ask").click()
            expect(page.get_by_text("Not as planned.")).to_be_visible()
            expect(page.get_by_text(f"TERN-1:W2-01 goes from {SATURDAY} to {SUNDAY}").first).to_be_visible()

        wren.get_by_role("button", name="Book what this day takes").click()
        expect(wren.get_by_text("Booked: 1 ea of SQUEEZER for TERN-1:W2-01.")).to_be_visible()

        heron.get_by_role("button", name="Book what this day takes").click()  # their page is older than Wren's booking
        expect(heron.get_by_role("alert")).to_contain_text("Wren booked 1")
        expect(heron.get_by_role("button", name="Book what is free, wait for the rest")).to_be_visible()
        axe(heron)
        heron.get_by_role("button", name="Do this").click()
        expect(heron.get_by_text(f"Done: PLOVER-1:F1-07 goes from {SATURDAY} to {SUNDAY}.")).to_be_visible()
        expect(heron.get_by_text("Yes.", exact=True)).to_be_visible()

        wren.reload()
        expect(wren.get_by_text("Yes.", exact=True)).to_be_visible()
        wren.goto(f"/club/?day={SATURDAY}")
        wren.get_by_text("The same as a table").click()
        expect(wren.get_by_text("Wren booked 1").last).to_be_visible()
        axe(wren)

    steps["PLOVER-1"].refresh_from_db()
    assert steps["PLOVER-1"].planned_on == SUNDAY
    assert list(Booking.objects.values_list("member__name", "waiting")) == [("Wren", False)]
