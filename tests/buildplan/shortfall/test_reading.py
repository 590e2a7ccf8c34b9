"""What a page reads once answers each of its parts as if that part had asked by itself."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.hardware.services import accept_substitution
from buildplan.shortfall import queries as shortfall
from buildplan.shortfall.demand import StepDay, StepFacts
from buildplan.shortfall.needs import Demand, expand, hanging
from buildplan.shortfall.reading import plans, read, read_beside, stuck
from inventory.models import Item, Place
from inventory.pool import services as pool
from tests import factories
from tests.buildplan.tonight.conftest import NOW
from tests.factories import DAY

LATER = DAY + timedelta(days=40)


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector")


@pytest.fixture
def rivets(workshop):
    return [factories.ItemFactory(workshop=workshop, kind="rivet", code=code) for code in ("MS20470D4-6", "MS20470AD5-7")]


@pytest.fixture
def steps(project, workshop, rivets):
    """F2 comes after F1, which is done and holds clecos until F2; both have all that a step may have. F3 comes after F2."""
    first = factories.StepFactory(project=project, code="F1", done=True)
    second = factories.StepFactory(project=project, code="F2", after=[first])
    third = factories.StepFactory(project=project, code="F3", after=[second])
    cleco = factories.ItemFactory(workshop=workshop, kind="cleco", diameter=Fraction(1, 8))
    sealant = factories.ItemFactory(workshop=workshop, kind="sealant", unit="g", gravity=Decimal("1.5"))
    for step in (first, second, third):
        factories.CallOutFactory(step=step, item=factories.ItemFactory(workshop=workshop))
        factories.RivetRowFactory(step=step, rivet=rivets[0], cleco=cleco, cleco_every=2, clecos_until=second)
        factories.SeamFactory(step=step, sealant=sealant)
    return [first, second, third]


def alone(step, on):
    days = {step.pk: StepDay(on, "on this day", on)}
    facts = StepFacts(step.pk, step.code, (0, step.position), on, done=False)
    return Demand({"step": step}, {step.pk: facts}, days, days, on, alone=True)


def queries_of(asked):
    with CaptureQueriesContext(connection) as found:
        asked()
    return len(found)


@pytest.mark.parametrize("on", [DAY, LATER])
def test_what_hangs_on_many_steps_expands_for_each_as_if_it_were_read_alone(steps, rivets, inspector, on):
    said = {"wanted": rivets[0], "served_by": rivets[1], "note": "as the maker wrote", "now": NOW}
    accept_substitution(step=steps[1], by=inspector, **said)
    found = hanging([step.pk for step in steps])

    for step in steps:
        assert expand(alone(step, on), found.of([step.pk])) == expand(alone(step, on))
    assert rivets[1].pk in found.items()


def test_what_was_read_of_stock_serves_each_bench_and_day_as_the_whole_stock_does(workshop, bench, other_bench, shared_bench, storekeeper):
    items = [factories.ItemFactory(workshop=workshop, kind=kind) for kind in ("part", "cleco", "part")]
    shelf, drawer = (factories.PlaceFactory(workshop=workshop, path=path) for path in ("Shelf", "Drawer"))
    for at, item in enumerate(items):
        for whose in (bench, other_bench, shared_bench):
            lot = factories.LotFactory(bench=whose, item=item, expires_on=DAY + timedelta(days=20 * at))
            factories.stock(lot, 10, shelf)
            factories.stock(lot, 5, drawer)
            factories.SetAsideFactory(lot=lot, quantity=Decimal(2), ref="step:7")
        factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, due_on=DAY), item=item, quantity=Decimal(3))
    lent = items[1].lots.get(bench=shared_bench)
    said = {"quantity": Decimal(4), "member": storekeeper, "on": DAY, "key": uuid4(), "by": storekeeper, "now": NOW}
    pool.lend(lot=lent, place=Place.objects.get(path="Shelf"), **said)
    facts = shortfall.items([item.pk for item in items[:2]])
    found = shortfall.stocked_of(facts)

    for whose in (bench, other_bench):
        for on in (DAY, LATER):
            assert shortfall.supplies_of(found, whose.pk, facts, on) == shortfall.stock(whose, shortfall.items(), facts, on)
    assert any(one.blocked == "lent" for one in shortfall.supplies_of(found, bench.pk, facts, DAY)[items[1].pk])


def test_a_step_is_read_with_those_beside_it_that_could_be_begun_and_those_that_hold_clecos(steps, outsider):
    first, second, third = steps
    found = read_beside(third.pk, DAY)

    assert found.read.steps == {first.pk, second.pk, third.pk}
    assert found.read.stuck == {first.pk} == stuck()
    assert found.place.shown == (first.pk, second.pk, third.pk)
    assert found.plans.startable(found.place.shown) == [second.pk]
    assert set(found.read.items) == set(Item.objects.filter(call_outs__step__in=steps).values_list("pk", flat=True)) | {
        item for row in found.read.hanging.rows for item in (row.rivet_id, row.cleco_id)
    } | {seam.sealant_id for seam in found.read.hanging.seams}


def test_reading_takes_the_same_queries_for_one_step_and_for_many(steps, project, bench, workshop):
    few = [queries_of(lambda: read([steps[0].pk])), queries_of(lambda: read_beside(steps[1].pk, DAY)), queries_of(lambda: plans(DAY))]
    more = [factories.StepFactory(project=project, after=[steps[1]]) for _ in range(6)]
    for step in more:
        call_out = factories.CallOutFactory(step=step, item=factories.ItemFactory(workshop=workshop))
        factories.stock(factories.LotFactory(bench=bench, item=call_out.item, expires_on=date(2028, 1, 1)), 5)
    ids = [step.pk for step in (*steps, *more)]
    many = [queries_of(lambda: read(ids)), queries_of(lambda: read_beside(steps[1].pk, DAY)), queries_of(lambda: plans(DAY))]

    assert few == many == [13, 17, 3]
