"""Places in a picture."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.common.drawing import MOST_LABEL, MOST_WORDS, ROW, SPACE, cut, later, middle, parts, ticks, wholes

DAY = date(2027, 2, 20)


def share(text):
    return float(text.removesuffix("%"))


@given(st.lists(st.tuples(st.sampled_from("abcd"), st.integers(0, 400)), max_size=5))
@settings(max_examples=50)
def test_parts_stand_side_by_side_and_fill_the_whole(counts):
    found, at = parts(counts), 0.0
    assert [(one.kind, one.count) for one in found] == [(kind, count) for kind, count in counts if count]
    for one in found:
        assert share(one.x) == pytest.approx(at, abs=0.01)
        assert share(one.middle) == pytest.approx(at + share(one.width) / 2, abs=0.01)
        assert one.figure in {"", str(one.count)}
        at += share(one.width)
    assert at == pytest.approx(100 if found else 0, abs=0.02)


def test_figure_stands_where_it_has_room():
    assert [one.figure for one in parts([("a", 1), ("b", 99)])] == ["", "99"]
    assert [one.figure for one in parts([("a", 9), ("b", 91)])] == ["9", "91"]


def test_wholes_stand_one_below_the_other_and_cut_their_texts():
    found = wholes([("X" * 40, "Y" * 40, [("a", 1)]), ("B", "", [])])
    assert [(len(row.label), len(row.words)) for row in found.rows] == [(MOST_LABEL, MOST_WORDS), (1, 0)]
    assert found.rows[1].bar_y - found.rows[0].bar_y == ROW
    assert found.height == 2 * ROW + SPACE
    assert found.rows[1].parts == ()


@pytest.mark.parametrize(("days", "named"), [(0, [0]), (1, [0]), (2, [0, 1]), (3, [0, 1, 2]), (10, [0, 4, 9])])
def test_ticks_name_as_many_days_as_there_are(days, named):
    found = ticks(DAY, days)
    assert [(tick.day - DAY).days for tick in found] == named
    assert [tick.anchor for tick in found] == {1: ["start"], 2: ["start", "end"], 3: ["start", "middle", "end"]}[len(named)]


def test_days_end_with_the_calendar():
    assert later(date.max - timedelta(2), 9) == date.max
    assert later(DAY, 9) == DAY + timedelta(9)


def test_cut_ends_in_an_ellipsis():
    assert cut("abcdef", 6) == "abcdef"
    assert cut("abcdefg", 6) == "abcde\N{HORIZONTAL ELLIPSIS}"
    assert middle(0, 4) == 12.5
