"""Places, lots, movements and set-asides: what each service does, and what it refuses."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django_scopes import ScopeError, scopes_disabled

from inventory.common.problems import FieldProblem
from inventory.common.quantities import BadQuantity
from inventory.common.texts import BadText
from inventory.models import Holding, Lot, Movement, Place, SetAside
from inventory.shelflife.calc import StatedDate
from inventory.stock import queries, services
from inventory.stock.models import End
from inventory.stock.queries import ledger_errors, on_hand
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY

MAY = StatedDate(date(2027, 5, 31), "month")


@pytest.fixture
def shelf(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Hangar/Shelf")


@pytest.fixture
def stocked(lot, drawer):
    """10 ea of `lot` in `drawer`."""
    factories.stock(lot, 10, place=drawer)
    return lot


@pytest.fixture
def foreign(outsider):
    """The outsider's lot, place and movement."""
    with scopes_disabled():
        movement = Movement.objects.select_related("lot__bench", "target").get(workshop=outsider)
        return movement.lot, movement.target, movement


def held(lot, place):
    return Holding.objects.filter(lot=lot, place=place).values_list("quantity", flat=True).first() or 0


def sealant(bench, **dates):
    item = factories.ItemFactory(workshop=bench.workshop, kind="sealant", unit="g", life_months=9, open_life_days=14, min_life_days=5)
    return factories.LotFactory(bench=bench, item=item, code="S1", **dates)


class TestPlaces:
    def test_ensure_place_makes_what_it_nests_in(self, workshop, storekeeper):
        place = services.ensure_place(workshop=workshop, path="Barn / Rack 2 /Drawer", by=storekeeper)

        assert (place.path, place.key, place.name) == ("Barn/Rack 2/Drawer", "barn/rack 2/drawer", "Drawer")
        assert place.parent.parent.path == "Barn"
        assert place.history.get().history_user == storekeeper

    def test_ensure_place_finds_it_in_another_case(self, workshop, storekeeper):
        first = services.ensure_place(workshop=workshop, path="Barn/Rack", by=storekeeper)

        assert services.ensure_place(workshop=workshop, path=" BARN/ rack", by=storekeeper) == first
        assert services.ensure_place(workshop=workshop, path="barn/rack/Tray", by=storekeeper).path == "Barn/Rack/Tray"

    def test_ensure_places_takes_no_more_queries_for_many(self, workshop, storekeeper, django_assert_num_queries):
        with django_assert_num_queries(9):
            services.ensure_places(workshop=workshop, paths=["A/B", "C/D"], by=storekeeper)
        with django_assert_num_queries(9):
            services.ensure_places(workshop=workshop, paths=[f"X{n % 7}/{n}" for n in range(40)], by=storekeeper)

    @pytest.mark.parametrize("path", ["", " ", "Barn//Drawer", "Barn/", "x" * 81, "/".join(["x" * 79] * 6), "Ba\x00rn"])
    def test_ensure_place_refuses_a_path_that_is_none(self, workshop, storekeeper, path):
        with pytest.raises(BadText):
            services.ensure_place(workshop=workshop, path=path, by=storekeeper)

    @pytest.mark.parametrize("path", ["used", "Lost", "SUPPLIER"])
    def test_ensure_place_refuses_the_name_of_an_end(self, workshop, storekeeper, path):
        with pytest.raises(services.BadPlace, match=f"{path} is an end of the ledger"):
            services.ensure_place(workshop=workshop, path=path, by=storekeeper)

    def test_ensure_place_takes_the_name_of_an_end_further_down(self, workshop, storekeeper):
        assert services.ensure_place(workshop=workshop, path="Barn/used", by=storekeeper).end == End.STORAGE

    def test_ensure_place_refuses_builder_and_outsider(self, workshop, outsider, builder, storekeeper):
        with pytest.raises(NotAllowed, match="builder here"):
            services.ensure_place(workshop=workshop, path="Barn", by=builder)
        with pytest.raises(NotAllowed, match="another workshop's"):
            services.ensure_place(workshop=outsider, path="Barn", by=storekeeper)

    def test_end_place_is_one_place(self, workshop):
        assert services.end_place(workshop, End.LOST) == services.end_place(workshop, End.LOST)


