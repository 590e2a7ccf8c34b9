"""A lot past its life is used on no path without an acceptance, and on every path with one."""

import json
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from inventory.models import Lot, Movement
from inventory.shelflife import services
from tests import factories
from tests.scans import NOW

TODAY = NOW.date()
YESTERDAY = TODAY - timedelta(days=1)
WOULD_LIFT = "would lift this"


@pytest.fixture(autouse=True)
def _now(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", life_months=9)


@pytest.fixture
def step(project, sealant):
    step = factories.StepFactory(project=project, code="F3-05", planned_on=TODAY)
    factories.CallOutFactory(step=step, item=sealant, quantity=5)
    return step


def by_page(client, lot, place, step):
    return client.post(reverse("step", args=[step.project.code, step.code]), {"on": str(TODAY), f"take-{lot.pk}-{place.pk}": "5"})


def by_api(client, lot, place, step):
    del step
    body = {"kind": "use", "lot": lot.pk, "quantity": "5", "place": place.path}
    return client.post(reverse("api-movements"), json.dumps(body), content_type="application/json")


def by_scan_page(client, lot, place, step):
    del step
    said = {"uuid": str(uuid4()), "action": "take", "code": lot.item.code, "quantity": "5", "place": place.path, "bag": "", "lot": lot.pk}
    return client.post(reverse("scan"), said)


def by_scan(client, lot, place, step):
    del step
    said = {"uuid": str(uuid4()), "code": lot.item.code, "action": "take", "lot": lot.pk, "place": place.path, "quantity": "5"}
    body = {"scans": [{**said, "at": NOW.isoformat(), "device_time": NOW.isoformat()}]}
    return client.post(reverse("api-scans"), json.dumps(body), content_type="application/json")


PATHS = {"a step's page": by_page, "movements": by_api, "the scan page": by_scan_page, "scans": by_scan}
# What ends or unsettles the life of a lot.
ENDS = {
    "expired": {"expires_on": YESTERDAY},
    "past its life": {"made_on": date(2020, 1, 1)},
    "badly stored": {"expires_on": TODAY + timedelta(days=90), "storage_until": YESTERDAY, "storage_why": "36 C in Shed"},
    "of unknown life": {},
}


@pytest.fixture
def dead(bench, sealant, drawer):
    def dead(end):
        lot = factories.LotFactory(bench=bench, item=sealant, code="R7", **ENDS[end])
        factories.stock(lot, 100, place=drawer)
        return lot

    return dead


def used():
    return Movement.objects.filter(target__end="used").count()


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("end", ENDS)
def test_use_is_blocked_on_every_path_and_an_acceptance_lifts_it(end, path, dead, drawer, step, as_member, builder, workshop):
    lot, client = dead(end), as_member(builder)
    answer = PATHS[path](client, lot, drawer, step)
    assert used() == 0, answer.content
    if path == "movements":
        assert WOULD_LIFT in answer.json()["detail"]

    inspector = factories.MemberFactory(workshop=workshop, role="inspector")
    services.accept(lot=lot, until=TODAY, reason="sample cured hard", on=TODAY, by=inspector)
    answer = PATHS[path](client, lot, drawer, step)
    assert used() == 1, answer.content


@pytest.mark.parametrize("path", PATHS)
def test_acceptance_of_yesterday_lifts_nothing_today(path, dead, drawer, step, as_member, builder):
    lot = dead("expired")
    Lot.objects.filter(pk=lot.pk).update(accepted_until=YESTERDAY)
    PATHS[path](as_member(builder), lot, drawer, step)
    assert used() == 0


@pytest.mark.parametrize("path", PATHS)
def test_no_acceptance_lets_a_failed_lot_be_used(path, dead, drawer, step, as_member, builder):
    lot = dead("expired")
    Lot.objects.filter(pk=lot.pk).update(accepted_until=TODAY, state="failed")
    PATHS[path](as_member(builder), lot, drawer, step)
    assert used() == 0
