"""Bookings: what is promised for days to come, who waits, and whose turn it is."""

from datetime import UTC, datetime
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from inventory.common.problems import FieldProblem
from inventory.common.quantities import BadQuantity
from inventory.models import BookedDay, Booking
from inventory.pool import queries, services
from inventory.pool.services import ListedAlready, NotBooked, NotOneThing, NotPooled, Stranger, Taken, TooMany
from inventory.stock import services as stock
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY
from tests.inventory.pool.conftest import NOW, day

pytestmark = pytest.mark.django_db


def states(*bookings):
    for booking in bookings:
        booking.refresh_from_db()
    return [booking.ended_as or ("waiting" if booking.waiting else "booked") for booking in bookings]


def cancel(booking, by=None, now=NOW):
    return services.cancel(booking=booking, by=by or booking.member, now=now)


class TestCounted:
    def test_up_to_what_is_there_on_each_day_and_no_more(self, clecos, people, book):
        ann, bea, cy = people
        book(clecos.item, 30, ann, 0, 2)
        book(clecos.item, 30, bea, 3, 4)
        book(clecos.item, 10, cy, 2, 3)
        with pytest.raises(Taken) as error:
            book(clecos.item, 1, cy, 1, 4)
        assert str(error.value) == (
            "CLECO-1/8: 0 of 40 are free on 2027-02-22 and not 1: Ann booked 30 from 2027-02-20 until 2027-02-22 and "
            "Cy booked 10 from 2027-02-22 until 2027-02-23. Ask for other days or for fewer, or join the waiting line"
        )
        assert book(clecos.item, 10, cy, 0, 1).waiting is False

    def test_what_is_lent_counts_until_it_is_due_and_without_a_day_always(self, clecos, people, book, lend):
        ann, bea, _ = people
        lend(clecos, 30, ann, due_on=day(3))
        with pytest.raises(Taken, match="Ann has 30"):
            book(clecos.item, 11, bea, 3)
        assert book(clecos.item, 11, bea, 4).waiting is False
        lend(clecos, 5, ann, due_on=day(3))
        lend(clecos, 5, ann, due_on=day(3))
        with pytest.raises(Taken, match="0 of 40 are free on 2027-02-27 and not 1"):  # overdue by then: nobody knows until when
            book(clecos.item, 1, bea, 7, today=day(4))

    def test_more_than_the_pool_has_never_gets_a_turn(self, clecos, people, book, workshop):
        with pytest.raises(TooMany, match="the pool has 40 of CLECO-1/8 and not 41, whoever has them now"):
            book(clecos.item, 41, people[0], wait=True)
        with pytest.raises(TooMany, match="the pool has 0 of"):
            book(factories.ItemFactory(workshop=workshop, kind="tool"), 1, people[0])

    def test_another_bench_and_the_outsider_add_nothing(self, clecos, people, book, other_bench, outsider):
        factories.stock(factories.LotFactory(bench=other_bench, item=clecos.item), 100)
        assert [one.there for one in queries.free(clecos.item, DAY, DAY)] == [40]

    def test_the_same_key_again_is_the_first_booking(self, clecos, people, book):
        key = uuid4()
        assert book(clecos.item, 40, people[0], key=key) == book(clecos.item, 40, people[0], key=key)


class TestDays:
    @pytest.mark.parametrize(
        ("first", "last", "says"),
        [
            (-1, 1, "first_day: 2027-02-19 is past: book from 2027-02-20 on"),
            (2, 1, "last_day: 2027-02-21 is before 2027-02-22: both days are included, so for one day give it twice"),
            (0, 11, "last_day: .* is longer than the longest loan here, 10 days: end by 2027-03-02"),
            (25, 31, "last_day: 2027-03-23 is further ahead than the 30 days that are booked here: end by 2027-03-22"),
        ],
    )
    def test_days_that_do_not_do_are_refused_with_what_would(self, clecos, people, book, workshop, owner, first, last, says):
        services.set_rules(workshop=workshop, longest_days=10, book_ahead_days=30, by=owner)
        with pytest.raises(FieldProblem) as error:
            book(clecos.item, 1, people[0], first, last)
        field, text = says.split(": ", 1)
        assert error.value.field == field
        assert error.match(text)

    def test_a_slip_of_the_year_does_not_fill_the_calendar(self, clecos, people, book):
        with pytest.raises(FieldProblem, match="366 days"):
            book(clecos.item, 1, people[0], 0, 3650)

    def test_half_a_piece_is_refused(self, clecos, people, book):
        with pytest.raises(BadQuantity, match="by the whole piece"):
            book(clecos.item, "0.5", people[0])