class TestReceive:
    def test_receive_adds_to_what_is_there(self, stocked, drawer, storekeeper):
        movement = services.receive(lot=stocked, quantity=Decimal("2.000"), place=drawer, on=DAY, by=storekeeper, note="by hand", ref="r")

        assert held(stocked, drawer) == Decimal(12)
        assert (movement.source.end, movement.note, movement.ref, movement.by) == (End.SUPPLIER, "by hand", "r", storekeeper)

    def test_receive_takes_a_fixed_number_of_queries(self, stocked, drawer, storekeeper, django_assert_max_num_queries):
        with django_assert_max_num_queries(9):
            services.receive(lot=stocked, quantity=1, place=drawer, on=DAY, by=storekeeper)

    @pytest.mark.parametrize(
        "quantity", [0, -1, Decimal("0.0001"), Decimal("NaN"), Decimal("Infinity"), Decimal(10**12 + 1), Decimal("1E+999999")]
    )
    def test_receive_refuses_what_is_no_quantity(self, lot, drawer, storekeeper, quantity):
        with pytest.raises(BadQuantity):
            services.receive(lot=lot, quantity=quantity, place=drawer, on=DAY, by=storekeeper)

    def test_receive_refuses_a_holding_past_the_limit(self, stocked, drawer, storekeeper):
        with pytest.raises(BadQuantity, match="would hold 1000000000010 ea"):
            services.receive(lot=stocked, quantity=10**12, place=drawer, on=DAY, by=storekeeper)

    def test_receive_refuses_an_end_as_place(self, workshop, lot, storekeeper):
        with pytest.raises(services.BadPlace, match="used is an end"):
            services.receive(lot=lot, quantity=1, place=services.end_place(workshop, End.USED), on=DAY, by=storekeeper)

    def test_receive_refuses_a_note_too_long(self, lot, drawer, storekeeper):
        with pytest.raises(BadText, match="200 are the most"):
            services.receive(lot=lot, quantity=1, place=drawer, on=DAY, by=storekeeper, note="x" * 201)
        assert held(lot, drawer) == 0

    def test_receive_refuses_builder(self, lot, drawer, builder):
        with pytest.raises(NotAllowed):
            services.receive(lot=lot, quantity=1, place=drawer, on=DAY, by=builder)


class TestMove:
    def test_move_carries_part(self, stocked, drawer, shelf, builder):
        services.move(lot=stocked, quantity=4, source=drawer, target=shelf, on=DAY, by=builder)

        assert (held(stocked, drawer), held(stocked, shelf)) == (6, 4)

    def test_move_refuses_more_than_is_there(self, stocked, drawer, shelf, builder):
        with pytest.raises(services.NotEnough, match=rf"lot {stocked.code} of .*: {drawer.path} holds 10 ea, and 11 ea were to be taken"):
            services.move(lot=stocked, quantity=Decimal(11), source=drawer, target=shelf, on=DAY, by=builder)

    def test_move_refuses_from_a_place_that_never_held_it(self, stocked, drawer, shelf, builder):
        with pytest.raises(services.NotEnough, match="holds 0 ea"):
            services.move(lot=stocked, quantity=1, source=shelf, target=drawer, on=DAY, by=builder)

    def test_move_refuses_to_where_it_is(self, stocked, drawer, builder):
        with pytest.raises(services.BadPlace, match="lies already"):
            services.move(lot=stocked, quantity=1, source=drawer, target=drawer, on=DAY, by=builder)

    def test_move_refuses_an_end(self, workshop, stocked, drawer, builder):
        with pytest.raises(services.BadPlace):
            services.move(lot=stocked, quantity=1, source=drawer, target=services.end_place(workshop, End.USED), on=DAY, by=builder)

    def test_move_refuses_reader(self, stocked, drawer, shelf, reader):
        with pytest.raises(NotAllowed, match="reader here"):
            services.move(lot=stocked, quantity=1, source=drawer, target=shelf, on=DAY, by=reader)


