"""The pages of scans: the latest, undoing, and conflicts."""

from datetime import timedelta

import pytest
from django.urls import reverse

from inventory.models import Scan
from inventory.stock import services as stock
from inventory.stock.queries import on_hand
from tests.scans import NOW, act, scan


@pytest.fixture(autouse=True)
def _now(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def held(lot, drawer, storekeeper):
    stock.receive(lot=lot, quantity=10, place=drawer, on=NOW.date(), by=storekeeper)
    return lot


@pytest.fixture
def conflict(held, item, drawer, storekeeper):
    older = scan(item.code, "count", place=drawer.path, quantity=5, at=NOW - timedelta(hours=1))
    act(storekeeper, scan(item.code, "count", place=drawer.path, quantity=8), older)
    return Scan.objects.get(uuid=older.uuid)


def test_empty_page_says_what_to_do(as_member, storekeeper):
    assert "Nothing was scanned yet" in as_member(storekeeper).get(reverse("scans")).content.decode()


def test_page_shows_scans_and_undoes_one(as_member, storekeeper, held, item):
    act(storekeeper, scan(item.code, "take", quantity=3), scan("]C1nothing\x1d"))
    client = as_member(storekeeper)

    page = client.get(reverse("scans")).content.decode()
    assert f"3 ea of lot {held.code} of {item.code} used" in page
    assert "\x1d" not in page

    answer = client.post(reverse("undo-scan", args=[Scan.objects.get(action="take").pk]), follow=True)
    assert "Undone: 3 ea" in answer.content.decode()
    assert on_hand(held) == 10


def test_second_undo_is_told_and_moves_nothing(as_member, storekeeper, held, item):
    act(storekeeper, scan(item.code, "take", quantity=3))
    client, address = as_member(storekeeper), reverse("undo-scan", args=[Scan.objects.get().pk])

    client.post(address)
    again = client.post(address, follow=True)

    assert "Undone already" in again.content.decode()
    assert on_hand(held) == 10


def test_reader_sees_scans_and_undoes_none(as_member, storekeeper, reader, held, item):
    act(storekeeper, scan(item.code, "take", quantity=3))
    client = as_member(reader)

    assert "Undo" not in client.get(reverse("scans")).content.decode()
    assert client.post(reverse("undo-scan", args=[Scan.objects.get().pk])).status_code == 403
    assert on_hand(held) == 7


def test_conflict_is_shown_and_done_after_all(as_member, storekeeper, conflict, held, drawer):
    client = as_member(storekeeper)

    assert "1 scan waits, for a person".replace(",", "") in client.get(reverse("scans")).content.decode().replace(",", "")
    page = client.get(reverse("scan-conflicts")).content.decode()
    assert f"quantity 5, place {drawer.path}" in page

    answer = client.post(reverse("apply-scan", args=[conflict.pk]), follow=True)
    assert "Done after all" in answer.content.decode()
    assert "Nothing waits" in answer.content.decode()
    assert on_hand(held) == 5


def test_conflict_is_let_go_once(as_member, storekeeper, conflict, held):
    client, address = as_member(storekeeper), reverse("let-go-scan", args=[conflict.pk])

    assert "Let go" in client.post(address, follow=True).content.decode()
    assert "Settled already" in client.post(address, follow=True).content.decode()
    assert on_hand(held) == 8


def test_pages_take_as_many_queries_for_many(queries_of, storekeeper, held, item, conflict):
    for name in ("scans", "scan-conflicts"):
        queries_of(storekeeper, reverse(name))
    few = [queries_of(storekeeper, reverse(name)) for name in ("scans", "scan-conflicts")]
    act(storekeeper, *(scan(item.code, "count", quantity=5, at=NOW - timedelta(hours=2)) for _ in range(20)))

    assert [queries_of(storekeeper, reverse(name)) for name in ("scans", "scan-conflicts")] == few
