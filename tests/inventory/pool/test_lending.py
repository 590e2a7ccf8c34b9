"""Loans: into hands, back in parts, lost, worn, renewed; and what is refused."""

from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest
from django_scopes import scopes_disabled

from inventory.common.problems import FieldProblem
from inventory.common.quantities import BadQuantity
from inventory.models import Booking, Holding, Loan, LoanEnd, Movement, Place, SetAside
from inventory.pool import queries, services
from inventory.pool.services import LoanOver, NotBooked, NotLent, Stranger, Taken, TooLong, WaitedFor
from inventory.stock import services as stock
from inventory.stock.batch import Batch, Meant, Told
from inventory.stock.queries import LedgerLine, ledger_errors, movements
from inventory.workshop.policy import NotAllowed
from inventory.workshop.services import hand as own_hand
from tests import factories
from tests.factories import DAY
from tests.inventory.pool.conftest import NOW, day

pytestmark = pytest.mark.django_db


def there(lot):
    return {row.place.path: int(row.quantity) for row in Holding.objects.filter(lot=lot, quantity__gt=0).select_related("place")}


class TestLend:
    def test_pieces_go_into_the_borrowers_hands_by_the_ledger(self, clecos, people, lend):
        ann = people[0]
        loan = lend(clecos, 25, ann, due_on=day(3), condition="oiled", note="for the tail", ref="step:7")
        assert there(clecos) == {"Hangar/Tub 3": 15, "Lent/Ann": 25}
        assert (loan.open, loan.due_on, loan.by, loan.ref, loan.note) == (25, day(3), ann, "step:7", "for the tail")
        assert loan.movement.ref == f"loan:{loan.key}"
        assert loan.held_in.hands == ann
        assert ledger_errors() == []

    def test_the_same_key_again_is_the_first_loan(self, clecos, people, lend):
        key = uuid4()
        assert lend(clecos, 5, people[0], key=key) == lend(clecos, 5, people[0], key=key)
        assert there(clecos) == {"Hangar/Tub 3": 35, "Lent/Ann": 5}

    def test_a_place_made_by_hand_of_that_name_stays_a_place(self, clecos, people, lend, storekeeper, workshop, tub):
        other = stock.ensure_place(workshop=workshop, path="Lent/Ann", by=storekeeper)
        lend(clecos, 5, people[0])
        assert there(clecos) == {"Hangar/Tub 3": 35, "Lent/Ann 2": 5}
        stock.move(lot=clecos, quantity=1, source=tub, target=other, on=DAY, by=storekeeper)  # nobody's hands

    def test_two_of_one_name_have_hands_of_their_own(self, clecos, people, lend, workshop, storekeeper):
        twin = factories.MemberFactory(workshop=workshop, name="ann", role="reader")
        lend(clecos, 5, people[0])
        lend(clecos, 6, twin, by=storekeeper)
        assert there(clecos) == {"Hangar/Tub 3": 29, "Lent/Ann": 5, "Lent/ann 2": 6}

    def test_more_than_lies_there_is_refused(self, clecos, people, lend, workshop):
        with pytest.raises(Taken, match=r"CLECO-1/8: 40 of 40 are free on 2027-02-20 and not 41"):
            lend(clecos, 41, people[0])
        with pytest.raises(stock.NotEnough):
            lend(clecos, 1, people[0], place=factories.PlaceFactory(workshop=workshop))

    def test_another_lends_to_somebody_only_who_keeps_the_stock(self, clecos, people, lend, storekeeper):
        with pytest.raises(NotAllowed):
            lend(clecos, 1, people[0], by=people[1])
        assert lend(clecos, 1, people[0], by=storekeeper).by == storekeeper

    def test_no_stranger_borrows(self, clecos, people, lend, workshop, outsider, storekeeper):
        gone = factories.MemberFactory(workshop=workshop, name="Gone", active=False)
        hand = own_hand(workshop)
        with scopes_disabled():
            foreign = outsider.members.get(name="OUTSIDE owner")
        for member, error, says in (
            (gone, Stranger, "Gone is no active member here: invite them again"),
            (hand, Stranger, "is this workshop's own hand and no person"),
            (foreign, NotAllowed, "another workshop's"),
        ):
            with pytest.raises(error, match=says):
                lend(clecos, 1, member, by=storekeeper)
        assert not Loan.objects.exists()
        assert not Place.objects.filter(hands__isnull=False).exists()

    def test_a_reader_takes_nothing_by_themselves(self, clecos, reader, lend):
        with pytest.raises(NotAllowed):
            lend(clecos, 1, reader)

    def test_only_what_comes_back_is_lent(self, shared_bench, workshop, people, lend, tub):
        rivets = factories.LotFactory(bench=shared_bench, item=factories.ItemFactory(workshop=workshop, code="R-1", kind="rivet"))
        factories.stock(rivets, 10, place=tub)
        with pytest.raises(NotLent, match="R-1 is rivet: only clecos and tools are lent"):
            lend(rivets, 1, people[0])

    @pytest.mark.parametrize(
        ("days", "field", "says"),
        [
            ({"on": day(1)}, "on", "2027-02-21 is to come, and a loan begins when it is handed over: book it"),
            ({"due_on": day(-1)}, "due_on", "2027-02-19 is past: name a day from 2027-02-20 on"),
        ],
    )
    def test_days_that_make_no_loan_are_refused(self, clecos, people, lend, days, field, says):
        with pytest.raises(FieldProblem, match=says) as error:
            lend(clecos, 1, people[0], **days)
        assert error.value.field == field

    def test_half_a_piece_and_none_are_refused(self, clecos, people, lend):
        for quantity in ("0", "-1", "0.5"):
            with pytest.raises(BadQuantity):
                lend(clecos, quantity, people[0])

    def test_a_lot_that_is_not_good_and_a_retired_thing_are_refused(self, clecos, squeezer, people, lend, storekeeper, inspector):
        stock.set_state(lot=clecos, state="quarantined", by=inspector)
        with pytest.raises(stock.NotUsable, match="quarantined"):
            lend(clecos, 1, people[0])
        services.retire_thing(thing=squeezer, by=storekeeper, now=NOW)
        with pytest.raises(NotLent, match="SN-1 was retired on 2027-02-20: lend another"):
            lend(squeezer.lot, 1, people[0])

    def test_calibration_that_is_over_is_said_and_not_refused(self, make_thing, people, lend):
        thing = make_thing("SN-9", calibrated_on=day(-400), calibrated_until=day(-35))
        loan = lend(thing.lot, 1, people[0])
        told = [reason.text for reason in queries.loan(loan.pk).trace]
        assert "its calibration ended on 2027-01-16, before it was lent: whoever uses it must judge what it may be used for" in told

    def test_what_steps_hold_stays_on_the_shelf(self, clecos, people, lend, workshop):
        SetAside.objects.create(workshop=workshop, lot=clecos, ref="step:7", quantity=Decimal(30))
        with pytest.raises(stock.SetAsideForOthers, match="30 ea are set aside for other steps, and 29 ea would be left"):
            lend(clecos, 11, people[0])
        lend(clecos, 11, people[0], ref="step:7")
        lend(clecos, 10, people[1], ref="step:7")
        with pytest.raises(stock.SetAsideForOthers):
            lend(clecos, 1, people[1])

    def test_an_own_bench_lends_its_own_to_whom_it_likes(self, bench, workshop, people, lend, tub):
        ann, bea, cy = people
        bench.holders.create(workshop=workshop, member=ann)
        drill = factories.LotFactory(bench=bench, item=factories.ItemFactory(workshop=workshop, kind="tool"))
        factories.stock(drill, 1, place=tub)
        with pytest.raises(NotAllowed, match="is held by Ann"):
            lend(drill, 1, cy)
        assert lend(drill, 1, bea, by=ann).member == bea

    def test_what_is_borrowed_serves_the_bench_that_the_borrower_holds(self, bench, other_bench, workshop, clecos, people, lend):
        ann, bea, _ = people
        bench.holders.create(workshop=workshop, member=ann)
        assert lend(clecos, 1, ann).bench == bench
        assert lend(clecos, 1, bea).bench is None
        with pytest.raises(NotAllowed, match="Bea doesn't hold bench Bench TERN"):
            lend(clecos, 1, bea, bench=bench)
        assert lend(clecos, 1, bea, bench=other_bench).bench == other_bench  # nobody holds it, so anybody does


