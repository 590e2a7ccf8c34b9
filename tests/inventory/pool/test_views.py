"""The pool as people meet it: what there is, lending, taking back, bookings, single things, rules, and passing from bench to bench."""

import re
from datetime import timedelta
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse

from inventory.models import BenchHolder, Booking, Holding, Loan, LoanEnd, Lot, Photo, PoolRules, Thing, Transfer
from inventory.pool import passing, services
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors
from tests import factories
from tests.factories import DAY
from tests.pictures import picture, upload
from tests.pool import lend, squeezer, tub
from tests.scans import NOW

WEEK = DAY + timedelta(days=7)


@pytest.fixture(autouse=True)
def _now(time_machine):
    time_machine.move_to(NOW, tick=False)


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


@pytest.fixture
def clecos(shared_bench, drawer, storekeeper):
    """200 in the drawer."""
    return tub(shared_bench, drawer, storekeeper)


@pytest.fixture
def thing(shared_bench, drawer, storekeeper):
    return squeezer(shared_bench, drawer, storekeeper)


@pytest.fixture
def ben(workshop):
    return factories.MemberFactory(workshop=workshop, role="builder", name="Ben")


def promise(item, member, **more):
    told = {"quantity": 1, "first_day": DAY, "last_day": DAY, "key": uuid4(), "by": member, "today": DAY, "now": NOW, **more}
    return services.book(item=item, member=member, **told)


class TestPool:
    def test_empty_pool_says_what_it_is_made_of(self, as_member, reader):
        page = words(as_member(reader).get(reverse("pool")))

        assert "The pool has nothing to lend yet" in page
        assert "shared bench" in page

    def test_pool_says_what_is_there_lent_booked_and_free(self, as_member, builder, ben, clecos, drawer):
        lend(clecos, drawer, ben, quantity=40)
        promise(clecos.item, ben, quantity=10)

        page = words(as_member(builder).get(reverse("pool")))

        assert "CLECO-3/32 Cleco, 3/32 150 ea 200 40 10 Lend CLECO-3/32 Book CLECO-3/32" in page

    def test_reader_is_offered_nothing_to_press(self, as_member, reader, clecos):
        assert "Lend CLECO" not in words(as_member(reader).get(reverse("pool")))

    def test_pages_take_the_same_queries_for_one_row_and_for_many(
        self, queries_of, shared_bench, drawer, storekeeper, builder, clecos, thing
    ):
        lend(clecos, drawer, builder, quantity=1)
        promise(thing.lot.item, builder)
        pages = [reverse(name) for name in ("pool", "my-pool", "loans", "bookings", "things")]
        queries_of(builder, pages[0])
        one = [queries_of(builder, page) for page in pages]

        for n in range(5):
            lot = tub(shared_bench, drawer, storekeeper, code=f"CLECO-{n}")
            lend(lot, drawer, builder, quantity=1)
            promise(lot.item, builder)
            squeezer(shared_bench, drawer, storekeeper, serial=f"SQ-{n + 2}", item=thing.lot.item)
        assert [queries_of(builder, page) for page in pages] == one


