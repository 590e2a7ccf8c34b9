"""The smallest change against trying everything: each move by planning anew, each day reckoned by a maximum flow."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import networkx as nx
from hypothesis import event, given, settings
from hypothesis import strategies as st

from buildplan.club import calc, changes, days
from buildplan.club.changes import Borrow, Move, Widen, Wider
from buildplan.shortfall.demand import StepFacts, all_days

TODAY = date(2027, 2, 20)
REACH = 3
DAY = TODAY + timedelta(days=3)
ALL = [TODAY + timedelta(days=at) for at in range(7)]
BENCHES = (0, 1)


@dataclass(frozen=True)
class Club:
    """Two benches with a project each. `wants` are (step, item, quantity, what takes it off, row)."""

    steps: tuple
    pairs: tuple
    wants: tuple
    pieces: tuple
    grants: tuple
    wider: tuple

    def holds(self):
        """What every step holds when, as demand has it."""
        found = all_days(self.steps, self.pairs, undated=False, as_of=TODAY)
        for step, item, quantity, frees, row in self.wants:
            if step not in found:
                continue
            first = found[step].day
            last = first if frees is None else max(first, found[frees].day) if frees in found else date.max
            yield calc.Hold(item, step % 2, (step % 2, step), step, Decimal(quantity), first, last, row=row, frees=frees)

    def scene(self):
        supply = calc.Supply(grouped(self.pieces), grouped(self.grants))
        order = days.order(self.pairs)
        planned = sorted((step.planned, step.id) for step in self.steps if step.planned is not None and not step.done)
        found = days.given([(pk, day) for day, pk in planned], order.afters)
        plans = {step.id: days.Plan(step.planned, step.done) for step in self.steps}
        orders = {step.id: (step.id % 2, step.id) for step in self.steps}
        given_days = days.Days(order, found, plans, TODAY)
        return changes.Scene(DAY, TODAY, tuple(self.holds()), supply, given_days, orders, self.wider, BENCHES, reach=REACH)

    def moved(self, step, to):
        anew = tuple(one._replace(planned=to) if one.id == step else one for one in self.steps)
        return Club(anew, self.pairs, self.wants, self.pieces, self.grants, self.wider)

    def widened(self, one):
        wants = tuple((*want[:2], want[2] - int(one.freed), *want[3:]) if want[4] == one.row else want for want in self.wants)
        return Club(self.steps, self.pairs, wants, self.pieces, self.grants, self.wider)

    def lent(self, item, giver, taker, quantity):
        grant = calc.Grant(item, Decimal(quantity), taker, giver, None, DAY, DAY, lent=True, who="")
        return Club(self.steps, self.pairs, self.wants, self.pieces, (*self.grants, grant), self.wider)


def grouped(rows):
    found = defaultdict(list)
    for row in rows:
        found[row.item].append(row)
    return found


def missing(club, item, day):
    """What no piece is there for, by a maximum flow from pieces to benches' needs."""
    graph = nx.DiGraph()
    graph.add_nodes_from(["pieces", "needs"])
    for bench in BENCHES:
        need = sum(hold.quantity for hold in club.holds() if hold.item == item and hold.bench == bench and hold.first <= day <= hold.last)
        graph.add_edge(("bench", bench), "needs", capacity=int(need))
        own = sum(piece.quantity for piece in club.pieces if piece.item == item and piece.bench == bench)
        own -= sum(one.quantity for one in club.grants if one.item == item and one.giver == bench and one.on(day))
        graph.add_edge("pieces", ("own", bench), capacity=int(max(own, 0)))
        graph.add_edge(("own", bench), ("bench", bench))
        graph.add_edge("pool", ("bench", bench))
    pool = sum(piece.quantity for piece in club.pieces if piece.item == item and piece.bench is None)
    for one in sorted((one for one in club.grants if one.item == item and one.on(day)), key=lambda one: not one.lent):
        kept = one.quantity if one.giver is not None else min(one.quantity, pool)
        pool -= kept if one.giver is None else 0
        graph.add_edge("pieces", ("kept", id(one)), capacity=int(kept))
        graph.add_edge(("kept", id(one)), ("bench", one.bench))
    graph.add_edge("pieces", "pool", capacity=int(pool))
    need = sum(data["capacity"] for _, _, data in graph.in_edges("needs", data=True))
    return need - nx.maximum_flow_value(graph, "pieces", "needs")


