"""The shelves as a page reads them, and the proof that the ledger holds."""

import json
from datetime import date
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django_scopes import ScopeError, scopes_disabled

from inventory.models import Holding, Movement
from inventory.stock import queries, services
from inventory.stock.models import End
from tests import factories
from tests.factories import DAY


@pytest.fixture
def holding(lot, drawer):
    return factories.stock(lot, 10, place=drawer)


def spoil(holding, quantity):
    """Change a holding behind the ledger's back."""
    Holding.objects.filter(pk=holding.pk).update(quantity=quantity)


class TestHoldings:
    def test_holdings_tells_what_lies_where(self, bench, drawer, builder):
        item = factories.ItemFactory(workshop=bench.workshop, code="PR-1", kind="sealant", unit="g", life_months=9)
        lot = factories.LotFactory(bench=bench, item=item, code="S1", made_on=date(2027, 1, 31), made_as="month")
        factories.stock(lot, "12.5", place=drawer)
        services.set_aside(lot=lot, ref="step:1", quantity=Decimal(2), by=builder)

        [row] = queries.holdings()

        assert (row.item, row.unit, row.lot, row.place, row.quantity) == ("PR-1", "g", "S1", drawer.path, Decimal("12.5"))
        assert (row.bench, row.state, row.set_aside, row.opened) == ("TERN", "good", 2, None)
        assert (str(row.made), row.expires) == ("2027-01", None)
        assert (row.life.last_day, row.life.limit.source) == (date(2027, 10, 31), "made 2027-01 + 9 months of life")

    def test_holdings_leaves_out_what_is_empty_and_the_outsiders(self, holding, builder):
        services.use(lot=holding.lot, quantity=10, place=holding.place, on=DAY, by=builder)

        assert queries.holdings() == []

    def test_holdings_of_one_bench_item_or_place(self, holding, other_bench, item, workshop):
        other = factories.LotFactory(bench=other_bench, item=item)
        factories.stock(other, 1, place=factories.PlaceFactory(workshop=workshop, path="Hangar 2"))
        hangar = factories.PlaceFactory(workshop=workshop, path="Hangar")

        assert len(queries.holdings(item=item)) == 2
        assert [row.lot_id for row in queries.holdings(bench=other_bench)] == [other.pk]
        assert [row.lot_id for row in queries.holdings(place=hangar)] == [holding.lot_id]

    def test_holdings_takes_two_queries_for_one_and_for_many(self, holding, bench, drawer, django_assert_num_queries):
        with django_assert_num_queries(2):
            queries.holdings()
        for _ in range(10):
            factories.stock(factories.LotFactory(bench=bench), 1, place=drawer)
        with django_assert_num_queries(2):
            assert len(queries.holdings()) == 11

    def test_holdings_outside_a_scope_raises(self, outsider):
        with pytest.raises(ScopeError):
            queries.holdings()


class TestLedgerErrors:
    def test_ledger_errors_is_empty_where_it_holds(self, holding, storekeeper):
        services.scrap(lot=holding.lot, quantity=3, place=holding.place, on=DAY, by=storekeeper)

        assert queries.ledger_errors() == []

    @pytest.mark.parametrize("quantity", [0, Decimal("9.999"), 11])
    def test_ledger_errors_names_a_holding_that_differs(self, holding, quantity):
        spoil(holding, quantity)

        [error] = queries.ledger_errors()

        assert (error.workshop, error.item, error.unit) == ("MARSH", holding.lot.item.code, "ea")
        assert (error.lot, error.place) == (holding.lot.code, holding.place.path)
        assert (error.holding, error.movements) == (quantity, 10)

    def test_ledger_errors_finds_a_holding_that_is_missing(self, holding):
        holding.delete()

        assert [(error.holding, error.movements) for error in queries.ledger_errors()] == [(0, 10)]

    def test_ledger_errors_finds_a_holding_at_an_end(self, holding, workshop):
        used = services.end_place(workshop, End.USED)
        Holding.objects.create(workshop=workshop, lot=holding.lot, place=used, quantity=Decimal(1))

        assert [(error.place, error.holding, error.movements) for error in queries.ledger_errors()] == [("used", 1, 0)]

    def test_ledger_errors_of_one_workshop_leaves_out_the_others(self, holding, workshop, outsider):
        with scopes_disabled():
            spoil(Holding.objects.get(workshop=outsider), 1)

        assert queries.ledger_errors(workshop) == []
        assert [error.workshop for error in queries.ledger_errors()] == ["OUTSIDE"]

    def test_ledger_errors_names_what_passed_and_never_came(self, holding, lot, other_bench, storekeeper):
        given = services.pass_on(lot=holding.lot, parts=[(holding.place, Decimal(2))], bench=other_bench, on=DAY, by=storekeeper)
        assert queries.ledger_errors() == []

        passed = services.end_place(given.workshop, End.PASSED)
        Movement.objects.create(workshop=given.workshop, lot=given, quantity=1, source=holding.place, target=passed, by=storekeeper, on=DAY)
        Holding.objects.filter(lot=given).update(quantity=1)
        assert [(error.place, error.holding, error.movements) for error in queries.ledger_errors()] == [("passed", 0, 1)]

    def test_ledger_errors_takes_one_query(self, holding, django_assert_num_queries):
        with django_assert_num_queries(1):
            queries.ledger_errors()


class TestCheckLedger:
    def run(self, *arguments):
        out = StringIO()
        try:
            call_command("check_ledger", *arguments, stdout=out)
        except SystemExit as stop:
            return stop.code, out.getvalue()
        return 0, out.getvalue()

    def test_exits_0_where_the_ledger_holds(self, holding):
        assert self.run() == (0, "The ledger holds: every holding is the sum of its movements.\n")
        assert json.loads(self.run("--json")[1]) == {"holds": True, "differences": []}

    def test_exits_1_and_names_each_difference(self, holding):
        spoil(holding, Decimal("9.5"))

        code, text = self.run()

        assert code == 1
        assert f"lot {holding.lot.code}, in {holding.place.path}: the holding says 9.5 ea, its movements add up to 10" in text

    def test_json_names_each_difference(self, holding):
        spoil(holding, Decimal("9.5"))

        code, text = self.run("--json")

        assert code == 1
        [difference] = json.loads(text)["differences"]
        assert (difference["holding"], difference["movements"], difference["place"]) == ("9.5", "10", holding.place.path)