class TestUse:
    def test_use_takes_from_the_place(self, stocked, drawer, builder):
        movement = services.use(lot=stocked, quantity=4, place=drawer, on=DAY, by=builder, ref="finish:1")

        assert held(stocked, drawer) == 6
        assert (movement.target.end, movement.ref, movement.on) == (End.USED, "finish:1", DAY)

    def test_use_takes_the_last_one(self, stocked, drawer, builder):
        services.use(lot=stocked, quantity=10, place=drawer, on=DAY, by=builder)

        assert held(stocked, drawer) == 0
        assert Holding.objects.filter(lot=stocked).count() == 1

    def test_use_refuses_more_than_is_there(self, stocked, drawer, builder):
        with pytest.raises(services.NotEnough, match="holds 10 ea, and 11 ea"):
            services.use(lot=stocked, quantity=11, place=drawer, on=DAY, by=builder)
        assert held(stocked, drawer) == 10

    @pytest.mark.parametrize("state", ["quarantined", "disputed", "failed"])
    def test_use_refuses_a_lot_that_is_not_good(self, stocked, drawer, storekeeper, state):
        services.set_state(lot=stocked, state=state, by=storekeeper, note="dented")

        with pytest.raises(services.NotUsable, match=f"is {state}"):
            services.use(lot=stocked, quantity=1, place=drawer, on=DAY, by=storekeeper)

    def test_use_serves_until_the_smallest_remaining_life(self, bench, drawer, builder):
        lot = sealant(bench, expires_on=date(2027, 3, 10))  # 5 days must be left
        factories.stock(lot, 100, place=drawer)

        services.use(lot=lot, quantity=1, place=drawer, on=date(2027, 3, 5), by=builder)
        with pytest.raises(services.NotUsable, match=r"has 2027-03-10 as its last usable day \(expires 2027-03-10, as printed\).*5 days"):
            services.use(lot=lot, quantity=1, place=drawer, on=date(2027, 3, 6), by=builder)
        with pytest.raises(services.NotUsable, match="before 2027-03-11"):
            services.use(lot=lot, quantity=1, place=drawer, on=date(2027, 3, 11), by=builder)

    def test_use_refuses_opened_life_that_ended(self, bench, drawer, builder):
        lot = sealant(bench, made_on=date(2027, 1, 1), opened_on=date(2027, 2, 1))
        factories.stock(lot, 100, place=drawer)

        with pytest.raises(services.NotUsable, match="2027-02-15"):
            services.use(lot=lot, quantity=1, place=drawer, on=date(2027, 2, 16), by=builder)

    def test_use_refuses_an_unknown_life(self, bench, drawer, builder):
        lot = sealant(bench)
        factories.stock(lot, 100, place=drawer)

        with pytest.raises(services.NotUsable, match="no known end of life"):
            services.use(lot=lot, quantity=1, place=drawer, on=DAY, by=builder)

    def test_use_takes_a_part_without_dates(self, stocked, drawer, builder):
        assert services.use(lot=stocked, quantity=1, place=drawer, on=date(2050, 1, 1), by=builder)

    def test_use_refuses_what_other_steps_hold(self, stocked, drawer, builder):
        services.set_aside(lot=stocked, ref="step:2", quantity=7, by=builder)

        with pytest.raises(
            services.SetAsideForOthers, match="of 10 ea on hand 7 ea are set aside for other steps, so 3 ea are free and not 4"
        ):
            services.use(lot=stocked, quantity=4, place=drawer, on=DAY, by=builder, step_ref="step:1")
        assert held(stocked, drawer) == 10
        assert services.use(lot=stocked, quantity=3, place=drawer, on=DAY, by=builder, step_ref="step:1")

    def test_use_counts_what_lies_elsewhere_towards_set_asides(self, stocked, drawer, shelf, builder):
        factories.stock(stocked, 7, place=shelf)
        services.set_aside(lot=stocked, ref="step:2", quantity=7, by=builder)

        assert services.use(lot=stocked, quantity=10, place=drawer, on=DAY, by=builder)

    def test_use_draws_down_its_own_set_aside(self, stocked, drawer, builder):
        services.set_aside(lot=stocked, ref="step:1", quantity=7, by=builder)

        services.use(lot=stocked, quantity=3, place=drawer, on=DAY, by=builder, step_ref="step:1")
        assert SetAside.objects.get(lot=stocked).quantity == 4
        services.use(lot=stocked, quantity=5, place=drawer, on=DAY, by=builder, step_ref="step:1")
        assert not SetAside.objects.filter(lot=stocked).exists()

    def test_use_refuses_reader_and_one_who_left(self, stocked, drawer, reader, builder):
        builder.active = False
        for member in (reader, builder):
            with pytest.raises(NotAllowed):
                services.use(lot=stocked, quantity=1, place=drawer, on=DAY, by=member)

    def test_use_takes_a_fixed_number_of_queries(self, stocked, drawer, builder, django_assert_max_num_queries):
        services.set_aside(lot=stocked, ref="step:1", quantity=7, by=builder)
        services.end_place(stocked.workshop, End.USED)

        with django_assert_max_num_queries(11):
            services.use(lot=stocked, quantity=3, place=drawer, on=DAY, by=builder, step_ref="step:1")


