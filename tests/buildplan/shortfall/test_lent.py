"""What is lent counts for the bench that it is lent to, and for no other."""

from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.shortfall import queries
from buildplan.shortfall.trace import why
from inventory.models import Item, Loan, Lot
from inventory.pool import services
from tests import factories

AS_OF = date(2027, 2, 20)
DAY = date(2027, 3, 6)
NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


def ask(project):
    return queries.shortfall([project], before=None, as_of=AS_OF).lines[0]


def figures(line):
    return tuple(map(int, (line.needed, line.usable, line.in_transit, line.short)))


def unusable(line):
    return {reason.value: int(quantity) for reason, quantity in line.unusable}


def lend(lot, quantity, member, **more):
    place = lot.holdings.select_related("place").get(place__hands=None).place
    said = {"on": AS_OF, "key": uuid4(), "by": member, "now": NOW, **more}
    return services.lend(lot=lot, place=place, quantity=Decimal(quantity), member=member, **said)


def take_in(loan, quantity, kind="returned"):
    said = {"on": AS_OF, "key": uuid4(), "by": loan.member, "now": NOW}
    return services.take_in(loan=loan, kind=kind, quantity=Decimal(quantity), **said)


@pytest.fixture
def clecos(shared_bench, workshop):
    lot = factories.LotFactory(bench=shared_bench, code="", item=factories.ItemFactory(workshop=workshop, kind="cleco"))
    factories.stock(lot, 40)
    return lot


@pytest.fixture
def people(workshop):
    return [factories.MemberFactory(workshop=workshop, name=name, role="builder") for name in ("Ann", "Bea", "Cy")]


@pytest.fixture
def wanted(project, clecos):
    step = factories.StepFactory(project=project, code="F3-05", planned_on=DAY)
    factories.CallOutFactory(step=step, item=clecos.item, quantity=Decimal(30))
    return step


@pytest.fixture
def ann(people, bench, workshop):
    """Who holds the project's bench."""
    bench.holders.create(workshop=workshop, member=people[0])
    return people[0]


def test_what_is_lent_to_another_does_not_count_and_is_said(project, wanted, clecos, people):
    lend(clecos, 25, people[1])
    line = ask(project)
    assert (figures(line), unusable(line)) == ((30, 15, 0, 15), {"lent": 25})
    assert "stock without a lot code in Lent/Bea: 25 ea don't count, lent" in [reason.text for reason in why(line)]


def test_what_is_lent_to_the_bench_itself_counts(project, wanted, clecos, ann):
    lend(clecos, 25, ann)
    line = ask(project)
    assert (figures(line), unusable(line)) == ((30, 30, 0, 0), {})


def test_back_again_it_counts_and_lost_it_does_not(project, wanted, clecos, people):
    loan = lend(clecos, 25, people[1])
    take_in(loan, 20)
    take_in(loan, 5, "lost")
    line = ask(project)
    assert (figures(line), unusable(line)) == ((30, 30, 0, 0), {})
    assert line.item.id == clecos.item_id


def test_what_another_bench_lent_us_counts_and_its_rest_is_worth_asking_for(project, wanted, clecos, other_bench, bench, ann, storekeeper):
    Lot.objects.filter(pk=clecos.pk).update(bench=other_bench)
    lot = Lot.objects.select_related("bench", "item").get(pk=clecos.pk)
    lend(lot, 25, ann, bench=bench, by=storekeeper)
    line = ask(project)
    assert (figures(line), unusable(line)) == ((30, 25, 0, 5), {"other_bench": 15})


def test_quarantined_is_the_reason_before_lent_and_so_is_expired(project, wanted, clecos, people):
    lend(clecos, 25, people[1])
    Lot.objects.filter(pk=clecos.pk).update(state="quarantined")
    assert unusable(ask(project)) == {"quarantined": 40}
    Lot.objects.filter(pk=clecos.pk).update(state="good", expires_on=date(2027, 3, 1))
    assert unusable(ask(project)) == {"expired": 40}


def test_the_items_that_a_scan_touched_say_the_same(project, wanted, clecos, people, outsider):
    lend(clecos, 25, people[1])
    ((_, found),) = queries.shortfall_of([clecos.item_id], before=None, as_of=AS_OF).found
    assert found.lines[0] == ask(project)


def test_loans_cost_one_query_however_many(project, wanted, clecos, people):
    lend(clecos, 1, people[1])
    with CaptureQueriesContext(connection) as few:
        ask(project)
    for _ in range(8):
        lend(clecos, 1, people[2])
    assert Loan.objects.count() == 9
    assert Item.objects.count() == 1
    with CaptureQueriesContext(connection) as many:
        line = ask(project)
    assert len(many) == len(few) == 17
    assert unusable(line) == {"lent": 9}


def test_a_thing_that_is_lent_and_retired_is_no_longer_anybodys(project, workshop, shared_bench, people, storekeeper):
    lot = factories.LotFactory(bench=shared_bench, item=factories.ItemFactory(workshop=workshop, kind="tool"))
    factories.stock(lot, 1)
    services.add_thing(lot=lot, by=storekeeper, today=AS_OF)
    factories.CallOutFactory(step=factories.StepFactory(project=project, planned_on=DAY), item=lot.item, quantity=Decimal(1))
    take_in(lend(lot, 1, people[1]), 1, "lost")
    assert figures(ask(project)) == (1, 0, 0, 1)
