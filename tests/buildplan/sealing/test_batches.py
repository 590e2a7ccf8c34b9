import itertools
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.sealing.calc import MOST_EXACT, LotLeft, Need, assign_lots, batch_sizes, largest_batch, plan_day

START = date(2027, 3, 1)


def day(number):
    return START + timedelta(days=number)


NEEDS = st.lists(st.builds(lambda grams, on: Need(grams, day(on)), st.integers(1, 6), st.integers(0, 6)), max_size=5)
WINDOWS = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 6), st.integers(0, 6)), max_size=4)
LOTS = WINDOWS.map(lambda found: [LotLeft(f"L{at}", grams, day(first + days), day(first)) for at, (grams, first, days) in enumerate(found)])
GRAMS = st.integers(1, 300_000).map(lambda count: Decimal(count) / 1000)


def holds(needs, lots, chosen):
    """Whether each lot is usable on its days and not overdrawn."""
    taken = dict.fromkeys((lot.code for lot in lots), Fraction(0))
    by_code = {lot.code: lot for lot in lots}
    for need, code in zip(needs, chosen, strict=True):
        if code is not None:
            taken[code] += Fraction(need.grams)
            if not (by_code[code].first_day or date.min) <= need.on <= by_code[code].last_day:
                return False
    return all(taken[lot.code] <= Fraction(lot.grams) for lot in lots)


def met(needs, chosen):
    return sum(Fraction(need.grams) for need, code in zip(needs, chosen, strict=True) if code is not None)


@given(NEEDS, LOTS)
def test_assignment_meets_as_much_as_any_by_brute_force(needs, lots):
    codes = [None, *(lot.code for lot in lots)]
    best = max((met(needs, c) for c in itertools.product(codes, repeat=len(needs)) if holds(needs, lots, c)), default=0)

    found = assign_lots(needs, lots)

    assert holds(needs, lots, found.lots)
    assert found.met == met(needs, found.lots) == best
    assert found.exact


@given(st.lists(st.integers(1, 6), min_size=MOST_EXACT + 1, max_size=20), LOTS)
def test_many_batches_stay_within_their_stated_bound(sizes, lots):
    needs = [Need(size, day(at % 7)) for at, size in enumerate(sizes)]
    found = assign_lots(needs, lots)

    assert holds(needs, lots, found.lots)
    assert found.met == met(needs, found.lots) <= found.bound
    assert found.exact is (found.met == found.bound)


@given(st.permutations(range(3)))
def test_oldest_lots_go_first_in_whatever_order_they_are_given(order):
    lots = [LotLeft("OLD", 60, day(2)), LotLeft("MID", 60, day(5)), LotLeft("NEW", 60, day(9))]

    assert assign_lots([Need(30, START), Need(30, START)], [lots[at] for at in order]).lots == ("OLD", "OLD")


def test_a_dozen_batches_of_a_dozen_lots_are_exact():
    needs = [Need(Decimal(30) + at, day(at % 3)) for at in range(12)]
    lots = [LotLeft(f"L{at:02}", Decimal(30) + at, day(3 + at)) for at in range(12)]

    found = assign_lots(needs, lots)

    assert found.exact
    assert None not in found.lots  # each lot holds just one


def test_more_than_a_dozen_that_all_fit_are_exact_too():
    assert assign_lots([Need(1, START)] * 20, [LotLeft("A", 20, day(1))]).exact


def test_more_than_a_dozen_that_do_not_fit_say_the_bound():
    found = assign_lots([Need(2, START)] * 13, [LotLeft("A", 3, day(1)), LotLeft("B", 3, day(1))])

    assert (found.met, found.bound, found.exact) == (4, 6, False)
    assert "no way could meet more than 6 g" in found.reason.text


@pytest.mark.parametrize(
    ("needs", "lots", "name"),
    [
        ([Need(0, START)], [], "needs"),
        ([Need(1.0, START)], [], "needs"),
        ([], [LotLeft("A", -1, START)], "lots"),
        ([], [LotLeft("A", 1.0, START)], "lots"),
        ([], [LotLeft("A", 1, START), LotLeft("A", 2, START)], "lots"),
    ],
)
def test_assignment_refuses_by_name(needs, lots, name):
    with pytest.raises(ValueError, match=f"^{name}: "):
        assign_lots(needs, lots)


