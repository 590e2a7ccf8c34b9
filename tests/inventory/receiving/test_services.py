"""Orders, packing lists and arrivals: what each service does, and what it refuses."""

from datetime import date
from decimal import Decimal
from uuid import UUID

import pytest
from django_scopes import ScopeError, scopes_disabled

from inventory.common.quantities import BadQuantity
from inventory.common.texts import BadText
from inventory.models import Bag, Crate, Holding, Lot, Movement, PackingLine
from inventory.receiving import services
from inventory.shelflife.calc import StatedDate
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY

DUE = date(2027, 3, 1)
KEY = UUID(int=7)
MAY = StatedDate(date(2027, 5, 31), "month")


@pytest.fixture
def line(bench, item):
    """10 ea on the way."""
    return factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, due_on=DUE), item=item)


@pytest.fixture
def foreign_line(outsider):
    with scopes_disabled():
        return PackingLine.objects.select_related("crate__bench", "item").get(workshop=outsider)


def still_open(line):
    return PackingLine.objects.get(pk=line.pk).open_quantity


class TestExpect:
    @pytest.fixture
    def expect(self, bench, item, storekeeper):
        def expect(**given):
            asked = {"bench": bench, "item": item, "quantity": Decimal(200), "due_on": DUE, "ordered_on": DAY, "by": storekeeper}
            return services.expect(**{**asked, **given})

        return expect

    def test_expect_makes_a_crate_on_its_way_with_one_line(self, expect, bench, item):
        line = expect()

        assert (line.crate.code, line.crate.bench, line.crate.ordered_on, line.crate.due_on) == ("ORDER-2027-02-20-1", bench, DAY, DUE)
        assert (line.number, line.item, line.quantity, line.open_quantity) == ("1", item, 200, 200)

    def test_expect_counts_the_orders_of_a_day(self, expect):
        assert [expect().crate.code for _ in range(3)][-1] == "ORDER-2027-02-20-3"
        assert expect(ordered_on=date(2027, 2, 21)).crate.code == "ORDER-2027-02-21-1"

    def test_expect_passes_over_a_code_of_another_shape(self, expect, bench):
        factories.CrateFactory(bench=bench, code="order-2027-02-20-9")
        factories.CrateFactory(bench=bench, code="ORDER-2027-02-20-late")

        assert expect().crate.code == "ORDER-2027-02-20-10"

    def test_expect_of_one_request_makes_one_crate(self, expect):
        first = expect(request_key=KEY)

        assert expect(request_key=KEY) == first
        assert Crate.objects.count() == 1
        assert expect(request_key=UUID(int=8)) != first

    def test_expect_takes_an_unknown_due_day_and_refuses_one_before_the_order(self, expect):
        assert expect(due_on=None).crate.due_on is None
        with pytest.raises(services.BadDueDay, match="due on 2027-02-19 is before the order on 2027-02-20"):
            expect(due_on=date(2027, 2, 19))

    def test_expect_refuses_nothing_and_too_fine(self, expect):
        for quantity in (0, Decimal("0.0005")):
            with pytest.raises(BadQuantity):
                expect(quantity=quantity)
        assert not Crate.objects.exists()

    def test_expect_refuses_builder_foreign_bench_and_foreign_item(self, expect, builder, foreign_line):
        for given in ({"by": builder}, {"bench": foreign_line.crate.bench}, {"item": foreign_line.item}):
            with pytest.raises(NotAllowed):
                expect(**given)

    def test_expect_takes_a_fixed_number_of_queries(self, expect, django_assert_max_num_queries):
        expect()
        with django_assert_max_num_queries(9):
            expect(request_key=KEY)


