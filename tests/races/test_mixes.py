"""Eight at once mix by one form, mix the last of a lot, or take one batch back: it happens once."""

from collections import Counter
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import UUID, uuid4

import pytest

from buildplan.models import Mix, MixShare
from buildplan.records import services as records
from buildplan.sealing import services
from buildplan.sealing.services import Take
from inventory.models import Movement
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
DAY = date(2027, 3, 6)
AT = datetime(2027, 3, 6, 9, 0, tzinfo=UTC)


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, kind="sealant", unit="g")


@pytest.fixture
def steps(project, sealant):
    steps = [factories.StepFactory(project=project) for _ in range(2)]
    for step in steps:
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(20))
    return steps


@pytest.fixture
def tins(bench, sealant, drawer):
    tins = [factories.LotFactory(bench=bench, item=sealant, expires_on=DAY) for _ in range(2)]
    for tin in tins:
        factories.stock(tin, 100, place=drawer)
    return tins


@pytest.fixture
def mix(sealant, steps, tins, drawer, builder):
    """Forty grams of both tins for both steps, each in any order."""

    def mix(number=0, key=None):
        way = slice(None, None, -1 if number % 2 else 1)
        return services.record_mix(
            item=sealant,
            key=key or uuid4(),
            takes=[Take(tin, drawer, Decimal(20)) for tin in tins[way]],
            shares=[(step, Decimal(20)) for step in steps[way]],
            base=Decimal(36),
            accelerator=Decimal(4),
            mixed_at=AT,
            mixed_by="Ada",
            on=DAY,
            temperature_f=None,
            life_hours=None,
            by=builder,
        )

    return mix


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def test_eight_of_one_form_make_one_batch(at_once, mix, tins):
    results = at_once(lambda number: mix(number, key=UUID(int=7)))

    assert {made.pk for made in results} == {Mix.objects.get().pk}
    assert MixShare.objects.count() == 2
    assert [on_hand(tin) for tin in tins] == [80, 80]
    assert ledger_errors() == []


def test_eight_mix_of_the_last_and_as_many_win_as_there_is(at_once, mix, tins):
    results = at_once(mix)

    assert kinds(results) == {"Mix": 5, "NotEnough": 3}
    assert Mix.objects.count() == 5
    assert [on_hand(tin) for tin in tins] == [0, 0]
    assert ledger_errors() == []


def test_eight_take_one_batch_back_and_it_goes_back_once(at_once, mix, tins, builder):
    made = mix()
    results = at_once(lambda _: services.take_back_mix(mix=made, on=DAY, now=AT, by=builder))

    assert kinds(results) == {"Mix": 1, "MixTakenBack": 7}
    assert [on_hand(tin) for tin in tins] == [100, 100]
    assert ledger_errors() == []


def test_step_is_finished_with_a_batch_or_the_batch_goes_back_never_both(at_once, mix, steps, tins, builder):
    made = mix()

    def act(number):
        if number % 2:
            return services.take_back_mix(mix=made, on=DAY, now=AT, by=builder)
        return records.finish_step(step=steps[0], on=DAY, uses=(), by=builder)

    found = kinds(at_once(act))
    assert found in ({"Finish": 1, "AlreadyDone": 3, "MixUsed": 4}, {"Mix": 1, "MixTakenBack": 3, "NothingTaken": 4})
    assert [on_hand(tin) for tin in tins] == ([80, 80] if found["Finish"] else [100, 100])
    assert Movement.objects.filter(ref=made.ref, reverses=None, reversed_by=None).count() == (2 if found["Finish"] else 0)
    assert ledger_errors() == []
