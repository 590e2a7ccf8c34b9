"""What a closed section refuses of every service that writes about its steps, and what stays possible."""

import inspect
from copy import copy
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import transaction

from buildplan.closeup import services as closeup
from buildplan.closeup.services import Stated
from buildplan.closeup.starting import CODES
from buildplan.cutting import services as cutting
from buildplan.cutting.services import BlankData, PlannedPiece
from buildplan.fitting import services as fitting
from buildplan.fitting.services import Done, Piece
from buildplan.hardware import services as hardware
from buildplan.hardware.services import PlannedRow
from buildplan.logbook import services as logbook
from buildplan.plan import services as plan
from buildplan.plan.services import PlannedStep
from buildplan.records import services as records
from buildplan.records.services import Use
from buildplan.sealday import services as sealday
from buildplan.sealday.services import Outcome
from buildplan.sealing import services as sealing
from buildplan.sealing.services import PlannedSeam, Take
from inventory.common.problems import Problem
from inventory.models import Movement
from inventory.tallying import services as tallying
from tests import factories
from tests.buildplan.closeup.conftest import LIMIT, NOW
from tests.buildplan.fitting.conftest import READINGS
from tests.factories import DAY

REASONS = dict.fromkeys(CODES, "as built")
TOMORROW = DAY + timedelta(days=1)
AFTER = NOW + timedelta(hours=1)


@pytest.fixture
def at(section, step, project, bench, drawer, workshop, owner, inspector, leak, read):
    """A section of which everything is on record once: what K1-01 took, and what is under way for K1-02."""
    by = {"by": owner}
    todo = section.steps.get(code="K1-02")
    elsewhere = factories.StepFactory(project=project, section__name="Wings", code="W1-01")
    bolt = factories.ItemFactory(workshop=workshop, code="BOLT-3")
    hinge = factories.ItemFactory(workshop=workshop, code="HINGE-2", kind="sheet")
    b2 = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", gravity=Decimal("1.5"))
    soft, hard = (factories.ItemFactory(workshop=workshop, code=code, kind="rivet") for code in ("MS20470D4-6", "MS20470AD5-7"))
    lot, tin, blanks = (
        factories.stock(factories.LotFactory(bench=bench, item=item, expires_on=DAY + timedelta(days=90)), 90, drawer).lot
        for item in (bolt, b2, hinge)
    )
    factories.CallOutFactory(step=step, item=bolt, quantity=2)
    records.finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(2))], **by)
    row, seam = factories.RivetRowFactory(step=todo, rivet=soft), factories.SeamFactory(step=todo, sealant=b2)
    weighed = {"item": b2, "takes": [Take(tin, drawer, Decimal(10))], "shares": [(todo, Decimal(10))], "base": Decimal(10)}
    weighed |= {"accelerator": Decimal(0), "mixed_at": NOW, "mixed_by": "Ida", "on": DAY, "temperature_f": None, **by}
    mix = sealing.record_mix(**weighed, key=uuid4(), life_hours=None)
    blank = cutting.save_blank(item=hinge, said=BlankData("sheet"), **by)
    piece, spare = (
        cutting.save_piece(step=todo, stated=PlannedPiece(todo.code, code, blank.pk, 4, per_blank=4), **by) for code in ("HINGE", "SPARE")
    )
    planned = {"blank": blank, "lot": blanks, "now": {piece: 1}, "later": {}, "accept": True, **by}
    sawn, cut = (cutting.plan_cut(**planned, key=uuid4()) for _ in range(2))
    saw = {"source": drawer, "target": drawer, "kept": [], "on": DAY, "now": NOW, **by}
    cutting.saw_cut(cut=sawn, **saw)
    trim, flute = (cutting.save_operation(piece=piece, name=name, hand="none", count=2, **by) for name in ("trim", "flute"))
    trimmed = cutting.note_done(operation=trim, count=1, on=DAY, key=uuid4(), **by)
    assembly = fitting.make_assembly(project=project, name="End", steps=[(todo, "fit_up")], **by)
    rib, skin, web = fitting.add_positions(assembly=assembly, parts=["rib", "skin", "web"], first=1, last=1, **by)
    when = {"on": DAY, "today": DAY, **by}
    mark = fitting.mark(position=rib, piece=Piece(words="the left one"), **when)
    conflict = fitting.record_conflict(project=project, **READINGS, steps=[factories.StepFactory(project=project)], **by)
    served = hardware.accept_substitution(step=todo, wanted=soft, served_by=hard, note="letter", now=NOW, by=inspector)
    day = sealday.plan_seal_day(bench=bench, on=DAY, steps=[elsewhere], today=DAY, **by)
    entry = logbook.write_entry(project=project, step=step, on=DAY, text="Fitted.", key=uuid4(), today=DAY, **by)
    reading = read(0, 27)
    leak.at = NOW - timedelta(days=1)
    leak.save(update_fields=["at"])
    return SimpleNamespace(**locals())


