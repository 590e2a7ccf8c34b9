"""A pick list on two phones at once."""

from decimal import Decimal

from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from buildplan.tonight import services
from buildplan.tonight.walk import walk
from tests import factories


def test_somebody_else_s_tick_appears_and_what_is_typed_stays(page, live_server, signed_in, workshop, bench, project, builder, axe):
    item = factories.ItemFactory(workshop=workshop, code="RIVET", name="Rivet")
    factories.stock(factories.LotFactory(bench=bench, item=item, code="R-1"), 100)
    step = factories.StepFactory(project=project, code="F2")
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(80))
    signed_in(factories.MemberFactory(workshop=workshop, role="builder"))
    page.goto(live_server.url + reverse("pick-list", query={"step": step.pk}))
    page.get_by_label("Scan what you take").fill("half a co")

    services.scan(walk=walk([step.pk], today=timezone.localdate()), code="RIVET", by=builder, now=timezone.now())
    expect(page.get_by_text("1 ticked off")).to_be_visible()
    expect(page.locator(".ticked")).to_contain_text(builder.name)
    expect(page.get_by_label("Scan what you take")).to_have_value("half a co")

    page.get_by_role("button", name="Tick it off").click()
    expect(page.get_by_text("Nothing here has this code")).to_be_visible()
    expect(page.get_by_label("Scan what you take")).to_be_focused()
    axe(page)
