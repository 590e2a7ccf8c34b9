"""Scans sent three times over by eight threads at once: each acts once."""

import json
from collections import Counter
from datetime import timedelta
from decimal import Decimal
from random import Random

import pytest
from django.test import Client
from django.utils import timezone
from django_scopes import scopes_disabled

from inventory.models import Bag, Holding, Lot, Movement, Scan, Tally
from inventory.scanning import services
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors, on_hand
from inventory.workshop.services import issue_device
from tests import factories
from tests.pool import tub
from tests.scans import as_json, scan

pytestmark = pytest.mark.django_db(transaction=True)
UUIDS, TIMES, THREADS = 100, 3, 8


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def held(bench, item, drawer, storekeeper, now):
    lot = factories.LotFactory(bench=bench, item=item)
    stock.receive(lot=lot, quantity=1000, place=drawer, on=now.date(), by=storekeeper)
    return lot


@pytest.fixture
def bag(workshop, bench, item):
    crate = factories.CrateFactory(bench=bench, code="CRATE-7")
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    factories.PackingLineFactory(crate=crate, bag=bag, item=item, quantity=Decimal(1000))
    return bag


def shares(scans):
    """Every scan three times, dealt out to eight threads in another order each."""
    rng = Random(7)  # noqa: S311 - a fixed order
    dealt = [[] for _ in range(THREADS)]
    for one in scans:
        for thread in rng.sample(range(THREADS), TIMES):
            dealt[thread].append(one)
    for hand in dealt:
        rng.shuffle(hand)
    return dealt


def batches(hand, size):
    return [hand[at : at + size] for at in range(0, len(hand), size)]


@pytest.mark.parametrize("size", [1, 10])
def test_hundred_uuids_sent_three_times_act_once_each(at_once, held, bag, item, storekeeper, now, size):
    moment = {"at": now - timedelta(minutes=1), "device_time": now}
    scans = [scan(item.code, "take" if at % 2 else "tally", **moment) for at in range(UUIDS)]
    dealt = shares(scans)

    def act(number):
        return [
            answer for some in batches(dealt[number], size) for answer in services.act(scans=some, by=storekeeper, device=None, now=now)
        ]

    answers = [answer for result in at_once(act) for answer in result]

    assert len(answers) == UUIDS * TIMES
    assert Counter(answer.outcome for answer in answers) == {"done": UUIDS * TIMES}
    assert len({(answer.uuid, json.dumps(answer.body, sort_keys=True)) for answer in answers}) == UUIDS  # each time the same answer
    assert Scan.objects.count() == UUIDS
    assert Movement.objects.filter(target__end="used").count() == UUIDS / 2
    assert (Tally.objects.count(), on_hand(held), ledger_errors()) == (UUIDS / 2, 950, [])


def test_hundred_uuids_sent_three_times_by_http_act_once_each(at_once, held, item, storekeeper, now):
    """Eight scanners, each with its own token; one waits for its answer no longer and sends again."""
    tokens = [issue_device(member=storekeeper, name=f"Scanner {n}", scopes=["scan"], by=storekeeper)[1] for n in range(THREADS)]
    moment = {"at": now - timedelta(minutes=1), "device_time": now}
    dealt = shares([scan(item.code, "take", **moment) for _ in range(UUIDS)])

    def send(number):
        client = Client(headers={"authorization": f"Bearer {tokens[number]}"})
        statuses = []
        for some in batches(dealt[number], 7):
            answer = client.post("/api/v1/scans", json.dumps(as_json(some)), content_type="application/json")
            statuses += [answer.status_code] + [one["outcome"] for one in answer.json()["results"]]
        return statuses

    said = Counter(one for result in at_once(send) for one in result)

    assert set(said) == {207, "done"}
    assert said["done"] == UUIDS * TIMES
    assert (on_hand(held), Scan.objects.count(), ledger_errors()) == (900, UUIDS, [])


def test_last_of_a_lot_is_taken_once(at_once, bench, item, drawer, storekeeper, now):
    lot = factories.LotFactory(bench=bench, item=item)
    stock.receive(lot=lot, quantity=5, place=drawer, on=now.date(), by=storekeeper)
    moment = {"at": now, "device_time": now}

    def act(_):
        return services.act(scans=[scan(item.code, "take", **moment)], by=storekeeper, device=None, now=now)[0].outcome

    assert Counter(at_once(act)) == {"done": 5, "refused": 3}
    assert (on_hand(lot), ledger_errors()) == (0, [])


