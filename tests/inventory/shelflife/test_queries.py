"""What is dying on the shelf."""

from datetime import date

import pytest

from inventory.shelflife.queries import expiries
from tests import factories

BEFORE = date(2027, 3, 6)


def found(before=BEFORE):
    return [(one.held.lot, one.last_usable_day, one.limit) for one in expiries(before=before)]


@pytest.fixture
def on_shelf(bench):
    def put(item, code, **dates):
        lot = factories.LotFactory(bench=bench, item=item, code=code, **dates)
        factories.stock(lot, 5)
        return lot

    return put


def test_expiries_list_lot_that_ends_on_the_day_and_not_the_day_after(on_shelf, item):
    on_shelf(item, "ON", expires_on=BEFORE)
    on_shelf(item, "AFTER", expires_on=date(2027, 3, 7))
    assert found() == [("ON", BEFORE, "expires")]


def test_expiries_list_lots_already_dead_and_in_any_state_by_day(on_shelf, item):
    on_shelf(item, "SOON", expires_on=date(2027, 3, 1), state="quarantined")
    on_shelf(item, "DEAD", expires_on=date(2020, 1, 1), state="failed")
    assert [lot for lot, *_ in found()] == ["DEAD", "SOON"]


def test_expiries_take_the_limit_that_ends_first_and_trace_all(on_shelf, workshop):
    item = factories.ItemFactory(workshop=workshop, life_months=9, open_life_days=10)
    on_shelf(item, "L", made_on=date(2026, 6, 30), made_as="month", expires_on=date(2027, 3, 5), opened_on=date(2027, 2, 20))
    [one] = expiries(before=BEFORE)
    assert (one.last_usable_day, one.limit) == (date(2027, 3, 2), "opened")
    assert len(one.trace) == 3


def test_expiries_list_unknown_life_last_with_no_day(on_shelf, workshop, item):
    on_shelf(factories.ItemFactory(workshop=workshop, kind="sealant"), "UNKNOWN")
    on_shelf(item, "ON", expires_on=BEFORE)
    assert found() == [("ON", BEFORE, "expires"), ("UNKNOWN", None, None)]


def test_expiries_leave_out_what_never_dies_and_what_is_used_up(on_shelf, bench, item):
    on_shelf(item, "NEVER")
    factories.LotFactory(bench=bench, item=item, code="GONE", expires_on=BEFORE)
    assert found() == []


@pytest.mark.parametrize("count", [1, 20])
def test_expiries_take_two_queries_whatever_the_size(on_shelf, item, count, django_assert_num_queries):
    for at in range(count):
        on_shelf(item, f"L{at}", expires_on=BEFORE)
    with django_assert_num_queries(2):
        assert len(found()) == count
