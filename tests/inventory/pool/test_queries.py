"""What the pool's pages read, in as many queries for many as for one."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.pool import queries, services
from inventory.stock import services as stock
from tests import factories
from tests.factories import DAY
from tests.inventory.pool.conftest import NOW, day

pytestmark = pytest.mark.django_db


def counted(act):
    with CaptureQueriesContext(connection) as found:
        act()
    return len(found)


def test_free_days_add_up_and_name_who(clecos, people, book, lend):
    ann, bea, _ = people
    lend(clecos, 15, ann, due_on=day(1))
    book(clecos.item, 10, bea, 1, 2)
    found = queries.free(clecos.item, DAY, day(3))
    assert [(one.lent, one.booked, one.free, one.over) for one in found] == [(15, 0, 25, 0), (15, 10, 15, 0), (0, 10, 30, 0), (0, 0, 40, 0)]
    assert [reason.text for reason in found[1].trace] == [
        "Ann has 15 from 2027-02-20 until 2027-02-21",
        "Bea booked 10 from 2027-02-21 until 2027-02-22",
        "40 there - 15 lent - 10 booked = 15",
    ]


def test_what_was_promised_beyond_what_is_there_is_said(clecos, people, book, tub, storekeeper):
    book(clecos.item, 40, people[0], 1)
    stock.scrap(lot=clecos, quantity=15, place=tub, on=DAY, by=storekeeper)  # beside the pool
    assert [(one.there, one.free, one.over) for one in queries.free(clecos.item, day(1), day(1))] == [(25, 0, 15)]


def test_pool_stock_is_what_shared_benches_have(clecos, squeezer, people, book, lend, bench, outsider):
    factories.stock(factories.LotFactory(bench=bench, item=factories.ItemFactory(workshop=bench.workshop, kind="tool")), 1)
    lend(clecos, 15, people[0])
    book(clecos.item, 10, people[1])
    book(clecos.item, 40, people[1], wait=True)
    found = [(one.item, one.there, one.lent, one.booked, one.free, one.waiting) for one in queries.pool_stock(today=DAY)]
    assert found == [("CLECO-1/8", 40, 15, 10, 15, 1), ("SQUEEZER", 1, 0, 0, 1, 0)]


def test_loans_come_with_their_ends_what_is_due_first_on_top(clecos, people, lend, take_in, outsider):
    ann, bea, _ = people
    endless, over, first = lend(clecos, 3, ann), lend(clecos, 2, bea, due_on=day(9)), lend(clecos, 5, bea, due_on=day(1), on=day(-1))
    take_in(over, 2)
    take_in(first, 2, "lost")
    found = queries.loans()
    assert [(one.id, one.member, one.open) for one in found] == [(first.pk, "Bea", 3), (endless.pk, "Ann", 3)]
    assert [(back.kind, back.quantity, back.place) for back in found[0].ends] == [("lost", 2, "lost")]
    assert [reason.text for reason in found[0].trace] == [
        "5 ea went from Hangar/Tub 3 to Bea on 2027-02-19, until 2027-02-21",
        "2 ea were lost on 2027-02-20, as Bea said",
        "3 ea of 5 still out",
    ]
    assert (found[0].overdue(day(1)), found[0].overdue(day(2)), found[1].overdue(day(99))) == (False, True, False)
    assert [one.id for one in queries.loans(member=bea, open_only=False)] == [first.pk, over.pk]
    assert queries.loans(item=clecos.item, lot=clecos) == found


def test_bookings_of_some_days(clecos, squeezer, people, book):
    ann, bea, _ = people
    one, two = book(clecos.item, 40, ann, 0, 2), book(squeezer.lot.item, 1, bea, 3)
    waits = book(clecos.item, 1, bea, 2, wait=True)
    services.cancel(booking=book(clecos.item, 1, ann, 4), by=ann, now=NOW)
    assert [(found.id, found.state(DAY)) for found in queries.bookings(first=day(2), last=day(9))] == [
        (one.pk, "booked"),
        (waits.pk, "waiting"),
        (two.pk, "booked"),
    ]
    assert [found.id for found in queries.bookings(first=day(3), last=day(9), item=clecos.item)] == []


def test_things_say_where_they_are_and_who_has_them(make_thing, people, lend, storekeeper):
    here, out, gone = make_thing("SN-1", calibrated_until=day(3)), make_thing("SN-2"), make_thing("SN-3")
    loan = lend(out.lot, 1, people[0], due_on=day(2))
    services.retire_thing(thing=gone, by=storekeeper, now=NOW)
    first, second = queries.things()
    assert (first.serial, first.place, first.loan_id, first.member) == ("SN-1", "Hangar/Tub 3", None, "")
    assert (second.id, second.place, second.loan_id, second.member, second.due_on) == (out.pk, "Lent/Ann", loan.pk, "Ann", day(2))
    assert (first.calibration_over(day(3)), first.calibration_over(day(4)), second.calibration_over(day(4))) == (False, True, False)
    assert [one.id for one in queries.things(retired=True)] == [here.pk, out.pk, gone.pk]


def test_a_members_own_things(clecos, people, lend, take_in, book):
    ann, bea, _ = people
    out, had = lend(clecos, 5, ann), lend(clecos, 5, ann)
    take_in(had, 5)
    promised, waits = book(clecos.item, 35, ann, 3), book(clecos.item, 1, ann, 3, wait=True)
    book(clecos.item, 1, bea, 4)
    found = queries.of_member(ann, today=DAY)
    assert [[one.id for one in part] for part in (found.out, found.promised, found.waiting, found.had)] == [
        [out.pk],
        [promised.pk],
        [waits.pk],
        [had.pk],
    ]
    assert queries.of_member(ann, today=day(4)).promised == ()


def test_a_things_history(squeezer, people, lend, take_in, book, storekeeper):
    ann = people[0]
    take_in(lend(squeezer.lot, 1, ann, on=day(-3), due_on=day(1)), 1, on=day(-2), condition="jaw worn")
    services.cancel(booking=book(squeezer.lot.item, 1, ann, 2, thing=squeezer), by=ann, now=NOW)
    texts = [event.text for event in queries.history(squeezer.lot)]
    assert "booked from 2027-02-22 through 2027-02-22, cancelled" in texts
    assert "1 ea lent until 2027-02-21" in texts
    assert "1 ea came back to Hangar/Tub 3, jaw worn" in texts
    assert any(text.startswith("serial number SN-1, jaw worn") for text in texts)


def test_pages_take_the_same_queries_for_one_and_for_many(clecos, make_thing, people, book, lend, take_in, workshop, shared_bench, tub):
    def one_more(number):
        item = factories.ItemFactory(workshop=workshop, code=f"TOOL-{number}", kind="tool")
        lot = factories.LotFactory(bench=shared_bench, item=item)
        factories.stock(lot, 4, place=tub)
        take_in(lend(lot, 2, people[0]), 1)
        book(item, 3, people[1], 1)
        book(item, 4, people[2], 1, wait=True)
        lend(make_thing(f"SN-{number}").lot, 1, people[0])

    acts = (
        queries.loans,
        lambda: queries.bookings(first=DAY, last=day(9)),
        queries.waiting,
        lambda: queries.pool_stock(today=DAY),
        queries.things,
        lambda: queries.free_of([item.pk for item in queries.pool_items()], DAY, day(6)),
        lambda: queries.of_member(people[0], today=DAY),
        lambda: queries.history(clecos),
    )
    one_more(0)
    for act in acts:
        act()  # the first of its kind
    few = [counted(act) for act in acts]
    for number in range(1, 5):
        one_more(number)
    assert [counted(act) for act in acts] == few == [2, 5, 5, 5, 3, 4, 3, 3]
