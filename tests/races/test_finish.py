"""Eight at once finish one step, or take it back: it happens once."""

from collections import Counter
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from buildplan.models import Finish
from buildplan.records import services
from buildplan.records.services import Use
from inventory.models import Movement
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2027, 2, 21, tzinfo=UTC)


@pytest.fixture
def step(project, item):
    step = factories.StepFactory(project=project)
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(5))
    return step


@pytest.fixture
def lots(bench, item, drawer):
    lots = [factories.LotFactory(bench=bench, item=item) for _ in range(2)]
    for lot in lots:
        factories.stock(lot, 50, place=drawer)
    return lots


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def test_eight_finish_one_step_and_one_wins(at_once, step, lots, drawer, builder):
    def act(number):
        order = lots if number % 2 else lots[::-1]
        return services.finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(5)) for lot in order], by=builder)

    assert kinds(at_once(act)) == {"Finish": 1, "AlreadyDone": 7}
    assert [on_hand(lot) for lot in lots] == [45, 45]
    assert (Finish.objects.count(), Movement.objects.filter(target__end="used").count()) == (1, 2)
    assert ledger_errors() == []


def test_eight_steps_take_of_the_same_two_lots_in_any_order(at_once, project, item, lots, drawer, builder):
    steps = [factories.StepFactory(project=project) for _ in range(8)]

    def act(number):
        order = lots if number % 2 else lots[::-1]
        return services.finish_step(step=steps[number], on=DAY, uses=[Use(lot, drawer, Decimal(5)) for lot in order], by=builder)

    assert kinds(at_once(act)) == {"Finish": 8}
    assert [on_hand(lot) for lot in lots] == [10, 10]
    assert ledger_errors() == []


def test_eight_take_one_step_back_and_it_goes_back_once(at_once, step, lots, drawer, builder):
    services.finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(5)) for lot in lots], by=builder)

    results = at_once(lambda _: services.take_back(step=step, on=DAY, now=NOW, by=builder))

    assert kinds(results) == {"Finish": 1, "NotFinishedHere": 7}
    assert [on_hand(lot) for lot in lots] == [50, 50]
    assert ledger_errors() == []