class TestRules:
    @pytest.fixture
    def rules(self, workshop, owner):
        return services.set_rules(workshop=workshop, longest_days=14, renewals=1, by=owner)

    def test_the_longest_loan_is_the_day_due_unless_one_is_named(self, clecos, people, lend, rules):
        assert lend(clecos, 1, people[0]).due_on == day(14)
        assert lend(clecos, 1, people[0], on=day(-3)).due_on == day(11)

    def test_longer_is_refused_and_says_until_when(self, clecos, people, lend, rules):
        with pytest.raises(TooLong, match="2027-03-07 is longer than the longest loan here, 14 days: name 2027-03-06 or before"):
            lend(clecos, 1, people[0], due_on=day(15))

    def test_only_an_owner_sets_them_and_figures_that_make_no_rule_are_refused(self, workshop, owner, storekeeper):
        with pytest.raises(NotAllowed):
            services.set_rules(workshop=workshop, by=storekeeper)
        with pytest.raises(FieldProblem, match="0 doesn't do: give 1 to 3660, or leave it blank"):
            services.set_rules(workshop=workshop, longest_days=0, by=owner)

    def test_renewed_once_and_not_twice(self, clecos, people, lend, rules):
        loan = lend(clecos, 1, people[0], due_on=day(7))
        loan = services.renew(loan=loan, due_on=day(18), on=day(5), by=people[0])
        assert (loan.due_on, loan.renewals) == (day(18), 1)
        with pytest.raises(TooLong, match="renewed 1 times, and 1 are allowed here"):
            services.renew(loan=loan, due_on=day(20), on=day(6), by=people[0])

    def test_renewal_counts_from_its_day_too(self, clecos, people, lend, rules):
        loan = lend(clecos, 1, people[0], due_on=day(7))
        with pytest.raises(TooLong, match="longer than the longest loan"):
            services.renew(loan=loan, due_on=day(20), on=day(5), by=people[0])

    def test_no_renewal_while_somebody_waits_unless_the_club_says_so(self, clecos, people, lend, book, rules, workshop, owner):
        ann, bea, _ = people
        loan = lend(clecos, 40, ann, due_on=day(3))
        assert book(clecos.item, 10, bea, 2, wait=True).waiting
        with pytest.raises(WaitedFor, match="Bea waits for 10 from 2027-02-22: bring it back by 2027-02-23"):
            services.renew(loan=loan, due_on=day(5), on=day(1), by=ann)
        services.set_rules(workshop=workshop, renew_while_waited=True, by=owner)
        assert services.renew(loan=loan, due_on=day(5), on=day(1), by=ann).due_on == day(5)

    def test_no_renewal_into_what_others_were_promised(self, clecos, people, lend, book):
        ann, bea, _ = people
        loan = lend(clecos, 30, ann, due_on=day(3))
        book(clecos.item, 20, bea, 6)
        with pytest.raises(Taken, match=r"20 of 40 are free on 2027-02-26 and not 30: Bea booked 20 .* Name 2027-02-25 or before"):
            services.renew(loan=loan, due_on=day(8), on=DAY, by=ann)
        assert services.renew(loan=loan, due_on=day(5), on=DAY, by=ann).due_on == day(5)

    def test_renewals_that_change_nothing_are_refused(self, clecos, people, lend, take_in):
        loan, endless = lend(clecos, 5, people[0], due_on=day(3)), lend(clecos, 5, people[0])
        for asked, says in (((loan, day(3)), "is no later: it is due on 2027-02-23"), ((endless, day(9)), "has no day when it is due")):
            with pytest.raises(FieldProblem, match=says):
                services.renew(loan=asked[0], due_on=asked[1], on=DAY, by=people[0])
        with pytest.raises(NotAllowed, match="this is Ann's"):
            services.renew(loan=loan, due_on=day(5), on=DAY, by=people[1])
        take_in(loan, 5)
        with pytest.raises(LoanOver, match="lend it anew"):
            services.renew(loan=loan, due_on=day(5), on=DAY, by=people[0])


