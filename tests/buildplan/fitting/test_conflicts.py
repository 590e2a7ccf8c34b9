"""Conflicts of text and drawing: who is held, who settles, and what a decision leaves on record."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from buildplan.fitting import queries, services
from buildplan.fitting.models import Settlement
from buildplan.fitting.problems import AlreadySettled, DayAhead, ElsewhereRow, NothingToGoBy, NotSettled, StepHeld
from buildplan.fitting.queries import OpenConflict, open_conflicts
from buildplan.records.services import finish_step
from buildplan.tonight.queries import tonight
from inventory.common.texts import BadText
from inventory.workshop.memberships import set_holders
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.fitting.conftest import READINGS, TODAY


def answer(conflict, by, on=TODAY):
    return services.add_answer(conflict=conflict, text="the left one", on=on, reference="letter 14", by=by, today=TODAY)


def settle(conflict, by, right="drawing", note="", on=TODAY):
    return services.settle(conflict=conflict, right=right, note=note, on=on, by=by, today=TODAY)


def test_step_is_held_until_the_conflict_is_settled_and_again_once_it_is_reopened(conflict, step, owner):
    assert open_conflicts([step.pk]) == {step.pk: (OpenConflict(conflict.pk, "hand of the rib"),)}
    answer(conflict, owner)
    assert open_conflicts([step.pk])[step.pk][0].answered == TODAY

    settle(conflict, owner)
    assert open_conflicts([step.pk]) == {}

    services.reopen(conflict=conflict, why="the maker wrote again", by=owner, now=timezone.now())
    assert open_conflicts([step.pk])[step.pk][0].held_text == (
        'text and drawing disagree on "hand of the rib", and it isn\'t settled: the maker answered on 2027-02-20: settle it'
    )


def test_finishing_a_held_step_is_refused_with_the_conflict_named_and_done_once_it_is_settled(conflict, step, builder, owner):
    with pytest.raises(StepHeld, match='F1 is held: text and drawing disagree on "hand of the rib"') as refused:
        finish_step(step=step, on=TODAY, uses=(), by=builder)
    assert refused.value.status == 409

    settle(conflict, owner, note="measured the part")
    finish_step(step=step, on=TODAY, uses=(), by=builder)

    step.refresh_from_db()
    assert step.done


def test_steps_that_take_an_item_of_the_conflict_are_held_in_its_project_alone(project, bench, conflict, builder, item):
    called = factories.CallOutFactory(step=factories.StepFactory(project=project, code="F5"), item=item).step
    riveted = factories.RivetRowFactory(step=factories.StepFactory(project=project, code="F6"), rivet=item).step
    elsewhere = factories.CallOutFactory(step=factories.StepFactory(project=factories.ProjectFactory(bench=bench)), item=item).step
    free = factories.StepFactory(project=project)
    services.set_resting(conflict=conflict, steps=[], items=[item], by=builder)

    found = open_conflicts([called.pk, riveted.pk, elsewhere.pk, free.pk])

    assert set(found) == {called.pk, riveted.pk}
    assert found[called.pk][0].item == item.code
    assert {step.code for step in queries.conflict_view(conflict).held} == {"F5", "F6"}


def test_open_conflicts_take_one_query_for_one_step_and_for_many(project, conflict, step, builder, item):
    services.set_resting(conflict=conflict, steps=[step], items=[item], by=builder)
    more = [factories.CallOutFactory(step=factories.StepFactory(project=project), item=item).step.pk for _ in range(5)]
    for steps in ([step.pk], [step.pk, *more]):
        with CaptureQueriesContext(connection) as asked:
            assert len(open_conflicts(steps)) == len(steps)
        assert len(asked) == 1


def test_nothing_is_settled_by_a_guess_without_an_answer_or_a_word_on_it(conflict, owner):
    with pytest.raises(NothingToGoBy, match="the maker hasn't answered"):
        settle(conflict, owner)

    answer(conflict, owner)
    assert settle(conflict, owner).right == "drawing"


def test_settling_twice_is_refused_and_the_database_holds_to_it(conflict, owner, inspector):
    settle(conflict, owner, note="measured")

    with pytest.raises(AlreadySettled, match="settled on 2027-02-20 by"):
        settle(conflict, inspector, right="text", note="no")
    with pytest.raises(IntegrityError), transaction.atomic():
        Settlement.objects.create(workshop=conflict.workshop, conflict=conflict, right="text", on=TODAY, by=owner)
    with pytest.raises(AlreadySettled):
        services.edit_conflict(conflict=conflict, changes={"title": "other"}, by=owner)
    with pytest.raises(AlreadySettled):
        services.set_resting(conflict=conflict, steps=[], items=[], by=owner)


def test_reopening_keeps_the_decision_on_record_and_takes_a_reason(conflict, owner):
    with pytest.raises(NotSettled):
        services.reopen(conflict=conflict, why="x", by=owner, now=timezone.now())
    settle(conflict, owner, note="measured")
    with pytest.raises(BadText):
        services.reopen(conflict=conflict, why=" ", by=owner, now=timezone.now())

    services.reopen(conflict=conflict, why="measured wrong", by=owner, now=timezone.now())
    settle(conflict, owner, right="neither", note="a third reading")

    view = queries.conflict_view(conflict)
    assert [(one.right, one.reopened_why) for one in view.settlements] == [("drawing", "measured wrong"), ("neither", "")]
    assert view.settlement.right == "neither"


def test_builder_settles_at_their_own_bench_and_storekeepers_and_other_builders_never(conflict, project, builder, storekeeper, inspector):
    other = factories.MemberFactory(workshop=project.workshop, role="builder")
    set_holders(bench=project.bench, members=[builder], by=factories.MemberFactory(workshop=project.workshop, role="owner"))
    for nobody in (storekeeper, other):
        with pytest.raises(NotAllowed):
            settle(conflict, nobody, note="x")

    settle(conflict, builder, note="measured")
    services.reopen(conflict=conflict, why="again", by=inspector, now=timezone.now())
    settle(conflict, inspector, note="measured")


def test_track_record_counts_standing_decisions_by_kind(conflict, project, owner):
    settle(conflict, owner, note="measured")
    for right in ("text", "drawing"):
        more = services.record_conflict(project=project, **{**READINGS, "kind": "size"}, by=owner)
        settle(more, owner, right=right, note="measured")
    services.reopen(conflict=more, why="no", by=owner, now=timezone.now())

    found = {one.kind: (one.text, one.drawing, one.neither) for one in queries.track_record()}

    assert found == {"hand": (0, 1, 0), "size": (1, 0, 0), "count": (0, 0, 0), "position": (0, 0, 0), "other": (0, 0, 0)}


def test_what_makes_no_sense_is_refused(conflict, project, bench, owner, outsider):
    tomorrow = TODAY + timedelta(days=1)
    with pytest.raises(DayAhead):
        answer(conflict, owner, on=tomorrow)
    with pytest.raises(DayAhead):
        settle(conflict, owner, note="x", on=tomorrow)
    foreign = factories.StepFactory(project=factories.ProjectFactory(bench=bench))
    with pytest.raises(ElsewhereRow):
        services.record_conflict(project=project, **READINGS, steps=[foreign], by=owner)
    with pytest.raises(BadText, match="reading of the drawing is blank"):
        services.record_conflict(project=project, **{**READINGS, "drawing_says": " "}, by=owner)
    assert len(queries.conflicts()) == 1


def test_same_key_again_gives_the_first_conflict_and_the_first_answer(project, step, builder):
    key, answered = uuid4(), uuid4()
    first = services.record_conflict(project=project, **READINGS, steps=[step], by=builder, key=key)
    again = services.record_conflict(project=project, **{**READINGS, "title": "other"}, by=builder, key=key)
    said = {"conflict": first, "text": "left", "on": TODAY, "reference": "letter", "by": builder, "today": TODAY, "key": answered}

    assert again == first
    assert services.add_answer(**said) == services.add_answer(**said)
    assert len(queries.conflict_view(first).steps) == 1
    assert len(queries.conflict_view(first).answers) == 1


def test_done_step_isnt_held_on_its_page_and_is_named_to_look_at_again(conflict, step, builder):
    step.done = True
    step.save()

    view = queries.conflict_view(conflict)

    assert view.held == ()
    assert [row.code for row in view.steps] == ["F1"]


def test_tonight_lists_the_conflict_as_what_a_step_waits_for(conflict, step, owner):
    asked = {"today": TODAY, "now": timezone.now()}
    (blocked,) = tonight(**asked).blocked
    assert [block.text for block in blocked.verdict.blocks] == ['text and drawing disagree: "hand of the rib"']

    settle(conflict, owner, note="measured")

    assert [one.step for one in tonight(**asked).ready] == [step]
