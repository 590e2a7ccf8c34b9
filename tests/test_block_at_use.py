"""A lot past its life is used on no path without an acceptance, and on every path with one."""

import json
from datetime import date, timedelta
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse

from buildplan.models import DayStep, SealDay
from inventory.models import Bench, Lot, Movement
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


def sent(client, name, body, *given):
    return client.post(reverse(name, args=given), json.dumps(body), content_type="application/json")


def seal_day(step):
    said = {"workshop": step.workshop, "bench": step.project.bench, "on": TODAY}
    day, _ = SealDay.objects.get_or_create(**said, defaults={"by": factories.MemberFactory(workshop=step.workshop)})
    DayStep.objects.get_or_create(workshop=step.workshop, day=day, step=step)
    return day


def by_mix_card(client, lot, place, step):
    said = {"key": str(uuid4()), "item": lot.item_id, "planned": f"{step.pk}:5", "base": "4.5", "accelerator": "0.5"}
    said |= {"lot": f"{lot.pk}-{place.pk}", "mixed_at": f"{NOW:%Y-%m-%dT%H:%M}", "mixed_by": "Ada"}
    return client.post(reverse("mix-card", args=[seal_day(step).pk, 1]), said)


def by_mixes(client, lot, place, step):
    take, share = {"lot": lot.pk, "place": place.path, "grams": "5"}, {"project": step.project.code, "step": step.code, "grams": "5"}
    body = {"item": lot.item.code, "base": "4.5", "accelerator": "0.5", "takes": [take], "shares": [share]}
    return sent(client, "api-seal-day-mixes", {**body, "mixed_at": NOW.isoformat(), "mixed_by": "Ada"}, seal_day(step).pk)


def by_passing_it_on(client, lot, place, step):
    """Another bench's lot of the same pieces is no other lot: it is as dead, and as accepted."""
    bench = Bench.objects.exclude(pk=lot.bench_id).first() or factories.BenchFactory(workshop=step.workshop)
    offered = sent(client, "api-transfers", {"kind": "offer", "lot": lot.pk, "quantity": "5", "taker": bench.code})
    if offered.status_code != HTTPStatus.CREATED:
        return offered
    passed = sent(client, "api-transfer-accept", {}, offered.json()["id"])
    return by_api(client, Lot.objects.get(pk=passed.json()["made"]), place, step)


PATHS = {
    "a step's page": by_page,
    "movements": by_api,
    "the scan page": by_scan_page,
    "scans": by_scan,
    "a mix card": by_mix_card,
    "mixes": by_mixes,
    "another bench": by_passing_it_on,
}
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
    if path in {"movements", "mixes", "another bench"}:
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