class TestScrapAndAdjust:
    def test_scrap_takes_a_failed_lot_that_is_set_aside(self, stocked, drawer, storekeeper):
        services.set_aside(lot=stocked, ref="step:1", quantity=7, by=storekeeper)
        services.set_state(lot=stocked, state="failed", by=storekeeper, note="dented")

        assert services.scrap(lot=stocked, quantity=10, place=drawer, on=DAY, by=storekeeper).target.end == End.SCRAPPED

    def test_scrap_refuses_builder(self, stocked, drawer, builder):
        with pytest.raises(NotAllowed):
            services.scrap(lot=stocked, quantity=1, place=drawer, on=DAY, by=builder)

    @pytest.mark.parametrize(("counted", "moved", "end_is_source"), [(12, 2, True), (Decimal("9.0"), Decimal(1), False), (0, 10, False)])
    def test_adjust_moves_the_difference(self, stocked, drawer, storekeeper, counted, moved, end_is_source):
        movement = services.adjust(lot=stocked, place=drawer, counted=counted, on=DAY, by=storekeeper)

        assert held(stocked, drawer) == counted
        assert movement.quantity == moved
        assert (movement.source if end_is_source else movement.target).end == End.COUNTED
        assert ledger_errors() == []

    def test_adjust_finds_what_was_never_there(self, lot, drawer, storekeeper):
        services.adjust(lot=lot, place=drawer, counted=3, on=DAY, by=storekeeper)

        assert held(lot, drawer) == 3

    def test_adjust_makes_nothing_of_a_count_that_agrees(self, stocked, drawer, storekeeper):
        before = Movement.objects.count()

        assert services.adjust(lot=stocked, place=drawer, counted=10, on=DAY, by=storekeeper) is None
        assert Movement.objects.count() == before

    def test_adjust_refuses_negative_and_builder(self, stocked, drawer, storekeeper, builder):
        with pytest.raises(BadQuantity, match="negative"):
            services.adjust(lot=stocked, place=drawer, counted=-1, on=DAY, by=storekeeper)
        with pytest.raises(NotAllowed):
            services.adjust(lot=stocked, place=drawer, counted=1, on=DAY, by=builder)

    def test_count_many_refuses_one_spot_counted_twice(self, stocked, drawer, storekeeper):
        with pytest.raises(BadQuantity, match="counted twice"):
            services.count_many(counts=[(stocked, drawer, 1), (stocked, drawer, 2)], on=DAY, by=storekeeper)


class TestReceiveMany:
    def test_receive_many_adds_up_and_holds(self, stocked, drawer, shelf, bench, item, storekeeper):
        [new] = services.make_lots(bench=bench, lots=[services.LotData(item.pk)], by=storekeeper)
        deliveries = [(stocked, drawer, Decimal(5)), (new, shelf, Decimal(1)), (new, shelf, Decimal(2))]

        movements = services.receive_many(deliveries=deliveries, on=DAY, by=storekeeper, ref="file:1")

        assert [movement.ref for movement in movements] == ["file:1"] * 3
        assert (held(stocked, drawer), held(new, shelf)) == (15, 3)
        assert ledger_errors() == []

    def test_receive_many_takes_no_more_queries_for_many(self, bench, item, drawer, storekeeper, django_assert_num_queries):
        services.end_place(bench.workshop, End.SUPPLIER)
        for count in (2, 60):
            lots = services.make_lots(bench=bench, lots=[services.LotData(item.pk, f"N{n}") for n in range(count)], by=storekeeper)
            with django_assert_num_queries(7):
                services.receive_many(deliveries=[(lot, drawer, Decimal(1)) for lot in lots], on=DAY, by=storekeeper)

    def test_receive_many_writes_all_or_nothing(self, stocked, drawer, storekeeper):
        with pytest.raises(BadQuantity):
            services.receive_many(deliveries=[(stocked, drawer, 5), (stocked, drawer, 0)], on=DAY, by=storekeeper)
        assert held(stocked, drawer) == 10

    def test_receive_many_refuses_too_much_over_several_rows(self, stocked, drawer, storekeeper):
        with pytest.raises(BadQuantity, match="past 10"):
            services.receive_many(deliveries=[(stocked, drawer, Decimal(6) * 10**11)] * 2, on=DAY, by=storekeeper)

    def test_receive_many_refuses_builder_and_a_foreign_row(self, stocked, drawer, foreign, storekeeper, builder):
        with pytest.raises(NotAllowed):
            services.receive_many(deliveries=[(stocked, drawer, 1)], on=DAY, by=builder)
        for row in ((foreign[0], drawer, 1), (stocked, foreign[1], 1)):
            with pytest.raises(NotAllowed, match="another workshop's"):
                services.receive_many(deliveries=[row], on=DAY, by=storekeeper)


