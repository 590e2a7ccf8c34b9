"""Netting by hand-made cases, and against a maximum flow."""

from datetime import date, timedelta
from decimal import Decimal

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.shortfall.calc import ItemFacts, Need, Supply, Why, net, to_buy
from inventory.shelflife.calc import Limit
from inventory.stock.calc import LifeRule

AS_OF = date(2027, 2, 20)
FIRST = date(2027, 3, 1)


def day(offset):
    return FIRST + timedelta(days=offset)


def item(*, min_life_days=0, **changes):
    facts = ItemFacts(1, "SEAL-B2", "sealant", "g", False, None, None, LifeRule(9, None, min_life_days, timed=True))
    return facts._replace(**changes)


def need(offset, quantity, step=1, until=None):
    return Need(day(offset), (0, step), step, f"S{step}", Decimal(quantity), "as planned", "", f"call-out {step}", until)


def lot(quantity, last=None, key=1, code="", **more):
    ending = None if last is None else Limit("expires", day(last), f"expires {day(last)}, as printed")
    return Supply(key, code or f"L{key}", Decimal(quantity), None, ending, **more)


def crate(quantity, due=None, last=None, key=-1):
    ending = None if last is None else Limit("expires", day(last), "expires, as printed")
    blocked = Why.LATE if due is None else None
    return Supply(key, "", Decimal(quantity), None if due is None else day(due), ending, blocked, crate=f"C{-key}")


def line(needs, supplies, **changes):
    return net(item(**changes), needs, supplies, as_of=AS_OF, receiving_days=3)


def figures(found):
    return tuple(map(int, (found.needed, found.usable, found.in_transit, found.short)))


def unusable(found):
    return {why.value: int(quantity) for why, quantity in found.unusable}


def test_net_takes_what_is_there():
    assert figures(line([need(0, 5)], [lot(8)])) == (5, 5, 0, 0)


def test_net_skips_lot_that_expires_the_day_before():
    found = line([need(1, 5)], [lot(8, last=0)])
    assert figures(found) == (5, 0, 0, 5)
    assert unusable(found) == {"expired": 8}


def test_net_takes_lot_that_expires_on_the_day():
    assert figures(line([need(1, 5)], [lot(8, last=1)])) == (5, 5, 0, 0)


def test_net_asks_for_the_smallest_remaining_life():
    assert figures(line([need(0, 5)], [lot(8, last=6)], min_life_days=7)) == (5, 0, 0, 5)
    assert figures(line([need(0, 5)], [lot(8, last=7)], min_life_days=7)) == (5, 5, 0, 0)


def test_net_takes_first_expired_first():
    found = line([need(0, 5)], [lot(5, last=9, key=1), lot(5, last=3, key=2)])
    assert [supply.key for _, supply, _ in found.served] == [2]


def test_net_prefers_on_hand_then_earlier_due_then_lot_code():
    supplies = [crate(1, due=-2, key=-1), crate(1, due=-3, key=-2), lot(1, key=1, code="B"), lot(1, key=2, code="A")]
    found = line([need(0, 4)], supplies)
    assert [supply.key for _, supply, _ in found.served] == [2, 1, -2, -1]


def test_net_counts_crate_due_on_the_day():
    assert figures(line([need(0, 5)], [crate(5, due=0)])) == (5, 0, 5, 0)


def test_net_lists_crate_due_after_the_first_short_day_as_late():
    found = line([need(0, 5)], [crate(5, due=1)])
    assert figures(found) == (5, 0, 0, 5)
    assert unusable(found) == {"late": 5}


def test_net_crate_due_later_serves_a_later_need():
    found = line([need(0, 5, 1), need(2, 3, 2)], [crate(5, due=1)])
    assert figures(found) == (8, 0, 3, 5)
    assert unusable(found) == {"late": 2}


def test_net_lists_crate_without_due_day_as_late_though_nothing_is_short():
    assert unusable(line([need(0, 5)], [lot(5), crate(7)])) == {"late": 7}


def test_net_lists_expired_leftovers_though_nothing_is_short():
    found = line([need(0, 5), need(5, 1, 2)], [lot(9, last=2, key=1), lot(1, key=2)])
    assert figures(found) == (6, 6, 0, 0)
    assert unusable(found) == {"expired": 4}


def test_net_lists_other_reasons_with_their_quantity():
    blocked = [lot(at + 1, key=at, blocked=why) for at, why in enumerate((Why.QUARANTINED, Why.DISPUTED, Why.FAILED, Why.UNKNOWN_LIFE))]
    found = line([need(0, 5)], [*blocked, lot(9, last=4, key=8, blocked=Why.OTHER_BENCH)])
    assert unusable(found) == {"quarantined": 1, "disputed": 2, "failed": 3, "unknown_life": 4, "other_bench": 9}
    assert found.short == 5


def test_net_does_not_list_another_bench_s_dead_lot():
    assert unusable(line([need(5, 5)], [lot(9, last=4, blocked=Why.OTHER_BENCH)])) == {}


def test_net_serves_what_is_set_aside_to_that_step_alone():
    found = line([need(0, 5, 1), need(1, 5, 2)], [lot(8, aside=((2, Decimal(4)),))])
    assert figures(found) == (10, 8, 0, 2)
    assert [(need.step, int(quantity)) for need, _, quantity in found.served] == [(1, 4), (2, 4)]


def test_net_lists_what_is_set_aside_for_a_step_outside_the_demand():
    found = line([need(0, 5, 1)], [lot(8, aside=((7, Decimal(6)),))])
    assert figures(found) == (5, 2, 0, 3)
    assert unusable(found) == {"set_aside": 6}


