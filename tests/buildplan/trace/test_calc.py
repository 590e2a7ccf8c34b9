"""The walk over the ledger, against every way in which the goods themselves may have gone; and what a notice says of a lot."""

from datetime import date
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.trace.calc import Certainty, LotFact, Move, Named, Verdict, Window, judge, of_use, route, walk
from inventory.shelflife.calc import StatedDate

SUPPLIER, SHELF, BENCH, USED, CUT, PASSED, COUNTED, SCRAPPED = range(8)
ENDS = {
    SUPPLIER: "supplier",
    SHELF: "storage",
    BENCH: "storage",
    USED: "used",
    CUT: "cut",
    PASSED: "passed",
    COUNTED: "counted",
    SCRAPPED: "scrapped",
}
A, B, X, Y, PART = range(5)
LOTS = {A: LotFact(1, True), B: LotFact(1, True), X: LotFact(1, False), Y: LotFact(1, False), PART: LotFact(2, True)}


class Ledger:
    """Lines one after the other, numbered as a ledger numbers them."""

    def __init__(self):
        self.moves = []

    def add(self, lot, source, target, quantity=1, ref=""):
        self.moves.append(Move(len(self.moves) + 1, lot, Decimal(quantity), source, target, ref))
        return self.moves[-1].id

    def came(self, lot, place=SHELF, quantity=10):
        return self.add(lot, SUPPLIER, place, quantity)

    def use(self, lot, place=SHELF, quantity=1):
        return self.add(lot, place, USED, quantity)

    def passed(self, lot, other, place=SHELF, quantity=1, ref="transfer:1"):
        self.add(lot, place, PASSED, quantity, ref)
        return self.add(other, PASSED, place, quantity, ref)

    def cut(self, lot, part, place=SHELF, count=4, ref="cut:1"):
        self.add(lot, place, CUT, 1, ref)
        return self.add(part, CUT, place, count, ref)

    def walk(self):
        return walk(self.moves, ENDS, LOTS)

    def went(self):
        """May and must of each use, in order."""
        return [(set(out.may), set(out.must)) for out in self.walk().outs]


@pytest.fixture
def ledger():
    return Ledger()


def test_a_coded_take_is_certain_though_others_lie_beside_it(ledger):
    ledger.came(A)
    ledger.came(X)
    ledger.use(A)

    assert ledger.went() == [({A}, {A})]


def test_a_take_without_a_code_may_be_any_that_lay_there(ledger):
    ledger.came(A)
    ledger.came(X)
    ledger.came(B, BENCH)
    ledger.use(X)

    assert ledger.went() == [({A, X}, set())]


def test_a_take_without_a_code_is_certain_where_nothing_else_lay(ledger):
    ledger.came(X)
    ledger.came(A, quantity=1)
    ledger.use(A)
    ledger.use(X)

    assert ledger.went()[1] == ({X}, {X})


def test_what_passed_on_is_of_both_benches(ledger):
    ledger.came(A)
    ledger.passed(A, B, quantity=4)
    ledger.use(B)

    assert ledger.went() == [({A, B}, {A, B})]


def test_what_the_taker_had_besides_makes_a_passing_possible_only(ledger):
    ledger.came(A)
    ledger.came(B)
    ledger.passed(A, B, quantity=4)
    ledger.use(B)

    assert ledger.went() == [({A, B}, {B})]


def test_what_the_taker_got_besides_later_makes_a_passing_possible_only(ledger):
    ledger.came(A)
    ledger.passed(A, B, quantity=4)
    ledger.use(B)
    ledger.came(B)
    ledger.use(B)

    assert ledger.went() == [({A, B}, {A, B}), ({A, B}, {B})]


def test_what_a_take_without_a_code_left_may_still_be_there_when_the_ledger_has_it_used_up(ledger):
    """Of A's thing, passed on to X, and B's one was taken as X: where it was B's, A's lies there still."""
    ledger.came(A, quantity=1)
    ledger.passed(A, X)
    ledger.came(B)
    ledger.use(X)
    ledger.came(X, quantity=1)
    ledger.use(X)

    assert ledger.went()[1] == ({A, B, X}, set())


def test_what_was_used_before_goods_passed_on_has_none_of_them(ledger):
    ledger.came(A)
    ledger.came(B)
    ledger.use(B)
    ledger.passed(A, B)

    assert ledger.went() == [({B}, {B})]


def test_what_was_used_up_before_goods_passed_on_is_not_among_them(ledger):
    ledger.came(A)
    ledger.came(B, quantity=1)
    ledger.use(B)
    ledger.passed(A, B)
    ledger.use(B)

    assert ledger.went()[1] == ({A, B}, {A, B})


def test_two_parts_of_one_lot_that_meet_again_are_certainly_of_it(ledger):
    ledger.came(A)
    ledger.passed(A, B, quantity=1, ref="transfer:1")
    ledger.passed(A, B, quantity=2, ref="transfer:2")
    ledger.use(B)

    assert ledger.went() == [({A, B}, {A, B})]