class TestReverse:
    def test_reverse_puts_a_use_back(self, stocked, drawer, builder):
        used = services.use(lot=stocked, quantity=4, place=drawer, on=DAY, by=builder, ref="finish:1")

        back = services.reverse(movement=used, on=date(2027, 3, 1), by=builder, note="wrong lot")

        assert held(stocked, drawer) == 10
        assert (back.reverses, back.ref, back.on, back.note) == (used, "finish:1", date(2027, 3, 1), "wrong lot")

    def test_reverse_happens_once(self, stocked, drawer, builder):
        used = services.use(lot=stocked, quantity=4, place=drawer, on=DAY, by=builder)
        services.reverse(movement=used, on=DAY, by=builder)

        with pytest.raises(services.AlreadyReversed, match=f"reversed on {DAY}"):
            services.reverse(movement=used, on=DAY, by=builder)
        assert held(stocked, drawer) == 10

    def test_reverse_of_a_reverse_is_refused(self, stocked, drawer, storekeeper):
        used = services.use(lot=stocked, quantity=4, place=drawer, on=DAY, by=storekeeper)
        back = services.reverse(movement=used, on=DAY, by=storekeeper)

        with pytest.raises(services.AlreadyReversed, match="undoes another"):
            services.reverse(movement=back, on=DAY, by=storekeeper)

    def test_reverse_refuses_goods_that_have_gone_on(self, lot, drawer, shelf, storekeeper):
        received = services.receive(lot=lot, quantity=5, place=drawer, on=DAY, by=storekeeper)
        services.move(lot=lot, quantity=2, source=drawer, target=shelf, on=DAY, by=storekeeper)

        with pytest.raises(services.NotEnough, match="holds 3 ea, and 5 ea"):
            services.reverse(movement=received, on=DAY, by=storekeeper)

    def test_reverse_works_after_the_lot_has_died(self, bench, drawer, builder):
        lot = sealant(bench, expires_on=date(2027, 3, 10))
        factories.stock(lot, 100, place=drawer)
        used = services.use(lot=lot, quantity=40, place=drawer, on=DAY, by=builder)

        services.reverse(movement=used, on=date(2028, 1, 1), by=builder)
        assert held(lot, drawer) == 100

    def test_reverse_does_not_restore_a_set_aside(self, stocked, drawer, builder):
        services.set_aside(lot=stocked, ref="step:1", quantity=4, by=builder)
        used = services.use(lot=stocked, quantity=4, place=drawer, on=DAY, by=builder, step_ref="step:1")
        services.reverse(movement=used, on=DAY, by=builder)

        assert not SetAside.objects.filter(lot=stocked).exists()

    def test_reverse_of_a_receipt_takes_a_storekeeper(self, lot, drawer, storekeeper, builder):
        received = services.receive(lot=lot, quantity=5, place=drawer, on=DAY, by=storekeeper)

        with pytest.raises(NotAllowed):
            services.reverse(movement=received, on=DAY, by=builder)
        assert services.reverse(movement=received, on=DAY, by=storekeeper)

    def test_reverse_refuses_a_foreign_movement(self, foreign, storekeeper):
        with pytest.raises(NotAllowed, match="another workshop's"):
            services.reverse(movement=foreign[2], on=DAY, by=storekeeper)