def test_net_clamps_what_is_set_aside_to_what_a_count_left():
    assert figures(line([need(0, 5, 1)], [lot(3, aside=((1, Decimal(9)),))])) == (5, 3, 0, 2)


def test_net_orders_by_lead_time_and_receiving_allowance():
    found = line([need(5, 1)], [], lead_days=5)
    assert found.first_short == date(2027, 3, 6)
    assert found.order_by == date(2027, 2, 26)


def test_net_without_lead_time_has_no_order_by_day():
    assert line([need(5, 1)], []).order_by is None


@pytest.mark.parametrize(
    ("short", "pack", "buy", "packs"),
    [("128", "100", "200", 2), ("100", "100", "100", 1), ("0", "100", "0", 0), ("5", None, "5", None), ("1.3", "0.5", "1.5", 3)],
)
def test_buy_rounds_up_to_whole_packs(short, pack, buy, packs):
    assert to_buy(Decimal(short), pack and Decimal(pack)) == (Decimal(buy), packs)


def test_returned_thing_needs_the_peak_of_one_day():
    found = line([need(0, 30, 1), need(0, 20, 2), need(3, 40, 3)], [lot(45)], returned=True)
    assert figures(found) == (50, 45, 0, 5)
    assert found.first_short == day(0)
    assert found.steps == ("S1", "S2", "S3")


def test_returned_thing_is_held_through_its_span():
    found = line([need(0, 30, 1, until=day(4)), need(4, 20, 2), need(5, 40, 3)], [lot(45)], returned=True)
    assert figures(found) == (50, 45, 0, 5)
    assert found.first_short == day(4)


def test_returned_thing_counts_a_crate_from_its_due_day():
    found = line([need(0, 30, 1), need(4, 50, 2)], [lot(30), crate(20, due=3)], returned=True)
    assert figures(found) == (50, 30, 20, 0)


def test_returned_thing_short_only_until_a_crate_comes():
    found = line([need(0, 40, 1), need(4, 50, 2)], [lot(30), crate(20, due=3)], returned=True)
    assert figures(found) == (50, 30, 10, 10)


def _flow(needs, supplies):
    """What a maximum flow can serve: from each lot's free part to any need it reaches, from a set-aside to its own step alone."""
    graph = nx.DiGraph()
    graph.add_nodes_from(("source", "sink"))
    for at, one in enumerate(needs):
        graph.add_edge(("need", at), "sink", capacity=int(one.quantity))
    for supply in supplies:
        parts = [(step, int(quantity)) for step, quantity in supply.aside]
        for step, quantity in [*parts, (None, int(supply.quantity) - sum(quantity for _, quantity in parts))]:
            part = (supply.key, step)
            graph.add_edge("source", part, capacity=quantity)
            for at, one in enumerate(needs):
                alive = supply.ending is None or supply.ending.last_day >= one.day
                here = supply.ready is None or supply.ready <= one.day
                if alive and here and step in {None, one.step} and supply.blocked is None:
                    graph.add_edge(part, ("need", at))
    return nx.maximum_flow_value(graph, "source", "sink")


@st.composite
def lots(draw, key):
    aside = draw(st.lists(st.tuples(st.integers(1, 6), st.integers(1, 4)), max_size=3, unique_by=lambda pair: pair[0]))
    quantity = sum(held for _, held in aside) + draw(st.integers(0, 9))
    last = draw(st.none() | st.integers(0, 12))
    ready = draw(st.none() | st.integers(0, 12))
    return Supply(
        key if ready is None else -key,
        draw(st.sampled_from("AB")),
        Decimal(quantity),
        None if ready is None else day(ready),
        None if last is None else Limit("expires", day(last), "printed"),
        draw(st.sampled_from([None, None, None, Why.QUARANTINED, Why.OTHER_BENCH])),
        tuple((step, Decimal(held)) for step, held in aside),
        crate="" if ready is None else "C",
    )


@st.composite
def cases(draw):
    needs = [need(draw(st.integers(0, 12)), draw(st.integers(1, 9)), step) for step in range(1, draw(st.integers(1, 6)) + 1)]
    return needs, [draw(lots(key)) for key in range(1, draw(st.integers(0, 6)) + 1)]


@given(cases())
def test_net_serves_as_much_as_a_maximum_flow(case):
    needs, supplies = case
    found = line(needs, supplies)
    assert found.needed - found.short == _flow(needs, supplies)


@given(cases())
def test_net_balances_and_overdraws_no_lot(case):
    needs, supplies = case
    found = line(needs, supplies)
    assert found.needed == found.usable + found.in_transit + found.short
    for supply in supplies:
        assert sum(quantity for _, taken, quantity in found.served if taken is supply) <= supply.quantity
    for served, supply, _ in found.served:
        assert supply.ending is None or supply.ending.last_day >= served.day


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 4), st.integers(1, 9)), min_size=1, max_size=8), st.integers(0, 30))
def test_returned_thing_equals_a_count_day_by_day(spans, have):
    needs = [need(start, quantity, step, until=day(start + length)) for step, (start, length, quantity) in enumerate(spans, 1)]
    held = [sum(quantity for start, length, quantity in spans if start <= at <= start + length) for at in range(15)]
    found = line(needs, [lot(have)] if have else [], returned=True)
    assert found.needed == max(held)
    assert found.short == max(0, max(held) - have)
    assert found.first_short == next((day(at) for at, count in enumerate(held) if count > have), None)
