"""Stock against need by week: by hand, and against going through the calendar day by day."""

from collections import defaultdict
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.shortfall.calc import ItemFacts, Need, Supply, Why, net
from buildplan.shortfall.weeks import MOST, first_short, rows, weeks, why
from buildplan.shortfall.weeks_chart import BOTTOM, HIGH, TOP, spark, weeks_chart
from inventory.shelflife.calc import Limit
from inventory.stock.calc import LifeRule

AS_OF = date(2027, 2, 20)  # a Saturday: the first week has two days
RIVET = ItemFacts(1, "RIVET", "Rivet", "ea", False, None, None, LifeRule())
CLECO = RIVET._replace(code="CLECO-3", returned=True)


def day(offset):
    return AS_OF + timedelta(days=offset)


def need(offset, quantity, step=1, until=None):
    through = None if until is None else date.max if until == "open" else day(until)
    return Need(day(offset), (0, step), step, f"S{step}", Decimal(quantity), "as planned", "", f"call-out {step}", through)


def supply(quantity, due=None, last=None, key=1, aside=(), **more):
    ending = None if last is None else Limit("expires", day(last), "as printed")
    held = tuple((step, Decimal(part)) for step, part in aside)
    ready, crate = (None, "") if due is None else (day(due), f"C{key}")
    return Supply(key, f"L{key}", Decimal(quantity), ready, ending, aside=held, crate=crate, **more)


def line(needs, supplies, item=RIVET):
    return net(item, needs, supplies, as_of=AS_OF, receiving_days=3)


def told(found):
    """Each week as its first and last day counted from AS_OF, then its figures."""
    return [
        ((one.first - AS_OF).days, (one.last - AS_OF).days, *map(int, (one.opening, one.came, one.died, one.need, one.missing, one.left)))
        for one in found
    ]


def test_week_ends_on_sunday_and_the_next_begins_with_what_is_left():
    found = weeks(line([need(0, 5), need(2, 4, 2)], [supply(12)]))
    assert told(found) == [(0, 1, 12, 0, 0, 5, 0, 7), (2, 8, 7, 0, 0, 4, 0, 3)]


def test_crate_counts_in_the_week_that_it_is_due_in():
    found = weeks(line([need(9, 6)], [supply(2), supply(4, due=8, key=-1)]))
    assert told(found) == [(0, 1, 2, 0, 0, 0, 0, 2), (2, 8, 2, 4, 0, 0, 0, 6), (9, 15, 6, 0, 0, 6, 0, 0)]


@pytest.mark.parametrize(("last", "week"), [(0, 0), (1, 1), (7, 1), (8, 2)])
def test_lot_leaves_in_the_week_of_the_first_day_that_it_cannot_serve(last, week):
    found = weeks(line([need(9, 6)], [supply(9), supply(5, last=last, key=2)]))
    assert [int(one.died) for one in found] == [5 if at == week else 0 for at in range(3)]


def test_what_is_missing_is_in_the_week_of_its_need_and_marks_it():
    found = weeks(line([need(0, 5), need(3, 9, 2), need(10, 1, 3)], [supply(8)]))
    assert [int(one.missing) for one in found] == [0, 6, 1]
    assert first_short(found) is found[1]
    assert first_short(weeks(line([need(0, 5)], [supply(5)]))) is None


def test_what_is_blocked_dead_or_not_due_counts_in_no_week():
    others = [supply(50, key=2, blocked=Why.QUARANTINED), supply(50, key=3, last=-1), supply(50, key=4, due=5, last=4)]
    assert told(weeks(line([need(8, 3)], [supply(3), *others]))) == [(0, 1, 3, 0, 0, 0, 0, 3), (2, 8, 3, 0, 0, 3, 0, 0)]


def test_what_is_set_aside_and_not_taken_counts_for_nobody():
    (week,) = weeks(line([need(0, 4, 1), need(1, 3, 2)], [supply(12, aside=[(2, 5), (9, 2)])]))
    assert (int(week.opening), int(week.left), int(week.missing)) == (8, 1, 0)  # 2 of step 2's and 2 of step 9's stay aside


def test_what_comes_back_shows_the_most_held_and_what_is_there():
    found = weeks(line([need(0, 3, 1, 2), need(2, 4, 2, 3), need(9, 9, 3)], [supply(6), supply(2, due=8, key=-1)], CLECO))
    assert told(found) == [(0, 1, 6, 0, 0, 3, 0, 6), (2, 8, 6, 2, 0, 7, 1, 8), (9, 15, 8, 0, 0, 9, 1, 8)]


