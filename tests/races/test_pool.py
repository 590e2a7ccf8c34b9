"""Eight at the pool at once: one wins, the others learn who has it, and the ledger holds."""

from collections import Counter
from decimal import Decimal
from uuid import UUID, uuid4

import pytest

from inventory.models import BookedDay, Booking, Loan, LoanEnd, Place
from inventory.pool import services
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories
from tests.factories import DAY
from tests.inventory.pool.conftest import NOW, day

pytestmark = pytest.mark.django_db(transaction=True)
KEY = UUID(int=7)


def kinds(results):
    return Counter(type(result).__name__ for result in results)


@pytest.fixture
def people(workshop):
    return [factories.MemberFactory(workshop=workshop, name=f"M{number}", role="builder") for number in range(8)]


@pytest.fixture
def pool_lot(shared_bench, workshop, drawer):
    def pool_lot(kind, quantity):
        lot = factories.LotFactory(bench=shared_bench, item=factories.ItemFactory(workshop=workshop, kind=kind))
        factories.stock(lot, quantity, place=drawer)
        return lot

    return pool_lot


def book(item, quantity, who, *, key=None, **more):
    said = {"first_day": DAY, "last_day": day(2), "member": who, "by": who, "today": DAY, "now": NOW, "key": key or uuid4()}
    return services.book(item=item, quantity=Decimal(quantity), **said, **more)


def lend(lot, quantity, who, place, *, key=None):
    return services.lend(lot=lot, place=place, quantity=Decimal(quantity), member=who, on=DAY, key=key or uuid4(), by=who, now=NOW)


def test_eight_book_the_last_squeezer_and_one_gets_it(at_once, pool_lot, people, storekeeper):
    lot = pool_lot("tool", 1)
    services.add_thing(lot=lot, serial="SN-1", by=storekeeper, today=DAY)

    results = at_once(lambda number: book(lot.item, 1, people[number]))

    assert kinds(results) == {"Booking": 1, "Taken": 7}
    winner = Booking.objects.select_related("member").get().member
    assert all(f"{winner.name} booked 1 from 2027-02-20" in str(result) for result in results if not isinstance(result, Booking))
    assert BookedDay.objects.count() == 3


def test_eight_lend_the_last_forty_clecos_and_one_gets_them(at_once, pool_lot, people, drawer):
    lot = pool_lot("cleco", 40)

    results = at_once(lambda number: lend(lot, 40, people[number], drawer))

    assert kinds(results) == {"Loan": 1, "Taken": 7}
    winner = Loan.objects.select_related("member").get().member
    assert all(f"{winner.name} has 40" in str(result) for result in results if not isinstance(result, Loan))
    assert on_hand(lot) == 40
    assert ledger_errors() == []


def test_eight_lend_and_book_crosswise_and_never_more_than_there_is(at_once, pool_lot, people, drawer):
    lot = pool_lot("cleco", 40)

    def act(number):
        return lend(lot, 10, people[number], drawer) if number % 2 else book(lot.item, 10, people[number])

    assert kinds(at_once(act))["Taken"] == 4
    assert sum(Loan.objects.values_list("open", flat=True)) + sum(Booking.objects.values_list("quantity", flat=True)) == 40
    assert ledger_errors() == []


def test_eight_times_the_same_form_lends_and_takes_in_once(at_once, pool_lot, people, drawer):
    lot = pool_lot("cleco", 40)

    loans = at_once(lambda _: lend(lot, 10, people[0], drawer, key=KEY))

    assert kinds(loans) == {"Loan": 8}
    assert len({loan.pk for loan in loans}) == 1
    assert Place.objects.filter(hands__isnull=False).count() == 1
    back = {"kind": "returned", "quantity": Decimal(10), "key": KEY, "on": DAY, "by": people[0], "now": NOW}
    ends = at_once(lambda _: services.take_in(loan=loans[0], **back))
    assert kinds(ends) == {"LoanEnd": 8}
    assert LoanEnd.objects.count() == 1
    assert ledger_errors() == []


def test_eight_bring_back_the_same_ten_and_one_does(at_once, pool_lot, people, drawer):
    lot = pool_lot("cleco", 40)
    loan = lend(lot, 10, people[0], drawer)

    def act(_):
        return services.take_in(loan=loan, kind="returned", quantity=Decimal(10), key=uuid4(), on=DAY, by=people[0], now=NOW)

    assert kinds(at_once(act)) == {"LoanEnd": 1, "LoanOver": 7}
    assert ledger_errors() == []


def test_eight_give_back_what_eight_wait_for_and_each_gets_a_turn_once(at_once, pool_lot, people):
    lot = pool_lot("cleco", 8)
    held = [book(lot.item, 1, who) for who in people]
    line = [book(lot.item, 1, who, wait=True) for who in people]

    at_once(lambda number: services.cancel(booking=held[number], by=people[number], now=NOW))

    assert Booking.objects.filter(pk__in=[one.pk for one in line], waiting=False, ended_at=None).count() == 8
    assert Booking.objects.filter(ended_as="cancelled").count() == 8
