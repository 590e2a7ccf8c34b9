"""Traces both ways, over what services wrote."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.cutting import services as cutting
from buildplan.cutting.services import BlankData, Kept, PlannedPiece
from buildplan.fitting import services as fitting
from buildplan.fitting.services import Piece
from buildplan.logbook import services as logbook
from buildplan.logbook.services import Worked
from buildplan.models import Finish, Position
from buildplan.records import services as records
from buildplan.sealing import services as sealing
from buildplan.sealing.services import Take
from buildplan.trace import answer, queries
from inventory.common.problems import NotHere
from inventory.models import Lot
from inventory.pool import passing
from inventory.pool import services as pool
from inventory.receiving.services import line_ref
from inventory.stock import services as stock
from tests import factories
from tests.buildplan.trace.conftest import AT, DAY


def told(found):
    """Certainty, kind and step, or place, of each line."""
    return [(line.certainty.value, line.kind, line.step.code if line.step else line.place or line.what) for line in found.lines]


def whys(line):
    return " | ".join(reason.text for reason in line.reasons)


def test_a_lot_is_followed_into_its_step_and_onto_the_shelf(rivet, lot_of, step_of, finish, drawer):
    lot, other = lot_of(rivet), lot_of(rivet, "R-2")
    finish(step_of("F1"), (lot, 30))
    finish(step_of("F2"), (other, 10))

    found = queries.from_lot(lot)

    assert told(found) == [("certain", "step", "F1"), ("certain", "shelf", drawer.path)]
    first = found.lines[0]
    assert (first.quantity, first.unit, first.project, first.bench) == (30, "ea", "TERN-1", "Bench TERN")
    assert [(line.certainty.value, line.step.code) for line in found.others] == [("not", "F2")]
    assert "F1 took 30 ea of lot R-1 of MS20470AD4-6, TERN" in whys(found.lines[0])
    assert found.counts == {"certain": 2, "possible": 0, "not": 1}


def test_what_was_taken_back_went_nowhere(rivet, lot_of, step_of, finish, owner):
    lot, step = lot_of(rivet), step_of("F1")
    finish(step, (lot, 30))
    records.take_back(step=step, on=DAY, now=AT, by=owner)

    assert [line.kind for line in queries.from_lot(lot).lines] == ["shelf"]


def test_goods_passed_on_are_followed_to_the_other_bench(rivet, lot_of, step_of, finish, other_bench, drawer, owner, outsider):
    lot = lot_of(rivet)
    plover = factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
    offered = passing.offer(lot=lot, quantity=Decimal(20), taker=other_bench, until=None, note="", key=uuid4(), by=owner, now=AT)
    done = passing.accept(transfer=offered, lot=None, place=None, bench=None, by=owner, today=DAY, now=AT)
    finish(step_of("P1", of=plover), (Lot.objects.get(pk=done.made_id), 5))

    found = queries.from_lot(lot)

    assert told(found)[0] == ("certain", "step", "P1")
    assert "passed to PLOVER on 2027-03-06" in whys(found.lines[0])
    assert {line.bench for line in found.lines} == {"Bench TERN", "Bench PLOVER"}
    back = queries.from_project(plover)
    assert [(lot.code, lot.bench, sure.value) for lot, sure in back.lots] == [("R-1", "TERN", "certain"), ("R-1", "PLOVER", "certain")]
    assert [line.certainty.value for line in queries.from_code("R-1").lines if line.kind == "step"] == ["certain"]  # once


def test_a_take_without_a_code_from_among_others_is_possible_of_each(rivet, lot_of, step_of, finish):
    lot, bare = lot_of(rivet), lot_of(rivet, "")
    finish(step_of("F1"), (bare, 30))

    assert told(queries.from_lot(lot))[0] == ("certain", "shelf", "Hangar/Rack 1/Drawer 3")
    assert told(queries.from_lot(lot))[1] == ("possible", "step", "F1")
    assert "nobody can tell which it was" in whys(queries.from_lot(lot).lines[1])
    assert ("possible", "step", "F1") in told(queries.from_lot(bare))


def test_of_a_code_lots_without_one_may_be(rivet, lot_of, step_of, finish, workshop):
    elsewhere = factories.PlaceFactory(workshop=workshop, path="Other rack")
    lot_of(rivet, "R-7")
    bare = lot_of(rivet, "", place=elsewhere)
    finish(step_of("F1"), (bare, 30), place=elsewhere)

    found = queries.from_code("r-7")

    assert [lot.code for lot in found.lots] == ["R-7"]
    assert [lot.id for lot in found.possible] == [bare.pk]
    assert ("possible", "step", "F1") in told(found)
    with pytest.raises(NotHere, match="no lot here has the code R-9"):
        queries.from_code("R-9")


def test_a_batch_takes_its_lots_into_each_of_its_steps(workshop, lot_of, step_of, drawer, owner):
    sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")
    far = {"expires_on": DAY + timedelta(days=90)}
    one, other = lot_of(sealant, "S-1", **far), lot_of(sealant, "S-2", **far)
    first, second = step_of("F1"), step_of("F2")
    takes = [Take(one, drawer, Decimal(30)), Take(other, drawer, Decimal(25))]
    sealing.record_mix(
        item=sealant,
        takes=takes,
        shares=[(first, Decimal(35)), (second, Decimal(20))],
        base=Decimal(50),
        accelerator=Decimal(5),
        mixed_at=AT,
        mixed_by="Wren",
        temperature_f=None,
        life_hours=None,
        on=DAY,
        key=uuid4(),
        by=owner,
    )

    found = queries.from_lot(one)

    assert told(found)[:2] == [("certain", "batch", "F1"), ("certain", "batch", "F2")]
    assert "a batch is stirred" in whys(found.lines[0])
    back = queries.from_step(second)
    assert [(line.lot.code, line.certainty.value) for line in back.lines] == [("S-1", "certain"), ("S-2", "certain")]
    assert [(mix.item, mix.mixed_by, mix.grams) for mix in back.mixes] == [("SEAL-B2", "Wren", 55)]


def test_pieces_and_offcuts_know_their_mother(workshop, lot_of, step_of, finish, drawer, owner):
    sheet = factories.ItemFactory(workshop=workshop, code="SHEET-032", kind="sheet")
    rib = factories.ItemFactory(workshop=workshop, code="W-31")
    blank = cutting.save_blank(item=sheet, said=BlankData("sheet"), by=owner)
    step, mother = step_of("F1"), lot_of(sheet, "B-900", 2)
    piece = cutting.save_piece(step=step, stated=PlannedPiece("F1", "W-31", blank.pk, 2, rib.pk, per_blank=4), by=owner)
    cut = cutting.plan_cut(blank=blank, lot=mother, now={piece: 2}, later={}, key=uuid4(), by=owner)
    cutting.saw_cut(cut=cut, source=drawer, target=drawer, kept=[Kept(Fraction(400), Fraction(300))], on=DAY, now=AT, by=owner)
    finish(step, (Lot.objects.get(item=rib), 2))

    found = queries.from_lot(mother)

    assert {(line.certainty.value, line.kind) for line in found.lines} == {
        ("certain", "step"),
        ("certain", "piece"),
        ("certain", "shelf"),
    }
    taken = next(line for line in found.lines if line.kind == "step")
    assert taken.taken.item == "W-31"
    assert "was cut from lot B-900 of SHEET-032" in whys(taken)
    assert next(line for line in found.lines if line.kind == "piece").what == "2 of W-31"
    (offcut_source,) = queries.from_lot(Lot.objects.get(item=rib)).sources
    assert (offcut_source[0].code, offcut_source[0].item, offcut_source[1].value) == ("B-900", "SHEET-032", "certain")
    back = queries.from_step(step)
    assert ("SHEET-032", "B-900", "certain") in [(lot.item, lot.code, sure.value) for lot, sure in back.lots]


def test_a_step_done_without_movements_may_have_taken_what_its_bench_had_by_then(rivet, lot_of, step_of, finish, other_bench, bench):
    lot, foreign = lot_of(rivet), lot_of(rivet, "R-2", on=other_bench)
    young = lot_of(rivet, "R-3", made_on=DAY + timedelta(days=1))
    step = step_of("F1")
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(5))
    finish(step, without=True)

    assert ("possible", "done", "F1") in told(queries.from_lot(lot))
    assert ("possible", "done", "F1") not in told(queries.from_lot(foreign)) + told(queries.from_lot(young))
    back = queries.from_step(step)
    assert [(line.kind, line.lot.code, line.certainty.value) for line in back.lines] == [("done", "R-1", "possible")]
    assert "no movement says which lot it took" in whys(back.lines[0])


def test_a_step_that_may_have_taken_any_of_several_lots_has_one_line(rivet, lot_of, step_of):
    for code in ("R-1", "R-2"):
        lot_of(rivet, code)
    step = step_of("F1", done=True)
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(5))

    found = queries.from_step(step)

    (line,) = found.lines
    assert line.lot is None
    assert "any of 2 lots" in whys(line)
    assert [(lot.code, sure.value) for lot, sure in found.lots] == [("R-1", "possible"), ("R-2", "possible")]


def test_a_step_that_nobody_knows_a_lot_of_is_told_all_the_same(rivet, step_of):
    step = step_of("F1", done=True)
    factories.RivetRowFactory(step=step, rivet=rivet)

    (line,) = queries.from_step(step).lines

    assert (line.kind, line.lot, line.certainty.value, line.item) == ("done", None, "possible", "MS20470AD4-6")


def test_goods_found_by_a_count_may_be_those_missed_elsewhere(rivet, lot_of, step_of, finish, drawer, owner):
    lot, other = lot_of(rivet), lot_of(rivet, "R-2")
    stock.adjust(lot=lot, place=drawer, counted=Decimal(90), on=DAY, by=owner)
    stock.adjust(lot=other, place=drawer, counted=Decimal(105), on=DAY, by=owner)
    finish(step_of("F1"), (other, 10))

    found = queries.from_lot(lot)

    line = next(line for line in found.lines if line.kind == "step")
    assert line.certainty.value == "possible"
    assert "a count on 2027-03-06 found more of lot R-2" in whys(line)
    assert ("certain", "counted", drawer.path) in told(found)


def test_scrapped_and_lost_goods_are_told(rivet, lot_of, drawer, owner):
    lot = lot_of(rivet)
    stock.scrap(lot=lot, quantity=Decimal(3), place=drawer, on=DAY, by=owner, note="bent")
    stock.lose(lot=lot, quantity=Decimal(2), place=drawer, on=DAY, by=owner)
    stock.use(lot=lot, quantity=Decimal(1), place=drawer, on=DAY, by=owner)

    found = queries.from_lot(lot)

    assert [(line.kind, line.quantity) for line in found.lines] == [("used", 1), ("shelf", 94), ("scrapped", 3), ("lost", 2)]
    assert "for which step is not said" in whys(found.lines[0])


def test_an_assembly_names_the_lots_of_its_marked_pieces(project, rivet, lot_of, step_of, owner):
    lot, step = lot_of(rivet, "SKIN-9"), step_of("F1")
    row = fitting.make_assembly(project=project, name="Skin", steps=[(step, "fit_up")], by=owner, key=uuid4())
    fitting.add_positions(assembly=row, parts=["skin"], first=7, last=7, by=owner)
    fitting.mark(position=Position.objects.get(), piece=Piece(lot=lot), on=DAY, by=owner, today=DAY, key=uuid4())

    assert ("certain", "mark", "skin 7 of Skin") in told(queries.from_lot(lot))
    assert [(line.kind, line.lot.code) for line in queries.from_assembly(row).lines] == [("mark", "SKIN-9")]


def test_where_a_lot_came_from_is_told_with_crate_and_bag(rivet, lot_of, bench, drawer, owner):
    line = factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, code="CRATE-7"), item=rivet, number="12")
    lot = lot_of(rivet, quantity=0)
    stock.receive(lot=lot, quantity=Decimal(5), place=drawer, on=DAY, by=owner, ref=line_ref(line))

    (came,) = queries.from_lot(lot).arrivals

    assert (came.crate_code, came.line, came.on) == ("CRATE-7", "12", DAY)


@pytest.mark.parametrize(("until", "said"), [(DAY, "in calibration"), (DAY - timedelta(days=1), "out of calibration"), (None, "not known")])
def test_a_tool_on_loan_is_told_with_its_calibration_on_that_day(
    until, said, workshop, shared_bench, bench, step_of, drawer, owner, finish
):
    item = factories.ItemFactory(workshop=workshop, code="SQUEEZER", kind="tool")
    lot = factories.LotFactory(bench=shared_bench, item=item, code="SQ-1")
    stock.receive(lot=lot, quantity=Decimal(1), place=drawer, on=DAY, by=owner)
    pool.add_thing(lot=lot, serial="SQ-1", condition="good", calibrated_on=None, calibrated_until=until, by=owner, today=DAY)
    pool.lend(lot=lot, place=drawer, quantity=Decimal(1), member=owner, bench=bench, on=DAY, key=uuid4(), by=owner, now=AT)
    step = step_of("F1")
    finish(step, without=True)

    (tool,) = queries.from_step(step).tools

    assert (tool.serial, tool.calibration, tool.certainty.value) == ("SQ-1", said, "possible")
    assert tool.reasons[-1].source


def test_who_did_a_step_and_who_saw_it_is_told(project, step_of, finish, owner, workshop):
    step = step_of("F1")
    finish(step, without=True)
    inspector = factories.MemberFactory(workshop=workshop, role="inspector", name="Amos")
    hours = [Worked(90, owner), Worked(30, name="Jon")]
    logbook.write_entry(project=project, step=step, on=DAY, text="riveted", hours=hours, key=uuid4(), by=owner, today=DAY)
    logbook.sign(of=step, key=uuid4(), by=inspector, now=AT, statement="seen", licence="", name="")

    found = queries.from_section(step.section)

    assert {(one.name, one.minutes) for one in found.worked} == {(owner.name, 90), ("Jon", 30)}
    assert [(one.step, one.name) for one in found.seen] == [("F1", "Amos")]


def test_a_trace_takes_as_many_queries_for_one_use_as_for_many(rivet, lot_of, step_of, finish, project, django_assert_max_num_queries):
    lot = lot_of(rivet, quantity=1000)
    finish(step_of("S1"), (lot, 1))
    counts = []
    for turn in range(2):
        with CaptureQueriesContext(connection) as forward:
            queries.from_lot(Lot.objects.select_related("item").get(pk=lot.pk))
        with CaptureQueriesContext(connection) as back:
            queries.from_project(project)
        counts.append((len(forward), len(back)))
        if turn == 0:
            for number in range(8):
                finish(step_of(f"M{number}"), (lot, 1), (lot_of(rivet, f"R-M{number}"), 2))

    assert counts[0] == counts[1]
    assert counts[0][0] <= 24
    assert counts[0][1] <= 45


def test_nothing_of_another_workshop_is_traced(outsider, rivet, lot_of, step_of, finish):
    lot = lot_of(rivet)
    finish(step_of("F1"), (lot, 3))

    assert "OUTSIDE" not in str(answer.as_object(queries.from_lot(lot)))
    assert Finish.objects.count() == 1


def test_the_same_trace_is_an_object_a_file_and_text(rivet, lot_of, step_of, finish):
    lot = lot_of(rivet, "=R-1")
    finish(step_of("F1"), (lot, 3))
    found = queries.from_lot(lot)

    rows = answer.as_csv(found).splitlines()

    assert len(rows) == 1 + len(found.lines)
    assert "'=R-1 (TERN)" in rows[1]
    assert answer.as_object(found)["lines"][0]["step"] == "F1"
    assert "certain  taken by a step: 3 ea TERN-1 F1" in answer.as_text(found, why=True)
