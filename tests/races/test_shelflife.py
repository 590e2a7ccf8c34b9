"""Eight at once: a pass counts once, a fail ends all, and no more of a failed batch slips in."""

from collections import Counter
from datetime import date, datetime, timedelta
from fractions import Fraction

import pytest
from django.utils import timezone

from inventory.models import Lot, Temperature, UpdateTest
from inventory.shelflife import services
from inventory.shelflife.storage import Reading
from inventory.stock import services as stock
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def batch(bench, workshop):
    item = factories.ItemFactory(workshop=workshop, kind="sealant", life_months=9, extend_part=Fraction(1, 2))
    return factories.LotFactory(bench=bench, item=item, code="R7", made_on=date(2026, 4, 30))


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def test_eight_passes_of_one_day_count_once(at_once, batch, owner):
    results = at_once(lambda _: services.record_test(lot=batch, on=DAY, passed=True, method="m", by=owner))
    assert kinds(results) == {"UpdateTest": 1, "TestedAlready": 7}
    assert Lot.objects.get(pk=batch.pk).passes == 1


def test_eight_fails_end_the_batch_once(at_once, batch, owner):
    results = at_once(lambda _: services.record_test(lot=batch, on=DAY, passed=False, method="m", by=owner))
    assert kinds(results) == {"UpdateTest": 1, "BatchFailed": 7}
    assert UpdateTest.objects.count() == 1


def test_fail_and_deliveries_at_once_leave_no_good_lot_of_the_batch(at_once, batch, workshop, owner):
    benches = [factories.BenchFactory(workshop=workshop) for _ in range(7)]

    def act(number):
        if number == 7:
            return services.record_test(lot=batch, on=DAY, passed=False, method="m", by=owner)
        return stock.find_or_make_lot(bench=benches[number], item=batch.item, code="R7", by=owner)

    results = at_once(act)
    assert set(kinds(results)) <= {"UpdateTest", "tuple", "NotUsable"}
    assert not Lot.objects.filter(code="R7", item=batch.item).exclude(state="failed").exists()


def test_eight_logs_of_the_same_readings_are_kept_once(at_once, batch, workshop, owner):
    place = factories.PlaceFactory(workshop=workshop)
    factories.stock(batch, 5, place=place)
    start = timezone.make_aware(datetime.combine(DAY, datetime.min.time()))
    readings = [Reading(start + timedelta(hours=hour), 20.0) for hour in range(5)]
    now = start + timedelta(days=1)
    results = at_once(lambda _: services.log_temperatures(place=place, readings=readings, by=owner, now=now))
    assert kinds(results) == {"Logged": 8}
    assert (sum(result.added for result in results), Temperature.objects.count()) == (5, 5)