def test_what_is_held_without_an_end_ends_in_an_open_row():
    found = weeks(line([need(0, 3, 1, "open")], [supply(6)], CLECO))
    assert len(found) == MOST + 1
    assert found[-1].open
    assert int(found[-1].need) == 3
    assert [reason.text for reason in why(line([need(0, 3, 1, "open")], [supply(6)], CLECO), found)][-2].startswith("from 2028-")


def test_needs_beyond_a_year_are_one_row():
    found = weeks(line([need(3, 1), need(800, 5, 2), need(4000, 6, 3)], [supply(4)]))
    assert len(found) == MOST + 1
    assert (int(found[-1].need), int(found[-1].missing), found[-1].last) == (11, 8, day(4000))


def test_weeks_at_the_calendar_s_end_stay_in_it():
    last = Need(date.max, (0, 1), 1, "S1", Decimal(2), "", "", "call-out")
    found = weeks(net(RIVET, [last], [], as_of=date.max - timedelta(3), receiving_days=0))
    assert found[-1].last == date.max
    assert int(found[-1].missing) == 2


def test_table_joins_quiet_weeks_alone():
    found = rows(weeks(line([need(0, 5), need(30, 4, 2)], [supply(12)])))
    assert told(found) == [(0, 1, 12, 0, 0, 5, 0, 7), (2, 29, 7, 0, 0, 0, 0, 7), (30, 36, 7, 0, 0, 4, 0, 3)]


def test_why_gives_each_week_s_sum_and_the_order_sheet_s_short():
    found = line([need(0, 5), need(3, 9, 2)], [supply(8), supply(2, due=3, key=-1), supply(1, last=2, key=3)])
    texts = [reason.text for reason in why(found, weeks(found))]
    assert texts == [
        "2027-02-20 through 2027-02-21: 9 ea usable - 5 taken = 4 left; 5 needed",
        "2027-02-22 through 2027-02-28: 4 ea usable + 2 due - 6 taken = 0 left; 9 needed, 3 missing",
        "missing in all weeks together: 3 ea, short on the order sheet, first in the week of 2027-02-22",
    ]


needs_given = st.lists(st.tuples(st.integers(0, 30), st.integers(1, 20), st.integers(1, 4)), min_size=1, max_size=9)
supplies_given = st.lists(
    st.tuples(
        st.integers(1, 25),
        st.none() | st.integers(0, 30),
        st.none() | st.integers(-3, 40),
        st.lists(st.tuples(st.integers(1, 6), st.integers(1, 9)), max_size=2, unique_by=lambda pair: pair[0]),
    ),
    max_size=5,
)


def _made(given_supplies):
    for key, (quantity, due, last, aside) in enumerate(given_supplies, start=1):
        yield supply(quantity, due, last, -key if due is not None else key, () if due is not None else aside)


class _Calendar:
    """What a person would do who goes through the calendar with every lot in front of them."""

    def __init__(self, supplies):
        self.lots = [
            {"lot": one, "free": one.quantity, "aside": {}, "until": one.ending.last_day if one.ending else date.max} for one in supplies
        ]
        for lot in self.lots:
            for step, quantity in lot["lot"].aside:
                lot["aside"][step] = min(quantity, lot["free"])
                lot["free"] -= lot["aside"][step]
        self.missing = defaultdict(Decimal)
        self.wanted = defaultdict(Decimal)
        self.took = []  # day, lot, quantity

    def here(self, on):
        alive = [lot for lot in self.lots if (lot["lot"].ready or date.min) <= on <= lot["until"]]
        return sorted(
            alive, key=lambda lot: (lot["until"], bool(lot["lot"].crate), lot["lot"].ready or date.min, lot["lot"].code, lot["lot"].key)
        )

    def serve(self, one):
        left = one.quantity
        self.wanted[one.day] += left
        for where in ("aside", "free"):
            for lot in self.here(one.day):
                there = lot["aside"].get(one.step, Decimal(0)) if where == "aside" else lot["free"]
                took = min(left, there)
                if took:
                    left -= took
                    self.took.append((one.day, lot["lot"].key, took))
                    if where == "aside":
                        lot["aside"][one.step] -= took
                    else:
                        lot["free"] -= took
        self.missing[one.day] += left

    def left(self, on):
        """Once all is served: what lies there in the evening of a day, without what stays aside for good."""
        total = Decimal(0)
        for lot in self.here(on):
            gone = sum((took for at, key, took in self.took if key == lot["lot"].key and at <= on), Decimal(0))
            total += lot["lot"].quantity - sum(lot["aside"].values(), Decimal(0)) - gone
        return total


