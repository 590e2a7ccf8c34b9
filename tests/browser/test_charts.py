"""The pictures on a phone: nobody's text runs into another's, and the page of one item is for everyone."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from tests import factories

pytestmark = pytest.mark.alike

OVERLAPS = """() => [...document.querySelectorAll('figure.chart svg')].flatMap(svg => {
  const texts = [...svg.querySelectorAll('text')].map(each => [each.textContent, each.getBoundingClientRect()]);
  return texts.flatMap(([text, a], at) => texts.slice(at + 1)
    .filter(([, b]) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 3 && b.top < a.bottom - 3)
    .map(([other]) => `${text} / ${other}`).concat(a.right > innerWidth + 1 || a.left < -1 ? [`${text} / the edge`] : []));
})"""


def test_pictures_are_legible_on_a_phone(page, live_server, signed_in, workshop, bench, project, axe):
    today = timezone.localdate()
    item = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet")
    factories.stock(factories.LotFactory(bench=bench, item=item, expires_on=today + timedelta(30)), 999_000)
    before, crate = [], factories.CrateFactory(bench=bench, arrived_on=today)
    for at in range(60):
        section = factories.SectionFactory(project=project, name=f"Section of the long name {at % 9}", position=at % 9)
        code = f"FLOAT-{at:02}-LEFT"
        step = factories.StepFactory(
            project=project, section=section, code=code, done=at < 5, planned_on=today + timedelta(7 * at), after=before[-1 - at % 3 :]
        )
        factories.CallOutFactory(step=step, item=item, quantity=Decimal(27_777))
        factories.PackingLineFactory(crate=crate, item=item)
        before.append(step)
    signed_in(factories.MemberFactory(workshop=workshop, role="reader"))
    page.set_viewport_size({"width": 390, "height": 844})
    addresses = (
        reverse("plan", args=[project.code]),
        reverse("step", args=[project.code, before[30].code]),
        reverse("crate", args=[crate.pk]),
        reverse("stock-by-week", args=[project.code, item.pk]),
    )
    for address in addresses:
        page.goto(live_server.url + address)
        expect(page.locator("figure.chart svg").first).to_be_visible()
        assert page.evaluate(OVERLAPS) == [], address

    expect(page.get_by_role("img", name="MS20470AD4-6: stock against need, week by week")).to_be_visible()
    expect(page.locator("figure.weeks")).to_contain_text("first short week")
    axe(page)
