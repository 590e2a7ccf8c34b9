"""What is still to come."""

from datetime import date
from decimal import Decimal

import pytest
from django_scopes import ScopeError

from inventory.receiving import services
from inventory.receiving.queries import in_transit
from inventory.shelflife.calc import StatedDate
from tests import factories

MAY = StatedDate(date(2027, 5, 31), "month")


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="C1", due_on=date(2027, 3, 1))


def test_in_transit_tells_what_is_to_come(crate, item, storekeeper):
    data = services.LineData("Bag 1", "7", item.pk, Decimal(5), lot_code="R7", expires=MAY)
    services.load_lines(crate=crate, lines=[data], by=storekeeper)

    [row] = in_transit()

    assert (row.crate, row.bench, row.due_on, row.bag, row.number) == ("C1", "TERN", date(2027, 3, 1), "Bag 1", "7")
    assert (row.item, row.unit, row.quantity, row.still_open) == (item.code, "ea", 5, 5)
    assert (row.lot, row.made, row.expires) == ("R7", None, MAY)


def test_in_transit_leaves_out_what_has_arrived_and_the_outsiders(crate, item, storekeeper):
    line = factories.PackingLineFactory(crate=crate, item=item)
    services.cancel_rest(line=line, by=storekeeper)

    assert in_transit() == []


def test_in_transit_stands_by_due_day_with_unknown_days_last(crate, item, bench, other_bench):
    late = factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, code="A"), item=item)
    first = factories.PackingLineFactory(crate=crate, item=item)
    other = factories.PackingLineFactory(crate=factories.CrateFactory(bench=other_bench, code="B", due_on=date(2027, 3, 2)))

    assert [row.line_id for row in in_transit()] == [first.pk, other.pk, late.pk]
    assert [row.line_id for row in in_transit(bench=other_bench)] == [other.pk]
    assert [row.line_id for row in in_transit(item=item, crate=crate)] == [first.pk]


def test_in_transit_takes_one_query(crate, django_assert_num_queries):
    for _ in range(5):
        factories.PackingLineFactory(crate=crate)

    with django_assert_num_queries(1):
        assert len(in_transit()) == 5


def test_in_transit_outside_a_scope_raises(outsider):
    with pytest.raises(ScopeError):
        in_transit()
