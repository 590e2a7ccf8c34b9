"""Scans of what lies on a bench that others hold."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock import services as stock
from inventory.stock.queries import on_hand
from inventory.workshop.memberships import set_holders
from tests import factories
from tests.scans import act, one, scan


@pytest.fixture
def held(lot, drawer, storekeeper):
    stock.receive(lot=lot, quantity=10, place=drawer, on=date(2027, 2, 1), by=storekeeper)
    return lot


@pytest.fixture
def wren(workshop, bench, owner):
    """Who holds the bench."""
    member = factories.MemberFactory(workshop=workshop, role="builder", name="Wren")
    set_holders(bench=bench, members=[member], by=owner)
    return member


def take(by, lot, drawer):
    return one(by, lot.item.code, "take", quantity="1", place=drawer.path)


def test_holder_takes_and_another_builder_is_told_whom_to_ask(wren, builder, held, drawer):
    assert take(wren, held, drawer).status == 200
    refused = take(builder, held, drawer)

    assert refused.status == 403
    assert "is held by Wren: ask them" in refused.body["detail"]
    assert on_hand(held) == 9


def test_holder_counts_what_came_and_another_builder_does_not(wren, builder, bench, item):
    line = factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, code="CRATE-7"), item=item, quantity=Decimal(5))
    said = {"quantity": "1", "bag": line.crate.code}

    assert one(wren, item.code, "tally", **said).status == 200
    assert one(builder, item.code, "tally", **said).status == 403


def test_rule_costs_one_query_for_a_batch(builder, other_bench, workshop, item, storekeeper, drawer, owner, wren):
    lot = factories.LotFactory(bench=other_bench, item=item, code="")
    stock.receive(lot=lot, quantity=10, place=drawer, on=date(2027, 2, 1), by=storekeeper)

    def queries(by, count):
        with CaptureQueriesContext(connection) as found:
            answers = act(by, *[scan(item.code, "take", quantity="1", place=drawer.path) for _ in range(count)])
        assert {answer.status for answer in answers} == {200}
        return len(found)

    keeper = factories.MemberFactory(workshop=workshop, role="storekeeper")
    queries(keeper, 1)
    assert queries(builder, 3) - queries(keeper, 3) == 1