class TestArrive:
    @pytest.fixture
    def arrive(self, line, drawer, storekeeper):
        def arrive(quantity, **given):
            return services.arrive(**{"line": line, "quantity": quantity, "place": drawer, "on": DAY, "by": storekeeper, **given})

        return arrive

    def test_arrive_puts_it_on_the_shelf_of_the_crates_bench(self, arrive, line, drawer, bench):
        movement = arrive(Decimal(10), lot_code="R7", expires=MAY)

        assert (movement.lot.bench, movement.lot.code, movement.lot.expires) == (bench, "R7", MAY)
        assert (movement.ref, movement.target, movement.source.end, movement.note) == (f"line:{line.pk}", drawer, "supplier", "")
        assert still_open(line) == 0
        assert Holding.objects.get(lot=movement.lot).quantity == 10
        assert ledger_errors() == []

    def test_arrive_in_two_parts_makes_one_lot(self, arrive, line):
        first, second = arrive(Decimal(4), lot_code="R7"), arrive(Decimal(6), lot_code="R7")

        assert first.lot == second.lot
        assert still_open(line) == 0

    def test_arrive_twice_is_refused(self, arrive, line):
        arrive(10)

        with pytest.raises(
            services.NothingOpen, match=f"nothing of {line.item.code} in crate {line.crate.code}, line {line.number} is still to come"
        ):
            arrive(10)
        assert Movement.objects.count() == 1

    def test_arrive_takes_more_than_was_listed_and_says_so(self, arrive, line):
        assert arrive(12).note == "12 ea arrived, of which 10 ea were still to come"
        assert still_open(line) == 0

    def test_arrive_gives_up_the_rest_if_told(self, arrive, line):
        arrive(4, close_rest=True)

        assert still_open(line) == 0

    def test_arrive_leaves_the_rest_open(self, arrive, line):
        arrive(4)

        assert still_open(line) == 6
        assert line.history.first().open_quantity == 6

    def test_arrive_takes_nothing_over_from_the_list(self, arrive, line):
        PackingLine.objects.filter(pk=line.pk).update(lot_code="LISTED", expires_on=DUE)

        movement = arrive(10)

        assert (movement.lot.code, movement.lot.expires) == ("", None)

    def test_arrive_refuses_other_dates_of_a_known_lot_and_leaves_the_line_open(self, arrive, line, bench):
        factories.LotFactory(bench=bench, item=line.item, code="R7", expires_on=DUE)

        with pytest.raises(stock.OtherDates):
            arrive(10, lot_code="R7", expires=MAY)
        assert still_open(line) == 10
        assert Lot.objects.count() == 1

    def test_arrive_refuses_zero_builder_and_foreign_rows(self, arrive, builder, foreign_line, outsider):
        with pytest.raises(BadQuantity):
            arrive(0)
        with scopes_disabled():
            place = factories.PlaceFactory(workshop=outsider)
        for given in ({"by": builder}, {"line": foreign_line}, {"place": place}):
            with pytest.raises(NotAllowed):
                arrive(1, **given)

    def test_reverse_of_an_arrival_opens_its_line_again(self, arrive, line, storekeeper):
        movement = arrive(quantity=Decimal(4))
        services.reverse(movement=movement, on=DAY, by=storekeeper)

        assert still_open(line) == 10
        assert not Holding.objects.filter(quantity__gt=0).exists()
        assert not ledger_errors()

    def test_reverse_of_more_than_was_listed_opens_no_more_than_that(self, arrive, line, storekeeper):
        services.reverse(movement=arrive(quantity=Decimal(12)), on=DAY, by=storekeeper)

        assert still_open(line) == 10

    def test_reverse_of_another_movement_leaves_lines_alone(self, arrive, line, storekeeper):
        movement = arrive(quantity=Decimal(4))
        used = stock.use(lot=movement.lot, quantity=Decimal(1), place=movement.target, on=DAY, by=storekeeper)
        services.reverse(movement=used, on=DAY, by=storekeeper)

        assert still_open(line) == 6

    def test_arrive_takes_a_fixed_number_of_queries(self, arrive, django_assert_max_num_queries):
        arrive(1)
        with django_assert_max_num_queries(23):
            arrive(1)


class TestCancelAndDue:
    def test_cancel_rest_closes_the_line_once(self, line, storekeeper):
        assert services.cancel_rest(line=line, by=storekeeper).open_quantity == 0
        with pytest.raises(services.NothingOpen):
            services.cancel_rest(line=line, by=storekeeper)

    def test_cancel_rest_refuses_builder_and_a_foreign_line(self, line, foreign_line, builder, storekeeper):
        for row, by in ((line, builder), (foreign_line, storekeeper)):
            with pytest.raises(NotAllowed):
                services.cancel_rest(line=row, by=by)

    def test_change_due_keeps_who_did_it(self, line, storekeeper):
        crate = services.change_due(crate=line.crate, due_on=date(2027, 4, 1), by=storekeeper)

        assert crate.due_on == date(2027, 4, 1)
        assert crate.history.first().history_user == storekeeper
        assert services.change_due(crate=crate, due_on=None, by=storekeeper).due_on is None

    def test_change_due_refuses_a_day_before_the_order(self, bench, storekeeper):
        crate = factories.CrateFactory(bench=bench, ordered_on=DAY)

        with pytest.raises(services.BadDueDay):
            services.change_due(crate=crate, due_on=date(2027, 2, 1), by=storekeeper)

    def test_change_due_refuses_builder_and_a_foreign_crate(self, line, foreign_line, builder, storekeeper):
        for crate, by in ((line.crate, builder), (foreign_line.crate, storekeeper)):
            with pytest.raises(NotAllowed):
                services.change_due(crate=crate, due_on=DUE, by=by)


class TestEnsureCrate:
    def test_ensure_crate_finds_it_in_another_case_and_sets_the_due_day(self, bench, storekeeper):
        crate, made = services.ensure_crate(bench=bench, code="Crate-1", by=storekeeper)

        assert made
        found, made = services.ensure_crate(bench=bench, code="CRATE-1", due_on=DUE, by=storekeeper)
        assert (found, made, found.due_on) == (crate, False, DUE)
        assert services.ensure_crate(bench=bench, code="CRATE-1", by=storekeeper)[0].due_on == DUE

    def test_ensure_crate_refuses_another_benchs_builder_and_foreigner(self, bench, other_bench, foreign_line, builder, storekeeper):
        services.ensure_crate(bench=other_bench, code="C1", by=storekeeper)

        with pytest.raises(services.CrateTaken, match="crate C1 belongs to bench PLOVER, not to TERN"):
            services.ensure_crate(bench=bench, code="c1", by=storekeeper)
        for row, by in ((bench, builder), (foreign_line.crate.bench, storekeeper)):
            with pytest.raises(NotAllowed):
                services.ensure_crate(bench=row, code="C2", by=by)


