"""The list of a section, its ticks, closing it up and opening it again."""

from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django_scopes import scopes_disabled

from buildplan.closeup import queries, services
from buildplan.closeup.models import Closing, GatePoint, GateTick
from buildplan.closeup.problems import AlreadyClosed, InspectorTicks, KeyUsed, NoSuchPoint, NotClosed, NotReady, ThereAlready
from buildplan.closeup.services import Edit
from buildplan.closeup.starting import CODES, START, Fact
from buildplan.plan.models import Section
from buildplan.plan.services import SectionClosed
from buildplan.records.services import finish_step, take_back
from buildplan.tonight.queries import tonight
from inventory.common.problems import FieldProblem
from inventory.common.texts import BadText
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.closeup.conftest import NOW
from tests.factories import DAY

REASONS = dict.fromkeys(CODES, "no tank in it")


def edit(section, by, *edits):
    return services.edit_list(section=section, edits=edits, by=by, now=NOW)


def listed(section):
    return [point.text for point in queries.points_of(section)]


def test_section_begins_with_the_starting_list_and_the_first_write_keeps_it(section, builder):
    view = queries.gate_view(section, now=NOW)
    assert ([point.name for point in view.points], view.started, GatePoint.objects.count()) == (list(CODES), False, 0)

    services.tick(section=section, point="edges", by=builder, now=NOW)

    view = queries.gate_view(section, now=NOW)
    assert ([point.text for point in view.points], view.started, view.ticked) == ([one.text for one in START], True, 1)
    assert GatePoint.history.count() == len(START)


def test_list_is_changed_point_by_point_and_sending_it_again_adds_none(section, builder):
    marks = Edit("", Fact.MARKS, drop=True)
    edits = (Edit("Strainer fitted"), Edit("Noses rounded", "edges", position=0))
    edit(section, builder, marks, *edits)
    edit(section, builder, *edits)

    assert listed(section)[0] == "Noses rounded"
    assert listed(section)[-1] == "Strainer fitted"
    assert len(listed(section)) == len(START)
    dropped = GatePoint.objects.get(code=Fact.MARKS)
    assert (dropped.dropped_at, dropped.dropped_by) == (NOW, builder)


REFUSED = (
    ([Edit("x", "nothing")], NoSuchPoint, "the list has no point nothing any more"),
    ([Edit("curing has ENDED", "edges")], ThereAlready, "would stand on the list twice"),
    ([Edit("", "edges")], BadText, "the point is blank"),
    ([Edit("", code, drop=True) for code in CODES], FieldProblem, "keep one point at least"),
    ([Edit(f"point {at}") for at in range(60)], FieldProblem, "60 are the most"),
)


def test_list_that_makes_no_sense_is_refused_whole(section, builder):
    for edits, problem, told in REFUSED:
        with pytest.raises(problem, match=told):
            edit(section, builder, *edits)
        assert listed(section) == []


def test_tick_is_once_and_who_took_it_off_is_kept(section, builder, owner):
    first = services.tick(section=section, point="edges", by=builder, now=NOW)
    assert services.tick(section=section, point="edges", by=owner, now=NOW) == first

    for _ in range(2):
        services.untick(section=section, point="edges", by=owner, now=NOW)
    assert list(GateTick.objects.values_list("by", "withdrawn_by")) == [(builder.pk, owner.pk)]
    services.tick(section=section, point="edges", by=owner, now=NOW)
    assert queries.gate_view(section, now=NOW).ticked == 1


def test_tick_keeps_what_the_program_knew_and_says_when_that_turned(section, step, builder):
    made = services.tick(section=section, point=Fact.STEPS, by=builder, now=NOW)
    assert made.said == "2 of 2 steps not done: K1-01, K1-02"
    assert not any(point.turned for point in queries.gate_view(section, now=NOW).points)

    finish_step(step=step, on=DAY, uses=(), by=builder)
    assert [point.name for point in queries.gate_view(section, now=NOW).points if point.turned] == [Fact.STEPS]


def test_that_the_inspector_has_seen_it_ticks_an_inspector_or_an_owner_where_there_is_none(section, builder, owner, workshop):
    with pytest.raises(NotAllowed, match="this takes one of: owner, inspector"):
        services.tick(section=section, point=Fact.SEEN, by=builder, now=NOW)
    services.tick(section=section, point=Fact.SEEN, by=owner, now=NOW)
    services.untick(section=section, point=Fact.SEEN, by=owner, now=NOW)

    inspector = factories.MemberFactory(workshop=workshop, role="inspector")
    with pytest.raises(InspectorTicks, match="ask one"):
        services.tick(section=section, point=Fact.SEEN, by=owner, now=NOW)
    assert services.tick(section=section, point=Fact.SEEN, by=inspector, now=NOW).by == inspector
    with pytest.raises(NotAllowed):
        services.tick(section=section, point="edges", by=inspector, now=NOW)