def state(club):
    return {(item, day): missing(club, item, day) for item in (0, 1) for day in ALL}


def fits(club, before):
    after = state(club)
    return not any(after[item, DAY] for item in (0, 1)) and all(after[place] <= before[place] for place in after)


def holds_together(club, step, to):
    """Nothing that the step comes after is planned later, nothing that waits for it earlier."""
    found = all_days(club.steps, club.pairs, undated=False, as_of=TODAY)
    by_id = {one.id: one for one in club.steps}
    asks = reckoned_asks(club)
    if to > found[step].day:
        return all(asks[waiter] is None or asks[waiter] >= to for waiter, after in club.pairs if after == step)
    left, seen = [after for waiter, after in club.pairs if waiter == step], set()
    while left:
        at = left.pop()
        if at in seen:
            continue
        seen.add(at)
        if by_id[at].done or by_id[at].planned is None:
            left += [after for waiter, after in club.pairs if waiter == at]
        elif by_id[at].planned > to:
            return False
    return True


def reckoned_asks(club):
    """The day by which each step wants those that it comes after, done ones looked through."""
    asks = {}
    for step in sorted(club.steps, key=lambda one: -one.id):  # those that wait stand behind
        known = [asks[waiter] for waiter, after in club.pairs if after == step.id]
        if not step.done and step.planned is not None:
            known.append(step.planned)
        asks[step.id] = min((day for day in known if day is not None), default=None)
    return asks


def every_move(club, before):
    """Each step's nearest day on which the whole day fits, found by planning anew."""
    found = all_days(club.steps, club.pairs, undated=False, as_of=TODAY)
    for step, given_day in found.items():
        if given_day.day != DAY:
            continue
        for to in sorted((day for day in ALL if day != DAY), key=lambda day: (abs((day - DAY).days), day < DAY)):
            after = all_days(club.moved(step, to).steps, club.pairs, undated=False, as_of=TODAY)
            if holds_together(club, step, to) and after[step].day == to and fits(club.moved(step, to), before):
                yield step, to
                break


@st.composite
def clubs(draw):
    """Small clubs that want about as much as there is."""
    count = draw(st.integers(3, 6))
    planned = st.sampled_from([DAY] * 6 + [ALL[1], ALL[4], ALL[6], None])
    steps = tuple(StepFacts(at, f"S{at}", (0, at), draw(planned), draw(st.integers(0, 9)) == 9) for at in range(count))
    pairs = tuple((at, at - 2) for at in range(2, count) if draw(st.booleans()))
    wants, wider = [], []
    for row in range(draw(st.integers(3, 7))):
        step, item = draw(st.integers(0, count - 1)), int(draw(st.integers(0, 4)) == 4)
        later = [at for at in range(step + 2, count, 2) if not steps[at].done]
        frees = draw(st.sampled_from([None, None, *later])) if not steps[step].done else None
        quantity = draw(st.integers(1, 2))
        wants.append((step, item, quantity, frees, row))
        if frees is None and quantity > 1 and draw(st.booleans()):
            wider.append(Wider(row, step, item, 2, 3, "fit_up", Decimal(draw(st.integers(1, quantity - 1)))))
    pieces = tuple(calc.Piece(item, bench, Decimal(draw(st.integers(1, 2)))) for item in (0, 1) for bench in (None, 0, 1))
    grants = []
    for _ in range(draw(st.integers(0, 2))):
        item, bench = draw(st.integers(0, 1)), draw(st.sampled_from(BENCHES))
        first = draw(st.sampled_from(ALL))
        grants.append(calc.Grant(item, Decimal(1), bench, None, None, first, first + timedelta(days=2), draw(st.booleans()), ""))
    lent = defaultdict(Decimal)
    kept = []
    for one in grants:  # nobody lends more than there is
        there = sum(piece.quantity for piece in pieces if piece.item == one.item and piece.bench is None)
        if lent[one.item] < there:
            lent[one.item] += 1
            kept.append(one)
    on_day = all_days(steps, pairs, undated=False, as_of=TODAY)
    wider = [one for one in wider if one.step in on_day and on_day[one.step].day == DAY]
    return Club(steps, pairs, tuple(wants), pieces, tuple(kept), tuple(wider))