def test_a_piece_knows_its_mothers_lot(ledger):
    ledger.came(A)
    ledger.passed(A, B)
    ledger.cut(B, PART)
    ledger.use(PART)

    found = ledger.walk()
    assert (set(found.outs[0].may), set(found.outs[0].must)) == ({A, B, PART}, {A, B, PART})
    assert set(found.cuts["cut:1"].must) == {A, B}
    assert [(link.source, link.target, link.how) for link in route(found.links, A, PART, 99)] == [(A, B, "passed"), (B, PART, "cut")]


def test_goods_found_by_a_count_may_be_those_that_another_count_missed(ledger):
    """Before or after it: things are found in the wrong drawer before anybody misses them."""
    ledger.came(A)
    ledger.came(B, BENCH)
    ledger.add(B, COUNTED, BENCH, 2)
    ledger.use(B, BENCH)
    ledger.add(A, SHELF, COUNTED, 2)

    assert ledger.went()[0] == ({A, B}, {B})


def test_what_came_after_a_shortage_was_found_is_not_what_was_missed(ledger):
    ledger.came(A, quantity=1)
    ledger.add(A, SHELF, COUNTED, 1)
    ledger.came(B)
    ledger.passed(B, A, quantity=1)
    ledger.add(X, COUNTED, BENCH, 1)
    ledger.use(X, BENCH)

    assert ledger.went()[1] == ({A, X}, {X})


def test_goods_written_off_and_found_again_are_the_same_lots(ledger):
    ledger.came(A)
    ledger.passed(A, B, quantity=1)
    ledger.use(B)
    ledger.add(B, COUNTED, SHELF, 1)
    ledger.use(B)

    assert ledger.went()[1] == ({A, B}, {B})


def test_a_carry_without_a_code_takes_the_doubt_along(ledger):
    ledger.came(A)
    ledger.came(X)
    ledger.add(X, SHELF, BENCH, 3)
    ledger.use(X, BENCH)

    assert ledger.went() == [({A, X}, set())]


def test_each_line_that_leaves_is_told_once_and_the_rest_lies_there(ledger):
    ledger.came(A, quantity=10)
    ledger.use(A, quantity=3)
    ledger.add(A, SHELF, SCRAPPED, 2)

    found = ledger.walk()
    assert [(out.id, out.quantity) for out in found.outs] == [(2, 3), (3, 2)]
    assert found.held[A, SHELF].quantity == 5


# Every way in which the goods themselves may have gone


class Goods:
    """Each thing by itself: what it is of, and where it lies. `worlds` are all ways in which lines may have moved them."""

    def __init__(self):
        self.worlds = {()}  # each a sorted tuple of (lot it lies as, place, what it is of)

    def came(self, lot, place, count):
        self.worlds = {tuple(sorted([*world, *[(lot, place, (lot,))] * count])) for world in self.worlds}

    def taken(self, lot, place, count):
        """Each world with each choice of what was taken: of a lot without a code anything of its item that lies there."""
        item, coded = LOTS[lot]
        for world in self.worlds:
            there = [at for at, one in enumerate(world) if one[1] == place and (one[0] == lot or (not coded and LOTS[one[0]].item == item))]
            for chosen in combinations(there, count):
                yield tuple(one for at, one in enumerate(world) if at not in chosen), [world[at] for at in chosen]

    def gone(self, lot, place, count):
        """What may have been taken, as what the things are of; the worlds are those without it."""
        choices = list(self.taken(lot, place, count))
        self.worlds = {rest for rest, _ in choices}
        return [[set(one[2]) for one in took] for _, took in choices]

    def becomes(self, lot, place, count, *, new, target, times=1, part=True):
        """What is taken becomes `new` in `target`; where it is `part` of it for certain, its things are of `new` as well."""
        choices = list(self.taken(lot, place, count))
        self.worlds = set()
        for rest, took in choices:
            made = [(new, target, tuple(sorted({*one[2], new})) if part else one[2]) for one in took for _ in range(times)]
            self.worlds.add(tuple(sorted([*rest, *made])))


step = st.tuples(
    st.sampled_from(["came", "use", "use", "carry", "pass", "pass", "cut"]),
    st.integers(0, 3),
    st.integers(0, 3),
    st.sampled_from([False, False, False, True]),
    st.integers(1, 2),
)
first = st.lists(st.tuples(st.just("came"), st.integers(0, 3), st.just(0), st.just(False), st.integers(1, 2)), min_size=2, max_size=3)