def test_closing_takes_every_point_ticked_or_its_reason_and_keeps_both(section, ticked, close, builder):
    services.untick(section=section, point=Fact.LEAK, by=builder, now=NOW)
    with pytest.raises(NotReady, match="said why not: The leak test was made, as the kit maker says: tick them"):
        close(reasons={Fact.LEAK: " "})
    assert not Closing.objects.exists()

    close(reasons={Fact.LEAK: "no tank in it"}, note="by daylight")

    section.refresh_from_db()
    view = queries.gate_view(section, now=NOW)
    assert (section.closed_at, view.closing.note) == (NOW, "by daylight")
    unticked = [(point.code, point.why, point.by) for point in view.closing.points if not point.ticked]
    assert unticked == [(Fact.LEAK, "no tank in it", builder.name)]
    assert {point.by for point in view.closing.points if point.code == Fact.SEEN} == {"Amos Reed"}
    assert view.closing.steps == ("K1-01: not done", "K1-02: not done")
    assert section.history.latest().history_user == builder


def test_kept_list_stays_as_it_was_whatever_becomes_of_the_list(section, ticked, close, builder):
    close()
    before = queries.gate_view(section, now=NOW).closing.points

    edit(section, builder, Edit("New one"), Edit("Otherwise", "edges"), Edit("", Fact.CURES, drop=True))

    assert queries.gate_view(section, now=NOW).closing.points == before
    assert len(before) == len(START)


def test_closed_section_is_closed_once_and_a_key_that_is_known_gives_its_closing(section, ticked, close, project, builder):
    key = uuid4()
    first = close(key=key)
    assert close(key=key) == first

    with pytest.raises(AlreadyClosed, match=f"Floats was closed up by {builder.name} on 2027-02-20: open it again"):
        close()
    for act in (services.tick, services.untick):
        with pytest.raises(AlreadyClosed):
            act(section=section, point="edges", by=builder, now=NOW)
    other = factories.StepFactory(project=project, section__name="Wings").section
    with pytest.raises(KeyUsed):
        services.close(section=other, reasons=REASONS, by=builder, now=NOW, key=key)


def test_steps_of_a_closed_section_are_neither_finished_nor_taken_back_before_it_is_opened_again(section, step, close, builder):
    finish_step(step=step, on=DAY, uses=(), by=builder)
    other = section.steps.get(code="K1-02")
    close(reasons=REASONS)

    for act in (
        lambda: take_back(step=step, on=DAY, now=NOW, by=builder),
        lambda: finish_step(step=other, on=DAY, uses=(), by=builder),
    ):
        with pytest.raises(SectionClosed, match=r"Floats is closed up, so K1-0\d stays as it is") as refused:
            act()
        assert refused.value.status == 409
    (blocked,) = tonight(today=DAY, now=NOW).blocked
    assert [block.text for block in blocked.verdict.blocks] == ["Floats is closed up"]

    services.reopen(section=section, why="the vent line chafes", by=builder, now=NOW)
    take_back(step=step, on=DAY, now=NOW, by=builder)
    finish_step(step=other, on=DAY, uses=(), by=builder)


def test_reopening_keeps_the_closing_with_its_reason_and_takes_every_tick_off(section, ticked, close, builder, owner):
    close()
    with pytest.raises(BadText, match="the reason is blank"):
        services.reopen(section=section, why=" ", by=owner, now=NOW)
    services.reopen(section=section, why="the vent line chafes", by=owner, now=NOW)

    view = queries.gate_view(section, now=NOW)
    assert (view.closing, view.ticked) == (None, 0)
    assert [(one.reopened_by, one.reopened_why, len(one.points)) for one in view.past] == [(owner.name, "the vent line chafes", len(START))]
    with pytest.raises(NotClosed, match="Floats is open"):
        services.reopen(section=section, why="again", by=owner, now=NOW)
    close(reasons=REASONS)
    assert len(queries.closings_of(section)) == 2


def test_who_closes_is_the_owner_or_who_holds_the_bench(section, holder, owner, workshop, reader, storekeeper, close):
    stranger = factories.MemberFactory(workshop=workshop, role="builder")
    for nobody in (reader, storekeeper, stranger):
        with pytest.raises(NotAllowed):
            close(by=nobody, reasons=REASONS)
    with pytest.raises(NotAllowed, match="is held by"):
        services.tick(section=section, point="edges", by=stranger, now=NOW)

    close(by=holder, reasons=REASONS)
    services.reopen(section=section, why="looked in", by=owner, now=NOW)


def test_outsider_s_section_is_nobody_s_here(owner, outsider):
    with scopes_disabled():
        theirs = Section.objects.select_related("project__bench").get(workshop=outsider)
    with pytest.raises(NotAllowed, match="another workshop's"):
        services.tick(section=theirs, point=Fact.SEEN, by=owner, now=NOW)


def test_database_holds_what_the_services_say(section, ticked, close, builder):
    closing = close()
    for wrong in (
        lambda: Closing.objects.filter(pk=closing.pk).update(reopened_at=NOW),
        lambda: Closing.objects.create(workshop=section.workshop, section=section, key=uuid4(), kept={}, by=builder),
        lambda: GatePoint.objects.filter(code="edges").update(code="noses"),
        lambda: GatePoint.objects.filter(code="edges").update(text="CURING has ended"),
        lambda: GateTick.objects.create(workshop=section.workshop, point=GatePoint.objects.get(code="edges"), by=builder),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            wrong()