class TestLots:
    def test_set_state_keeps_reason_and_member(self, lot, storekeeper):
        services.set_state(lot=lot, state="quarantined", by=storekeeper, note="no certificate")

        record = Lot.history.filter(id=lot.pk).first()
        assert (record.state, record.history_change_reason, record.history_user) == ("quarantined", "no certificate", storekeeper)

    def test_set_state_refuses_what_is_no_state_and_builder(self, lot, storekeeper, builder):
        with pytest.raises(BadText, match="'broken' is no state"):
            services.set_state(lot=lot, state="broken", by=storekeeper)
        with pytest.raises(NotAllowed):
            services.set_state(lot=lot, state="failed", by=builder)

    def test_failing_a_lot_takes_a_reason(self, lot, storekeeper):
        with pytest.raises(FieldProblem, match=f"lot {lot.code} of .*: say why it failed") as refused:
            services.set_state(lot=lot, state="failed", by=storekeeper, note=" ")

        assert (refused.value.field, Lot.objects.get(pk=lot.pk).state) == ("note", "good")

    def test_only_an_inspector_with_a_reason_brings_a_failed_lot_back(self, lot, storekeeper, workshop):
        inspector = factories.MemberFactory(workshop=workshop, role="inspector")
        services.set_state(lot=lot, state="failed", by=storekeeper, note="did not cure")

        for state in ("good", "quarantined"):  # nor in two steps
            with pytest.raises(services.StaysFailed, match=f"lot {lot.code} of .* failed: only an inspector lifts that"):
                services.set_state(lot=lot, state=state, by=storekeeper, note="looks fine")
        with pytest.raises(FieldProblem, match="say why it counts as failed no more"):
            services.set_state(lot=lot, state="good", by=inspector)
        assert services.set_state(lot=lot, state="failed", by=storekeeper).state == "failed"
        assert services.set_state(lot=lot, state="good", by=inspector, note="the test was of lot R8").state == "good"

    def test_make_lots_refuses_a_good_lot_of_a_batch_that_failed_on_another_bench(self, lot, other_bench, storekeeper):
        services.set_state(lot=lot, state="failed", by=storekeeper, note="did not cure")

        with pytest.raises(services.NotUsable, match="nothing more of that batch"):
            services.make_lots(bench=other_bench, lots=[services.LotData(lot.item_id, lot.code.lower())], by=storekeeper)
        quarantined = services.LotData(lot.item_id, lot.code, state="quarantined")
        assert services.make_lots(bench=other_bench, lots=[quarantined], by=storekeeper)

    def test_open_lot_refuses_a_second_opening(self, lot, builder):
        services.open_lot(lot=lot, on=date(2027, 3, 1), by=builder)

        with pytest.raises(services.AlreadyOpen, match="opened on 2027-03-01"):
            services.open_lot(lot=lot, on=date(2027, 3, 2), by=builder)

    def test_open_lot_refuses_reader(self, lot, reader):
        with pytest.raises(NotAllowed):
            services.open_lot(lot=lot, on=DAY, by=reader)

    def test_correct_opened_puts_a_wrong_scan_right_and_keeps_why(self, lot, builder, storekeeper):
        services.open_lot(lot=lot, on=DAY, by=builder)
        services.correct_opened(lot=lot, opened=None, note="scanned the wrong tube", today=DAY, by=storekeeper)
        services.correct_opened(lot=lot, opened=None, note="pressed again", today=DAY, by=storekeeper)

        lot.refresh_from_db()
        assert lot.opened_on is None
        assert [(one.opened, one.by, one.why) for one in queries.openings(lot)] == [
            (None, storekeeper.name, "scanned the wrong tube"),
            (DAY, builder.name, ""),
        ]

    def test_correct_opened_refuses_days_that_cannot_be_and_no_reason(self, lot, drawer, storekeeper):
        services.receive(lot=lot, quantity=Decimal(5), place=drawer, on=DAY - timedelta(days=9), by=storekeeper)
        Lot.objects.filter(pk=lot.pk).update(made_on=date(2027, 2, 28), made_as="month")
        for opened, words in (
            (DAY + timedelta(days=1), "2027-02-21 is still to come"),
            (date(2027, 1, 31), "was made 2027-02: it can't have been opened before 2027-02-01"),
            (DAY - timedelta(days=10), "came in on 2027-02-11"),
        ):
            with pytest.raises(FieldProblem, match=words) as refused:
                services.correct_opened(lot=lot, opened=opened, note="typed wrong", today=DAY, by=storekeeper)
            assert refused.value.field == "opened"
        for note in ("", "  "):
            with pytest.raises(FieldProblem, match="say why it is put right") as refused:
                services.correct_opened(lot=lot, opened=DAY, note=note, today=DAY, by=storekeeper)
            assert refused.value.field == "note"
        lot.refresh_from_db()
        assert (lot.opened_on, queries.openings(lot)) == (None, [])

        assert services.correct_opened(lot=lot, opened=DAY - timedelta(days=9), note="x", today=DAY, by=storekeeper).opened_on

    def test_correct_opened_is_the_storekeepers(self, lot, builder, reader):
        for by in (builder, reader):
            with pytest.raises(NotAllowed):
                services.correct_opened(lot=lot, opened=DAY, note="x", today=DAY, by=by)

    def test_set_dates_keeps_the_precision(self, lot, storekeeper):
        services.set_dates(lot=lot, made=None, expires=MAY, by=storekeeper)

        assert (Lot.objects.get(pk=lot.pk).expires, Lot.objects.get(pk=lot.pk).made) == (MAY, None)

    def test_set_dates_refuses_an_expiry_before_it_was_made(self, lot, storekeeper):
        with pytest.raises(services.BadDates, match=f"lot {lot.code} of .*before it was made"):
            services.set_dates(lot=lot, made=StatedDate(date(2027, 6, 1)), expires=MAY, by=storekeeper)

    def test_set_dates_refuses_builder(self, lot, builder):
        with pytest.raises(NotAllowed):
            services.set_dates(lot=lot, made=None, expires=MAY, by=builder)

    def test_make_lots_refuses_foreign_item_and_dates_past_the_calendar(self, bench, storekeeper, foreign):
        with pytest.raises(NotAllowed, match="another workshop's"):
            services.make_lots(bench=bench, lots=[services.LotData(foreign[0].item_id)], by=storekeeper)
        item = factories.ItemFactory(workshop=bench.workshop, open_life_days=90)
        with pytest.raises(services.BadDates, match="past the calendar"):
            services.make_lots(bench=bench, lots=[services.LotData(item.pk, opened=date(9999, 12, 1))], by=storekeeper)


