"""What a lot went through, how its item is stored, and temperature logs, for everyone: light and dark, phone and desk."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from inventory.shelflife import services
from inventory.shelflife.storage import Reading
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.alike


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector")


@pytest.fixture
def lot(workshop, bench, owner, inspector):
    """Tested, accepted, badly stored, partly disposed of."""
    item = factories.ItemFactory(
        workshop=workshop, code="SEAL-B2-1/2-LONG-CODE", kind="sealant", unit="g", life_months=9, extend_part=Fraction(1, 2)
    )
    lot = factories.LotFactory(bench=bench, item=item, code="R7-WITH-A-LONG-CODE", made_on=date(2026, 5, 1))
    place = factories.PlaceFactory(workshop=workshop, path="Hangar/Fridge/Door")
    factories.stock(lot, 100, place=place)
    start = timezone.make_aware(datetime.combine(DAY, datetime.min.time()))
    now = start + timedelta(days=2)
    services.save_rule(item=item, high=Decimal(27), never_above=Decimal(35), use_within_days=35, source="data sheet", by=owner, now=now)
    readings = [Reading(start + timedelta(hours=hour), degrees) for hour, degrees in enumerate((20, 28, 36, 20))]
    services.log_temperatures(place=place, readings=readings, by=owner, now=now)
    services.record_test(lot=lot, on=DAY, passed=True, method="hardness after 24 h", by=owner)
    services.withdraw(
        acceptance=services.accept(lot=lot, until=DAY, reason="sample", on=DAY, by=inspector), on=DAY, by=inspector, why="soft"
    )
    services.accept(lot=lot, until=DAY, reason="another sample", on=DAY, by=inspector)
    services.dispose(lot=lot, place=place, quantity=Decimal(5), mass_g=Decimal(9), way="town collection", on=DAY, by=owner)
    return lot


@pytest.mark.parametrize("role", ["owner", "inspector", "reader"])
def test_lot_page(role, request, page, live_server, signed_in, axe, lot):
    with time_machine.travel(DAY, tick=False):
        signed_in(request.getfixturevalue(role))
        page.goto(live_server.url + reverse("lot", args=[lot.pk]))
        for summary in page.locator("main summary").all():
            summary.click()
        axe(page)


def test_storage_and_temperature_pages(page, live_server, signed_in, axe, owner, lot, tmp_path):
    with time_machine.travel(DAY + timedelta(days=2), tick=False):
        signed_in(owner)
        page.goto(live_server.url + reverse("item-storage", args=[lot.item_id]))
        axe(page)
        page.get_by_label("Not over, in C").fill("95")
        page.get_by_role("button", name="Save the rule").click()
        page.get_by_text("a Fahrenheit figure?").wait_for()
        axe(page)
        page.goto(live_server.url + reverse("temperatures"))
        axe(page)
        log = tmp_path / "log.csv"
        log.write_text("time,temperature,unit\n2027-02-21T08:00Z,20,C\n2027-02-21T07:00Z,900,C\n")
        page.get_by_label("Place", exact=True).fill("Hangar/Fridge/Door")
        page.get_by_label("CSV file").set_input_files(log)
        page.get_by_role("button", name="Read it in").click()
        page.get_by_text("line 3:").wait_for()
        axe(page)