class TestWho:
    def test_for_another_only_who_keeps_the_stock_books_and_cancels(self, clecos, people, book, storekeeper):
        ann, bea, _ = people
        with pytest.raises(NotAllowed):
            book(clecos.item, 1, ann, by=bea)
        booking = book(clecos.item, 1, ann, by=storekeeper)
        with pytest.raises(NotAllowed, match="this is Ann's: they or who keeps the stock may cancel it"):
            cancel(booking, by=bea)
        assert states(cancel(booking)) == ["cancelled"]

    def test_for_nobody_who_left(self, clecos, book, workshop, storekeeper):
        with pytest.raises(Stranger):
            book(clecos.item, 1, factories.MemberFactory(workshop=workshop, active=False), by=storekeeper)

    def test_only_what_comes_back_from_a_shared_bench_is_booked(self, bench, squeezer, people, book, workshop, storekeeper, clecos):
        with pytest.raises(NotPooled, match="only clecos and tools are lent"):
            book(factories.ItemFactory(workshop=workshop, kind="rivet"), 1, people[0])
        with pytest.raises(NotPooled, match="SN-1 is no CLECO-1/8"):
            book(clecos.item, 1, people[0], thing=squeezer)
        own = factories.LotFactory(bench=bench, item=squeezer.lot.item)
        factories.stock(own, 1)
        thing = services.add_thing(lot=own, serial="SN-8", by=storekeeper, today=DAY)
        with pytest.raises(NotPooled, match="SN-8 is Bench TERN's own"):
            book(squeezer.lot.item, 1, people[0], thing=thing)


class TestSingleThings:
    def test_a_booking_of_any_names_one_that_is_free_on_all_days(self, make_thing, people, book, squeezers):
        first, second = make_thing("SN-1"), make_thing("SN-2")
        book(squeezers, 1, people[0], 1, thing=first)
        assert book(squeezers, 1, people[1], 0, 2).thing == second
        with pytest.raises(Taken):
            book(squeezers, 1, people[2], 0, 2)
        assert book(squeezers, 1, people[2], 2, 3).thing == first

    def test_they_are_booked_one_by_one(self, make_thing, people, book, squeezers):
        make_thing("SN-1"), make_thing("SN-2")
        with pytest.raises(TooMany, match="the pool has 2 single SQUEEZER: book them one by one"):
            book(squeezers, 2, people[0])

    def test_the_database_keeps_one_booking_a_day_whatever_a_service_forgot(self, squeezer, people, book, squeezers, workshop):
        booking = book(squeezers, 1, people[0], 0, 2)
        assert [row.day for row in booking.days.order_by("day")] == [DAY, day(1), day(2)]
        with pytest.raises(IntegrityError), transaction.atomic():
            BookedDay.objects.create(workshop=workshop, booking=booking, thing=squeezer, day=day(1))
        cancel(booking)
        assert not BookedDay.objects.exists()

    def test_retired_its_bookings_wait_for_another_and_get_a_free_one(self, make_thing, people, book, squeezers, storekeeper):
        ann, bea, _ = people
        first, second = make_thing("SN-1"), make_thing("SN-2")
        moved, stuck = book(squeezers, 1, ann, 1, thing=first), book(squeezers, 1, ann, 5, thing=first)
        book(squeezers, 1, bea, 5, thing=second)
        services.retire_thing(thing=first, by=storekeeper, now=NOW, condition="jaw broken")
        assert states(moved, stuck) == ["booked", "waiting"]
        assert (moved.thing, stuck.thing) == (second, None)
        with pytest.raises(NotPooled, match="SN-1 was retired on 2027-02-20: book another"):
            book(squeezers, 1, ann, 9, thing=first)

    def test_listed_as_a_thing_it_takes_over_what_was_booked_of_it(self, shared_bench, squeezers, people, book, storekeeper):
        lot = factories.LotFactory(bench=shared_bench, item=squeezers)
        factories.stock(lot, 1)
        booking = book(squeezers, 1, people[0], 1)
        assert booking.thing is None
        thing = services.add_thing(lot=lot, serial="SN-5", by=storekeeper, today=DAY)
        booking.refresh_from_db()
        assert (booking.thing, booking.waiting) == (thing, False)

    def test_a_thing_is_a_lot_of_one_that_comes_back_once(self, clecos, squeezer, storekeeper, people, workshop, shared_bench):
        with pytest.raises(NotOneThing, match="40 ea are on hand; a single thing is a lot of 1"):
            services.add_thing(lot=clecos, by=storekeeper, today=DAY)
        with pytest.raises(ListedAlready):
            services.add_thing(lot=squeezer.lot, by=storekeeper, today=DAY)
        with pytest.raises(NotOneThing, match="only clecos and tools"):
            services.add_thing(lot=factories.LotFactory(bench=shared_bench), by=storekeeper, today=DAY)
        with pytest.raises(NotAllowed):
            services.change_thing(thing=squeezer, serial="", condition="", calibrated_on=None, calibrated_until=None, by=people[0])
        with pytest.raises(FieldProblem, match="calibration can't end on 2027-02-19"):
            services.change_thing(thing=squeezer, serial="SN-1", condition="", calibrated_on=DAY, calibrated_until=day(-1), by=storekeeper)