class TestFindOrMakeLot:
    @pytest.fixture
    def find(self, bench, item, storekeeper):
        def find(**given):
            return services.find_or_make_lot(**{"bench": bench, "item": item, "by": storekeeper, **given})

        return find

    def test_finds_the_lot_of_a_code_with_or_without_its_dates(self, find):
        first, made = find(code="R7", expires=MAY)

        assert made
        assert find(code=" R7 ", expires=MAY) == (first, False)
        assert find(code="R7") == (first, False)

    def test_refuses_other_dates_under_one_code(self, find):
        find(code="R7", expires=MAY)

        with pytest.raises(services.OtherDates, match="made unknown, expires 2027-05"):
            find(code="R7", expires=StatedDate(date(2027, 6, 1)))

    def test_makes_a_lot_beside_one_that_is_open_or_not_good(self, find, storekeeper):
        first, _ = find(code="R7", expires=MAY)
        services.open_lot(lot=first, on=DAY, by=storekeeper)
        second, made = find(code="R7")

        assert made
        assert second.expires == MAY
        services.set_state(lot=second, state="quarantined", by=storekeeper)
        assert find(code="R7")[1]

    def test_refuses_more_of_a_batch_that_failed_on_any_bench(self, find, item, other_bench, storekeeper):
        elsewhere = factories.LotFactory(bench=other_bench, item=item, code="R7")
        services.set_state(lot=elsewhere, state="failed", by=storekeeper, note="did not cure")

        with pytest.raises(services.NotUsable, match=r"lot R7 of .* failed"):
            find(code="R7")

    def test_without_a_code_only_equal_dates_are_one_lot(self, find):
        plain, _ = find()
        dated, made = find(expires=MAY)

        assert made
        assert find() == (plain, False)
        assert find(expires=MAY) == (dated, False)

    def test_keeps_benches_apart(self, find, other_bench):
        first, _ = find(code="R7")

        assert find(code="R7", bench=other_bench)[0] != first

    def test_refuses_foreign_bench_and_item(self, find, foreign):
        with pytest.raises(NotAllowed):
            find(bench=foreign[0].bench)
        with pytest.raises(NotAllowed):
            find(item=foreign[0].item)


