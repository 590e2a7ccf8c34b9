from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.wanted.calc import BagFacts, ClockFacts, LineFacts, order_bags

TODAY = date(2027, 2, 20)
SOON = TODAY + timedelta(days=3)
SHORTAGE = ClockFacts("shortage, from Marsh Kits,", SOON, "terms of sale, 4")


def line(left=10, price=None, needed_on=None, item="RIVET", needed_by="TERN-1 F3-05"):
    return LineFacts(item, "ea", Decimal(left), None if price is None else Decimal(price), needed_on, needed_by if needed_on else "")


def bag(path, *lines):
    return BagFacts(hash(path) % 1000, path, lines)


def order(*bags, clocks=(SHORTAGE,)):
    return order_bags(bags, clocks, today=TODAY)


def paths(*bags, **more):
    return [one.path for one in order(*bags, **more)]


def texts(one):
    return [reason.text for reason in one.trace]


def test_what_a_step_waits_for_first_is_counted_first():
    late = bag("A", line(price=1000, needed_on=SOON))
    soon = bag("B", line(needed_on=TODAY))
    never = bag("C", line(price=5000))

    assert paths(never, late, soon) == ["B", "A", "C"]


def test_of_two_that_steps_wait_for_on_one_day_the_dearer_is_counted_first():
    assert paths(bag("A", line(price=1, needed_on=SOON)), bag("B", line(price=2, needed_on=SOON))) == ["B", "A"]


def test_what_is_worth_more_is_by_what_is_still_to_be_found():
    assert paths(bag("A", line(left=1, price=50)), bag("B", line(left=100, price=1))) == ["B", "A"]


def test_a_price_that_is_not_known_is_not_guessed():
    (found,) = order(bag("A", line(left=2, price="1.25"), line(item="PLATE"), line(item="BOLT")))

    assert (found.worth, found.unpriced) == (Decimal("2.50"), 2)
    assert texts(found)[2:] == ["worth 2.5: the dearest is 2 ea of RIVET at 1.25", "2 lines have no price, and count as none"]


def test_of_two_without_any_price_the_one_with_more_of_them_is_counted_first():
    assert paths(bag("A", line()), bag("B", line(), line())) == ["B", "A"]


def test_else_by_path():
    assert paths(bag("B", line()), bag("A", line())) == ["A", "B"]


@pytest.mark.parametrize("lines", [(), (line(left=0),)])
def test_a_bag_with_nothing_to_find_has_no_turn(lines):
    assert order(bag("A", *lines)) == ()


def test_a_line_found_whole_hurries_nobody():
    (found,) = order(bag("A", line(left=0, price=100, needed_on=TODAY), line(left=1)))

    assert (found.lines, found.needed_on, found.worth) == (1, None, Decimal(0))


def test_the_first_clock_that_runs_is_named():
    damage = ClockFacts("damage found inside, from the carrier,", TODAY, "CMR art. 30")
    lapsed = ClockFacts("wrong thing", TODAY - timedelta(days=1), "terms of sale, 5")

    (found,) = order(bag("A", line()), clocks=[SHORTAGE, lapsed, damage])

    assert found.last_day == TODAY
    assert texts(found)[0] == "damage found inside, from the carrier, can be claimed until 2027-02-20: today is the last day"
    assert found.trace[0].source == "CMR art. 30"


@pytest.mark.parametrize(("days", "words"), [(0, "today is the last day"), (1, "1 day left"), (3, "3 days left")])
def test_how_long_a_clock_runs(days, words):
    (found,) = order(bag("A", line()), clocks=[ClockFacts("shortage", TODAY + timedelta(days=days), "x")])

    assert texts(found)[0].endswith(words)


def test_without_a_clock_that_runs_that_is_said():
    lapsed = ClockFacts("shortage", TODAY - timedelta(days=1), "x")

    (found,) = order(bag("A", line()), clocks=[lapsed])

    assert found.last_day is None
    assert texts(found)[0].startswith("no claim clock runs")


def test_the_step_that_waits_first_is_named_with_how_many_more():
    (found,) = order(bag("A", line(needed_on=SOON), line(item="BOLT", needed_on=TODAY, needed_by="TERN-1 F3-01")))

    assert (found.needed_on, found.needed_by) == (TODAY, "TERN-1 F3-01")
    assert texts(found)[1] == "TERN-1 F3-01 waits for BOLT on 2027-02-20; steps wait for 1 more of its items"


LINES = st.builds(
    LineFacts,
    st.sampled_from(["RIVET", "BOLT"]),
    st.just("ea"),
    st.decimals(0, 1000, places=3),
    st.none() | st.decimals(0, 1000, places=4),
    st.none() | st.dates(TODAY, TODAY + timedelta(days=90)),
    st.just("TERN-1 F3-05"),
)


@given(st.lists(st.builds(BagFacts, st.integers(1, 99), st.text("ABC", max_size=3), st.lists(LINES, max_size=4).map(tuple)), max_size=8))
def test_each_bag_with_something_to_find_has_one_turn_and_none_comes_before_a_more_urgent_one(bags):
    found = order(*bags)

    assert sorted(one.path for one in found) == sorted(one.path for one in bags if any(line.left for line in one.lines))
    for first, then in pairwise(found):
        assert (first.needed_on or date.max) <= (then.needed_on or date.max)
        if first.needed_on == then.needed_on:
            assert first.worth >= then.worth