class TestLending:
    def given(self, lot, place, member, **more):
        return {"key": uuid4(), "spot": f"{lot.pk}:{place.pk}", "quantity": "40", "member": member.pk, **more}

    def test_form_offers_what_lies_on_the_shelves(self, as_member, builder, ben, clecos, drawer, thing):
        lend(clecos, drawer, ben, quantity=40)
        page = as_member(builder).get(reverse("lend"), {"item": clecos.item_id})

        assert "CLECO-3/32 TUB-3: 160 ea in Hangar/Rack 1/Drawer 3" in words(page)
        assert "SQUEEZER" not in words(page)
        assert "Lent/" not in words(page)

    def test_lending_hands_over_and_shows_the_loan(self, as_member, builder, clecos, drawer):
        given = self.given(clecos, drawer, builder, due_on=str(WEEK), condition="clean", note="left float")
        page = as_member(builder).post(reverse("lend"), given, follow=True)

        loan = Loan.objects.get()
        assert page.redirect_chain == [(reverse("loan", args=[loan.pk]), 302)]
        assert (loan.member, loan.open, loan.due_on, loan.condition, loan.note) == (builder, 40, WEEK, "clean", "left float")
        assert f"40 ea of CLECO-3/32 lent to {builder.name}, back by 2027-02-27." in words(page)
        assert "Still out 40 ea of 40" in words(page)
        assert not ledger_errors()

    def test_pressing_twice_lends_once(self, as_member, builder, clecos, drawer):
        given = self.given(clecos, drawer, builder)
        client = as_member(builder)
        first, second = (client.post(reverse("lend"), given) for _ in range(2))

        assert first.url == second.url
        assert Loan.objects.count() == 1

    def test_more_than_lies_there_is_said_and_what_was_typed_stays(self, as_member, builder, clecos, drawer):
        page = as_member(builder).post(reverse("lend"), self.given(clecos, drawer, builder, quantity="500", note="TYPED"))

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "of 200 are free" in words(page)
        assert "TYPED" in page.content.decode()

    def test_photo_of_the_condition_is_kept_with_the_loan(self, as_member, builder, clecos, drawer):
        page = as_member(builder).post(reverse("lend"), {**self.given(clecos, drawer, builder), "photo": upload(picture())}, follow=True)

        assert Photo.objects.get().ref == f"loan:{Loan.objects.get().pk}"
        assert "when it was lent" in words(page)

    def test_builder_lends_to_nobody_else_and_a_storekeeper_does(self, as_member, builder, ben, storekeeper, clecos, drawer):
        given = self.given(clecos, drawer, ben)

        assert as_member(builder).post(reverse("lend"), given).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert as_member(storekeeper).post(reverse("lend"), given).status_code == HTTPStatus.FOUND
        assert Loan.objects.get().member == ben

    def test_booked_thing_is_lent_from_its_booking(self, as_member, builder, thing, drawer):
        booking = promise(thing.lot.item, builder, last_day=DAY + timedelta(days=1))
        client, address = as_member(builder), f"{reverse('lend')}?booking={booking.pk}"
        assert 'value="2027-02-21"' in client.get(address).content.decode()

        client.post(address, self.given(thing.lot, drawer, builder, quantity="1", booking=booking.pk))

        booking.refresh_from_db()
        assert (booking.ended_as, Loan.objects.get().booking) == ("lent", booking)

    @pytest.mark.parametrize("asked", ["item=x", "item=999999", "lot=-1", "booking=" + "9" * 30])
    def test_address_that_names_nothing_is_not_found(self, as_member, builder, asked):
        assert as_member(builder).get(f"{reverse('lend')}?{asked}").status_code == HTTPStatus.NOT_FOUND

    def test_reader_may_not_lend(self, as_member, reader, clecos, drawer):
        client = as_member(reader)

        assert client.get(reverse("lend")).status_code == HTTPStatus.FORBIDDEN
        assert client.post(reverse("lend"), self.given(clecos, drawer, reader)).status_code == HTTPStatus.FORBIDDEN


