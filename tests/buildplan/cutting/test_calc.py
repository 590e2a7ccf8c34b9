"""Bars: no plan exceeds its stock, each is as good as every way there is, and says how far it may be off."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.cutting import calc
from buildplan.cutting.calc import Stock, cut, heuristic, lower_bound, uncut
from tests.buildplan.cutting.brute import most_pieces

KERFS = st.sampled_from([0, 1, Fraction(1, 2), Decimal("0.25")])
LENGTHS = st.integers(2, 9)
SMALL = st.lists(LENGTHS, min_size=1, max_size=6)
BARS = st.lists(st.integers(9, 20), min_size=1, max_size=4)


def counted(pieces):
    return sum(one.count for one in pieces)


def check(plan, wanted, kerf, trim=0):
    """Plain arithmetic over the answer alone."""
    kerf, trim = Fraction(kerf), Fraction(trim)
    for bar in plan.bars:
        assert sum(one.length + kerf for one in bar.pieces) <= bar.length - trim + kerf
        assert sum(one.length for one in bar.pieces) + bar.offcut + bar.waste == bar.length
        assert bar.offcut >= 0
        assert bar.waste >= trim + kerf * (len(bar.pieces) - 1)
    made = sorted(one.length for bar in plan.bars for one in bar.pieces)
    left = sorted(one.length for one in plan.short for _ in range(one.count))
    assert sorted(made + left) == sorted(Fraction(length) for length in wanted)


class TestAgainstEveryWay:
    @settings(max_examples=40)
    @given(pieces=SMALL, bars=BARS, kerf=KERFS)
    def test_limited_bars_give_as_many_pieces_from_as_little_as_any_way_does(self, pieces, bars, kerf):
        plan = cut([(one, 1) for one in pieces], [(bar, 1) for bar in bars], kerf)
        check(plan, pieces, kerf)
        most, _ = most_pieces([Fraction(one) + Fraction(kerf) for one in pieces], [Fraction(bar) + Fraction(kerf) for bar in bars])
        assert len(pieces) - counted(plan.short) == most
        if plan.proven:
            least = min(_lengths(pieces, bars, kerf, most))
            assert plan.used_length == least

    @settings(max_examples=40)
    @given(pieces=st.lists(LENGTHS, min_size=1, max_size=7), bar=st.integers(9, 15), kerf=KERFS)
    def test_one_length_without_end_takes_the_fewest_bars(self, pieces, bar, kerf):
        plan = cut([(one, 1) for one in pieces], bar, kerf)
        check(plan, pieces, kerf)
        fewest = next(
            many
            for many in range(1, len(pieces) + 1)
            if most_pieces([Fraction(one) + Fraction(kerf) for one in pieces], [Fraction(bar) + Fraction(kerf)] * many)[0] == len(pieces)
        )
        assert plan.proven
        assert plan.count == plan.bound == fewest


def _lengths(pieces, bars, kerf, most):
    """The stock lengths of every choice of bars that gives so many."""
    for chosen in range(1 << len(bars)):
        some = [bar for at, bar in enumerate(bars) if chosen >> at & 1]
        rooms = [Fraction(bar) + Fraction(kerf) for bar in some]
        if most_pieces([Fraction(one) + Fraction(kerf) for one in pieces], rooms)[0] == most:
            yield sum(some)


class TestQuickWay:
    @settings(max_examples=40)
    @given(
        pieces=st.lists(st.tuples(st.integers(5, 90), st.integers(1, 9)), min_size=1, max_size=8),
        bars=st.lists(st.tuples(st.integers(90, 150), st.none() | st.integers(1, 9)), min_size=1, max_size=3),
        kerf=KERFS,
        trim=st.sampled_from([0, Fraction(1, 3)]),
    )
    def test_quick_plan_is_right_and_never_better_than_its_bound(self, pieces, bars, kerf, trim):
        longest = max(length for length, _ in bars) - trim
        pieces = [(length, count) for length, count in pieces if length <= longest] or [(5, 1)]
        quick = cut(pieces, bars, kerf, end_trim=trim, prove=False)
        check(quick, [length for length, count in pieces for _ in range(count)], kerf, trim)
        assert quick.bound_length <= quick.used_length or quick.short
        assert not quick.exact
        best = cut(pieces, bars, kerf, end_trim=trim)
        check(best, [length for length, count in pieces for _ in range(count)], kerf, trim)
        assert counted(best.short) <= counted(quick.short)
        if counted(best.short) == counted(quick.short):
            assert best.used_length <= quick.used_length
        if not best.short and not quick.short:
            assert quick.bound_length <= best.used_length

    def test_quick_way_beats_first_fit_where_that_errs(self):
        """First fit decreasing takes three bars here, computed by hand: 6 + 5 | 5 + 3 + 3 | 2 + 2."""
        task, *_ = calc._task([(6, 1), (5, 2), (3, 2), (2, 2)], [(13, None)], 0, 0)
        assert sum(times for _, times in heuristic(task)) == 2
        assert lower_bound(task) == 26

    def test_absent_highspy_is_said(self, monkeypatch):
        monkeypatch.setattr(calc, "find_spec", lambda name: None)
        plan = cut([(45, 97), (36, 610), (31, 395), (14, 211)], 100, 0)
        assert not plan.exact
        assert "a better plan may save up to" in plan.reasons[-2].text
        assert "isn't installed (highspy" in plan.reasons[-1].text


class TestAnswer:
    def test_plan_says_why(self):
        plan = cut([(400, 3, "W-31"), (300, 1)], [(1000, None, "A")], 2)
        assert [reason.text.split(":")[0] for reason in plan.reasons][1] == "2 bars of 2000 in all"
        assert [(one.label, one.length) for one in plan.bars[0].pieces] == [("W-31", 400), ("W-31", 400)]
        assert (plan.bars[0].offcut, plan.bars[0].waste) == (196, 4)

    def test_answer_holds_no_float(self):
        plan = cut({Decimal("0.1"): 3, Fraction(1, 3): 2}, Decimal("0.75"), 0)
        assert all(isinstance(value, Fraction) for bar in plan.bars for value in (bar.offcut, bar.waste, bar.length))
        check(plan, [Decimal("0.1")] * 3 + [Fraction(1, 3)] * 2, 0)

    def test_shortest_bar_that_holds_them_is_taken(self):
        assert [bar.length for bar in cut([(400, 1)], [(1000, None), (500, None)], 0).bars] == [500]

    def test_pieces_named_first_are_cut_first_where_stock_runs_out(self):
        plan = cut([(400, 1, "now"), (400, 1, "later")], [(500, 1)], 0)
        assert [one.label for one in plan.short] == ["later"]

    def test_uncut_counts_what_fits_nowhere(self):
        assert [(one.length, one.count) for one in uncut([(900, 2), (400, 3)], [Stock(Fraction(800), 1)], 0)] == [(900, 2), (400, 1)]


class TestRefused:
    @pytest.mark.parametrize(
        ("pieces", "stock", "kerf", "text"),
        [
            ([], 100, 0, "pieces: there are none"),
            ([(50, 1)], [], 0, "stock: there is none"),
            ([(50, 1)], [(100, 0)], 0, "stock: there is none"),
            ([(101, 1, "W-31")], [100, 90], 0, "W-31, 101, is longer than any stock: the longest is 100"),
            ([(3, 1)], 100, 3, "kerf: 3 is not less than the piece of 3"),
            ([(3, 1)], 100, 4, "kerf: 4 is not less than the piece of 3"),
            ([(50, 1)], 100, -1, "kerf: must not be below 0"),
            ([(50, 1)], 100, Decimal("NaN"), "kerf: is not finite"),
            ([(50.0, 1)], 100, 0, "pieces: give an int"),
            ([(0, 1)], 100, 0, "pieces: must be over 0"),
            ([(50, 0)], 100, 0, "pieces: must be at least 1"),
            ([(50, 1)], [(100, -1)], 0, "stock: must be at least 0"),
            ([(50, 1)], float("nan"), 0, "stock: give an int"),
            ([(50, 100_001)], 100, 0, "pieces: at most 100000"),
        ],
    )
    def test_what_makes_no_sense_is_named(self, pieces, stock, kerf, text):
        with pytest.raises(ValueError, match=text):
            cut(pieces, stock, kerf)

    def test_end_trim_counts_against_the_longest(self):
        with pytest.raises(ValueError, match="95 is longer than any stock: the longest is 100, 90 of it without the end trim"):
            cut([(95, 1)], 100, 0, end_trim=10)