def seam_of(at):
    return PlannedSeam(at.todo.code, "END", at.b2.pk, "each", count=1, grams_each=5)


def row_of(at):
    return {"code": "R-9", "rivet": at.soft, "holes": 4, "grip": None, "cleco_every": None, "clecos_until": None}


# What was looked at when the section was closed up: what its steps took and need, what was done to their pieces.
REFUSED = {
    "records.finish_step": lambda at: records.finish_step(step=at.todo, on=DAY, uses=(), **at.by),
    "records.take_back": lambda at: records.take_back(step=at.step, on=DAY, now=NOW, **at.by),
    "sealing.record_mix": lambda at: sealing.record_mix(**at.weighed, key=uuid4(), life_hours=None),
    "sealing.record_mix for a step of another section too": lambda at: sealing.record_mix(
        **{**at.weighed, "shares": [(at.elsewhere, Decimal(4)), (at.todo, Decimal(6))]}, key=uuid4(), life_hours=None
    ),
    "sealing.take_back_mix": lambda at: sealing.take_back_mix(mix=at.mix, on=DAY, now=NOW, **at.by),
    "sealing.save_seam": lambda at: sealing.save_seam(step=at.todo, stated=seam_of(at), **at.by),
    "sealing.remove_seam": lambda at: sealing.remove_seam(seam=at.seam, **at.by),
    "hardware.save_row": lambda at: hardware.save_row(step=at.todo, **row_of(at), **at.by),
    "hardware.remove_row": lambda at: hardware.remove_row(row=at.row, **at.by),
    "hardware.accept_substitution": lambda at: hardware.accept_substitution(
        step=at.todo, wanted=at.hard, served_by=at.hard, note="letter", now=NOW, by=at.inspector
    ),
    "hardware.withdraw_substitution": lambda at: hardware.withdraw_substitution(substitution=at.served, now=NOW, by=at.inspector),
    "cutting.save_piece": lambda at: cutting.save_piece(
        step=at.todo, stated=PlannedPiece(at.todo.code, "MORE", at.blank.pk, per_blank=4), **at.by
    ),
    "cutting.remove_piece": lambda at: cutting.remove_piece(piece=at.spare, **at.by),
    "cutting.plan_cut": lambda at: cutting.plan_cut(**at.planned, key=uuid4()),
    "cutting.saw_cut": lambda at: cutting.saw_cut(cut=at.cut, **at.saw),
    "cutting.spoil_pieces": lambda at: cutting.spoil_pieces(line=at.sawn.pieces.get(), count=1, cause="bent", on=DAY, key=uuid4(), **at.by),
    "cutting.save_operation": lambda at: cutting.save_operation(piece=at.piece, name="prime", hand="none", count=1, **at.by),
    "cutting.remove_operation": lambda at: cutting.remove_operation(operation=at.flute, **at.by),
    "cutting.note_done": lambda at: cutting.note_done(operation=at.flute, count=1, on=DAY, key=uuid4(), **at.by),
    "cutting.take_back_done": lambda at: cutting.take_back_done(done=at.trimmed, now=NOW, **at.by),
    "fitting.make_assembly": lambda at: fitting.make_assembly(project=at.project, name="Nose", steps=[(at.todo, "final")], **at.by),
    "fitting.set_steps": lambda at: fitting.set_steps(assembly=at.assembly, steps=[(at.elsewhere, "final")], **at.by),
    "fitting.add_positions": lambda at: fitting.add_positions(assembly=at.assembly, parts=["rib"], first=2, last=2, **at.by),
    "fitting.remove_position": lambda at: fitting.remove_position(position=at.web, **at.by),
    "fitting.mark": lambda at: fitting.mark(position=at.skin, piece=Piece(words="the flat one"), **at.when),
    "fitting.replace": lambda at: fitting.replace(mark=at.mark, why="bent", piece=Piece(words="new"), **at.when),
    "fitting.take_away": lambda at: fitting.take_away(mark=at.mark, why="bent", **at.when),
    "fitting.take_for": lambda at: fitting.take_for(mark=at.mark, position=at.skin, reason="fits", **at.when),
    "fitting.note_deed": lambda at: fitting.note_deed(
        assembly=at.assembly, first=1, last=1, done=Done("together", DAY), today=DAY, **at.by
    ),
    "sealday.plan_seal_day": lambda at: sealday.plan_seal_day(bench=at.bench, on=TOMORROW, steps=[at.todo], today=DAY, **at.by),
    "sealday.set_steps": lambda at: sealday.set_steps(day=at.day, steps=[at.todo], today=DAY, **at.by),
    "closeup.change_leak_test": lambda at: closeup.change_leak_test(test=at.leak, stated=Stated("Right tank", **LIMIT), **at.by),
    "closeup.strike_reading": lambda at: closeup.strike_reading(reading=at.reading, why="the wrong gauge", now=NOW, **at.by),
    "tallying.reverse": lambda at: tallying.reverse(movement=Movement.objects.get(ref__startswith="finish:"), on=DAY, **at.by),
    "tallying.reverse_all": lambda at: tallying.reverse_all(movements=Movement.objects.filter(ref=at.mix.ref), on=DAY, **at.by),
}
# What adds to the record, or is no work: each says why where it is written.
POSSIBLE = {
    "plan.set_planned": lambda at: plan.set_planned(step=at.todo, planned_on=TOMORROW, **at.by),
    "plan.set_people": lambda at: plan.set_people(step=at.todo, people=2, **at.by),
    "sealing.end_mix": lambda at: sealing.end_mix(mix=at.mix, left=Decimal(1), at=NOW, **at.by),
    "cutting.undo_cut": lambda at: cutting.undo_cut(cut=at.cut, now=NOW, **at.by),
    "fitting.edit_assembly": lambda at: fitting.edit_assembly(assembly=at.assembly, changes={"note": "see page 4"}, **at.by),
    "fitting.record_conflict": lambda at: fitting.record_conflict(
        project=at.project, **{**READINGS, "title": "hand of the cap"}, steps=[at.todo], **at.by
    ),
    "fitting.set_resting": lambda at: fitting.set_resting(conflict=at.conflict, steps=[at.todo], items=[], **at.by),
    "logbook.write_entry": lambda at: logbook.write_entry(
        project=at.project, step=at.todo, on=DAY, text="Looked in.", key=uuid4(), today=DAY, **at.by
    ),
    "logbook.change_entry": lambda at: logbook.change_entry(entry=at.entry, on=DAY, text="Refitted.", hours=[], today=DAY, **at.by),
    "logbook.strike_entry": lambda at: logbook.strike_entry(entry=at.entry, why="twice", now=NOW, **at.by),
    "logbook.sign": lambda at: logbook.sign(of=at.step, key=uuid4(), by=at.inspector, now=NOW),
    "closeup.make_leak_test": lambda at: closeup.make_leak_test(section=at.section, stated=Stated("Both tanks"), key=uuid4(), **at.by),
    "closeup.add_reading": lambda at: at.read(30, 26),
    "records.finish_step of another section": lambda at: records.finish_step(step=at.elsewhere, on=DAY, uses=(), **at.by),
    "cutting.save_piece of another section": lambda at: cutting.save_piece(
        step=at.elsewhere, stated=PlannedPiece(at.elsewhere.code, "HINGE", at.blank.pk, per_blank=4), **at.by
    ),
}
# What is of no step that is there: of a day, an item, a workshop, a plan as a whole, the list of the section itself.
OTHERWISE = {
    "closeup": {"close", "edit_list", "reopen", "tick", "untick"},
    "cutting": {"hold_for_measuring", "measure", "put_pieces", "remove_blank", "save_blank", "set_rules"},
    "fitting": {
        *("add_answer", "edit_conflict", "hold_items", "pair", "remove_false_mirror"),
        *("reopen", "set_false_mirror", "settle", "state_hand", "undo_pair"),
    },
    "hardware": {"put_rows", "remove_rivet_loss", "set_cleco_spacing", "set_rivet_loss"},
    "logbook": {"add_photo", "withdraw"},
    "plan": {"ensure_project", "put_plan", "set_bench", "set_hand"},
    "records": set(),
    "sealday": {
        *("add_check", "call_off", "change_seal_day", "close", "hold_lots", "mix", "move", "release_lots", "remove_check", "set_people"),
        *("set_product", "tick", "try_move"),
    },
    "sealing": {"put_seams"},
}
SLICES = {"closeup": closeup, "cutting": cutting, "fitting": fitting, "hardware": hardware, "logbook": logbook, "plan": plan}
SLICES |= {"records": records, "sealday": sealday, "sealing": sealing}