class TestLoan:
    def given(self, **more):
        return {"key": uuid4(), "kind": "returned", "quantity": "25", **more}

    def test_part_is_taken_back_and_the_rest_stays_out(self, as_member, builder, clecos, drawer):
        loan = lend(clecos, drawer, builder)
        page = as_member(builder).post(reverse("take-in", args=[loan.pk]), self.given(condition="two bent"), follow=True)

        assert "25 ea of CLECO-3/32: returned." in words(page)
        assert "Still out 15 ea of 40" in words(page)
        assert "25 ea back in Hangar/Rack 1/Drawer 3, Sat 2027-02-20: two bent" in words(page)

    def test_lost_and_worn_leave_the_stock(self, as_member, builder, clecos, drawer):
        loan = lend(clecos, drawer, builder)
        client = as_member(builder)
        for kind in ("lost", "worn"):
            client.post(reverse("take-in", args=[loan.pk]), self.given(kind=kind, quantity="5"))

        assert list(LoanEnd.objects.order_by("pk").values_list("kind", "movement__target__end")) == [("lost", "lost"), ("worn", "scrapped")]
        assert sum(Holding.objects.values_list("quantity", flat=True)) == 190
        assert not ledger_errors()

    def test_what_does_not_do_is_said(self, as_member, builder, clecos, drawer):
        for given, told in [
            ({"quantity": "41"}, "40 ea are still out"),
            ({"quantity": "0"}, "Give more than 0"),
            ({"quantity": "some"}, "Write the quantity in digits"),
            ({"place": "No such shelf"}, "there is no place No such shelf here"),
            ({"kind": "eaten"}, "Select a valid choice"),
        ]:
            loan = lend(clecos, drawer, builder)
            page = as_member(builder).post(reverse("take-in", args=[loan.pk]), self.given(note="TYPED", **given))

            assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
            assert told in words(page)
            assert "TYPED" in page.content.decode()

    def test_pressing_twice_takes_in_once_and_its_photo_is_kept(self, as_member, builder, clecos, drawer):
        loan, given = lend(clecos, drawer, builder), self.given()
        client = as_member(builder)
        for _ in range(2):
            client.post(reverse("take-in", args=[loan.pk]), {**given, "photo": upload(picture())})

        end = LoanEnd.objects.get()
        assert Photo.objects.get().ref == f"loan-end:{end.pk}"
        assert "when it came back" in words(client.get(reverse("loan", args=[loan.pk])))

    def test_others_see_the_loan_and_end_nothing(self, as_member, ben, builder, clecos, drawer):
        loan = lend(clecos, drawer, builder)
        client = as_member(ben)

        assert "Take it back" not in words(client.get(reverse("loan", args=[loan.pk])))
        assert client.post(reverse("take-in", args=[loan.pk]), self.given()).status_code == HTTPStatus.FORBIDDEN
        assert client.post(reverse("renew-loan", args=[loan.pk]), {"due_on": str(WEEK)}).status_code == HTTPStatus.FORBIDDEN

    def test_renewal_is_counted_and_refused_where_somebody_waits(self, as_member, builder, ben, thing, drawer):
        loan = lend(thing.lot, drawer, builder, quantity=1, due_on=DAY + timedelta(days=1))
        client, address = as_member(builder), reverse("renew-loan", args=[loan.pk])
        client.post(address, {"due_on": "2027-02-22"})
        loan.refresh_from_db()
        assert (loan.renewals, str(loan.due_on)) == (1, "2027-02-22")

        promise(thing.lot.item, ben, thing=thing, wait=True)
        page = client.post(address, {"due_on": "2027-02-23"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "Ben waits" in words(page)

    def test_overdue_loan_says_so(self, as_member, builder, clecos, drawer, time_machine):
        loan = lend(clecos, drawer, builder, due_on=DAY)
        time_machine.move_to(NOW + timedelta(days=1), tick=False)
        client = as_member(builder)

        assert all("overdue" in words(client.get(page)) for page in (reverse("loan", args=[loan.pk]), reverse("loans"), reverse("my-pool")))

    def test_photo_is_added_by_the_borrower_alone(self, as_member, builder, ben, clecos, drawer):
        loan = lend(clecos, drawer, builder)
        address = reverse("loan-photos", args=[loan.pk])

        assert as_member(ben).post(address, {"photo": upload(picture())}).status_code == HTTPStatus.FORBIDDEN
        assert (
            as_member(builder).post(address, {"photo": upload(picture()), "caption": "the dent"}, follow=True).status_code == HTTPStatus.OK
        )
        assert Photo.objects.get().caption == "the dent"


class TestBookings:
    def given(self, what, member, **more):
        return {"key": uuid4(), "what": what, "quantity": "1", "first_day": str(WEEK), "last_day": str(WEEK), "member": member.pk, **more}

    def test_thing_is_booked_and_cancelled(self, as_member, builder, thing):
        client = as_member(builder)
        page = client.post(reverse("book"), self.given(f"thing:{thing.pk}", builder, note="left float"), follow=True)
        assert f"1 ea of SQUEEZER, 2027-02-27 to 2027-02-27: booked for {builder.name}." in words(page)
        assert "1 ea SQUEEZER SQ-1, Sat 2027-02-27" in words(page)

        page = client.post(reverse("cancel-booking", args=[Booking.objects.get().pk]), follow=True)
        assert Booking.objects.get().ended_as == "cancelled"
        assert "Nothing is promised from today on" in words(page)

    def test_taken_names_who_has_it_and_the_line_is_joined_by_a_tick(self, as_member, builder, ben, thing):
        promise(thing.lot.item, ben, thing=thing, first_day=WEEK, last_day=WEEK)
        client, given = as_member(builder), self.given(f"item:{thing.lot.item_id}", builder)

        refused = client.post(reverse("book"), given)
        assert refused.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "Ben booked 1 from 2027-02-27 until 2027-02-27" in words(refused)

        page = client.post(reverse("book"), {**given, "wait": "on"}, follow=True)
        assert f"all is taken, so {builder.name} waits in line" in words(page)
        assert f"Turn 1 in the line {builder.name} asked on 2027-02-20" in words(page)
        assert f"{builder.name} never had one" in words(page)

    def test_what_does_not_do_is_said(self, as_member, builder, clecos):
        for given, told in [
            ({"first_day": "2027-02-19", "last_day": "2027-02-19"}, "2027-02-19 is past: book from 2027-02-20 on"),
            ({"last_day": "2027-02-26"}, "2027-02-26 is before 2027-02-27"),
            ({"first_day": "soon"}, "Write the day as 2027-03-14"),
            ({"what": "item:999"}, "Select a valid choice"),
            ({"quantity": "300"}, "the pool has 200 of CLECO-3/32 and not 300"),
        ]:
            page = as_member(builder).post(reverse("book"), {**self.given(f"item:{clecos.item_id}", builder), **given})

            assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
            assert told in words(page)
            assert not Booking.objects.exists()

    def test_pressing_twice_books_once(self, as_member, builder, clecos):
        client, given = as_member(builder), self.given(f"item:{clecos.item_id}", builder)
        for _ in range(2):
            client.post(reverse("book"), given)

        assert Booking.objects.count() == 1

    def test_page_shows_what_is_free_day_by_day(self, as_member, builder, ben, clecos):
        promise(clecos.item, ben, quantity=80, first_day=WEEK, last_day=WEEK)
        page = words(as_member(builder).get(reverse("book"), {"item": clecos.item_id}))

        page = page.split("Free of CLECO-3/32 ", 1)[1]
        assert "Sat 2027-02-20 to Fri 2027-02-26 200 ea 200 0 0 Sat 2027-02-27 120 ea 200 0 80 Who" in page
        assert "Ben booked 80 from 2027-02-27 until 2027-02-27" in page

    def test_mine_are_mine_and_others_are_not_cancelled(self, as_member, builder, ben, clecos):
        booking = promise(clecos.item, ben, note="BEN'S")
        client = as_member(builder)

        assert "BEN&#x27;S" in client.get(reverse("bookings")).content.decode()
        assert "BEN&#x27;S" not in client.get(reverse("bookings"), {"whose": "mine"}).content.decode()
        assert client.post(reverse("cancel-booking", args=[booking.pk])).status_code == HTTPStatus.FORBIDDEN


class TestThings:
    def test_lot_of_one_becomes_a_thing(self, as_member, storekeeper, shared_bench, drawer, workshop):
        item = factories.ItemFactory(workshop=workshop, code="SQUEEZER", kind="tool")
        lot = factories.LotFactory(bench=shared_bench, item=item, code="SQ-9")
        stock.receive(lot=lot, quantity=1, place=drawer, on=DAY, by=storekeeper)
        client = as_member(storekeeper)
        assert "lot SQ-9 of SQUEEZER, Hangar/Rack 1/Drawer 3" in words(client.get(reverse("things")))

        given = {"lot": lot.pk, "serial": "SQ-9", "condition": "new", "calibrated_on": "2027-01-01", "calibrated_until": "2027-12-31"}
        page = client.post(reverse("things"), given, follow=True)

        assert (Thing.objects.get().lot, Thing.objects.get().serial) == (lot, "SQ-9")
        assert "calibrated until Fri 2027-12-31" in words(page)

    def test_thing_tells_who_has_it_and_what_happened(self, as_member, builder, thing, drawer):
        lend(thing.lot, drawer, builder, quantity=1, due_on=WEEK)
        page = words(as_member(builder).get(reverse("thing", args=[thing.pk])))

        assert f"{builder.name} has it" in page
        assert "1 ea lent until 2027-02-27" in page
        assert f"Hangar/Rack 1/Drawer 3 to Lent/{builder.name}" in page
        assert "Change what is known" not in page

    def test_calibration_that_ended_is_said(self, as_member, storekeeper, thing):
        client, address = as_member(storekeeper), reverse("thing", args=[thing.pk])
        client.post(address, {"serial": "SQ-1", "condition": "worn jaw", "calibrated_until": "2027-02-19"})
        page = words(client.get(address))

        assert "worn jaw" in page
        assert "Fri 2027-02-19, over" in page

    def test_dates_that_do_not_do_are_said(self, as_member, storekeeper, thing):
        given = {"calibrated_on": "2027-02-10", "calibrated_until": "2027-02-01", "condition": "TYPED"}
        page = as_member(storekeeper).post(reverse("thing", args=[thing.pk]), given)

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "calibration can&#x27;t end on 2027-02-01" in page.content.decode()
        assert "TYPED" in page.content.decode()

    def test_retired_thing_is_lent_no_more(self, as_member, storekeeper, builder, thing):
        page = as_member(storekeeper).post(reverse("retire-thing", args=[thing.pk]), follow=True)
        assert "is retired: it is lent no more" in words(page)

        assert "Nothing of it lies on a shelf" in words(as_member(builder).get(reverse("lend"), {"lot": thing.lot_id}))
        assert as_member(builder).post(reverse("retire-thing", args=[thing.pk])).status_code == HTTPStatus.FORBIDDEN

    def test_builder_changes_nothing(self, as_member, builder, thing):
        client = as_member(builder)

        assert client.post(reverse("thing", args=[thing.pk]), {"serial": "X"}).status_code == HTTPStatus.FORBIDDEN
        assert client.post(reverse("things"), {"lot": thing.lot_id}).status_code == HTTPStatus.FORBIDDEN


class TestRules:
    def test_owner_sets_them_and_others_read_them(self, as_member, owner, builder):
        given = {
            "longest_days": "14",
            "renewals": "2",
            "remind_days": "1",
            "book_ahead_days": "",
            "deposit": "20 a squeezer",
            "currency": "EUR",
        }
        as_member(owner).post(reverse("pool-rules"), given)
        page = words(as_member(builder).get(reverse("pool-rules")))

        assert (PoolRules.objects.get().longest_days, PoolRules.objects.get().book_ahead_days) == (14, None)
        assert "Longest loan 14 days Renewals 2" in page
        assert "An owner sets them" in page
        assert as_member(builder).post(reverse("pool-rules"), given).status_code == HTTPStatus.FORBIDDEN

    def test_rule_that_does_not_do_is_said(self, as_member, owner):
        page = as_member(owner).post(reverse("pool-rules"), {"longest_days": "0", "deposit": "TYPED"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "greater than or equal to 1" in words(page)
        assert "TYPED" in page.content.decode()


class TestMine:
    def test_own_things_are_told(self, as_member, builder, ben, clecos, thing, drawer):
        lend(clecos, drawer, builder, quantity=40, due_on=WEEK)
        promise(clecos.item, builder, quantity=5, first_day=WEEK, last_day=WEEK)
        promise(thing.lot.item, ben, first_day=WEEK, last_day=WEEK)
        promise(thing.lot.item, builder, first_day=WEEK, last_day=WEEK, wait=True)

        page = words(as_member(builder).get(reverse("my-pool")))

        assert "What I have 40 ea CLECO-3/32 Cleco, 3/32" in page
        assert "back by Sat 2027-02-27" in page
        assert "What is promised to me 5 ea CLECO-3/32" in page
        assert "What I wait for 1 ea SQUEEZER" in page

    def test_nothing_of_one_s_own_points_to_the_pool(self, as_member, builder):
        assert "Nothing of the pool. See what is free" in words(as_member(builder).get(reverse("my-pool")))


class TestTransfers:
    @pytest.fixture
    def rivets(self, bench, drawer, item, storekeeper):
        lot = factories.LotFactory(bench=bench, item=item, code="R7")
        stock.receive(lot=lot, quantity=100, place=drawer, on=DAY, by=storekeeper)
        return lot

    @pytest.fixture
    def ada(self, workshop, bench):
        """Who holds TERN."""
        member = factories.MemberFactory(workshop=workshop, role="builder", name="Ada")
        BenchHolder.objects.create(workshop=workshop, bench=bench, member=member)
        return member

    @pytest.fixture
    def cleo(self, workshop, other_bench):
        """Who holds PLOVER."""
        member = factories.MemberFactory(workshop=workshop, role="builder", name="Cleo")
        BenchHolder.objects.create(workshop=workshop, bench=other_bench, member=member)
        return member

    def offer(self, lot, taker, **more):
        return {"key": uuid4(), "lot": lot.pk, "quantity": "60", "taker": taker.pk if taker else "", **more}

    def test_offer_is_accepted_by_the_other_side(self, client, as_member, ada, cleo, rivets, other_bench):
        page = as_member(ada).post(reverse("offer"), self.offer(rivets, other_bench, note="left over"), follow=True)
        transfer = Transfer.objects.get()
        assert "Waiting for others 60 ea" in words(page)

        page = as_member(cleo).get(reverse("transfers"))
        assert "TERN offers to PLOVER" in words(page)
        page = client.post(reverse("accept-transfer", args=[transfer.pk]), follow=True)

        transfer.refresh_from_db()
        assert (transfer.ended_as, transfer.made.bench) == ("done", other_bench)
        assert "have passed" in words(page)
        assert not ledger_errors()

    def test_wish_is_given_from_a_chosen_lot(self, as_member, ada, cleo, rivets, bench, other_bench, item, drawer):
        given = {"key": uuid4(), "item": item.code, "quantity": "12", "taker": other_bench.pk, "giver": "", "note": "until my order"}
        as_member(cleo).post(reverse("ask"), given)
        transfer = Transfer.objects.get()
        assert (transfer.asked_by_taker, transfer.giver, transfer.taker) == (True, None, other_bench)

        address, spot = reverse("accept-transfer", args=[transfer.pk]), f"{rivets.pk}:{drawer.pk}"
        client = as_member(ada)
        assert spot in client.get(address).content.decode()
        client.post(address, {"spot": spot})

        assert Lot.objects.get(bench=other_bench).code == "R7"

    def test_who_speaks_for_neither_side_answers_nothing(self, as_member, ada, cleo, rivets, other_bench, builder):
        as_member(ada).post(reverse("offer"), self.offer(rivets, other_bench))
        pk = Transfer.objects.get().pk
        client = as_member(builder)

        for name in ("accept-transfer", "decline-transfer", "withdraw-transfer"):
            assert client.post(reverse(name, args=[pk])).status_code == HTTPStatus.FORBIDDEN
        assert Transfer.objects.get().ended_at is None

    @pytest.mark.parametrize("who", ["decline", "withdraw"])
    def test_offer_is_declined_or_withdrawn(self, as_member, ada, cleo, rivets, other_bench, who):
        as_member(ada).post(reverse("offer"), self.offer(rivets, other_bench))
        pk = Transfer.objects.get().pk
        page = as_member(cleo if who == "decline" else ada).post(reverse(f"{who}-transfer", args=[pk]), follow=True)

        assert Transfer.objects.get().ended_as in {"declined", "withdrawn"}
        assert "What became of the last ones" in words(page)

    def test_offer_that_does_not_do_is_said(self, as_member, ada, rivets, other_bench):
        for given, told in [
            ({"quantity": "500"}, "100 ea are here"),
            ({"until": "2027-02-01"}, "2027-02-01 is over"),
            ({"lot": "0"}, "Select"),
        ]:
            page = as_member(ada).post(reverse("offer"), {**self.offer(rivets, other_bench, note="TYPED"), **given})

            assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
            assert told in words(page)
            assert "TYPED" in page.content.decode()

    def test_wish_for_what_nobody_knows_is_said(self, as_member, cleo, other_bench):
        page = as_member(cleo).post(reverse("ask"), {"key": uuid4(), "item": "NOPE", "quantity": "1", "taker": other_bench.pk})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "nothing in the catalogue has this code" in words(page)

    def test_list_takes_the_same_queries_for_one_and_for_many(self, queries_of, ada, rivets, other_bench):
        told = {"lot": rivets, "quantity": 1, "taker": other_bench, "until": None, "note": "", "by": ada, "now": NOW}
        passing.offer(**told, key=uuid4())
        queries_of(ada, reverse("transfers"))
        one = queries_of(ada, reverse("transfers"))
        for _ in range(5):
            passing.offer(**told, key=uuid4())

        assert queries_of(ada, reverse("transfers")) == one
