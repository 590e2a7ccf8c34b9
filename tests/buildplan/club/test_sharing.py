"""Cents that add up, whatever the amounts."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.club import sharing
from buildplan.club.sharing import Price, Use

DAY = date(2027, 2, 20)
amounts = st.lists(st.fractions(0, 10_000, max_denominator=997), min_size=1, max_size=8)


@given(amounts)
def test_parts_add_to_the_sum_and_none_is_off_by_a_cent(parts):
    total = int(sum(parts) + Fraction(1, 2))  # half up

    found = sharing.split(total, parts)

    assert sum(found) == total
    assert all(abs(cents - part) < 1 for cents, part in zip(found, parts, strict=True))


@given(st.integers(0, 10**7), st.integers(1, 20))
def test_even_shares_differ_by_a_cent_at_most(total, among):
    found = sharing.evenly(total, among)

    assert sum(found) == total
    assert max(found) - min(found) <= 1
    assert list(found) == sorted(found, reverse=True)


uses = st.lists(
    st.builds(
        Use,
        project=st.sampled_from([1, 2, 3, None]),
        item=st.sampled_from([10, 11]),
        quantity=st.decimals("0.001", 500, places=3),
        on=st.dates(date(2027, 1, 1), date(2027, 3, 31)),
    ),
    max_size=12,
)
prices = st.fixed_dictionaries(
    {
        item: st.lists(
            st.builds(Price, st.dates(date(2027, 1, 1), date(2027, 3, 31)), st.decimals(0, 9, places=6)),
            max_size=3,
            unique_by=lambda one: one.since,
        )
        for item in (10, 11)
    }
)


@settings(max_examples=100)
@given(uses, prices)
def test_every_use_is_priced_on_its_day_and_all_cents_add_up(uses, prices):
    found = sharing.of_projects(uses, prices, [3, 1, 2, None])

    exact = Fraction(0)
    for use in uses:
        held = [price for price in sorted(prices[use.item]) if price.since <= use.on]
        exact += Fraction(use.quantity) * Fraction(held[-1].amount) if held else 0
    assert sum(share.cents for share in found) == int(exact * 100 + Fraction(1, 2))
    assert all(sum(line.cents for line in share.lines) == share.cents for share in found)
    assert sum(line.quantity for share in found for line in share.lines) == sum(use.quantity for use in uses)
    assert [share.project for share in found] == [project for project in (3, 1, 2, None) if any(use.project == project for use in uses)]


@given(st.decimals("0.001", 10_000, places=3), st.lists(st.decimals("0.001", 500, places=3), min_size=1, max_size=5))
def test_a_batch_s_material_is_split_by_the_grams_of_each_project(quantity, shares):
    found = sharing.portions(quantity, shares)

    assert sum(found) == quantity
    total = sum(shares)
    assert all(abs(part - quantity * share / total) < Decimal("0.001") for part, share in zip(found, shares, strict=True))


def test_by_hand_one_unit_cost_after_the_other():
    prices = {10: [Price(date(2027, 1, 1), Decimal("0.2")), Price(date(2027, 2, 1), Decimal("0.25"))]}
    used = [
        Use(1, 10, Decimal("10.5"), date(2027, 1, 31)),
        Use(1, 10, Decimal(4), date(2027, 2, 1)),
        Use(1, 10, Decimal(3), date(2026, 12, 31)),
    ]

    ((line,),) = (share.lines for share in sharing.of_projects(used, prices, [1]))

    assert (line.quantity, line.unpriced, line.cents) == (Decimal("17.5"), Decimal(3), 310)  # 2.10 + 1.00
    assert [reason.text for reason in line.trace[:3]] == [
        "10.5 x 0.2 = 2.1",
        "4 x 0.25 = 1",
        "3 used on days for which no unit cost is set: not in the sum",
    ]


def test_a_bench_without_holders_is_nobody_s_share():
    found = sharing.of_members({1: 1000, 2: 55}, {1: [7, 8, 9]})

    assert [(one.member, one.cents) for one in found] == [(7, 334), (8, 333), (9, 333)]


def test_money_is_written_with_its_cents():
    assert [sharing.money(cents) for cents in (0, 5, 1234)] == ["0.00", "0.05", "12.34"]
