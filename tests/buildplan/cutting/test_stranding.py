"""Stranding against every way to cut small cases."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.cutting.stranding import Material, Need, Saw, holds, stranding
from tests.buildplan.cutting.brute import most_pieces

BAR = Saw("bar", Fraction(0))


def rest(needs, now):
    return [need.length for need in needs for _ in range(need.count - now.get(need.key, 0))]


@settings(max_examples=40)
@given(
    lengths=st.lists(st.tuples(st.integers(2, 9), st.integers(1, 3)), min_size=1, max_size=3),
    bars=st.lists(st.integers(6, 18), min_size=1, max_size=4),
    data=st.data(),
)
def test_lost_pieces_are_those_that_every_way_loses(lengths, bars, data):
    needs = [Need(at, f"W-{at}", count, length=Fraction(length)) for at, (length, count) in enumerate(lengths)]
    stock = [Material(at, f"lot {at}", 1, whole=False, length=Fraction(bar)) for at, bar in enumerate(bars)]
    now = {need.key: data.draw(st.integers(0, need.count)) for need in needs}
    used = data.draw(st.sampled_from(stock))
    if not any(now.values()) or not holds(used, needs, now, {}, BAR):
        return
    found = stranding(needs, stock, used.key, now, {}, BAR)
    wanted = rest(needs, {})
    before, _ = most_pieces(wanted, bars)
    left = [bar for at, bar in enumerate(bars) if at != used.key]
    offcut = used.length - sum(need.length * now[need.key] for need in needs)
    after, _ = most_pieces(rest(needs, now), [*left, offcut])
    assert found.lost == before - (after + sum(now.values()))
    assert sum(missing for _, missing, _ in found.pieces) == found.lost
    if found.instead is not None:
        again = stranding(needs, stock, found.instead.key, now, {}, BAR)
        assert again.lost < found.lost


def test_half_of_a_blank_that_stays_strands_nobody():
    needs = [Need(1, "W-31", 2, 4, "A", code="X"), Need(2, "W-31 later", 2, 4, "A", code="X")]
    stock = [Material(7, "lot B", 1, whole=True)]
    assert stranding(needs, stock, 7, {1: 2}, {}, Saw("sheet", Fraction(0))).lost == 0


def test_unlike_pieces_from_the_last_blank_are_named_and_the_blank_that_does_better():
    needs = [Need(1, "W-31", 6, 6, "A", code="A"), Need(2, "R-2", 1, length=Fraction(100), width=Fraction(50))]
    blank = Material(7, "lot B", 1, whole=True, length=Fraction(600), width=Fraction(400))
    offcut = Material(8, "the offcut of lot A", 1, whole=False, length=Fraction(120), width=Fraction(60))
    found = stranding(needs, [blank, offcut], 7, {2: 1}, {}, Saw("sheet", Fraction(0)))
    assert found.text == "this cut leaves 6 of the 6 pieces of W-31 without material; cut it from the offcut of lot A instead"
    assert stranding(needs, [blank, offcut], 8, {2: 1}, {}, Saw("sheet", Fraction(0))).text == ""
    alone = stranding(needs, [blank], 7, {2: 1}, {}, Saw("sheet", Fraction(0)))
    assert alone.text.endswith("5 of the 6 pieces of W-31 without material; no other blank or offcut here would do better")


def test_promised_pieces_are_not_missing():
    needs = [Need(1, "now", 1, length=Fraction(4)), Need(2, "later", 2, length=Fraction(3))]
    stock = [Material(7, "lot B", 1, whole=True, length=Fraction(10))]
    assert stranding(needs, stock, 7, {1: 1}, {2: 2}, BAR).lost == 0
