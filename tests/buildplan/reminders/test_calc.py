"""What is due, as one list."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from buildplan.reminders.calc import (
    ORDER_OF_DAY,
    ClaimDue,
    CrateDue,
    Facts,
    Kind,
    LotDue,
    OrderDue,
    printable,
    reminders,
    said,
    to_do,
    undated,
)
from inventory.common.reasons import Reason

DAY = date(2027, 3, 1)
CLAIM = ClaimDue(3, "CRATE-7", "shortage", "shortage", "Kit Works", DAY, 2, 0, "terms of sale", "/crates/3/claims/")
LOT = LotDue(9, "R7", "SEAL", "g", Decimal("12.500"), "Fridge", "good", DAY, (Reason("expires", "as printed"),), "/lots/9/")
ORDER = OrderDue(1, "TERN-1", "RIVET-1", "ea", Decimal(40), Decimal(100), date(2027, 3, 14), 10, 3, None, DAY, "/order/")
CRATE = CrateDue(4, "CRATE-8", "TERN", 1, DAY, "/crates/4/")


def texts(facts, through=DAY):
    return [one.text for one in reminders(facts, through=through)]


def test_day_starts_with_what_is_lost_first():
    facts = Facts(claims=(CLAIM,), lots=(LOT,), orders=(ORDER,), crates=(CRATE,))

    assert texts(facts) == [
        "CRATE-7: last day to claim shortage from Kit Works; 2 differences still to be claimed",
        "TERN-1: last day to order RIVET-1",
        "CRATE-8 for TERN is due: 1 line to come",
        "SEAL, lot R7: last usable day of 12.5 g in Fridge",
    ]


def test_lot_in_two_places_is_one_reminder():
    facts = Facts(lots=(LOT, replace(LOT, place="Bench", quantity=Decimal(2), state="quarantined")))

    assert texts(facts) == ["SEAL, lot R7: last usable day of 14.5 g in Fridge, Bench"]


def test_same_fact_twice_is_one_reminder():
    assert len(texts(Facts(claims=(CLAIM, CLAIM), crates=(CRATE, CRATE)))) == 2


def test_items_of_a_project_and_day_are_one_order_with_each_in_its_trace():
    ones = tuple(replace(ORDER, item=f"RIVET-{n}") for n in (6, 5, 4, 3, 2, 1))
    (one,) = reminders(Facts(orders=ones), through=DAY)

    assert one.text == "TERN-1: last day to order RIVET-1, RIVET-2, RIVET-3, RIVET-4 and 2 more"
    assert one.about == tuple(f"RIVET-{n}" for n in range(1, 7))
    assert one.trace[0] == Reason("RIVET-1: 40 ea short from 2027-03-14; buy 100", "13 days before: 10 of lead time and 3 of receiving")


def test_order_that_would_die_says_how_early_is_too_early():
    (one,) = reminders(Facts(orders=(replace(ORDER, not_before=date(2027, 2, 1)),)), through=DAY)

    assert "not before 2027-02-01" in one.trace[0].text


def test_orders_of_two_projects_or_two_days_stand_apart():
    other = replace(ORDER, project_id=2, project="PLOVER-1")

    assert len(texts(Facts(orders=(ORDER, other, replace(ORDER, item="B", day=DAY - timedelta(days=1)))))) == 3


def test_key_stays_when_the_day_moves():
    moved = replace(CLAIM, day=DAY + timedelta(days=3)), replace(LOT, day=DAY + timedelta(days=3))
    before = reminders(Facts(claims=(CLAIM,), lots=(LOT,)), through=DAY)
    after = reminders(Facts(claims=moved[:1], lots=moved[1:]), through=date.max)

    assert [one.key for one in before] == [one.key for one in after]


def test_what_is_overdue_stays_and_what_lies_past_the_last_day_is_left_out():
    facts = Facts(crates=(replace(CRATE, day=DAY - timedelta(days=400)), replace(CRATE, crate_id=5, day=DAY + timedelta(days=1))))

    assert [one.day for one in reminders(facts, through=DAY)] == [DAY - timedelta(days=400)]


def test_lot_that_is_dead_is_nothing_to_do_from_the_day_after():
    found = reminders(Facts(lots=(LOT,), crates=(CRATE,)), through=DAY)

    assert [one.kind for one in to_do(found, DAY)] == [Kind.CRATE, Kind.EXPIRY]
    assert [one.kind for one in to_do(found, DAY + timedelta(days=1))] == [Kind.CRATE]


def test_what_has_no_day_is_counted():
    nothing = {"day": None}
    facts = Facts(
        claims=(replace(CLAIM, **nothing),),
        lots=(replace(LOT, **nothing), replace(LOT, place="Bench", **nothing)),
        orders=(replace(ORDER, **nothing), replace(ORDER, item="B", **nothing)),
        crates=(replace(CRATE, **nothing),),
        left_out=("S1",),
    )

    assert reminders(facts, through=date.max) == ()
    assert undated(facts) == (
        "1 claim clock is not known",
        "1 lot on hand of unknown life",
        "2 items short without a lead time or a day of need",
        "1 crate on the way without a due day",
        "1 seam that can't be reckoned, so what they lack is not in the orders",
    )
    assert undated(Facts()) == ()


def test_days_in_words():
    assert [said(days) for days in (-2, -1, 0, 1, 30)] == ["2 days ago", "1 day ago", "today", "in 1 day", "in 30 days"]


@given(st.text())
def test_printable_is_one_line_of_the_same_length(text):
    kept = printable(text)

    assert len(kept) == len(text)
    assert len(kept.splitlines()) <= 1
    assert printable(kept) == kept


days = st.dates(date(2026, 1, 1), date(2028, 1, 1)) | st.none()


@given(
    st.lists(st.tuples(st.integers(1, 4), days)), st.lists(st.tuples(st.integers(1, 4), days)), st.dates(date(2026, 1, 1), date(2028, 1, 1))
)
def test_reminders_are_sorted_once_each_and_never_past_the_last_day(crates, lots, through):
    facts = Facts(
        crates=tuple(replace(CRATE, crate_id=n, day=day) for n, day in crates),
        lots=tuple(replace(LOT, lot_id=n, day=day) for n, day in lots),
    )
    found = reminders(facts, through=through)

    assert len({(one.kind, one.key) for one in found}) == len(found)
    assert all(one.day <= through for one in found)
    assert [(one.day, ORDER_OF_DAY.index(one.kind)) for one in found] == sorted((one.day, ORDER_OF_DAY.index(one.kind)) for one in found)
