"""The timeline as places in a picture."""

from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace

import pytest

from buildplan.ageing.chart import FOOT, LONGEST, ROOM, ROW, timeline

DAY = date(2027, 2, 20)


def use(days, taken="1"):
    return SimpleNamespace(day=DAY + timedelta(days=days), taken=Decimal(taken), label=f"S{days}")


def row(days, item="SEAL-B2", lot="R7", taking=(), late=()):
    return SimpleNamespace(
        expiry=SimpleNamespace(held=SimpleNamespace(item=item, lot=lot)),
        last_day=None if days is None else DAY + timedelta(days=days),
        days_left=days,
        dead=days is not None and days < 0,
        uses=(*taking, *late),
        taking=tuple(taking),
        late=tuple(late),
    )


def test_no_rows_no_picture():
    assert timeline([], DAY) is None


def test_bar_goes_from_today_through_its_last_day():
    """50 days in all, the 50th the last: 25 of them are half."""
    found = timeline([row(24), row(49)], DAY)

    assert [bar.width for bar in found.bars] == ["50.000%", "100.000%"]
    assert found.last == DAY + timedelta(days=49)
    assert (found.foot, found.height) == (2 * ROW, 2 * ROW + FOOT)


@pytest.mark.parametrize(
    ("days", "kind", "words"),
    [
        (-1, "dead", "dead 1 day"),
        (0, "soon", "last day"),
        (1, "soon", "1 day"),
        (30, "soon", "30 days"),
        (31, "alive", "31 days"),
        (None, "unknown", "life unknown"),
    ],
)
def test_bar_says_how_long_it_lives(days, kind, words):
    (bar,) = timeline([row(days)], DAY).bars

    assert (bar.kind, bar.words) == (kind, words)


def test_dead_has_no_width_and_unknown_all_of_it():
    dead, unknown = timeline([row(-9), row(None)], DAY).bars

    assert (dead.width, unknown.width) == ("0.000%", "100.000%")


def test_life_beyond_the_picture_ends_in_an_arrow():
    near, far = timeline([row(9), row(4000)], DAY).bars

    assert (near.beyond, far.beyond, far.width) == (False, True, "100.000%")
    assert timeline([row(4000)], DAY).last == DAY + timedelta(days=ROOM - 1)


def test_needs_far_off_make_room_for_lots_that_outlive_them():
    assert timeline([row(4000, late=[use(199, taken="0")])], DAY).last == DAY + timedelta(days=399)
    assert timeline([row(4000, late=[use(3000, taken="0")])], DAY).last == DAY + timedelta(days=LONGEST - 1)


def test_needs_are_drawn_in_the_middle_of_their_day():
    (bar,) = timeline([row(49, taking=[use(24)], late=[use(49, taken="0")])], DAY).bars

    assert [(mark.x, mark.taken) for mark in bar.marks] == [("49.000%", True), ("99.000%", False)]
    assert bar.marks[0].words == "S24, 2027-03-16"


def test_need_beyond_the_picture_is_in_the_table_alone():
    (bar,) = timeline([row(9, late=[use(4000, taken="0")])], DAY).bars

    assert bar.marks == ()


def test_need_after_the_last_death_widens_the_picture():
    assert timeline([row(9, late=[use(99, taken="0")])], DAY).last == DAY + timedelta(days=99)


def test_long_codes_are_cut_before_the_words_at_the_right():
    (bar,) = timeline([row(9, item="X" * 80, lot="Y" * 80)], DAY).bars

    assert len(bar.name) == 29
    assert bar.name.count("\N{HORIZONTAL ELLIPSIS}") == 2


def test_picture_at_the_calendar_s_end_stays_in_it():
    last = date.max - timedelta(days=5)
    found = timeline([row(None)], last)

    assert found.last <= date.max
