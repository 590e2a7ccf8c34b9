"""Closing a seal day: all or nothing, what was mixed is not taken twice, what isn't done is carried on."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest

from buildplan.models import Finish, Step
from buildplan.records.services import NothingTaken, Use, finish_step
from buildplan.sealday import services
from buildplan.sealday.services import NotClosed, Outcome
from buildplan.sealing.services import Take, end_mix
from buildplan.shortfall.queries import shortfall
from inventory.common.problems import FieldProblem
from inventory.models import Movement, SetAside
from inventory.stock.queries import ledger_errors, on_hand
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.sealday.conftest import NOW, SATURDAY, SUNDAY
from tests.factories import DAY

EVENING = NOW + (SATURDAY - DAY) + timedelta(hours=6)


def closing(day, *outcomes, by, today=SATURDAY):
    return services.close(day=day, outcomes=outcomes, by=by, today=today, now=EVENING)


@pytest.fixture
def left_sealed(day, lots, steps, b2, drawer, builder):
    """The left side's 60 g are mixed of the old lot."""
    made = services.mix(
        day=day,
        key=uuid4(),
        item=b2,
        takes=[Take(lots.old, drawer, Decimal(60))],
        shares=[(steps.left, Decimal(60))],
        base=Decimal("54.545"),
        accelerator=Decimal("5.455"),
        mixed_at=EVENING - timedelta(hours=8),
        mixed_by="Ida",
        on=SATURDAY,
        temperature_f=Fraction(75),
        by=builder,
    )
    return made.mix


@pytest.fixture
def rivets(steps, bench, workshop, drawer):
    """The left step takes 100 rivets, and 80 are there."""
    rivet = factories.ItemFactory(workshop=workshop, code="MS20426AD3-3", kind="rivet", diameter=Fraction(3, 32))
    factories.RivetRowFactory(step=steps.left, rivet=rivet, holes=100)
    return factories.stock(factories.LotFactory(bench=bench, item=rivet, code="R-1"), 80, drawer).lot


def test_close_finishes_what_is_done_and_carries_the_rest(day, steps, lots, rivets, left_sealed, builder, shown):
    end_mix(mix=left_sealed, left=Decimal(4), at=EVENING, by=builder)

    closed = closing(day, Outcome(steps.left, done=True), Outcome(steps.right, done=False, carry_to=SUNDAY, reason="too dark"), by=builder)

    assert (closed.closed_at, closed.closed_by, closed.open) == (EVENING, builder, False)
    left, right = Step.objects.get(pk=steps.left.pk), Step.objects.get(pk=steps.right.pk)
    assert (left.done, left.done_on, right.done, right.planned_on) == (True, SATURDAY, False, SUNDAY)
    finish = Finish.objects.get(step=left)
    assert list(Movement.objects.filter(ref=finish.ref).values_list("lot__code", "quantity")) == [("R-1", 80)]
    assert finish.note == "not on hand, so not taken: 20 ea MS20426AD3-3"
    assert (on_hand(lots.old), on_hand(lots.new), on_hand(rivets)) == (10, 200, 0)
    found = shown(day)
    assert [(step.carried_to, step.reason) for step in found.steps] == [(None, ""), (SUNDAY, "too dark")]
    assert ledger_errors() == []


def test_close_takes_no_sealant_beyond_what_was_mixed(day, steps, lots, b2, drawer, builder, left_sealed):
    """The plan says 60 g and 60 were mixed; had less been, it had been enough: nothing more is taken."""
    steps.left.seams.update(grams_each=Fraction(90))
    end_mix(mix=left_sealed, left=Decimal(0), at=EVENING, by=builder)

    closing(day, Outcome(steps.left, done=True), Outcome(steps.right, done=True), by=builder)

    assert (on_hand(lots.old), on_hand(lots.new)) == (0, 160)  # the right side without a batch took its 50 g by netting
    assert {line.item.code for line in shortfall([steps.left.project], before=None, as_of=SATURDAY).lines} == set()


def test_close_leaves_a_step_that_is_done_already(day, steps, lots, drawer, builder):
    for step, grams in ((steps.left, 60), (steps.right, 50)):
        finish_step(step=step, on=SATURDAY, uses=[Use(lots.new, drawer, Decimal(grams))], by=builder)

    assert not closing(day, by=builder).open
    assert Finish.objects.count() == 2


def test_close_gives_held_lots_back(day, steps, lots, owner):
    services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
    closing(day, *(Outcome(step, done=False, carry_to=SUNDAY) for step in (steps.left, steps.right)), by=owner)

    assert not SetAside.objects.exists()


def test_close_refuses_what_is_not_said_and_changes_nothing(day, steps, lots, left_sealed, builder, reader):
    both = [Outcome(steps.left, done=True), Outcome(steps.right, done=True)]
    cases = [
        (both, SATURDAY, NotClosed, "say what was left of each batch before the day is closed: SEAL-B2, 60 g"),
        (both[:1], SATURDAY, NotClosed, "say of F3-05 whether it is done"),
        (both, DAY, NotClosed, "which is still to come"),
        ([*both, Outcome(steps.fillet, done=True)], SATURDAY, FieldProblem, "F3-06 is no step of this day"),
    ]
    for outcomes, today, problem, text in cases:
        with pytest.raises(problem, match=text):
            closing(day, *outcomes, by=builder, today=today)
    with pytest.raises(NotAllowed):
        closing(day, *both, by=reader)
    day.refresh_from_db()
    assert (day.open, Finish.objects.count()) == (True, 0)


def test_close_is_all_or_nothing(day, steps, lots, left_sealed, builder):
    """The first step would be finished; the second can't be carried to a day that is past or too far off."""
    end_mix(mix=left_sealed, left=Decimal(0), at=EVENING, by=builder)
    for carry_to, text in ((None, "say to which day"), (DAY, "which is past"), (date.max, "more than ten years off")):
        with pytest.raises(FieldProblem, match=text):
            closing(day, Outcome(steps.left, done=True), Outcome(steps.right, done=False, carry_to=carry_to), by=builder)

    assert not Step.objects.filter(done=True).exists()
    assert not Finish.objects.exists()


def test_close_refuses_a_step_that_took_nothing(day, steps, builder):
    """No sealant is on hand and none was mixed: a need must not disappear without a word."""
    with pytest.raises(NothingTaken):
        closing(day, Outcome(steps.left, done=True), Outcome(steps.right, done=True), by=builder)


def test_closed_day_still_says_what_its_cure_blocks(day, steps, lots, left_sealed, builder, shown):
    end_mix(mix=left_sealed, left=Decimal(0), at=EVENING, by=builder)
    closing(day, Outcome(steps.left, done=True), Outcome(steps.right, done=False, carry_to=SUNDAY + timedelta(days=30)), by=builder)

    found = shown(day)
    assert (found.batches, found.faults, found.missing) == ((), (), ())
    assert found.products[0].cured_at == left_sealed.mixed_at + timedelta(hours=72)
    assert [one.code for one in found.blocked] == ["F3-06"]
