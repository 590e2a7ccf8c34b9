"""Eight at once plan one day, put one step into eight days, mix one batch, close one day: it happens once."""

from collections import Counter
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest

from buildplan.models import DayMix, Finish, SealDay
from buildplan.sealday import services
from buildplan.sealday.services import Outcome, PersonData
from buildplan.sealing.services import Take, end_mix
from inventory.models import SetAside
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories
from tests.factories import DAY

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2027, 2, 20, 18, tzinfo=UTC)


@pytest.fixture
def sealant(workshop):
    known = {"gravity": Decimal("1.57"), "base": Decimal(100), "accelerator": Decimal(10)}
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)


@pytest.fixture
def step(project, sealant):
    step = factories.StepFactory(project=project, code="F3-04")
    unset = {"length": None, "unit": "", "leg_a": None, "leg_b": None, "size_unit": ""}
    factories.SeamFactory(step=step, sealant=sealant, shape="each", grams_each=Fraction(55), **unset)
    return step


@pytest.fixture
def lot(bench, sealant, drawer):
    return factories.stock(factories.LotFactory(bench=bench, item=sealant, expires_on=date(2027, 9, 1)), 200, drawer).lot


@pytest.fixture
def day(bench, step, sealant, lot, owner):
    said = {"temperature_f": Fraction(75), "pace": Fraction(30)}
    day = services.plan_seal_day(bench=bench, on=DAY, steps=[step], by=owner, today=DAY, **said)
    services.set_people(day=day, people=[PersonData("Ida", time(9), time(17))], by=owner)
    services.set_product(day=day, item=sealant, life_hours=Fraction(2), cure_hours=None, by=owner)
    return day


@pytest.fixture
def mixing(day, sealant, lot, drawer, step, owner):
    def mixing(key):
        return services.mix(
            day=day,
            key=key,
            item=sealant,
            takes=[Take(lot, drawer, Decimal(55))],
            shares=[(step, Decimal(55))],
            base=Decimal(50),
            accelerator=Decimal(5),
            mixed_at=NOW,
            mixed_by="Ida",
            on=DAY,
            temperature_f=None,
            by=owner,
        )

    return mixing


def kinds(results):
    return Counter(type(result).__name__ for result in results)


def test_eight_plan_one_day_and_one_wins(at_once, bench, project, owner):
    steps = [factories.StepFactory(project=project) for _ in range(8)]

    results = at_once(lambda number: services.plan_seal_day(bench=bench, on=DAY, steps=[steps[number]], by=owner, today=DAY))

    assert kinds(results) == {"SealDay": 1, "DayTaken": 7}
    assert SealDay.objects.get().steps.count() == 1


def test_eight_want_one_step_on_eight_days_and_one_gets_it(at_once, bench, step, owner):
    def act(number):
        return services.plan_seal_day(bench=bench, on=DAY + timedelta(days=number), steps=[step], by=owner, today=DAY)

    assert kinds(at_once(act)) == {"SealDay": 1, "DayTaken": 7}
    step.refresh_from_db()
    assert step.planned_on == SealDay.objects.get().on


def test_eight_send_one_batch_and_it_is_mixed_once(at_once, mixing, lot):
    key = uuid4()

    assert kinds(at_once(lambda _: mixing(key))) == {"DayMix": 8}
    assert (DayMix.objects.count(), on_hand(lot)) == (1, 145)
    assert ledger_errors() == []


def test_eight_close_one_day_and_one_wins(at_once, day, step, mixing, lot, owner):
    end_mix(mix=mixing(uuid4()).mix, left=Decimal(3), at=NOW, by=owner)

    results = at_once(lambda _: services.close(day=day, outcomes=[Outcome(step, done=True)], by=owner, today=DAY, now=NOW))

    assert kinds(results) == {"SealDay": 1, "DayOver": 7}
    assert (Finish.objects.count(), on_hand(lot)) == (1, 145)
    assert ledger_errors() == []


def test_eight_move_and_hold_one_day_and_its_lots_are_held_once(at_once, day, step, owner):
    def act(number):
        if number % 2:
            return services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
        return services.move(days=[day], to=DAY + timedelta(days=number + 1), later=False, by=owner, today=DAY, now=NOW)

    assert kinds(at_once(act)) == {"SealDay": 4, "tuple": 4}
    day.refresh_from_db()
    step.refresh_from_db()
    assert step.planned_on == day.on
    assert [(row.ref, row.quantity) for row in SetAside.objects.all()] == [(f"step:{step.pk}", Decimal(55))]
