"""Notices: what a sweep finds, what is looked at, who is written to."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.fitting import services as fitting
from buildplan.fitting.services import Piece
from buildplan.models import Closing, Notice, NoticeLetter, Position, Task
from buildplan.reminders.queries import due
from buildplan.trace import answer, notices, queries, services
from buildplan.trace.problems import AlreadyTicked, NoticeInUse, NotOnShelf, NotSwept, NotTicked
from buildplan.trace.services import NoticeData
from buildplan.trace.sweeping import sweep
from inventory.claims.calc import as_text, of_facts
from inventory.common.problems import FieldProblem
from inventory.models import BenchHolder
from inventory.pool import services as pool
from inventory.receiving.services import line_ref
from inventory.stock import services as stock
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.trace.conftest import AT, DAY


def listed(notice):
    """Where and how sure each line of a work list is."""
    return [(task.where, task.verdict, task.text) for task in Task.objects.filter(notice=notice).order_by("pk")]


@pytest.fixture
def sweep_for(owner):
    def sweep_for(notice):
        return services.sweep(notice=notice, by=owner, now=AT)

    return sweep_for


def test_a_notice_hits_one_of_two_benches(rivet, lot_of, step_of, finish, notice_of, sweep_for, other_bench, drawer):
    lot, foreign = lot_of(rivet), lot_of(rivet, "R-9", on=other_bench)
    plover = factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
    finish(step_of("F1"), (lot, 30))
    finish(step_of("P1", of=plover), (foreign, 20))
    notice = notice_of(rivet, codes=["r-1"])

    sweep_for(notice)

    assert [(where, verdict) for where, verdict, _ in listed(notice)] == [("shelf", "affected"), ("step", "affected")]
    assert {task.bench.code for task in Task.objects.select_related("bench")} == {"TERN"}
    found = sweep(notice)
    assert [(one.lot.code, one.verdict.value) for one in found.lots] == [("R-1", "affected"), ("R-9", "not")]
    assert "not among those that the notice names" in found.lots[1].reasons[0].text


def test_a_lot_without_code_or_date_is_possible_and_never_guessed(rivet, lot_of, notice_of, sweep_for, workshop):
    bare = lot_of(rivet, "", place=factories.PlaceFactory(workshop=workshop))
    dated = lot_of(rivet, "R-2", made_on=date(2026, 5, 1))
    by_code, by_day = notice_of(rivet, codes=["R-7"]), notice_of(rivet, made_from=date(2026, 4, 1), made_to=date(2026, 6, 30))

    sweep_for(by_code)
    sweep_for(by_day)

    assert [(task.lot_id, task.verdict) for task in Task.objects.filter(notice=by_code)] == [(bare.pk, "possibly")]
    assert {(task.lot_id, task.verdict) for task in Task.objects.filter(notice=by_day)} == {(bare.pk, "possibly"), (dated.pk, "affected")}


def test_what_was_packed_in_those_days_is_told_by_its_crate(rivet, bench, lot_of, notice_of, drawer, owner):
    for code, shipped in (("C-1", date(2026, 1, 10)), ("C-2", date(2026, 3, 10))):
        crate = factories.CrateFactory(bench=bench, code=code, shipped_on=shipped)
        line = factories.PackingLineFactory(crate=crate, item=rivet, open_quantity=Decimal(0))
        lot = lot_of(rivet, f"R-{code}", 0)
        stock.receive(lot=lot, quantity=Decimal(5), place=drawer, on=DAY, by=owner, ref=line_ref(line))

    found = sweep(notice_of(rivet, packed_from=date(2026, 2, 1), packed_to=date(2026, 4, 1)))

    assert {one.lot.code: one.verdict.value for one in found.lots} == {"R-C-1": "not", "R-C-2": "possibly"}


def test_what_is_lent_coming_marked_used_or_closed_up_is_on_the_list(
    rivet, workshop, shared_bench, lot_of, drawer, owner, builder, bench, notice_of, sweep_for
):
    die = factories.ItemFactory(workshop=workshop, code="DIE", kind="tool")
    lot = lot_of(die, "D-1", 3, on=shared_bench)
    pool.lend(lot=lot, place=drawer, quantity=Decimal(1), member=builder, on=DAY, key=uuid4(), by=owner, now=AT)
    stock.use(lot=lot, quantity=Decimal(1), place=drawer, on=DAY, by=owner)
    factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, code="C-9"), item=die, lot_code="D-1")
    notice = notice_of(die)

    sweep_for(notice)

    assert {where for where, _, _ in listed(notice)} == {"shelf", "lent", "gone", "coming"}
    assert Task.objects.get(where="lent").holder == builder


def test_what_is_closed_up_or_marked_is_told_as_such(rivet, project, lot_of, step_of, finish, notice_of, sweep_for, owner):
    lot, shut, final = lot_of(rivet), step_of("F1"), step_of("F2", section=factories.SectionFactory(project=project, name="Tail"))
    for step in (shut, final):
        finish(step, (lot, 3))
    Closing.objects.create(workshop=project.workshop, section=shut.section, key=uuid4(), kept={}, by=owner)
    row = fitting.make_assembly(project=project, name="Skin", steps=[(final, "final")], by=owner, key=uuid4())
    fitting.add_positions(assembly=row, parts=["skin"], first=7, last=7, by=owner)
    fitting.mark(position=Position.objects.get(), piece=Piece(lot=lot), on=DAY, by=owner, today=DAY, key=uuid4())
    notice = notice_of(rivet)

    sweep_for(notice)

    found = {text: where for where, _, text in listed(notice)}
    assert [where for text, where in found.items() if "section Floats is closed up" in text] == ["closed"]
    assert [where for text, where in found.items() if "Skin is closed for good" in text] == ["closed"]
    assert found["TERN-1: skin 7 of Skin"] == "piece"
    trace = answer.as_object(queries.from_lot(lot))
    assert [line["closed"] for line in trace["lines"][:2]] == ["section Floats is closed up", "Skin is closed for good"]


def test_a_step_of_which_nobody_knows_the_lot_is_possible_unless_it_was_done_before(rivet, step_of, notice_of):
    for code, day in (("F1", date(2026, 3, 1)), ("F2", date(2026, 9, 1)), ("F3", None)):
        factories.RivetRowFactory(step=step_of(code, done=True, done_on=day), rivet=rivet)

    found = sweep(notice_of(rivet, made_from=date(2026, 6, 1)))

    assert [(one.step.code, one.verdict.value) for one in found.lines] == [("F2", "possibly"), ("F3", "possibly")]


def test_a_second_sweep_says_what_is_new_and_keeps_what_was_ticked(rivet, lot_of, step_of, finish, notice_of, sweep_for, owner):
    lot, notice = lot_of(rivet), notice_of(rivet, codes=["R-1"])
    sweep_for(notice)
    shelf = Task.objects.get()
    services.tick(task=shelf, outcome="heads are sound", by=owner, now=AT)
    finish(step_of("F1"), (lot, 100))

    sweep_for(notice)

    rows = {row.task.where: row for row in notices.view(notice).tasks}
    assert (rows["step"].new, rows["step"].gone) == (True, False)
    assert (rows["shelf"].new, rows["shelf"].gone, rows["shelf"].task.outcome) == (False, True, "heads are sound")
    assert notices.view(notice).unlisted == 0
    assert notice.sweeps.count() == 2


def test_what_nobody_has_looked_at_is_said_among_the_reminders(rivet, lot_of, step_of, finish, notice_of, sweep_for, owner):
    def told():
        return [text for text in due(today=DAY, days=30, member=owner).undated if "makers' notices" in text]

    lots = [lot_of(rivet, code) for code in ("R-1", "R-2", "R-3")]
    notice = notice_of(rivet)
    sweep_for(notice)
    assert told() == ["3 things to look at for makers' notices"]

    services.tick(task=Task.objects.get(lot=lots[0]), outcome="sound", by=owner, now=AT)
    assert told() == ["2 things to look at for makers' notices"]
    finish(step_of("F1"), (lots[1], 100))  # no more on the shelf, but in a step
    sweep_for(notice)
    assert {row.task.where for row in notices.view(notice).tasks} == {"shelf", "step"}
    assert told() == ["2 things to look at for makers' notices"]


def test_a_tick_says_who_when_and_what_and_is_taken_back(rivet, lot_of, notice_of, sweep_for, builder, owner):
    lot_of(rivet)
    sweep_for(notice_of(rivet))
    task = Task.objects.get()

    services.tick(task=task, outcome="looked through, all sound", by=builder, now=AT)

    task.refresh_from_db()
    assert (task.ticked_by, task.ticked_at, task.ticked_as, task.outcome) == (builder, AT, "affected", "looked through, all sound")
    with pytest.raises(AlreadyTicked, match="looked through, all sound"):
        services.tick(task=task, outcome="again", by=owner, now=AT)
    services.untick(task=task, by=owner)
    with pytest.raises(NotTicked):
        services.untick(task=task, by=owner)


def test_one_press_puts_a_lot_into_quarantine_with_the_notice_as_reason(rivet, lot_of, notice_of, sweep_for, owner, workshop):
    lot = lot_of(rivet)
    stock.receive(lot=lot, quantity=Decimal(5), place=factories.PlaceFactory(workshop=workshop), on=DAY, by=owner)
    sweep_for(notice_of(rivet))
    first = Task.objects.order_by("pk").first()

    services.quarantine(task=first, by=owner, now=AT)

    lot.refresh_from_db()
    assert lot.state == "quarantined"
    assert lot.history.first().history_change_reason == "notice SB-7"
    assert set(Task.objects.values_list("outcome", flat=True)) == {"put into quarantine"}
    with pytest.raises(NotOnShelf, match="is quarantined already"):
        services.quarantine(task=first, by=owner, now=AT)


def test_a_quarantine_pressed_by_mistake_is_taken_back(rivet, lot_of, notice_of, sweep_for, owner):
    lot = lot_of(rivet)
    sweep_for(notice_of(rivet))
    with pytest.raises(NotTicked, match="not put into quarantine from here"):
        services.release(task=Task.objects.get(), by=owner)
    services.quarantine(task=Task.objects.get(), by=owner, now=AT)

    services.release(task=Task.objects.get(), by=owner)

    lot.refresh_from_db()
    assert (lot.state, Task.objects.get().ticked_at) == ("good", None)


def test_a_builder_ticks_at_their_bench_alone(rivet, lot_of, notice_of, sweep_for, builder, other_bench, workshop):
    lot_of(rivet, on=other_bench)
    holder = factories.MemberFactory(workshop=workshop, role="builder")
    BenchHolder.objects.create(workshop=workshop, bench=other_bench, member=holder)
    sweep_for(notice_of(rivet))

    with pytest.raises(NotAllowed, match="held by"):
        services.tick(task=Task.objects.get(), outcome="seen", by=builder, now=AT)
    services.tick(task=Task.objects.get(), outcome="seen", by=holder, now=AT)


def test_letters_go_to_who_holds_the_bench_or_has_the_loan_and_stay_as_written(
    rivet, workshop, lot_of, notice_of, sweep_for, bench, shared_bench, drawer, owner
):
    ann, cy = (factories.MemberFactory(workshop=workshop, role="builder", name=name) for name in ("Ann", "Cy"))
    BenchHolder.objects.create(workshop=workshop, bench=bench, member=ann)
    lot_of(rivet)
    die = factories.ItemFactory(workshop=workshop, code="DIE", kind="tool")
    pool.lend(
        lot=lot_of(die, "D-1", 2, on=shared_bench), place=drawer, quantity=Decimal(2), member=cy, on=DAY, key=uuid4(), by=owner, now=AT
    )
    notice = notice_of(rivet, die)
    with pytest.raises(NotSwept):
        services.write_letters(notice=notice, by=owner, now=AT)
    sweep_for(notice)

    made = services.write_letters(notice=notice, by=owner, now=AT)

    assert {letter.member.name for letter in made} == {"Ann", "Cy"}
    text = NoticeLetter.objects.get(member=ann).text
    assert "SB-7: Cracked heads" in text
    assert "Reedling writes: Look at each head." in text
    assert "in Hangar/Rack 1/Drawer 3" in text
    assert "DIE" not in text.partition("writes:")[2]
    assert "approves nothing and grounds nothing" in text
    rivet.code = "OTHER"
    rivet.save()
    again = services.write_letters(notice=notice, by=owner, now=AT + timedelta(days=1))
    assert [letter.pk for letter in again] == [letter.pk for letter in made]
    assert as_text(of_facts(NoticeLetter.objects.get(member=ann).facts)) == text


def test_a_bench_that_nobody_holds_is_its_owners(rivet, lot_of, notice_of, sweep_for, owner):
    lot_of(rivet)
    notice = notice_of(rivet)
    sweep_for(notice)

    assert [letter.member for letter in services.write_letters(notice=notice, by=owner, now=AT)] == [owner]


def test_a_notice_names_something_and_its_days_are_in_order(rivet, workshop, owner, notice_of):
    said = {"reference": "SB-8", "title": "x", "text": "y", "issued_on": DAY}
    with pytest.raises(FieldProblem, match="an item of the catalogue, or"):
        services.add_notice(workshop=workshop, said=NoticeData(**said), items=[], key=uuid4(), by=owner)
    days = {"made_from": DAY, "made_to": DAY - timedelta(days=1)}
    with pytest.raises(FieldProblem, match="put one of the two right"):
        services.add_notice(workshop=workshop, said=NoticeData(**said, **days), items=[rivet], key=uuid4(), by=owner)
    key = uuid4()
    made = [services.add_notice(workshop=workshop, said=NoticeData(**said), items=[rivet], key=key, by=owner) for _ in range(2)]
    assert made[0] == made[1]


def test_a_notice_is_removed_only_while_nobody_looked_at_anything(rivet, lot_of, notice_of, sweep_for, owner):
    lot_of(rivet)
    notice = notice_of(rivet)
    sweep_for(notice)
    services.tick(task=Task.objects.get(), outcome="seen", by=owner, now=AT)

    with pytest.raises(NoticeInUse, match="on record"):
        services.remove_notice(notice=notice, by=owner)
    services.untick(task=Task.objects.get(), by=owner)
    services.remove_notice(notice=notice, by=owner)
    assert not Notice.objects.exists()


def test_what_an_edit_changes_is_found_by_the_next_sweep(rivet, lot_of, notice_of, sweep_for, owner):
    lot_of(rivet, "R-2")
    notice = notice_of(rivet, codes=["R-1"])
    sweep_for(notice)
    said = NoticeData(reference="SB-7", title="Cracked heads", text="All.", issued_on=DAY, codes=["R-2"])

    services.edit_notice(notice=notice, said=said, items=[rivet], by=owner)

    assert notices.view(Notice.objects.get()).unlisted == 1


def test_a_sweep_takes_as_many_queries_for_one_lot_as_for_many(rivet, lot_of, step_of, finish, notice_of):
    finish(step_of("S1"), (lot_of(rivet), 1))
    notice = notice_of(rivet)
    counts = []
    for turn in range(2):
        with CaptureQueriesContext(connection) as found:
            sweep(notice)
        counts.append(len(found))
        if turn == 0:
            for number in range(6):
                finish(step_of(f"M{number}"), (lot_of(rivet, f"R-M{number}"), 2))

    assert counts[0] == counts[1] <= 24


def test_nothing_of_another_workshop_is_swept(outsider, rivet, lot_of, notice_of, owner):
    lot_of(rivet)

    found = sweep(notice_of(codes=["OUTSIDE-LOT", "R-1"]))

    assert [one.lot.code for one in found.lots] == ["R-1"]