class TestTakeIn:
    def test_back_in_parts_lost_and_worn(self, clecos, people, lend, take_in, workshop):
        shelf = factories.PlaceFactory(workshop=workshop, path="Hangar/Bin")
        loan = lend(clecos, 30, people[0])
        take_in(loan, 10)
        take_in(loan, 5, place=shelf)
        take_in(loan, 2, "lost", note="into the wing")
        take_in(loan, 3, "worn", condition="pins bent")
        loan.refresh_from_db()
        assert loan.open == 10
        assert there(clecos) == {"Hangar/Tub 3": 20, "Hangar/Bin": 5, "Lent/Ann": 10}
        ends = LoanEnd.objects.select_related("movement__target").order_by("pk")
        assert [(one.kind, int(one.quantity), one.movement.target.path) for one in ends] == [
            ("returned", 10, "Hangar/Tub 3"),
            ("returned", 5, "Hangar/Bin"),
            ("lost", 2, "lost"),
            ("worn", 3, "scrapped"),
        ]
        assert ledger_errors() == []

    def test_more_than_is_out_is_refused(self, clecos, people, lend, take_in):
        loan = lend(clecos, 30, people[0])
        take_in(loan, 10)
        with pytest.raises(LoanOver, match="of 30 ea lent 20 ea are still out: 21 ea can't come back"):
            take_in(loan, 21)
        assert there(clecos) == {"Hangar/Tub 3": 20, "Lent/Ann": 20}

    def test_the_same_key_again_takes_nothing_in_twice(self, clecos, people, lend, take_in):
        loan, key = lend(clecos, 30, people[0]), uuid4()
        assert take_in(loan, 10, key=key) == take_in(loan, 10, key=key)
        assert there(clecos)["Lent/Ann"] == 20

    def test_before_it_was_lent_and_unknown_ways_are_refused(self, clecos, people, lend, take_in):
        loan = lend(clecos, 30, people[0])
        with pytest.raises(FieldProblem, match="2027-02-19 is before it was lent on 2027-02-20"):
            take_in(loan, 1, on=day(-1))
        with pytest.raises(FieldProblem, match="'eaten' is no way in which a loan ends"):
            take_in(loan, 1, "eaten")

    def test_another_builder_does_not_take_it_in_and_who_keeps_the_stock_does(self, clecos, people, lend, take_in, storekeeper):
        loan = lend(clecos, 30, people[0])
        with pytest.raises(NotAllowed, match="this is Ann's: they or who keeps the stock may take it in"):
            take_in(loan, 1, by=people[1])
        assert take_in(loan, 1, by=storekeeper).by == storekeeper

    def test_into_somebodys_hands_is_no_return(self, clecos, people, lend, take_in):
        first, second = lend(clecos, 5, people[0]), lend(clecos, 5, people[1])
        with pytest.raises(stock.BadPlace):
            take_in(first, 1, place=second.held_in)

    def test_a_thing_that_is_lost_is_retired_and_its_condition_kept(self, squeezer, people, lend, take_in):
        loan = lend(squeezer.lot, 1, people[0], condition="good")
        take_in(loan, 1, condition="jaw worn")
        squeezer.refresh_from_db()
        assert (squeezer.condition, squeezer.retired_at) == ("jaw worn", None)
        take_in(lend(squeezer.lot, 1, people[0]), 1, "lost")
        squeezer.refresh_from_db()
        assert (squeezer.condition, squeezer.retired_at) == ("lost", NOW)