@settings(max_examples=60)
@given(clubs())
def test_single_changes_are_all_that_trying_everything_finds(club):
    before = state(club)
    found = changes.find(club.scene())
    single = [one for (one,) in found] if found and len(found[0]) == 1 else []
    if not any(before[item, DAY] for item in (0, 1)):
        event("fits as it is")
        assert found == ()
        return

    moves = {(one.step, one.to) for one in single if isinstance(one, Move)}
    rows = {one.row for one in single if isinstance(one, Widen)}
    givers = {one.giver for one in single if isinstance(one, Borrow)}
    event(f"{len(moves)} moves, {len(rows)} rows, {len(givers)} givers, {len(found)} in all")

    assert moves == set(every_move(club, before))
    assert rows == {one.row for one in club.wider if fits(club.widened(one), before)}
    assert givers == {giver for giver in BENCHES if fits(all_lent(club, giver, before), before)}
    assert [kind(one) for one in single] == sorted(kind(one) for one in single)
    distances = [one.days for one in single if isinstance(one, Move)]
    assert distances == sorted(distances)


def all_lent(club, giver, before):
    """The club once a bench lent the other all that is missing there, as far as its own reaches."""
    taker = 1 - giver
    for item in (0, 1):
        own = sum(piece.quantity for piece in club.pieces if piece.item == item and piece.bench == giver)
        need = sum(hold.quantity for hold in club.holds() if hold.item == item and hold.bench == giver and hold.first <= DAY <= hold.last)
        spare = int(min(max(own - need, 0), before[item, DAY]))
        if spare:
            club = club.lent(item, giver, taker, spare)
    return club


def kind(change):
    return [Move, Widen, Borrow].index(type(change))


@settings(max_examples=60)
@given(clubs())
def test_two_changes_together_do_what_no_single_one_does(club):
    found = changes.find(club.scene())
    if not found or len(found[0]) == 1:
        return
    before = state(club)
    after = club
    for one in found[0]:
        if isinstance(one, Move):
            after = after.moved(one.step, one.to)
        elif isinstance(one, Widen):
            after = after.widened(one)
        else:
            for item, taker, quantity in one.taken:
                after = after.lent(item, one.giver, taker, quantity)

    assert len(found) == 1
    assert fits(after, before)


def want(step, item, quantity):
    return step, item, quantity, None, None


def test_the_step_served_last_gives_way_and_a_later_day_comes_before_an_earlier_one():
    steps = tuple(StepFacts(at, f"S{at}", (0, at), DAY, done=False) for at in (0, 1))
    club = Club(steps, (), (want(0, 0, 1), want(1, 0, 1)), (calc.Piece(0, None, Decimal(1)),), (), ())

    (first,), (second,) = changes.find(club.scene())
    assert (first.step, first.to) == (1, DAY + timedelta(days=1))
    assert second.step == 0


def test_what_was_promised_to_one_serves_no_other_so_that_only_who_lacks_it_can_go():
    steps = tuple(StepFacts(at, f"S{at}", (0, at), DAY, done=False) for at in (0, 1))
    grant = calc.Grant(0, Decimal(1), 1, None, 1, DAY, DAY, lent=False, who="Wren")
    club = Club(steps, (), (want(0, 0, 1), want(1, 0, 1)), (calc.Piece(0, None, Decimal(1)),), (grant,), ())

    assert [one.step for (one,) in changes.find(club.scene())] == [0]


def test_nothing_is_proposed_where_neither_one_nor_two_changes_do():
    steps = tuple(StepFacts(at, f"S{at}", (0, at), DAY, done=False) for at in range(4))
    club = Club(steps, (), tuple(want(at, 0, 1) for at in range(4)), (), (), ())

    assert changes.find(club.scene()) == ()
