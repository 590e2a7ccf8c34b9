"""The builder's log in a browser: from the step's page on a phone, with hours and a photo."""

import pytest
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled
from playwright.sync_api import expect

from buildplan.models import LogEntry, LogHours
from inventory.models import Photo
from tests import factories
from tests.pictures import picture

pytestmark = pytest.mark.alike


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05", title="Seal and rivet the seams", minutes=90)


def test_entry_with_hours_and_a_photo_is_written_from_the_step_on_a_phone(page, live_server, signed_in, owner, step, axe):
    signed_in(owner)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(live_server.url + reverse("step", args=["TERN-1", "F3-05"]))
    page.get_by_role("link", name="Write it down").click()

    page.get_by_label("What was done").fill("Sealed the keel.\nTwo rivets set anew.")
    page.get_by_label("Hours 1").fill("1:30")
    page.get_by_label("Person 2", exact=True).fill("Jon, a guest")
    page.get_by_label("Hours 2").fill("45 min")
    page.get_by_role("button", name="More people").click()
    expect(page.get_by_label("Hours 5")).to_be_visible()
    page.get_by_label("Photo", exact=True).set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": picture(900, 1200)})
    page.get_by_label("What the photo shows").fill("tails inside")
    axe(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("button", name="Write it into the log").click()

    expect(page.get_by_text("It is in the log.")).to_be_visible()
    expect(page.get_by_text("Two rivets set anew.")).to_be_visible()
    expect(page.get_by_role("img", name="tails inside 1")).to_be_visible()
    axe(page)
    with scopes_disabled():
        entry = LogEntry.objects.get(step=step)
        assert list(LogHours.objects.filter(entry=entry).order_by("pk").values_list("minutes", flat=True)) == [90, 45]
        assert entry.on == timezone.localdate()
        assert Photo.objects.get().ref == entry.ref
    for where in (reverse("step", args=["TERN-1", "F3-05"]), reverse("log"), reverse("log-hours"), reverse("sign-log", args=[entry.pk])):
        page.goto(live_server.url + where)
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        axe(page)
