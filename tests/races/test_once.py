"""Eight requests at once: of one Idempotency-Key one has an effect, of one ETag one changes the row."""

from collections import Counter

import pytest

from inventory.models import KeptAnswer, Movement
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories
from tests.callers import Api

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def clients(as_device, storekeeper):
    """One program of the same member for each thread."""
    return [Api(as_device(storekeeper)) for _ in range(8)]


@pytest.fixture
def use(clients, lot, drawer):
    def use(number, quantity="1"):
        asked = {"kind": "use", "lot": lot.pk, "quantity": quantity, "place": drawer.path}
        return clients[number].post("movements", asked, key="k1")

    return use


def test_eight_of_one_key_act_once_and_get_one_answer(at_once, use, lot, drawer):
    factories.stock(lot, 1, place=drawer)  # a second use would be refused: who comes later must wait, not fail

    answers = at_once(use)

    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.json()["id"] for answer in answers}) == 1
    assert Counter(answer.get("Idempotent-Replay") for answer in answers) == {None: 1, "true": 7}
    assert (on_hand(lot), ledger_errors()) == (0, [])


def test_eight_of_two_bodies_with_one_key_act_once(at_once, use, lot, drawer):
    factories.stock(lot, 100, place=drawer)

    answers = at_once(lambda number: use(number, str(1 + number % 2)))

    assert Counter(answer.status_code for answer in answers) == {201: 4, 422: 4}
    assert Movement.objects.filter(target__end="used").count() == 1


def test_eight_that_are_refused_leave_the_key_free(at_once, use, lot, drawer):
    answers = at_once(use)

    assert {answer.status_code for answer in answers} == {409}
    assert KeptAnswer.objects.count() == 0
    factories.stock(lot, 1, place=drawer)
    assert use(0).status_code == 201


@pytest.mark.parametrize("address", ["items", "lots", "places"])
def test_eight_edits_of_one_version_change_it_once(at_once, clients, item, lot, drawer, address):
    row, changes = {"items": (item, {"name": "{}"}), "lots": (lot, {"expires": "203{}-01"}), "places": (drawer, {"path": "Shelf {}"})}[
        address
    ]
    seen = clients[0].get(f"{address}/{row.pk}")["ETag"]

    def edit(number):
        return clients[number].patch(f"{address}/{row.pk}", {name: text.format(number) for name, text in changes.items()}, match=seen)

    assert Counter(answer.status_code for answer in at_once(edit)) == {200: 1, 412: 7}


def test_eight_who_make_one_item_make_it_once(at_once, clients, workshop):
    new = {"code": "AN470AD4-6", "name": "Rivet", "kind": "rivet", "unit": "ea"}

    assert Counter(answer.status_code for answer in at_once(lambda number: clients[number].post("items", new))) == {201: 1, 409: 7}