class TestSetAside:
    def test_set_aside_replaces_what_the_step_held(self, stocked, builder):
        services.set_aside(lot=stocked, ref="step:1", quantity=10, by=builder)
        services.set_aside(lot=stocked, ref="step:1", quantity=4, by=builder)

        assert SetAside.objects.get(lot=stocked).quantity == 4

    def test_set_aside_refuses_more_than_is_free(self, stocked, builder):
        services.set_aside(lot=stocked, ref="step:1", quantity=7, by=builder)

        with pytest.raises(services.NotEnough, match="10 ea on hand, 7 ea of it set aside for other steps: 3 ea are free and not 4"):
            services.set_aside(lot=stocked, ref="step:2", quantity=4, by=builder)

    def test_set_aside_refuses_a_lot_that_is_not_good_and_reader(self, stocked, storekeeper, reader):
        with pytest.raises(NotAllowed):
            services.set_aside(lot=stocked, ref="step:1", quantity=1, by=reader)
        services.set_state(lot=stocked, state="disputed", by=storekeeper)
        with pytest.raises(services.NotUsable, match="is disputed"):
            services.set_aside(lot=stocked, ref="step:1", quantity=1, by=storekeeper)

    def test_release_gives_back_once(self, stocked, builder):
        services.set_aside(lot=stocked, ref="step:1", quantity=7, by=builder)

        assert services.release(lot=stocked, ref="step:1", by=builder)
        assert not services.release(lot=stocked, ref="step:1", by=builder)
        assert SetAside.history.filter(ref="step:1").first().history_user == builder

    def test_release_refuses_reader(self, stocked, reader):
        with pytest.raises(NotAllowed):
            services.release(lot=stocked, ref="step:1", by=reader)


FOREIGN = {
    "receive": lambda lot, place, ours, by: services.receive(lot=lot, quantity=1, place=place, on=DAY, by=by),
    "move": lambda lot, place, ours, by: services.move(lot=lot, quantity=1, source=place, target=ours, on=DAY, by=by),
    "use": lambda lot, place, ours, by: services.use(lot=lot, quantity=1, place=place, on=DAY, by=by),
    "scrap": lambda lot, place, ours, by: services.scrap(lot=lot, quantity=1, place=place, on=DAY, by=by),
    "adjust": lambda lot, place, ours, by: services.adjust(lot=lot, place=place, counted=1, on=DAY, by=by),
    "set_state": lambda lot, place, ours, by: services.set_state(lot=lot, state="failed", by=by),
    "set_dates": lambda lot, place, ours, by: services.set_dates(lot=lot, made=None, expires=MAY, by=by),
    "open_lot": lambda lot, place, ours, by: services.open_lot(lot=lot, on=DAY, by=by),
    "correct_opened": lambda lot, place, ours, by: services.correct_opened(lot=lot, opened=DAY, note="x", today=DAY, by=by),
    "unopen": lambda lot, place, ours, by: services.unopen(lot=lot, whys={"x"}, because="y", by=by),
    "set_aside": lambda lot, place, ours, by: services.set_aside(lot=lot, ref="step:9", quantity=1, by=by),
    "release": lambda lot, place, ours, by: services.release(lot=lot, ref="step:0", by=by),
}


@pytest.mark.parametrize("name", FOREIGN)
def test_an_outsiders_lot_is_refused(foreign, shelf, owner, name):
    lot, place, _ = foreign

    with pytest.raises(NotAllowed, match="another workshop"):
        FOREIGN[name](lot, place, shelf, owner)
    with scopes_disabled():
        assert on_hand(lot) == 100


@pytest.mark.parametrize("name", ["receive", "move", "use", "scrap", "adjust"])
def test_an_outsiders_place_is_refused(foreign, stocked, shelf, owner, name):
    with pytest.raises(NotAllowed, match="this place is another workshop's"):
        FOREIGN[name](stocked, foreign[1], shelf, owner)


@pytest.mark.parametrize("name", FOREIGN)
def test_nothing_is_read_outside_a_scope(db, outsider, name):
    with scopes_disabled():
        lot = Lot.objects.select_related("bench", "workshop").get(workshop=outsider)
        place = Place.objects.get(workshop=outsider, end=End.STORAGE)
        by = factories.MemberFactory(workshop=outsider)
        other = factories.PlaceFactory(workshop=outsider)

    with pytest.raises(ScopeError):
        FOREIGN[name](lot, place, other, by)
