"""Eight at once accept one transfer, or accept and withdraw it: it ends once, and nothing is there twice."""

from collections import Counter
from datetime import UTC, datetime
from decimal import Decimal
from uuid import UUID, uuid4

import pytest

from inventory.models import Lot, Movement, Transfer
from inventory.pool import passing
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


@pytest.fixture
def bag(bench, item, drawer):
    bag = factories.LotFactory(bench=bench, item=item, code="R7")
    factories.stock(bag, 100, place=drawer)
    return bag


@pytest.fixture
def offer(bag, other_bench, storekeeper):
    def offer(quantity, taker=other_bench, key=None):
        said = {"until": None, "note": "", "key": key or uuid4(), "by": storekeeper, "now": NOW}
        return passing.offer(lot=bag, quantity=Decimal(quantity), taker=taker, **said)

    return offer


@pytest.fixture
def accept(storekeeper):
    def accept(transfer, bench=None):
        return passing.accept(transfer=transfer, lot=None, place=None, bench=bench, by=storekeeper, today=DAY, now=NOW)

    return accept


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def passed():
    return Movement.objects.filter(source__end="passed").count()


def test_eight_accept_one_transfer_and_one_wins(at_once, workshop, offer, accept, bag):
    benches = [factories.BenchFactory(workshop=workshop) for _ in range(8)]
    made = offer(60, taker=None)

    results = at_once(lambda number: accept(made, benches[number]))

    assert kinds(results) == {"Transfer": 1, "Answered": 7}
    won = next(result for result in results if isinstance(result, Transfer))
    assert (on_hand(bag), on_hand(won.made), passed()) == (40, 60, 1)
    assert Lot.objects.exclude(bench=bag.bench).filter(item=bag.item).count() == 1
    assert ledger_errors() == []


def test_eight_transfers_of_the_same_pieces_pass_as_many_as_there_are(at_once, offer, accept, bag, other_bench):
    made = [offer(30) for _ in range(8)]

    results = at_once(lambda number: accept(made[number]))

    assert kinds(results) == {"Transfer": 3, "NotEnough": 5}
    assert (on_hand(bag), passed()) == (10, 3)
    assert on_hand(Lot.objects.get(bench=other_bench)) == 90  # one lot, however many passed at once
    assert ledger_errors() == []


def test_transfer_that_is_accepted_and_withdrawn_at_once_ends_one_way(at_once, offer, accept, bag, storekeeper):
    made = offer(60)

    results = at_once(lambda number: passing.withdraw(transfer=made, by=storekeeper, now=NOW) if number % 2 else accept(made))

    assert kinds(results) == {"Transfer": 1, "Answered": 7}
    ended = Transfer.objects.get().ended_as
    assert (on_hand(bag), passed()) == ((40, 1) if ended == "done" else (100, 0))
    assert ledger_errors() == []


def test_eight_of_one_form_make_one_offer(at_once, offer):
    results = at_once(lambda _: offer(60, key=UUID(int=7)))

    assert {made.pk for made in results} == {Transfer.objects.get().pk}