@settings(max_examples=60)
@given(first, st.lists(step, min_size=3, max_size=14))
def test_every_thing_used_is_found_and_what_is_certain_holds_in_every_way_that_it_may_have_gone(begun, steps):
    ledger, goods, held, asked, came, cuts = Ledger(), Goods(), {}, [], 0, 0
    for what, lot, other, on_bench, count in [*begun, *steps]:
        place = BENCH if on_bench else SHELF
        there = held.get((lot, place), 0)
        if what == "came" and came + count <= 6:
            came += count
            ledger.came(lot, place, count)
            goods.came(lot, place, count)
            held[lot, place] = there + count
        elif what == "use" and there >= count:
            held[lot, place] -= count
            asked.append((ledger.use(lot, place, count), goods.gone(lot, place, count)))
        elif what == "carry" and there >= count:
            target = SHELF if on_bench else BENCH
            ledger.add(lot, place, target, count)
            goods.becomes(lot, place, count, new=lot, target=target, part=False)
            held[lot, place] -= count
            held[lot, target] = held.get((lot, target), 0) + count
        elif what == "pass" and there >= count and lot != other:
            ledger.passed(lot, other, place, count, ref=f"transfer:{len(ledger.moves)}")
            goods.becomes(lot, place, count, new=other, target=place)
            held[lot, place] -= count
            held[other, place] = held.get((other, place), 0) + count
        elif what == "cut" and there and cuts < 2:
            cuts += 1
            ledger.cut(lot, PART, place, count, ref=f"cut:{len(ledger.moves)}")
            goods.becomes(lot, place, 1, new=PART, target=place, times=count)
            held[lot, place] -= 1
            held[PART, place] = held.get((PART, place), 0) + count
    for part in (SHELF, BENCH):
        if count := held.get((PART, part)):
            held[PART, part] = 0
            asked.append((ledger.use(PART, part, count), goods.gone(PART, part, count)))

    found = ledger.walk()

    outs = {out.id: out for out in found.outs}
    assert sorted(outs) == [number for number, _ in asked]  # each once, and none besides
    assert {spot: parcel.quantity for spot, parcel in found.held.items()} == {spot: count for spot, count in held.items() if count}
    for number, ways in asked:
        things = [one for way in ways for one in way]
        assert things, "goods lay there in at least one way"
        assert set().union(*things) <= outs[number].may
        assert outs[number].must <= set.intersection(*things)


# Notices


JAN, MAR = date(2027, 1, 1), date(2027, 3, 31)


@pytest.mark.parametrize(
    ("named", "code", "made", "verdict", "says"),
    [
        (Named(), "", None, "affected", "whatever its lot"),
        (Named(("s-7",)), "S-7", None, "affected", "among those"),
        (Named(("S-7",)), "S-8", None, "not", "not among"),
        (Named(("S-7",)), "", None, "possibly", "no lot code"),
        (Named(("S-7",), JAN, MAR), "S-7", None, "affected", "among those"),
        (Named(("S-7",), JAN, MAR), "S-7", "2026-12-01", "possibly", "ask the maker"),
        (Named(("S-7",), JAN, MAR), "", "2026-12-01", "not", "outside"),
        (Named((), JAN, MAR), "S-7", "2027-02", "affected", "within"),
        (Named((), JAN, MAR), "S-7", "1Q27", "affected", "within"),
        (Named((), JAN, date(2027, 3, 30)), "", "1Q27", "possibly", "partly"),
        (Named((), JAN, MAR), "", "2027-04-01", "not", "outside"),
        (Named((), JAN, None), "", "2027-04-01", "affected", "within"),
        (Named((), JAN, MAR), "S-7", None, "possibly", "nobody knows when it was made"),
    ],
)
def test_a_notice_says_of_a_lot_what_is_known_and_guesses_nothing(named, code, made, verdict, says):
    found = judge(named, code, StatedDate.parse(made) if made else None, [])

    assert found.verdict == verdict
    assert says in " ".join(reason.text for reason in found.reasons)


@pytest.mark.parametrize(
    ("windows", "verdict"),
    [
        ([], "possibly"),
        ([(None, date(2026, 12, 31))], "not"),
        ([(None, date(2027, 2, 1))], "possibly"),
        ([(date(2027, 1, 5), date(2027, 2, 1))], "affected"),
        ([(date(2027, 4, 1), None)], "not"),
        ([(None, date(2026, 12, 31)), (date(2027, 1, 5), date(2027, 2, 1))], "possibly"),
    ],
)
def test_when_something_was_packed_is_known_only_within_days(windows, verdict):
    found = judge(Named(packed_from=JAN, packed_to=MAR), "S-7", None, [Window(*days, "the crate") for days in windows])

    assert found.verdict == verdict
    assert found.reasons


def test_a_use_is_affected_only_where_lot_and_trace_are_sure():
    assert of_use(Verdict.AFFECTED, Certainty.CERTAIN) == Verdict.AFFECTED
    assert of_use(Verdict.AFFECTED, Certainty.POSSIBLE) == of_use(Verdict.POSSIBLY, Certainty.CERTAIN) == Verdict.POSSIBLY
    assert of_use(Verdict.NOT, Certainty.CERTAIN) == of_use(Verdict.AFFECTED, Certainty.NOT) == Verdict.NOT