class TestOutOfABooking:
    def test_a_loan_ends_its_booking_as_lent(self, clecos, people, lend, book):
        booking = book(clecos.item, 40, people[0], 0, 2)
        loan = lend(clecos, 40, people[0])
        booking.refresh_from_db()
        assert (booking.ended_as, loan.booking, loan.due_on) == ("lent", booking, day(2))

    def test_what_it_promised_beyond_stays_promised(self, clecos, people, lend, book):
        book(clecos.item, 40, people[0], 0, 2, note="tail")
        lend(clecos, 15, people[0])
        rest = Booking.objects.get(ended_at=None)
        assert (rest.quantity, rest.first_day, rest.last_day, rest.note) == (25, DAY, day(2), "tail")
        lend(clecos, 25, people[0])
        assert not Booking.objects.filter(ended_at=None).exists()

    def test_what_others_booked_from_today_is_not_lent_and_one_learns_what_would_do(self, clecos, people, lend, book):
        ann, bea, _ = people
        book(clecos.item, 30, ann, 0, 1)
        with pytest.raises(Taken, match=r"10 of 40 are free on 2027-02-20 and not 11: Ann booked 30 .* Lend 10 or fewer, or book it"):
            lend(clecos, 11, bea)
        lend(clecos, 10, bea)

    def test_what_others_booked_from_a_later_day_is_lent_until_then(self, clecos, people, lend, book):
        ann, bea, _ = people
        book(clecos.item, 40, ann, 5)
        with pytest.raises(Taken, match=r"0 of 40 are free on 2027-02-25 and not 1: .* Lend until 2027-02-24"):
            lend(clecos, 1, bea)
        assert lend(clecos, 1, bea, due_on=day(4)).due_on == day(4)

    def test_a_booked_thing_is_lent_to_who_booked_it_alone(self, squeezer, people, lend, book):
        ann, bea, _ = people
        book(squeezer.lot.item, 1, ann, 0, 1)
        with pytest.raises(Taken, match="Ann booked 1"):
            lend(squeezer.lot, 1, bea)
        assert lend(squeezer.lot, 1, ann).due_on == day(1)

    def test_own_bookings_that_the_loan_covers_end_with_it_and_others_stay(self, clecos, people, lend, book):
        ann = people[0]
        for first, last in ((0, 0), (2, 3), (3, 9)):
            book(clecos.item, 40 if first < 3 else 1, ann, first, last, wait=True)
        Booking.objects.filter(first_day=day(3)).update(quantity=Decimal(1), first_day=day(5))
        lend(clecos, 40, ann, due_on=day(4))
        assert list(Booking.objects.order_by("pk").values_list("ended_as", flat=True)) == ["lent", "lent", ""]

    def test_bookings_that_do_not_do_are_refused(self, clecos, squeezer, people, lend, book):
        ann, bea, _ = people
        for booking, says in (
            (book(clecos.item, 1, bea), "is Bea's, of CLECO-1/8"),
            (book(squeezer.lot.item, 1, ann), "is Ann's, of SQUEEZER"),
            (services.cancel(booking=book(clecos.item, 1, ann), by=ann, now=NOW), "was cancelled on 2027-02-20"),
        ):
            with pytest.raises(NotBooked, match=says):
                lend(clecos, 1, ann, booking=booking)


