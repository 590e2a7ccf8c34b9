"""Statistic, marks and phases: cases by hand, and marks that are never reused over random acts."""

from collections import Counter
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.fitting.calc import LETTERS, Drilling, PieceHoles, Record, Sided, cautions, holes, mark_text, next_serial, records
from buildplan.fitting.phases import Phase, Phased, Row, handling
from buildplan.hardware.clecos import clecos_for_row

KINDS = ("hand", "size")
DAY = date(2027, 3, 1)


def test_record_says_on_how_few_cases_it_rests():
    hand, size = records([("hand", "text"), ("hand", "drawing"), ("hand", "drawing")], KINDS)

    assert hand == Record("hand", 1, 2, 0)
    assert [reason.text for reason in hand.trace] == [
        "of 3 settled conflicts of hand: the text right in 1, the drawing right in 2, neither right in 0",
        "it rests on 3 cases and is shown, not applied: the maker's answer decides",
    ]
    assert [reason.text for reason in size.trace] == ["no conflict of size is settled yet: nothing to go by"]
    assert "it rests on 1 case and" in Record("hand", 1, 0, 0).trace[1].text


@settings(max_examples=40)
@given(st.lists(st.tuples(st.sampled_from(KINDS), st.sampled_from(("text", "drawing", "neither")))))
def test_record_counts_each_case_once(settled):
    counted = Counter(settled)
    for one in records(settled, KINDS):
        assert (one.text, one.drawing, one.neither) == tuple(counted[one.kind, side] for side in ("text", "drawing", "neither"))


def test_caution_only_where_the_hands_differ():
    left, right, either = Sided("L", "left", "R"), Sided("R", "right", "L"), Sided("E", "none")

    assert cautions("left", [left, either]) == ()
    assert cautions("", [left, right]) == ()
    assert len(cautions("right", [left, right])) == 1


def test_first_piece_bears_the_number_and_each_later_one_a_letter():
    assert [mark_text(7, serial) for serial in range(4)] == ["7", "7b", "7c", "7d"]
    assert mark_text(12, len(LETTERS) - 1) == "12z"
    assert mark_text(12, len(LETTERS)) == "12aa"
    assert next_serial([]) == 0
    assert next_serial([0, 2]) == 3
    for number, serial in ((0, 0), (1, -1)):
        with pytest.raises(ValueError, match="no position and piece"):
            mark_text(number, serial)


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(1, 200), st.integers(0, 1200)), unique=True, max_size=60))
def test_no_two_pieces_bear_one_mark_and_no_letter_is_mistaken_for_a_digit(pieces):
    marks = [mark_text(*piece) for piece in pieces]

    assert len(set(marks)) == len(pieces)
    assert not any(set("ilo") & set(mark) for mark in marks)


@settings(max_examples=60)
@given(st.lists(st.sampled_from(("mark", "end")), max_size=60))
def test_serial_never_comes_back_however_pieces_come_and_go(acts):
    ever, standing = [], None
    for act in acts:
        if act == "end":
            standing = None
        elif standing is None:
            standing = next_serial(ever)
            assert standing not in ever
            ever.append(standing)
    assert ever == list(range(len(ever)))


def test_new_piece_among_drilled_ones_is_told_where_its_holes_come_from():
    pilot, final = Drilling("skin 7", "40", final=False, on=DAY, by="Wren"), Drilling("stiffener 7", "30", final=True, on=DAY, by="Wren")
    old = PieceHoles("7", (pilot,), ended=DAY, ended_by="Joss", why="edge distance gone")

    told = [reason.text for reason in holes("stiffener", [old, PieceHoles("7b", ())], [("skin", PieceHoles("7", (final,)))])]

    assert told == [
        "stiffener 7: drilled #40 with skin 7, not to final size, on 2027-03-01 by Wren",
        "stiffener 7: taken away on 2027-03-01 by Joss: edge distance gone",
        "stiffener 7b: no hole of it is written down",
        "stiffener 7b is not drilled, and skin 7 is drilled to final size already: they are its guide, and must not be opened further",
    ]


def phased(*phases):
    return [Phased(at, f"S{at}", Phase(phase)) for at, phase in enumerate(phases)]


def test_usual_four_phases_put_it_together_twice_and_apart_once():
    found = handling(phased("fit_up", "match_drill", "deburr", "final"), [])

    assert (found.assemblies, found.disassemblies, found.final) == (2, 1, True)
    assert [(one.steps, one.apart) for one in found.times] == [(("S0", "S1"), "S2"), (("S3",), "")]
    assert found.trace[0].text == "time 1: together in S0, S1; S2 takes it apart"


def test_no_step_or_none_that_puts_it_together_is_said():
    assert [reason.text for reason in handling([], []).trace] == ["no step says that it is put together"]
    assert handling(phased("deburr"), []).assemblies == 0
    assert "no step puts it together again" in handling(phased("fit_up", "deburr"), []).trace[-1].text
    assert not handling(phased("fit_up", "deburr"), []).final


def test_clecos_of_one_time_peak_where_rows_overlap_and_deburring_frees_all():
    rows = [Row(0, "C3", 30, 3, until=99), Row(1, "C3", 20, 2), Row(1, "C4", 10, 1), Row(3, "C3", 12, 1)]
    first, second = handling(phased("fit_up", "match_drill", "deburr", "final"), rows).times

    both = clecos_for_row(30, 3) + clecos_for_row(20, 2)
    assert [(pins.cleco, pins.put, pins.most, pins.when) for pins in first.pins] == [("C3", both, both, "S1"), ("C4", 10, 10, "S1")]
    assert [(pins.cleco, pins.most) for pins in second.pins] == [("C3", 12)]


def test_step_of_two_phases_gives_its_rows_once():
    steps = [Phased(0, "S0", Phase.MATCH_DRILL), Phased(0, "S0", Phase.DEBURR), Phased(0, "S0", Phase.FINAL)]
    first, second = handling(steps, [Row(0, "C3", 10, 1)]).times

    assert [pins.put for pins in first.pins] == [10]
    assert second.pins == ()


@settings(max_examples=60)
@given(st.lists(st.sampled_from([one.value for one in Phase]), max_size=12))
def test_times_together_are_the_runs_between_deburrings(phases):
    found = handling(phased(*phases), [])
    runs = [run for run in "".join("-" if phase == "deburr" else "x" for phase in phases).split("-") if run]

    assert found.assemblies == len(runs)
    assert sum(len(one.steps) for one in found.times) == sum(map(len, runs))
    assert found.disassemblies in {len(runs), len(runs) - 1, 0}
