"""Pins held day by day against pins owned: by hand, and against counting each day by itself."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildplan.shortfall.calc import ItemFacts, Need, Supply, Why, net
from buildplan.shortfall.chart import BOTTOM, TOP, chart
from buildplan.shortfall.pins import pins, stretches, way_out, why
from inventory.shelflife.calc import Limit
from inventory.stock.calc import LifeRule

AS_OF = date(2027, 3, 1)
CLECO = ItemFacts(1, "CLECO-3", "Cleco", "ea", True, None, 5, LifeRule())


def day(offset):
    return AS_OF + timedelta(days=offset)


def need(first, last, quantity, step=1):
    until = None if last is None else date.max if last == "open" else day(last)
    return Need(day(first), (0, step), step, f"S{step}", Decimal(quantity), "as planned", "", f"row {step}", until)


def owned(quantity, key=1, **more):
    return Supply(key, f"L{key}", Decimal(quantity), None, None, **more)


def line(needs, supplies, item=CLECO):
    return net(item, needs, supplies, as_of=AS_OF, receiving_days=3)


def told(found):
    """Each stretch as (first, through, held, owned), days counted from AS_OF."""
    return [
        ((one.first - AS_OF).days, None if one.through is None else (one.through - AS_OF).days, int(one.held), int(one.owned))
        for one in found
    ]


def test_stretches_run_from_the_day_asked_to_the_last_day_held():
    found = stretches(line([need(2, 3, 5), need(6, 6, 7, step=2)], [owned(9)]))
    assert told(found) == [(0, 1, 0, 9), (2, 3, 5, 9), (4, 5, 0, 9), (6, 6, 7, 9)]
    assert all(one.holders == () and not one.lacking for one in found)


def test_stretch_without_a_known_end_is_open():
    assert told(stretches(line([need(2, "open", 5)], [owned(9)]))) == [(0, 1, 0, 9), (2, None, 5, 9)]


def test_pool_grows_on_the_day_a_crate_is_due():
    crate = Supply(-1, "", Decimal(4), day(3), None, crate="C1")
    assert told(stretches(line([need(1, 4, 5)], [owned(3), crate]))) == [(0, 0, 0, 3), (1, 2, 5, 3), (3, 4, 5, 7)]


def test_what_is_quarantined_or_another_bench_s_is_not_owned():
    blocked = [owned(50, key=2, blocked=Why.QUARANTINED), owned(50, key=3, blocked=Why.OTHER_BENCH)]
    assert told(stretches(line([need(0, 0, 5)], [owned(3), *blocked]))) == [(0, 0, 5, 3)]


def test_over_the_pool_names_who_competes_the_largest_first():
    (found,) = stretches(line([need(0, 0, 4, step=1), need(0, 0, 9, step=2), need(0, 0, 4, step=3)], [owned(10)]))
    assert found.lacking == 7
    assert [(one.label, int(one.held), one.alone) for one in found.holders] == [("S2", 9, True), ("S1", 4, False), ("S3", 4, False)]


def test_rows_of_one_step_count_as_one_holder():
    (found,) = stretches(line([need(0, 0, 4), need(0, 0, 5)], [owned(8)]))
    assert [(one.label, int(one.held)) for one in found.holders] == [("S1", 9)]


def test_way_out_is_one_step_elsewhere_where_that_is_enough():
    (found,) = stretches(line([need(0, 0, 9, step=1), need(0, 0, 8, step=2)], [owned(10)]))
    assert way_out(found) == "it fits if S1 or S2 alone is on other days, or holds 7 less"


def test_way_out_is_more_than_one_step_where_none_alone_is_enough():
    (found,) = stretches(line([need(0, 0, 4, step=step) for step in (1, 2, 3)], [owned(5)]))
    assert way_out(found) == "no single step's absence is enough: free 7 over several steps, or space rows wider"


def test_why_gives_days_figures_and_way_out_with_source():
    (found,) = pins([line([need(0, 1, 9, step=1), need(0, 1, 8, step=2)], [owned(10)])])
    (reason,) = why(found)
    assert reason.text.startswith("from 2027-03-01 through 2027-03-02: 17 ea held by S1 (9), S2 (8); 10 there, 7 lacking; it fits if S1")
    assert reason.source == "held at once, day by day: things that come back"


def test_pins_leave_out_what_is_used_up_and_put_what_lacks_first():
    rivet = CLECO._replace(id=2, code="A-RIVET", returned=False)
    first, second, fits = (CLECO._replace(id=at, code=code) for at, code in ((3, "Z-SHORT"), (4, "Y-SHORT"), (5, "A-FITS")))
    lines = [
        line([need(0, None, 5)], [], rivet),
        line([need(0, None, 5)], [owned(9)], fits),
        line([need(2, None, 5)], [], second),
        line([need(1, None, 5)], [], first),
    ]
    assert [one.line.item.code for one in pins(lines)] == ["Z-SHORT", "Y-SHORT", "A-FITS"]


spans = st.lists(
    st.tuples(st.integers(0, 12), st.integers(0, 6) | st.none(), st.integers(1, 9), st.integers(1, 4)), min_size=1, max_size=12
)
pools = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 12) | st.none(), st.integers(1, 14) | st.none()), max_size=4)


def _needs(given_spans):
    rows = [need(first, None if long is None else first + long, count, step) for first, long, count, step in given_spans]
    return [row._replace(source=f"row {at}") for at, row in enumerate(rows)]  # as in a plan: no two rows of one code


def _supply(key, quantity, due, last):
    ending = None if last is None else Limit("expires", day(last), "as printed")
    return Supply(key, f"L{key}", Decimal(quantity), None if due is None else day(due), ending, crate="" if due is None else f"C{key}")


def _by_counting(needs, supplies, on):
    """What a person with a calendar would write down for one day."""
    held = {}
    for one in needs:
        if one.day <= on <= one.through:
            held[one.label] = held.get(one.label, 0) + one.quantity
    there = sum(
        one.quantity
        for one in supplies
        if one.quantity and (one.ready is None or one.ready <= on) and (one.ending is None or one.ending.last_day >= on)
    )
    return held, there


@given(spans, pools)
def test_stretches_say_of_each_day_what_counting_it_says(given_spans, given_pools):
    needs = _needs(given_spans)
    supplies = [_supply(key, *one) for key, one in enumerate(given_pools, start=1)]
    found = line(needs, supplies)
    told_days = {}
    for one in stretches(found):
        assert one.through is not None
        for offset in range((one.through - one.first).days + 1):
            told_days[one.first + timedelta(offset)] = one

    last = max(one.through for one in needs)
    assert sorted(told_days) == [day(offset) for offset in range((last - AS_OF).days + 1)]
    for on, told_day in told_days.items():
        held, there = _by_counting(needs, supplies, on)
        total = sum(held.values())
        assert (told_day.held, told_day.owned, told_day.lacking) == (total, there, max(0, total - there))
        if total > there:
            assert {one.label: one.held for one in told_day.holders} == held
            assert all(one.alone == (total - one.held <= there) for one in told_day.holders)
        else:
            assert told_day.holders == ()
    assert max(one.lacking for one in told_days.values()) == found.short
    assert max(one.held for one in told_days.values()) == found.needed


@given(spans, pools)
def test_chart_stays_within_its_frame_and_leaves_no_gap(given_spans, given_pools):
    needs = _needs(given_spans)
    found = stretches(line(needs, [_supply(key, *one) for key, one in enumerate(given_pools, start=1)]))
    picture = chart(found)
    assert len(picture.bars) == len(found)
    at = 0.0
    for bar, one in zip(picture.bars, found, strict=True):
        assert float(bar.x.removesuffix("%")) == pytest.approx(at, abs=0.01)
        at += float(bar.width.removesuffix("%"))
        assert TOP <= float(bar.top) <= BOTTOM
        assert float(bar.top) + float(bar.height) == pytest.approx(BOTTOM, abs=0.11)
        assert bool(bar.over) == bool(one.lacking)
    assert at == pytest.approx(100, abs=0.1)
    assert all(TOP <= float(level.y) <= BOTTOM for level in picture.levels)


def test_chart_draws_one_line_while_as_much_is_owned():
    crate = Supply(-1, "", Decimal(4), day(3), None, crate="C1")
    picture = chart(stretches(line([need(1, 1, 2), need(2, 4, 3)], [owned(3), crate])))
    assert [(level.x, level.end) for level in picture.levels] == [("0.000%", "60.000%"), ("60.000%", "100.000%")]


@pytest.mark.parametrize(("last", "days"), [(0, [0]), (1, [0, 1]), (2, [0, 1, 2]), (9, [0, 4, 9])])
def test_chart_names_as_many_days_as_it_has_room_for(last, days):
    picture = chart(stretches(line([need(0, last, 2)], [owned(3)])))
    assert [(tick.day - AS_OF).days for tick in picture.ticks] == days


def test_chart_of_what_has_no_known_end_goes_on_a_tenth_longer():
    picture = chart(stretches(line([need(20, "open", 2)], [owned(3)])))
    assert picture.bars[-1].width == "9.091%"  # 2 days of 22


def test_chart_at_the_end_of_the_calendar_still_draws():
    far = Need(date.max, (0, 1), 1, "S1", Decimal(2), "", "", "row", None)
    assert chart(stretches(line([far], [owned(3)]))) is not None


def test_chart_of_nothing_is_none():
    assert chart(()) is None
