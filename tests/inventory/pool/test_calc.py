"""Who may have what when, by hand and against days counted one by one."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.pool import calc
from inventory.pool.calc import BOOKED, LENT, Clash, Pot, Span, Wish

DAY = date(2027, 3, 1)


def day(number):
    return DAY + timedelta(days=number)


def booked(quantity, first, last, who="Pat", pk=1):
    return Span(BOOKED, pk, who, Decimal(quantity), day(first), None if last is None else day(last))


def wish(pk, member, quantity=1, first=0, last=0, asked=0, thing=None):
    return Wish(pk, member, f"M{member}", Decimal(quantity), day(first), day(last), datetime(2027, 2, 1 + asked, tzinfo=UTC), thing)


def order(waiting, had):
    return [turn.wish.id for turn in calc.turns(waiting, had)]


class TestPeak:
    def test_both_ends_count_so_two_that_touch_overlap_on_that_day(self):
        assert calc.peak([booked(3, 0, 2), booked(4, 2, 4)], day(0), day(4)) == (7, day(2))

    def test_what_ends_the_day_before_does_not_add(self):
        assert calc.peak([booked(3, 0, 1), booked(4, 2, 4)], day(0), day(4)) == (4, day(2))

    def test_without_an_end_it_is_held_ever_after(self):
        assert calc.peak([booked(3, 0, None), booked(4, 900, 901)], day(10), None) == (7, day(900))

    def test_nothing_held_is_nothing_on_the_first_day(self):
        assert calc.peak([], day(3), day(5)) == (0, day(3))


spans = st.builds(
    lambda quantity, first, length: booked(quantity, first, None if length is None else first + length),
    st.integers(1, 9),
    st.integers(0, 12),
    st.none() | st.integers(0, 6),
)


@settings(max_examples=150)
@given(st.lists(spans, max_size=6), st.integers(0, 9), st.integers(0, 9), st.integers(1, 20), st.integers(0, 20))
def test_peak_and_clash_are_what_counting_each_day_gives(held, first, length, quantity, there):
    by_day = {
        day(at): sum(span.quantity for span in held if span.first <= day(at) and (span.last is None or span.last >= day(at)))
        for at in range(first, first + length + 1)
    }
    most = max(by_day.values())
    assert calc.peak(held, day(first), day(first + length)) == (most, min(on for on, total in by_day.items() if total == most))
    full = [on for on, total in by_day.items() if total + quantity > there]
    found = calc.clash(Pot(None, Decimal(there), tuple(held)), Decimal(quantity), day(first), day(first + length))
    assert (found is None) == (not full)
    if found is not None:
        assert (found.day, found.free) == (min(full), max(there - by_day[min(full)], 0))


class TestFind:
    def test_counted_pieces_come_before_single_things(self):
        assert calc.find([Pot(None, Decimal(2)), Pot(7, Decimal(1))], Decimal(1), day(0), day(0), None).thing is None

    def test_one_thing_must_be_free_on_all_days(self):
        pots = [Pot(7, Decimal(1), (booked(1, 0, 0),)), Pot(8, Decimal(1), (booked(1, 1, 1),))]
        found = calc.find(pots, Decimal(1), day(0), day(1), None)
        assert isinstance(found, Clash)  # on each day one of the two is free, but none on both
        assert found.day == day(1)

    def test_a_free_one_is_found_behind_a_taken_one(self):
        pots = [Pot(7, Decimal(1), (booked(1, 0, 3),)), Pot(8, Decimal(1))]
        assert calc.find(pots, Decimal(1), day(0), day(1), None).thing == 8

    def test_more_than_any_has_is_none(self):
        assert calc.find([Pot(None, Decimal(5)), Pot(7, Decimal(1))], Decimal(6), day(0), day(0), None) is None


class TestTurns:
    """Worked by hand: Ann (1) had one until 1 Feb, Bea (2) until 10 Feb, Cy (3) never, Dan (4) has some still."""

    had = {1: date(2027, 2, 1), 2: date(2027, 2, 10), 4: date.max}

    def test_longest_without_first_and_never_before_all(self):
        assert order([wish(10, 4), wish(11, 2), wish(12, 1), wish(13, 3)], self.had) == [13, 12, 11, 10]

    def test_ties_go_by_when_they_asked(self):
        assert order([wish(10, 3, asked=5), wish(11, 5, asked=2)], self.had) == [11, 10]

    def test_turn_says_why(self):
        told = [turn.reason.text for turn in calc.turns([wish(1, 1), wish(2, 3, asked=4), wish(3, 4)], self.had)]
        assert told == [
            "M3 never had one; asked on 2027-02-05",
            "M1 had one last until 2027-02-01; asked on 2027-02-01",
            "M4 has one still; asked on 2027-02-01",
        ]


class TestServe:
    def served(self, waiting, had, *pots):
        return [(granted.wish.id, granted.thing) for granted in calc.serve(waiting, had, pots)]

    def test_who_was_just_served_stands_behind_the_others(self):
        """Cy asked for two days; after the first Ann is longer without, and then nothing is left of day 1 for Cy."""
        waiting = [wish(1, 3), wish(2, 3, first=1, last=1), wish(3, 1, first=1, last=1, asked=9)]
        assert self.served(waiting, {1: date(2027, 2, 1)}, Pot(None, Decimal(1))) == [(1, None), (3, None)]

    def test_one_that_does_not_fit_is_passed_over(self):
        waiting = [wish(1, 3, quantity=30), wish(2, 1, quantity=10)]
        assert self.served(waiting, {1: date(2027, 2, 1)}, Pot(None, Decimal(20))) == [(2, None)]

    def test_a_named_thing_is_waited_for_though_another_is_free(self):
        assert self.served([wish(1, 3, thing=7)], {}, Pot(7, Decimal(1), (booked(1, 0, 3),)), Pot(8, Decimal(1))) == []

    def test_any_thing_that_is_free_does(self):
        assert self.served([wish(1, 3), wish(2, 1)], {}, Pot(7, Decimal(1)), Pot(8, Decimal(1))) == [(1, 7), (2, 8)]


def test_days_add_up_and_say_who_and_how_much_was_promised_beyond():
    held = [Span(LENT, 1, "Pat", Decimal(30), day(0), None), booked(20, 1, 1, "Ann", 2)]
    found = list(calc.days(Decimal(40), held, day(0), day(2)))
    assert [(one.lent, one.booked, one.free, one.over) for one in found] == [(30, 0, 10, 0), (30, 20, 0, 10), (30, 0, 10, 0)]
    assert [reason.text for reason in found[1].trace] == [
        "Pat has 30 from 2027-03-01 without a day when they come back",
        "Ann booked 20 from 2027-03-02 until 2027-03-02",
        "40 there - 30 lent - 20 booked = -10",
    ]
