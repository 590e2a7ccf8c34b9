"""A blank half cut in the browser: looked at, planned with its second half two years ahead, sawn."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from buildplan.cutting import services
from buildplan.cutting.services import BlankData, PlannedPiece
from tests import factories

pytestmark = pytest.mark.alike


def test_blank_is_half_cut_and_its_second_half_promised(page, live_server, signed_in, axe, owner, workshop, bench, project, drawer):
    item = factories.ItemFactory(workshop=workshop, code="SHEET-032", kind="sheet")
    blank = services.save_blank(item=item, said=BlankData("sheet"), by=owner)
    factories.stock(factories.LotFactory(bench=bench, item=item, code="B-1"), 1, drawer)
    today = timezone.localdate()
    for code, days in (("F3-01", 10), ("F9-01", 730)):
        step = factories.StepFactory(project=project, code=code, planned_on=today + timedelta(days=days))
        services.save_piece(step=step, stated=PlannedPiece(code, "W-31", blank.pk, 2, per_blank=4), by=owner)
    signed_in(owner)
    page.goto(live_server.url + reverse("step", args=[project.code, "F3-01"]))
    page.get_by_role("link", name="Plan a cut").click()
    expect(page.get_by_role("heading", name="Plan a cut of SHEET-032")).to_be_visible()
    page.get_by_label("promised for later").nth(1).fill("2")
    page.get_by_role("button", name="Look at it first").click()
    expect(page.get_by_text("It takes material from no other piece.")).to_be_visible()
    axe(page)
    page.get_by_role("button", name="Hold the blank for this cut").click()
    expect(page.get_by_text("The blank is held for this cut until it is sawn.")).to_be_visible()
    axe(page)
    page.get_by_role("button", name="It is sawn").click()
    expect(page.get_by_text("the offcuts that are kept, are on the shelf")).to_be_visible()
    page.get_by_role("link", name="What was promised is planned on the offcut").click()
    expect(page.get_by_text("Planned: the blank is held for it.")).to_be_visible()
    page.goto(live_server.url + reverse("blank", args=[blank.pk]))
    expect(page.get_by_text("promised to F9-01 of TERN-1")).to_be_visible()
    axe(page)
    page.goto(live_server.url + reverse("cutting"))
    expect(page.get_by_role("heading", name="Cutting")).to_be_visible()
    axe(page)