@given(needs_given, supplies_given)
@settings(max_examples=60)
def test_weeks_say_what_going_through_the_calendar_says(given_needs, given_supplies):
    of_step = {step: offset for offset, _, step in reversed(given_needs)}  # all needs of a step are on its day
    needs = [need(of_step[step], quantity, step) for _, quantity, step in given_needs]
    found = line(needs, list(_made(given_supplies)))
    calendar = _Calendar(_made(given_supplies))
    for one in sorted(needs):
        calendar.serve(one)
    shown = weeks(found)

    for week in shown:
        days = [week.first + timedelta(offset) for offset in range((week.last - week.first).days + 1)]
        assert week.need == sum((calendar.wanted[on] for on in days), Decimal(0))
        assert week.missing == sum((calendar.missing[on] for on in days), Decimal(0))
        assert week.left == calendar.left(week.last)
        assert week.opening + week.came - week.died - (week.need - week.missing) == week.left
    assert sum((week.missing for week in shown), Decimal(0)) == found.short
    assert sum((week.need for week in shown), Decimal(0)) == found.needed
    short = first_short(shown)
    assert (short is None) == (found.first_short is None)
    assert short is None or short.first <= found.first_short <= short.last


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 9), st.integers(1, 9)), min_size=1, max_size=8), supplies_given)
@settings(max_examples=40)
def test_weeks_of_what_comes_back_say_what_counting_each_day_says(spans, given_supplies):
    needs = [need(first, count, step, first + long) for step, (first, long, count) in enumerate(spans, start=1)]
    supplies = [one._replace(aside=()) for one in _made(given_supplies)]
    found = line(needs, supplies, CLECO)
    shown = weeks(found)

    for week in shown:
        days = [week.first + timedelta(offset) for offset in range((week.last - week.first).days + 1)]
        held = [sum(one.quantity for one in needs if one.day <= on <= one.through) for on in days]
        until = [(one, one.ending.last_day if one.ending else date.max) for one in supplies]
        there = [sum(one.quantity for one, last in until if (one.ready or date.min) <= on <= last) for on in days]
        assert week.need == max(held)
        assert week.missing == max(max(0, out - have) for out, have in zip(held, there, strict=True))
        assert week.left == there[-1]
        assert week.opening + week.came - week.died == week.left
    assert max(week.missing for week in shown) == found.short
    short = first_short(shown)
    assert short is None or short.first <= found.first_short <= short.last


@given(needs_given, supplies_given)
@settings(max_examples=30)
def test_picture_stays_within_its_frame(given_needs, given_supplies):
    found = weeks(line([need(offset, quantity, at) for at, (offset, quantity, _) in enumerate(given_needs)], list(_made(given_supplies))))
    picture = weeks_chart(found)
    for column, week in zip(picture.columns, found, strict=True):
        for top, height in ((column.left_top, column.left_height), (column.need_top, column.need_height)):
            assert TOP <= float(top) <= BOTTOM
            assert float(top) + float(height) == pytest.approx(BOTTOM, abs=0.11)
        assert bool(column.missing_height) == bool(week.missing)
        assert float(column.missing_height or 0) <= float(column.need_height) + 0.1
        assert (column.up, column.cross) == (bool(week.came), bool(week.died))
    assert (picture.flag.week if picture.flag else None) is first_short(found)
    assert next(tick.day for tick in picture.ticks) == AS_OF
    small = spark(found)
    assert bool(small.flag) == bool(picture.flag)
    assert all(0 <= float(part.split("V")[-1].split("H")[0].split("M")[0].rstrip("z")) <= HIGH for part in small.left.split("V")[1:])


def test_words_beside_the_mark_stand_on_the_side_that_has_room():
    early, late = (weeks_chart(weeks(line([need(offset, 5), need(40, 1, 2)], []))).flag for offset in (0, 40))
    assert (early.anchor, early.dx > 0) == ("start", True)
    late = weeks_chart(weeks(line([need(0, 1), need(40, 9, 2)], [supply(1)]))).flag
    assert (late.anchor, late.dx < 0) == ("end", True)