@given(GRAMS, st.decimals("1", "60", places=3))
def test_batches_add_up_and_none_is_over_the_most(total, most):
    sizes = batch_sizes(total, most)

    assert sum(sizes) == total
    assert max(sizes) <= most
    assert max(sizes) - min(sizes) <= Decimal("0.001")
    assert len(sizes) == -(-int(total * 1000) // int(most * 1000))


@pytest.mark.parametrize(
    ("total", "most", "name"), [(0, 30, "total"), (10, 0, "most"), (10, 30.0, "most"), (10**9, 1, "most"), (10, Decimal("0.0001"), "most")]
)
def test_batch_sizes_refuse_by_name(total, most, name):
    with pytest.raises(ValueError, match=name):
        batch_sizes(total, most)


@given(st.integers(1, 8), st.decimals("0.1", "100", places=1), st.floats(0.05, 8))
def test_largest_batch_is_placed_within_the_life(people, pace, hours):
    batch = Fraction(largest_batch(people, pace, hours))

    assert batch / (people * Fraction(pace)) <= Fraction(repr(hours)) < (batch + Fraction(1, 1000)) / (people * Fraction(pace))


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ((0, 10, 1.0), "people"),
        ((1.0, 10, 1.0), "people"),
        ((1, 0, 1.0), "grams_per_person_hour"),
        ((1, 10.0, 1.0), "grams_per_person_hour"),
        ((1, 10, 0), "life_hours"),
        ((1, 10, float("nan")), "life_hours"),
        ((1, 10, 1e-9), "life_hours"),
    ],
)
def test_largest_batch_refuses_by_name(arguments, name):
    with pytest.raises(ValueError, match=name):
        largest_batch(*arguments)


@given(GRAMS, st.integers(20, 60), LOTS, st.integers(0, 8), st.integers(0, 30))
def test_a_day_places_all_that_lots_hold_and_no_batch_is_over_the_most(total, most, lots, on, least):
    lots = [LotLeft(lot.code, lot.grams * 20, lot.last_day, lot.first_day) for lot in lots]
    plan = plan_day(total, day(on), most, lots, least=least)
    usable = {lot.code: Decimal(lot.grams) for lot in lots if lot.first_day <= day(on) <= lot.last_day}

    placed = sum((batch.grams for batch in plan.batches), Decimal(0))
    assert placed + plan.short == total
    assert plan.short == max(0, total - sum(usable.values()))
    assert all(batch.grams <= most for batch in plan.batches)
    for batch in plan.batches:
        assert sum(part.grams for part in batch.parts) == batch.grams
        for part in batch.parts:
            usable[part.lot] -= part.grams
    assert all(left >= 0 for left in usable.values())


def test_even_batches_where_each_has_a_lot_to_itself():
    plan = plan_day(100, START, 40, [LotLeft("A", 200, day(5))])

    assert [str(batch.grams) for batch in plan.batches] == ["33.334", "33.333", "33.333"]
    assert plan.short == 0


def test_batches_are_cut_to_what_lots_hold_sooner_than_mixed():
    plan = plan_day(100, START, 40, [LotLeft("A", 30, day(5)), LotLeft("B", 80, day(9))])

    assert [[(part.lot, part.grams) for part in batch.parts] for batch in plan.batches] == [[("A", 30)], [("B", 35)], [("B", 35)]]


def test_lots_are_mixed_sooner_than_a_batch_too_small_to_weigh():
    plan = plan_day(100, START, 50, [LotLeft("A", 10, day(5)), LotLeft("B", 95, day(9))], least=20)

    assert [[part.lot for part in batch.parts] for batch in plan.batches] == [["B"], ["A", "B"]]
    assert any("mix lots" in reason.text for reason in plan.reasons)


def test_what_no_lot_holds_is_short_with_its_reason():
    plan = plan_day(50, START, 40, [LotLeft("A", 20, day(5)), LotLeft("DEAD", 90, day(-1)), LotLeft("LATER", 90, day(9), day(1))])

    assert (plan.short, [batch.grams for batch in plan.batches]) == (30, [20])
    assert "30.000 g short: no lot usable on 2027-03-01 holds it" in plan.reasons[-1].text


def test_a_day_without_lots_is_all_short():
    plan = plan_day(50, START, 40, [])

    assert (plan.batches, plan.short) == ((), 50)


def test_largest_batch_reads_hours_as_they_are_written():
    assert largest_batch(1, 50, 0.3) == Decimal(15)
    assert largest_batch(2, 330, Fraction(1, 6)) == Decimal(110)  # a class B-1/6: no binary fraction
