"""Match marks: one piece a position, marks that never come back, and a history that stays."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildplan.fitting import assembled, services
from buildplan.fitting.models import Mark, MarkEvent, Position
from buildplan.fitting.problems import DayAhead, ElsewhereRow, InUse, NameTaken, NoPiece, PieceGone, PositionTaken
from buildplan.fitting.services import Done, Piece
from inventory.common.problems import FieldProblem
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.buildplan.fitting.conftest import TODAY

WORDS = Piece(words="the one from the blue bag")


def at(assembly, number, part="stiffener"):
    return Position.objects.select_related("assembly__project__bench", "item").get(assembly=assembly, number=number, part=part)


def put(assembly, number, by, part="stiffener", piece=WORDS, **said):
    return services.mark(position=at(assembly, number, part), piece=piece, on=TODAY, by=by, today=TODAY, **said)


def do(assembly, by, deed="drilled", **said):
    done = Done(deed, TODAY, said.pop("drill", ""), said.pop("final", False))
    return services.note_deed(assembly=assembly, first=7, last=8, done=done, by=by, today=TODAY, **said)


def row_of(assembly, number, part="stiffener"):
    return next(one for one in assembled.assembly_view(assembly).positions if (one.number, one.part) == (number, part))


def test_replaced_piece_gets_a_new_mark_and_the_hole_history_is_said(assembly, builder):
    old = put(assembly, 7, builder)
    put(assembly, 7, builder, part="skin")
    do(assembly, builder, drill="#40")
    do(assembly, builder, drill="30", final=True)

    services.replace(mark=old, why="edge distance gone", piece=WORDS, on=TODAY, by=builder, today=TODAY)

    row = row_of(assembly, 7)
    assert [mark.text for mark in row.marks] == ["7", "7b"]
    assert row.standing.text == "7b"
    assert [reason.text for reason in row.holes] == [
        f"stiffener 7: drilled #40 with skin 7, not to final size, on 2027-02-20 by {builder.name}",
        f"stiffener 7: drilled #30 with skin 7, to final size, on 2027-02-20 by {builder.name}",
        f"stiffener 7: taken away on 2027-02-20 by {builder.name}: edge distance gone",
        "stiffener 7b: no hole of it is written down",
        "stiffener 7b is not drilled, and skin 7 is drilled to final size already: they are its guide, and must not be opened further",
    ]


def test_position_holds_one_piece_and_the_database_holds_to_it(assembly, builder):
    first = put(assembly, 7, builder)
    with pytest.raises(PositionTaken, match="stiffener 7 is marked for it"):
        put(assembly, 7, builder)
    same = {"workshop": assembly.workshop, "position": first.position, "words": "x", "on": TODAY, "by": builder}
    for serial in (0, 1):
        with pytest.raises(IntegrityError), transaction.atomic():
            Mark.objects.create(**same, serial=serial)


def test_piece_taken_for_another_position_needs_a_reason_and_changes_places(assembly, builder):
    seven, eight = put(assembly, 7, builder, piece=Piece(words="A")), put(assembly, 8, builder, piece=Piece(words="B"))
    said = {"mark": seven, "position": at(assembly, 8), "on": TODAY, "by": builder, "today": TODAY}
    with pytest.raises(Exception, match="the reason is blank"):
        services.take_for(**said, reason=" ")

    services.take_for(**said, reason="drilled from one template")

    assert [(mark.text, mark.words) for mark in row_of(assembly, 8).marks] == [("8", "B"), ("8b", "A")]
    assert [(mark.text, mark.words) for mark in row_of(assembly, 7).marks] == [("7", "A"), ("7b", "B")]
    assert row_of(assembly, 8).standing.reason == "drilled from one template"
    for gone in (seven, eight):
        with pytest.raises(PieceGone):
            services.take_away(mark=gone, why="x", on=TODAY, by=builder, today=TODAY)


def test_piece_of_another_item_than_the_position_s_needs_a_reason(assembly, bench, builder, item):
    services.add_positions(assembly=assembly, parts=["rib"], first=1, last=1, item=item, by=builder)
    wrong = factories.LotFactory(bench=bench)
    with pytest.raises(NoPiece, match="say why it is taken here"):
        put(assembly, 1, builder, part="rib", piece=Piece(lot=wrong))

    made = put(assembly, 1, builder, part="rib", piece=Piece(lot=wrong, reason="cut from the other blank"))

    assert made.item == wrong.item
    with pytest.raises(NoPiece, match="say which piece"):
        put(assembly, 7, builder, piece=Piece())


def test_positions_are_numbered_once_and_removed_only_without_history(assembly, builder):
    made = services.add_positions(assembly=assembly, parts=["SKIN", "clip"], first=8, last=9, by=builder)
    assert {(one.number, one.part) for one in made} == {(8, "clip"), (9, "clip"), (9, "SKIN")}
    with pytest.raises(NameTaken, match="all of these positions are there already"):
        services.add_positions(assembly=assembly, parts=["skin", "clip"], first=8, last=9, by=builder)
    for parts, first, last in (([], 1, 2), (["x"], 3, 2), (["x"], 0, 2), (["x"], 1, 1000), (["x", "y"], 1, 201)):
        with pytest.raises((NoPiece, ElsewhereRow)):
            services.add_positions(assembly=assembly, parts=parts, first=first, last=last, by=builder)

    put(assembly, 7, builder)
    with pytest.raises(InUse):
        services.remove_position(position=at(assembly, 7), by=builder)
    services.remove_position(position=at(assembly, 8), by=builder)


def test_same_key_again_marks_and_notes_once(assembly, builder):
    key, done = uuid4(), uuid4()
    assert put(assembly, 7, builder, key=key) == put(assembly, 7, builder, key=key)
    do(assembly, builder, key=done)
    do(assembly, builder, key=done)
    assert MarkEvent.objects.filter(deed="drilled").count() == 1


def test_what_makes_no_sense_is_refused(assembly, builder, project, reader):
    with pytest.raises(NoPiece, match="no piece is marked"):
        do(assembly, builder)
    mark = put(assembly, 7, builder)
    with pytest.raises(FieldProblem, match="#99"):
        do(assembly, builder, drill="#99")
    with pytest.raises(DayAhead):
        services.take_away(mark=mark, why="x", on=TODAY + timedelta(1), by=builder, today=TODAY)
    with pytest.raises(ElsewhereRow):
        services.take_for(mark=mark, position=at(assembly, 7), reason="x", on=TODAY, by=builder, today=TODAY)
    with pytest.raises(NameTaken):
        services.make_assembly(project=project, name="BOTTOM SKIN", by=builder)
    with pytest.raises(NotAllowed):
        put(assembly, 8, reader)


def test_what_was_done_to_a_piece_is_never_changed(assembly, builder):
    put(assembly, 7, builder)
    for change in (lambda rows: rows.update(note="changed"), lambda rows: rows.delete()):
        with pytest.raises(DatabaseError, match="stays as it was written"), transaction.atomic():
            change(MarkEvent.objects.all())


def test_handling_and_clecos_come_from_the_steps(assembly, project, builder, workshop):
    steps = [factories.StepFactory(project=project, code=code) for code in ("A", "B", "C", "D")]
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco")
    factories.RivetRowFactory(step=steps[0], holes=30, cleco_every=3, cleco=cleco, clecos_until=steps[3])
    services.set_steps(assembly=assembly, steps=list(zip(steps, ("fit_up", "match_drill", "deburr", "final"), strict=True)), by=builder)

    found = assembled.assembly_view(assembly).handling

    assert (found.assemblies, found.disassemblies) == (2, 1)
    assert [(pins.cleco, pins.most) for pins in found.times[0].pins] == [("CLECO-3", 11)]
    elsewhere = factories.StepFactory(project=factories.ProjectFactory(bench=project.bench))
    with pytest.raises(ElsewhereRow):
        services.set_steps(assembly=assembly, steps=[(elsewhere, "final")], by=builder)


def test_assembly_takes_as_many_queries_with_many_pieces_as_with_one(assembly, step, builder):
    def asked():
        with CaptureQueriesContext(connection) as found:
            assembled.assembly_view(assembly)
        return len(found)

    services.set_steps(assembly=assembly, steps=[(step, "fit_up")], by=builder)
    put(assembly, 7, builder)
    first = asked()
    for number in (7, 8):
        put(assembly, number, builder, part="skin")
    do(assembly, builder)

    assert asked() == first == 5


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.sampled_from(("mark", "replace", "away", "swap")), st.sampled_from((7, 8))), max_size=10))
def test_no_mark_is_given_twice_whatever_comes_and_goes(assembly, builder, acts):
    """Against a model that only counts: each piece that ever came to a position has the next serial, and at most one stands."""
    standing = {7: None, 8: None}
    came = {7: 0, 8: 0}
    said = {"on": TODAY, "by": builder, "today": TODAY}
    with transaction.atomic():
        for act, number in acts:
            mark, other = standing[number], 15 - number
            if act == "mark" and mark is None:
                standing[number] = put(assembly, number, builder)
                came[number] += 1
            elif act == "replace" and mark is not None:
                standing[number] = services.replace(mark=mark, why="x", piece=WORDS, **said)
                came[number] += 1
            elif act == "away" and mark is not None:
                services.take_away(mark=mark, why="x", **said)
                standing[number] = None
            elif act == "swap" and mark is not None:
                moved = services.take_for(mark=mark, position=at(assembly, other), reason="x", **said)
                came[other] += 1
                came[number] += standing[other] is not None
                standing[other] = moved
                standing[number] = Mark.objects.filter(position=mark.position, ended_on=None).first()
        for number, count in came.items():
            serials = list(Mark.objects.filter(position=at(assembly, number)).order_by("serial").values_list("serial", flat=True))
            assert serials == list(range(count))
            row = row_of(assembly, number)
            assert (row.standing.pk if row.standing else None) == (standing[number].pk if standing[number] else None)
        transaction.set_rollback(True)
