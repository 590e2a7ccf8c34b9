"""What the program knows of each point: for it, against it, or nothing."""

from datetime import datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from buildplan.closeup.knowing import known
from buildplan.closeup.starting import Fact
from buildplan.fitting import services as fitting
from buildplan.logbook import services as logbook
from buildplan.plan.models import Step
from buildplan.records.services import Use, finish_step
from buildplan.sealday.services import plan_seal_day, set_product
from inventory.models import Photo
from tests import factories
from tests.buildplan.closeup.conftest import NOW
from tests.buildplan.fitting.conftest import READINGS
from tests.factories import DAY


@pytest.fixture
def now_known(section):
    """What is said of a fact, and what that speaks for."""

    def now_known(fact, now=NOW):
        found = known(section, now)[fact]
        return found.says, found.text

    return now_known


def finish(step, by, **said):
    return finish_step(step=Step.objects.select_related("project__bench").get(pk=step.pk), on=DAY, uses=said.pop("uses", ()), by=by, **said)


def test_steps_not_done_are_named_and_all_done_speaks_for_it(now_known, section, step, builder):
    finish(step, builder)
    assert now_known(Fact.STEPS) == ("against", "1 of 2 steps not done: K1-02")

    finish(section.steps.get(code="K1-02"), builder)
    assert now_known(Fact.STEPS) == ("for", "all 2 steps are done")


def test_open_conflict_of_a_step_is_named_until_it_is_settled(now_known, step, builder, owner):
    assert now_known(Fact.CONFLICTS) == ("for", "no open conflict rests on its steps")
    row = fitting.record_conflict(project=step.project, **READINGS, steps=[step], by=builder)
    assert now_known(Fact.CONFLICTS) == ("against", "1 open: hand of the rib")

    fitting.settle(conflict=row, right="text", note="measured", on=DAY, by=owner, today=DAY)
    assert now_known(Fact.CONFLICTS)[0] == "for"


def test_step_that_needs_stock_and_was_done_without_movements_is_named(now_known, section, step, lot, drawer, builder):
    assert now_known(Fact.MOVEMENTS) == ("for", "no step of it that is done takes anything from stock")
    other = section.steps.get(code="K1-02")
    for each in (step, other):
        factories.CallOutFactory(step=each, item=lot.item, quantity=Decimal(4))
    factories.stock(lot, 10, drawer)
    finish(step, builder, uses=[Use(lot, drawer, Decimal(4))])
    assert now_known(Fact.MOVEMENTS) == ("for", "what 1 step took is on record, lot by lot")

    finish(other, builder, without_movements=True)
    assert now_known(Fact.MOVEMENTS) == ("against", "1 step done without movements, so no lot is on record: K1-02")


def test_need_that_finishing_left_blank_is_named(now_known, step, lot, drawer, workshop, builder):
    primer = factories.ItemFactory(workshop=workshop, code="PRIME-1")
    for item in (lot.item, primer):
        factories.CallOutFactory(step=step, item=item, quantity=Decimal(4))
    factories.stock(lot, 10, drawer)
    finish(step, builder, uses=[Use(lot, drawer, Decimal(4))])

    assert now_known(Fact.MOVEMENTS) == ("against", "1 step took nothing of something that the plan names: K1-01 (PRIME-1)")


def test_step_loaded_as_done_has_no_lot_on_record(now_known, step, item):
    factories.CallOutFactory(step=step, item=item)
    Step.objects.filter(pk=step.pk).update(done=True)

    assert now_known(Fact.MOVEMENTS)[0] == "against"


def test_marked_pieces_of_its_assemblies_are_counted(now_known, step, builder):
    assert now_known(Fact.MARKS)[0] == "neither"
    row = fitting.make_assembly(project=step.project, name="Baffles", steps=[(step, "fit_up"), (step, "match_drill")], by=builder)
    fitting.add_positions(assembly=row, parts=["baffle"], first=1, last=2, by=builder)
    first, second = row.positions.order_by("number")
    fitting.mark(position=first, piece=fitting.Piece(words="the one of bag 7"), on=DAY, by=builder, today=DAY)
    assert now_known(Fact.MARKS) == ("against", "Baffles: 1 of 2 positions hold a marked piece")

    fitting.mark(position=second, piece=fitting.Piece(words="the other one"), on=DAY, by=builder, today=DAY)
    assert now_known(Fact.MARKS)[0] == "for"


