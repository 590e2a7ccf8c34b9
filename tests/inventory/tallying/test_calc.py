"""What differs, what is put away, what a weight says, what a mystery may be."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.tallying.calc import Counts, Measured, alike_rivets, candidates, compare, gives, settle, share, weigh, why_gives

quantities = st.decimals(min_value=0, max_value=10**6, places=3)
counts = st.lists(st.tuples(st.sampled_from("ABC"), st.decimals(min_value=-1000, max_value=1000, places=3)), max_size=8)


@given(listed=quantities, good=quantities, damaged=quantities, wrong=quantities, done=st.booleans())
def test_compare_balances(listed, good, damaged, wrong, done):
    found = compare(listed=listed, good=good, damaged=damaged, wrong=wrong, done=done)

    assert listed - found.left + found.over == good + damaged + wrong
    assert 0 in {found.left, found.over}
    assert found.short == (found.left if done else 0)


@given(counted=counts, most=st.decimals(min_value=-10, max_value=5000, places=3))
def test_settle_puts_away_what_was_counted_and_never_more(counted, most):
    settled = settle(counted, most)
    total = sum((quantity for _, quantity in counted), Decimal(0))

    assert sum(settled.values(), Decimal(0)) == max(min(total, most), 0)
    assert all(quantity > 0 for quantity in settled.values())
    assert set(settled) <= {key for key, _ in counted}


def test_settle_takes_a_correction_off_what_was_counted_last():
    assert settle([("A", Decimal(12)), ("B", Decimal(8)), ("", Decimal(-10))], Decimal(100)) == {"A": 10}


TEN = Decimal(10)


@pytest.mark.parametrize(
    ("counts", "still_open", "done", "told"),
    [
        (Counts(), 10, False, "10 ea listed, 10 still to count: gives 10 ea"),
        (Counts(), 10, True, "10 ea listed, 10 short: gives 0 ea"),
        (Counts(good=Decimal(4), waiting=(("A", Decimal(4)),)), 10, False, "10 ea listed, 4 counted good, 6 still to count: gives 10 ea"),
        (Counts(good=Decimal(4), waiting=(("A", Decimal(4)),)), 10, True, "10 ea listed, 4 counted good, 6 short: gives 4 ea"),
        (Counts(good=Decimal(12), waiting=(("A", Decimal(12)),)), 10, True, "10 ea listed, 12 counted good: gives 12 ea"),
        (Counts(damaged=TEN, spoiled=(("A", TEN),)), 10, False, "10 ea listed, 10 damaged: gives 0 ea"),
        (Counts(wrong=Decimal(3)), 10, False, "10 ea listed, 3 wrong, 7 still to count: gives 7 ea"),
        (
            Counts(good=Decimal(6), taken_in=Decimal(6)),
            4,
            False,
            "10 ea listed, 6 counted good, 4 still to count, 6 in stock already: gives 4 ea",
        ),
        (Counts(good=Decimal(6), taken_in=Decimal(6)), 0, False, "10 ea listed, 6 counted good, 6 in stock already: gives 0 ea"),
        (Counts(), 0, False, "10 ea listed, none of it to come: gives 0 ea"),
    ],
)
def test_line_gives_the_good_ones_and_what_is_still_looked_for(counts, still_open, done, told):
    found = gives(listed=TEN, still_open=Decimal(still_open), counts=counts, done=done)

    assert why_gives(found, "ea").text == told


@given(good=counts, damaged=quantities, wrong=quantities, still_open=quantities, taken_in=quantities, done=st.booleans())
def test_line_gives_what_the_receipt_books_and_never_looks_for_more_than_is_to_come(good, damaged, wrong, still_open, taken_in, done):
    total = sum((quantity for _, quantity in good), Decimal(0))
    counted = Counts(total, damaged, wrong, taken_in, tuple(good), (("A", damaged),))
    found = gives(listed=TEN, still_open=still_open, counts=counted, done=done)

    assert sum(found.good.values(), Decimal(0)) == max(total - taken_in, 0)
    assert sum(found.disputed.values(), Decimal(0)) == damaged
    assert 0 <= found.to_count <= min(still_open, found.compared.left)
    assert not (done and found.to_count)


def test_share_is_whole_only_when_all_is_there():
    assert [share(Decimal(part), Decimal(200)) for part in (0, 1, 199, 200, 300)] == [0, 0, 99, 100, 100]
    assert share(Decimal(0), Decimal(0)) == 100


class TestWeigh:
    def weigh(self, total, expected=None, alike=(), **said):
        readings = {"tare": 0, "sample_n": 50, "sample_mass": Decimal("17.5"), "division": Decimal("0.01")}
        return weigh(total=Decimal(total), expected=None if expected is None else Decimal(expected), alike=alike, **{**readings, **said})

    def test_certain_count_asks_for_nothing(self):
        found = self.weigh("42", expected=120)

        assert (found.count, found.certain, found.sample, found.warnings) == (120, True, None, ())

    def test_uncertain_count_says_which_sample_would_do(self):
        found = self.weigh("350", sample_n=10, sample_mass=Decimal("3.5"), division=Decimal("0.1"))

        assert (found.count, found.certain) == (1000, False)
        assert self.weigh("350", sample_n=found.sample, sample_mass=Decimal("0.35") * found.sample, division=Decimal("0.1")).certain
        fewer = found.sample - 1
        assert not self.weigh("350", sample_n=fewer, sample_mass=Decimal("0.35") * fewer, division=Decimal("0.1")).certain

    def test_count_that_no_sample_makes_certain_says_so(self):
        found = self.weigh("350", sample_n=10, sample_mass=Decimal("3.5"), division=Decimal(1))

        assert (found.certain, found.sample) == (False, None)
        assert "weigh it in smaller heaps" in found.trace[-1].text

    def test_mass_that_fits_no_whole_number_warns_of_a_mixed_bag(self):
        [warning] = self.weigh("42.15").warnings

        assert "120.43 pieces are no whole number" in warning.text

    def test_mass_that_misses_what_is_listed_warns(self):
        [warning] = self.weigh("42", expected=125).warnings

        assert warning.text.startswith("5 fewer than listed, which +-0.05 doesn't explain")

    def test_two_lengths_of_one_diameter_warn(self):
        [warning] = self.weigh("42", expected=120, alike=["MS20470AD4-7"]).warnings

        assert "this crate also lists MS20470AD4-7 of the same diameter" in warning.text

    def test_sample_that_is_no_such_rivet_warns_in_any_unit(self):
        """About 0.27 g a piece: by geometry, head sizes from memory."""
        ounces = {"sample_mass": Decimal("0.476"), "division": Decimal("0.001")}  # 50 pieces of 0.27 g
        [warning] = self.weigh("42", code="MS20470AD4-6").warnings

        assert "0.35 a piece by the sample; this rivet weighs about 0.27 g" in warning.text
        assert self.weigh("32.4", code="MS20470AD4-6", sample_mass=Decimal("13.5")).warnings == ()
        assert self.weigh("1.1424", code="MS20470AD4-6", **ounces).warnings == ()

    def test_sample_that_a_coarse_scale_blurs_does_not_warn(self):
        assert self.weigh("32", code="MS20470AD4-6", sample_n=1, sample_mass=Decimal("0.35"), division=Decimal("0.2")).warnings == ()

    @pytest.mark.parametrize("code", ["", "SPAR", "MS20470DD6-10", "NAS1097AD4-5", "MS20426AD2-4"])
    def test_item_whose_mass_is_not_known_here_does_not_warn(self, code):
        assert self.weigh("42", code=code).warnings == ()

    def test_bad_reading_is_named(self):
        with pytest.raises(ValueError, match=r"^sample_mass"):
            self.weigh("42", sample_mass=Decimal(0))

    @given(st.integers(1, 5000), st.integers(2, 40))
    def test_exact_readings_of_one_kind_never_warn(self, count, sample_n):
        unit = Fraction(35, 100)
        found = weigh(
            total=count * unit, tare=0, sample_n=sample_n, sample_mass=sample_n * unit, division=Fraction(1, 1000), expected=Decimal(count)
        )

        assert (found.count, found.warnings) == (count, ())


class TestCandidates:
    LINES = [(1, "MS20470AD4-6"), (2, "MS20470AD4-7"), (3, "MS20426AD4-6"), (4, "MS20470AD3-6"), (5, "SPAR")]

    def found(self, diameter=None, length=None, head=""):
        return [match.line_id for match in candidates(Measured(diameter, length, head), self.LINES)]

    def test_nearest_comes_first(self):
        assert self.found(Fraction(1, 8), Fraction(395, 1000), "universal") == [1]
        assert self.found(Fraction(1, 8), Fraction(13, 32)) == [1, 2, 3]

    def test_head_leaves_out_the_other_head(self):
        assert self.found(Fraction(1, 8), Fraction(3, 8), "countersunk") == [3]

    def test_diameter_alone_leaves_the_length_open(self):
        assert self.found(diameter=Fraction("0.095")) == [4]

    def test_limits_are_included_and_no_more(self):
        assert self.found(Fraction(1, 8) + Fraction(15, 1000), Fraction(3, 8), "universal") == [1]
        assert self.found(Fraction(1, 8) + Fraction(16, 1000), Fraction(3, 8), "universal") == []
        assert self.found(Fraction(1, 8), Fraction(3, 8) - Fraction(1, 32), "universal") == [1]
        assert self.found(Fraction(1, 8), Fraction(3, 8) - Fraction(33, 1000), "universal") == []

    def test_reason_says_how_far_off_it_is_and_what_is_allowed(self):
        [match] = candidates(Measured(Fraction("0.127"), Fraction(3, 8), ""), self.LINES[:1])

        assert match.reason.text == "diameter 0.125 in, 0.002 in off; length 0.375 in exactly; universal head, not looked at"
        assert match.reason.source == "sizes by the code, within 0.015 in of diameter and 0.03125 in of length"

    def test_nothing_measured_matches_nothing(self):
        assert self.found(head="universal") == []


def test_alike_rivets_are_other_lengths_of_one_diameter_and_head():
    others = ["MS20470AD4-6", "AN470AD4-7", "MS20426AD4-7", "MS20470AD3-7", "SPAR"]

    assert alike_rivets("MS20470AD4-6", others) == ["AN470AD4-7"]
    assert alike_rivets("SPAR", others) == []