def outcomes(at, acts):
    """What each service says: done, or the kind of its refusal. What it wrote is taken back, so that the next finds what it was given."""

    def outcome(act):
        try:
            with transaction.atomic():
                act(SimpleNamespace(**{name: copy(value) for name, value in vars(at).items()}))
                transaction.set_rollback(True)
        except Problem as problem:
            return type(problem).__name__
        return "done"

    return {name: outcome(act) for name, act in acts.items()}


def test_what_is_recorded_of_a_closed_section_s_steps_is_refused_until_it_is_opened_again(at, close, owner):
    close(by=owner, reasons=REASONS)
    assert outcomes(at, REFUSED) == dict.fromkeys(REFUSED, "SectionClosed")

    closeup.reopen(section=at.section, why="the vent line chafes", by=owner, now=NOW)
    assert outcomes(at, REFUSED) == {**dict.fromkeys(REFUSED, "done"), "hardware.accept_substitution": "NoSubstitute"}


def test_what_adds_to_the_record_of_a_closed_section_stays_possible(at, close, owner):
    close(by=owner, reasons=REASONS)

    assert outcomes(at, POSSIBLE) == dict.fromkeys(POSSIBLE, "done")


@pytest.mark.parametrize("of", SLICES)
def test_every_service_of_a_plan_is_named_with_what_a_closed_section_does_to_it(of):
    def writes(name, value):
        return value.__module__.startswith(f"buildplan.{of}.") and not name.startswith("_") and "by" in inspect.signature(value).parameters

    module = SLICES[of]
    found = {name for name, value in inspect.getmembers(module, inspect.isfunction) if writes(name, value)}
    own = found & set(getattr(module, "__all__", found))
    told = {name.split()[0].partition(".")[2] for name in (*REFUSED, *POSSIBLE) if name.startswith(f"{of}.")}
    assert own - told - OTHERWISE[of] == set(), "say above what a closed section does to these"