def test_cure_that_has_not_ended_is_named_and_one_that_nobody_timed_isn_t_known(now_known, section, step, builder, bench):
    assert now_known(Fact.CURES) == ("for", "no step of it that is done was sealed")
    seam = factories.SeamFactory(step=step)
    Step.objects.filter(pk=step.pk).update(done=True, done_on=DAY)
    assert now_known(Fact.CURES) == ("neither", "when the sealant of K1-01 is cured isn't known")

    step.refresh_from_db()
    other = section.steps.get(code="K1-02")
    day = plan_seal_day(bench=bench, on=DAY, steps=[other], by=builder, today=DAY)
    day.steps.update(step=step)
    set_product(day=day, item=seam.sealant, life_hours=Fraction(2), cure_hours=Fraction(24), by=builder)
    ends = timezone.make_aware(datetime.combine(DAY + timedelta(days=2), time(0)))
    assert now_known(Fact.CURES) == ("against", f"{seam.sealant.code} of K1-01 cures until 2027-02-22 00:00")
    assert now_known(Fact.CURES, now=ends) == ("for", "the last cure ended 2027-02-22 00:00")


def test_last_test_of_each_tank_counts(now_known, leak, read):
    assert now_known(Fact.LEAK) == ("neither", "Left tank: fewer than two readings")
    read(0, 27)
    read(15, 20)
    assert now_known(Fact.LEAK) == ("against", "Left tank: beyond the limit entered")


def test_photos_of_steps_and_of_their_log_entries_count(now_known, workshop, project, step, builder):
    assert now_known(Fact.PHOTOS) == ("against", "no photo of its steps is kept")
    entry = logbook.write_entry(project=project, step=step, on=DAY, text="Baffles in.", key=uuid4(), by=builder, today=DAY)
    Photo.objects.create(workshop=workshop, ref=entry.ref, file="a.jpg", digest="", width=1, height=1, by=builder)
    assert now_known(Fact.PHOTOS) == ("neither", "photos of 1 of 2 steps are kept: K1-01")
    other = step.section.steps.get(code="K1-02")
    Photo.objects.create(workshop=workshop, ref=f"step:{other.pk}", file="b.jpg", digest="", width=1, height=1, by=builder)
    assert now_known(Fact.PHOTOS) == ("for", "photos of 2 of 2 steps are kept: K1-01, K1-02")

    Photo.objects.filter(ref=f"step:{other.pk}").delete()
    logbook.strike_entry(entry=entry, why="of the other tank", by=builder, now=NOW)
    assert now_known(Fact.PHOTOS)[0] == "against"


def test_signature_of_an_owner_is_told_and_that_of_an_inspector_speaks_for_it(now_known, workshop, step, owner):
    assert now_known(Fact.SEEN) == ("neither", "nobody signed a step of it, or what the log tells of one")
    logbook.sign(of=step, key=uuid4(), by=owner, now=NOW)
    assert now_known(Fact.SEEN) == ("neither", "no inspector signed; an owner signed 1 of 2 steps: K1-01")

    inspector = factories.MemberFactory(workshop=workshop, role="inspector")
    logbook.sign(of=step, key=uuid4(), by=inspector, now=NOW)
    assert now_known(Fact.SEEN) == ("neither", "an inspector signed 1 of 2 steps, or what the log tells of them: K1-01")

    logbook.sign(of=step.section.steps.get(code="K1-02"), key=uuid4(), by=inspector, now=NOW)
    assert now_known(Fact.SEEN) == ("for", "an inspector signed 2 of 2 steps, or what the log tells of them: K1-01, K1-02")


def test_all_that_is_known_takes_as_many_queries_for_many_steps_as_for_one(section, step, builder, bench):
    day = plan_seal_day(bench=bench, on=DAY, steps=[step], by=builder, today=DAY)
    set_product(day=day, item=factories.SeamFactory(step=step).sealant, life_hours=Fraction(2), cure_hours=Fraction(24), by=builder)
    with CaptureQueriesContext(connection) as few:
        known(section, NOW)
    for number in range(8):
        more = factories.StepFactory(project=step.project, section=section, code=f"M-{number}")
        factories.SeamFactory(step=more)
        fitting.record_conflict(project=step.project, **READINGS, steps=[more], by=builder)
        plan_seal_day(bench=bench, on=DAY + timedelta(days=number + 1), steps=[more], by=builder, today=DAY)
    Step.objects.filter(section=section).update(done=True)
    with CaptureQueriesContext(connection) as many:
        known(section, NOW)

    assert len(many) == len(few) <= 18