class TestLoadLines:
    @pytest.fixture
    def crate(self, bench):
        return factories.CrateFactory(bench=bench)

    @pytest.fixture
    def data(self, item):
        def data(bag="Bag 1/Small", number="1", item_id=item.pk, quantity=Decimal(5), **given):
            return services.LineData(bag, number, item_id, quantity, **given)

        return data

    def test_load_lines_makes_nested_bags_and_open_lines(self, crate, data, storekeeper, item):
        lines = [data(lot_code="R7", expires=MAY, rounding="r"), data(bag="bag 1/Large"), data(bag="Bag 1", number="2", name="screws")]

        made = services.load_lines(crate=crate, lines=lines, by=storekeeper)

        assert sorted(Bag.objects.values_list("path", flat=True)) == ["Bag 1", "Bag 1/Large", "Bag 1/Small"]
        assert [(row.bag.path, row.open_quantity, row.name) for row in made][1:] == [("Bag 1/Large", 5, item.name), ("Bag 1", 5, "screws")]
        first = PackingLine.objects.get(pk=made[0].pk)
        assert (first.lot_code, first.expires, first.rounding) == ("R7", MAY, "r")
        assert first.history.get().history_user == storekeeper

    def test_load_lines_refuses_a_second_list(self, crate, data, storekeeper):
        services.load_lines(crate=crate, lines=[data()], by=storekeeper)

        with pytest.raises(services.CrateTaken, match="has packing lines already"):
            services.load_lines(crate=crate, lines=[data(number="2")], by=storekeeper)

    def test_load_lines_refuses_a_number_twice_in_one_bag(self, crate, data, storekeeper):
        with pytest.raises(BadText, match="line A of bag BAG 1/SMALL stands 2 times"):
            services.load_lines(crate=crate, lines=[data(number="a"), data(bag="bag 1/small", number="A")], by=storekeeper)
        assert not Bag.objects.exists()

    def test_load_lines_refuses_blanks_zero_and_a_foreign_item(self, crate, data, storekeeper, foreign_line):
        for line, problem in (
            (data(bag="Bag//x"), BadText),
            (data(number=" "), BadText),
            (data(quantity=Decimal(0)), BadQuantity),
            (data(item_id=foreign_line.item_id), NotAllowed),
        ):
            with pytest.raises(problem):
                services.load_lines(crate=crate, lines=[line], by=storekeeper)

    def test_load_lines_refuses_builder_and_a_foreign_crate(self, crate, data, builder, storekeeper, foreign_line):
        for row, by in ((crate, builder), (foreign_line.crate, storekeeper)):
            with pytest.raises(NotAllowed):
                services.load_lines(crate=row, lines=[data()], by=by)

    def test_load_lines_takes_no_more_queries_for_many(self, bench, data, storekeeper, django_assert_num_queries):
        for count in (1, 25):
            crate = factories.CrateFactory(bench=bench)
            lines = [data(number=str(number)) for number in range(count)]
            with django_assert_num_queries(12):
                services.load_lines(crate=crate, lines=lines, by=storekeeper)


def test_nothing_is_read_outside_a_scope(foreign_line, outsider):
    with scopes_disabled():
        by = factories.MemberFactory(workshop=outsider)

    with pytest.raises(ScopeError):
        services.cancel_rest(line=foreign_line, by=by)
    with pytest.raises(ScopeError):
        services.change_due(crate=foreign_line.crate, due_on=DUE, by=by)


def test_state_totals_keeps_what_is_printed_on_the_list(line, storekeeper):
    services.state_totals(crate=line.crate, printed_lines=214, printed_quantity=Decimal("4120.5"), by=storekeeper)

    crate = Crate.objects.get()
    assert (crate.printed_lines, crate.printed_quantity) == (214, Decimal("4120.5"))
    assert crate.history.latest().history_user == storekeeper
    services.state_totals(crate=crate, printed_lines=None, printed_quantity=None, by=storekeeper)
    assert (Crate.objects.get().printed_lines, Crate.objects.get().printed_quantity) == (None, None)


@pytest.mark.parametrize(
    ("lines", "quantity"), [(-1, None), (services.MOST_LINES + 1, None), (None, Decimal(-1)), (None, Decimal(10) ** 12 + 1)]
)
def test_state_totals_refuses_what_no_list_prints(line, storekeeper, lines, quantity):
    with pytest.raises(BadText, match="give 0 to"):
        services.state_totals(crate=line.crate, printed_lines=lines, printed_quantity=quantity, by=storekeeper)


def test_state_totals_refuses_a_builder_and_an_outsider_s_crate(line, foreign_line, storekeeper, builder):
    for crate, by in ((line.crate, builder), (foreign_line.crate, storekeeper)):
        with pytest.raises(NotAllowed):
            services.state_totals(crate=crate, printed_lines=1, printed_quantity=None, by=by)