class TestShelves:
    """What is lent leaves a borrower's hands through the loan alone."""

    def test_nothing_else_moves_what_is_lent(self, clecos, people, lend, tub, storekeeper, workshop):
        loan = lend(clecos, 5, people[0])
        hands, said = loan.held_in, {"lot": clecos, "on": DAY, "by": storekeeper}
        for act in (
            lambda: stock.move(quantity=1, source=hands, target=tub, **said),
            lambda: stock.move(quantity=1, source=tub, target=hands, **said),
            lambda: stock.use(quantity=1, place=hands, **said),
            lambda: stock.scrap(quantity=1, place=hands, **said),
            lambda: stock.lose(quantity=1, place=hands, **said),
            lambda: stock.receive(quantity=1, place=hands, **said),
            lambda: stock.receive_many(deliveries=[(clecos, hands, Decimal(1))], on=DAY, by=storekeeper),
            lambda: stock.adjust(place=hands, counted=4, **said),
            lambda: stock.reverse(movement=loan.movement, on=DAY, by=storekeeper),
        ):
            with pytest.raises(stock.BadPlace, match="what lies in Lent/Ann is lent"):
                act()
        assert stock.adjust(place=hands, counted=5, **said) is None  # a file that says what the loans say
        assert [LedgerLine(*row).reversible for row in movements(lot=clecos)] == [False, True]  # the loan, the delivery

    def test_nor_does_a_scan(self, clecos, people, lend, tub, storekeeper):
        hands = lend(clecos, 5, people[0]).held_in
        batch = Batch(meant=Meant(lots=[clecos.pk], of={clecos.item_id: clecos.item}), by=storekeeper, since=NOW, locked=True)
        told = Told(NOW, DAY)
        for act in (
            lambda: batch.move(lot=clecos, quantity=Decimal(1), source=batch.places[hands.pk], target=batch.places[tub.pk], told=told),
            lambda: batch.count(lot=clecos, place=batch.places[hands.pk], counted=Decimal(9), told=told),
        ):
            with pytest.raises(stock.BadPlace, match="is lent"):
                act()

    def test_what_nobody_finds_on_a_shelf_is_lost(self, clecos, tub, storekeeper, builder):
        moved = stock.lose(lot=clecos, quantity=3, place=tub, on=DAY, by=storekeeper)
        assert (moved.target.end, there(clecos)) == ("lost", {"Hangar/Tub 3": 37})
        with pytest.raises(NotAllowed):
            stock.lose(lot=clecos, quantity=3, place=tub, on=DAY, by=builder)
        with pytest.raises(stock.NotEnough):
            stock.lose(lot=clecos, quantity=38, place=tub, on=DAY, by=storekeeper)

    def test_hands_are_handed_things_by_loans_alone(self, clecos, tub, storekeeper, workshop):
        with pytest.raises(stock.BadPlace, match="a loan goes into somebody's hands or out of them"):
            stock.hand_over(lot=clecos, quantity=1, source=tub, target=factories.PlaceFactory(workshop=workshop), on=DAY, by=storekeeper)
        assert Movement.objects.filter(lot=clecos).count() == 1

    def test_lent_late_in_the_evening_is_lent_today(self, clecos, people, lend):
        assert lend(clecos, 1, people[0], now=datetime(2027, 2, 20, 12, tzinfo=UTC), on=date(2027, 2, 20)).out_on == DAY