def test_carries_to_and_fro_over_many_lots_all_get_through(at_once, bench, workshop, storekeeper, now):
    """Batches that touch the same lots in other orders: nobody waits for one who waits for them."""
    shelves = [factories.PlaceFactory(workshop=workshop, path=f"Shelf {n}") for n in range(2)]
    lots = [factories.LotFactory(bench=bench) for _ in range(12)]
    for lot in lots:
        stock.receive(lot=lot, quantity=100, place=shelves[0], on=now.date(), by=storekeeper)
    moment = {"at": now, "device_time": now, "place": "Shelf 1", "quantity": 1}

    def act(number):
        order = Random(number).sample(lots, len(lots))  # noqa: S311 - a fixed order
        answers = services.act(
            scans=[scan(lot.item.code, "put", lot=lot.pk, **moment) for lot in order], by=storekeeper, device=None, now=now
        )
        return [answer.outcome for answer in answers]

    outcomes = Counter(outcome for result in at_once(act) for outcome in result)

    assert outcomes == {"done": THREADS * len(lots)}
    assert {held.quantity for held in Holding.objects.filter(place=shelves[1])} == {THREADS}
    assert ledger_errors() == []


def test_conflict_is_settled_once(at_once, held, item, drawer, storekeeper, now):
    older = scan(item.code, "count", place=drawer.path, quantity=5, at=now - timedelta(hours=1), device_time=now)
    newer = scan(item.code, "count", place=drawer.path, quantity=8, at=now, device_time=now)
    services.act(scans=[newer, older], by=storekeeper, device=None, now=now)
    conflict = Scan.objects.get(uuid=older.uuid)

    results = at_once(lambda number: (services.apply if number % 2 else services.let_go)(scan=conflict, by=storekeeper, now=now))

    assert Counter(type(result).__name__ for result in results) == {"Scan": 1, "AlreadySettled": 7}
    assert ledger_errors() == []


def test_scan_is_undone_once(at_once, held, item, storekeeper, now):
    sent = scan(item.code, "take", quantity=3, at=now, device_time=now)
    services.act(scans=[sent], by=storekeeper, device=None, now=now)
    done = Scan.objects.get(uuid=sent.uuid)

    results = at_once(lambda _: services.undo(scan=done, by=storekeeper, now=now))

    assert Counter(type(result).__name__ for result in results) == {"Scan": 1, "AlreadyUndone": 7}
    assert (on_hand(held), ledger_errors()) == (1000, [])


def test_workshops_do_not_share_uuids(workshop, held, item, storekeeper, outsider, now):
    sent = scan(item.code, "take", at=now, device_time=now)
    services.act(scans=[sent], by=storekeeper, device=None, now=now)

    with scopes_disabled():
        stranger = Lot.objects.get(workshop=outsider)
    assert on_hand(held) == 999
    assert stranger.workshop_id != held.workshop_id


def test_eight_lend_the_last_of_two_tubs_in_either_order(at_once, workshop, shared_bench, drawer, storekeeper, now):
    """Batches that lock the same tubs in opposite orders stand in each other's way; each is begun anew, and none lends twice."""
    lots = [tub(shared_bench, drawer, storekeeper, quantity=40, code=code) for code in ("CLECO-3/32", "CLECO-1/8")]
    people = [factories.MemberFactory(workshop=workshop, role="builder") for _ in range(THREADS)]

    def lend(number):
        codes = [lot.item.code for lot in lots][:: -1 if number % 2 else 1]
        sent = [scan(code, "lend", quantity=10, at=now, device_time=now) for code in codes]
        return [answer.status for answer in services.act(scans=sent, by=people[number], device=None, now=now)]

    answers = Counter(status for statuses in at_once(lend) for status in statuses)

    assert answers == {200: 8, 409: 8}
    assert [sum(loan.open for loan in lot.loans.all()) for lot in lots] == [40, 40]
    assert not ledger_errors()