def test_seal_day_of_a_closed_section_s_step_takes_no_batch_and_no_finish_and_carries_the_step_on(at, close, owner):
    sealday.set_steps(day=at.day, steps=[at.todo], today=DAY, by=owner)
    close(by=owner, reasons=REASONS)
    acts = {
        "mix": lambda at: sealday.mix(day=at.day, **at.weighed, key=uuid4()),
        "finish": lambda at: sealday.close(day=at.day, outcomes=[Outcome(at.todo, done=True)], today=DAY, now=NOW, by=owner),
        "carry": lambda at: sealday.close(
            day=at.day, outcomes=[Outcome(at.todo, done=False, carry_to=TOMORROW)], today=DAY, now=NOW, by=owner
        ),
        "keep": lambda at: sealday.set_steps(day=at.day, steps=[at.todo, at.elsewhere], today=DAY, by=owner),
    }

    assert outcomes(at, acts) == {"mix": "SectionClosed", "finish": "SectionClosed", "carry": "done", "keep": "done"}


def test_what_was_sent_before_a_section_was_closed_is_found_by_its_key_after(at, close, owner):
    keys = [uuid4() for _ in range(3)]
    line = at.sawn.pieces.get()

    def send():
        return (
            sealing.record_mix(**at.weighed, key=keys[0], life_hours=None),
            cutting.note_done(operation=at.flute, count=1, on=DAY, key=keys[1], by=owner),
            cutting.spoil_pieces(line=line, count=1, cause="bent", on=DAY, key=keys[2], by=owner),
            fitting.mark(position=at.skin, piece=Piece(words="the flat one"), key=keys[0], **at.when),
            cutting.plan_cut(**at.planned, key=keys[0]),
        )

    first = send()
    close(by=owner, reasons=REASONS)
    assert send() == first