class TestTurns:
    """Who waits gets it when it frees up, in the same transaction."""

    def test_cancelling_serves_who_waits_and_says_why(self, clecos, people, book):
        ann, bea, _ = people
        first = book(clecos.item, 40, ann, 1)
        second = book(clecos.item, 40, bea, 1, wait=True)
        assert states(second) == ["waiting"]
        assert queries.booking(second.pk).trace[-1].text == "Bea never had one; asked on 2027-02-20"
        cancel(first)
        assert states(first, second) == ["cancelled", "booked"]
        assert queries.booking(second.pk).trace[-1].text == "their turn: Bea never had one; asked on 2027-02-20"

    def test_longest_without_first(self, clecos, people, book, lend, take_in):
        """Ann brought some back today, Bea ten days ago, Cy has some still: Bea, then Ann, then Cy."""
        ann, bea, cy = people
        take_in(lend(clecos, 1, bea, on=day(-20)), 1, on=day(-10))
        take_in(lend(clecos, 1, ann, on=day(-20)), 1, on=DAY)
        lend(clecos, 1, cy, due_on=day(1))
        held = book(clecos.item, 39, ann, 5, by=ann)
        line = [book(clecos.item, 40, who, 5, wait=True, now=NOW.replace(hour=at)) for at, who in enumerate((cy, ann, bea), 13)]
        assert [(one.member, one.turn) for one in queries.waiting(clecos.item)] == [("Bea", 1), ("Ann", 2), ("Cy", 3)]
        cancel(held)
        assert states(*line) == ["waiting", "waiting", "booked"]

    def test_what_comes_back_serves_who_waits(self, clecos, people, book, lend, take_in):
        ann, bea, _ = people
        loan = lend(clecos, 40, ann)
        waits = book(clecos.item, 10, bea, 1, wait=True)
        take_in(loan, 9)
        assert states(waits) == ["waiting"]
        take_in(loan, 1)
        assert states(waits) == ["booked"]

    def test_a_new_booking_does_not_jump_the_line(self, clecos, people, book, tub, storekeeper):
        ann, bea, cy = people
        book(clecos.item, 40, ann, 1)
        waits = book(clecos.item, 10, bea, 1, wait=True)
        stock.receive(lot=clecos, quantity=10, place=tub, on=DAY, by=storekeeper)  # the pool isn't told of deliveries
        with pytest.raises(Taken):
            book(clecos.item, 1, cy, 1)
        assert states(waits) == ["waiting"]  # refused, all of it is undone
        book(clecos.item, 1, cy, 2)
        assert states(waits) == ["booked"]

    def test_nor_does_a_loan(self, clecos, people, book, lend, take_in):
        ann, bea, cy = people
        loan = lend(clecos, 40, ann, due_on=day(1))
        book(clecos.item, 40, bea, 0, 1, wait=True)
        take_in(loan, 40)
        with pytest.raises(Taken, match="Bea booked 40"):
            lend(clecos, 1, cy, due_on=DAY)

    def test_what_was_lost_makes_who_asked_last_wait_again(self, clecos, people, book, lend, take_in):
        ann, bea, cy = people
        loan = lend(clecos, 10, cy, due_on=day(1))
        later, sooner = book(clecos.item, 20, bea, 5, now=NOW.replace(hour=13)), book(clecos.item, 20, ann, 5, now=NOW)
        take_in(loan, 1, "lost")
        assert states(sooner, later) == ["booked", "waiting"]

    def test_days_that_are_over_lapse_by_themselves(self, clecos, people, book):
        ann, bea, _ = people
        booking = book(clecos.item, 40, ann, 1)
        waits = book(clecos.item, 40, bea, 1, 3, wait=True)
        assert queries.booking(booking.pk).state(day(2)) == "lapsed"
        late = datetime(2027, 2, 22, 12, tzinfo=UTC)
        with pytest.raises(NotBooked, match="lapsed with its last day, 2027-02-21"):
            cancel(booking, now=late)
        book(clecos.item, 1, ann, 9, today=day(2), now=late)
        assert states(waits) == ["booked"]  # from the day that is left on

    def test_cancelling_twice_changes_nothing_and_what_was_lent_is_no_booking(self, clecos, people, book, lend):
        ann = people[0]
        booking = book(clecos.item, 1, ann)
        cancel(booking)
        assert cancel(booking).ended_at == NOW
        booking = book(clecos.item, 1, ann)
        lend(clecos, 1, ann)
        with pytest.raises(NotBooked, match="this booking was lent on 2027-02-20"):
            cancel(booking)
        assert Booking.objects.filter(quantity=Decimal(1)).count() == 2
