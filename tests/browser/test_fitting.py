"""A conflict of text and drawing on a phone: recorded at a step, the step held, settled, and free again."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from buildplan.fitting import services
from buildplan.fitting.models import Position
from buildplan.fitting.services import Piece
from tests import factories
from tests.buildplan.fitting.conftest import TODAY

pytestmark = [pytest.mark.alike, pytest.mark.django_db(transaction=True)]


def test_conflict_holds_its_step_until_it_is_settled(page, live_server, signed_in, axe, owner, project):
    page.set_viewport_size({"width": 390, "height": 844})
    step = factories.StepFactory(project=project, code="F1", title="Rivet the rib", hand="left")
    assembly = services.make_assembly(project=project, name="Bottom skin", steps=[(step, "final")], by=owner)
    services.add_positions(assembly=assembly, parts=["skin", "stiffener"], first=7, last=7, by=owner)
    position = Position.objects.select_related("assembly__project__bench").get(part="skin")
    services.mark(position=position, piece=Piece(words="the bent one"), on=TODAY, by=owner, today=TODAY)
    signed_in(owner)
    at = f"{live_server.url}{reverse('step', args=['TERN-1', 'F1'])}"

    page.goto(at)
    page.get_by_role("link", name="Text and drawing disagree").click()
    page.get_by_label("What it is about").fill("hand of the rib")
    page.get_by_label("The text says").fill("rivet the left rib")
    page.get_by_label("Where in the text").fill("page 12")
    page.get_by_label("The drawing says").fill("the right rib is drawn")
    page.get_by_label("Where in the drawings").fill("sheet 4")
    expect(page.get_by_label("Steps that rest on it")).to_have_value("F1")
    axe(page)
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("button", name="Record it, and hold what rests on it").click()
    expect(page.get_by_text("Open: what rests on it is held.")).to_be_visible()
    axe(page)
    conflict = page.url

    page.goto(at)
    expect(page.get_by_text("Held: text and drawing disagree.")).to_be_visible()
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.get_by_role("alert").get_by_text("F1 is held")).to_be_visible()

    page.goto(conflict)
    page.get_by_label("The drawing", exact=True).check()
    page.get_by_label("Note").fill("measured both ribs")
    page.get_by_role("button", name="Settle it").click()
    expect(page.get_by_text("The conflict is settled.")).to_be_visible()
    page.goto(at)
    expect(page.get_by_text("The drawing was right")).to_be_visible()
    expect(page.get_by_text("Held:")).to_have_count(0)

    for name, args in (("conflicts", []), ("hands", []), ("mark-list", [assembly.pk])):
        page.goto(live_server.url + reverse(name, args=args))
        axe(page)
    for name, args in (("assembly", [assembly.pk]), ("position", [position.pk])):
        page.goto(live_server.url + reverse(name, args=args))
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        axe(page)