def test_leak_test_and_reading_of_after_the_closing_are_corrected_as_ever(section, close, owner, read):
    close(by=owner, reasons=REASONS, now=NOW.replace(hour=8))
    reading = read(0, 26)

    closeup.strike_reading(reading=reading, why="the wrong gauge", by=owner, now=AFTER)
    assert reading.test.readings.exclude(struck_at=None).count() == 1
    later = closeup.make_leak_test(section=section, stated=Stated("Both tanks"), key=uuid4(), by=owner)
    type(later).objects.filter(pk=later.pk).update(at=AFTER)
    later.refresh_from_db()
    assert closeup.change_leak_test(test=later, stated=Stated("Left tank, again"), by=owner).name == "Left tank, again"


def test_plan_loaded_again_leaves_what_steps_of_a_closed_section_need(at, close, owner, project):
    close(by=owner, reasons=REASONS)
    row = PlannedRow("k1-02", at.row.code, at.soft.pk, at.row.holes)
    seam = PlannedSeam("K1-02", at.seam.code, at.b2.pk, "triangle", Fraction(1), "m", Fraction(6), Fraction(6), size_unit="mm")
    hinge, spare = (PlannedPiece("K1-02", code, at.blank.pk, 4, per_blank=4) for code in ("HINGE", "SPARE"))
    new = PlannedRow("W1-01", "R-1", at.soft.pk, 4)
    steps = [PlannedStep(one.code, one.section.name, one.title) for one in project.steps.order_by("position")]

    def rows(*said):
        return lambda _: hardware.put_rows(project=project, rows=said, by=owner)

    def seams(*said):
        return lambda _: sealing.put_seams(project=project, seams=said, by=owner)

    def pieces(*said):
        return lambda _: cutting.put_pieces(project=project, pieces=said, by=owner)

    def needs(quantity):
        said = plan.Plan(steps, [plan.Need("K1-01", at.bolt.pk, Decimal(quantity))], frozenset())
        return lambda _: plan.put_plan(project=project, plan=said, by=owner)

    same = {"rows": rows(new, row), "seams": seams(seam), "pieces": pieces(spare, hinge), "needs": needs(2)}
    assert outcomes(at, same) == dict.fromkeys(same, "done")
    other = {
        "row left out": rows(new),
        "row with more holes": rows(replace(row, holes=11)),
        "row that is new": rows(row, replace(new, step="K1-01")),
        "seam that is longer": seams(replace(seam, length=Fraction(2))),
        "more pieces": pieces(spare, replace(hinge, count=5)),
        "piece left out": pieces(hinge),
        "more bolts": needs(3),
    }
    assert outcomes(at, other) == dict.fromkeys(other, "SectionClosed")
