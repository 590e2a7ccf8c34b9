"""Can a day go ahead? Benches, pool, loans and bookings as they are kept; the figures are those of demand and of the pool."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.club import queries
from buildplan.club.changes import Borrow, Move, Widen
from buildplan.models import ClecoSpacing
from inventory.pool import queries as pool
from tests import factories
from tests.buildplan.club.conftest import SATURDAY, TODAY

SUNDAY = SATURDAY + timedelta(days=1)


def look(day=SATURDAY):
    return queries.go_ahead(day, today=TODAY)


def line(found, code="SQUEEZER"):
    return next(row for row in found.items if row.code == code)


def got(row):
    return [(one.step, *map(int, (one.share.own, one.share.promised, one.share.pool, one.share.lacking))) for one in row.shares]


def test_an_empty_club_can_go_ahead(workshop):
    found = look()

    assert found.goes
    assert (found.steps, found.items, found.proposals) == ((), (), ())


def test_a_day_that_is_past_is_refused(workshop):
    with pytest.raises(queries.DayPast, match="2027-02-19 is past: ask for 2027-02-20"):
        look(TODAY - timedelta(days=1))


def test_contested_saturday_serves_in_plan_order_and_moves_who_is_left_over(contested):
    found = look()

    assert not found.goes
    assert got(line(found)) == [("PLOVER-1:F1-07", 0, 0, 1, 0), ("TERN-1:W2-01", 0, 0, 0, 1)]
    assert [(one.changes[0].kind, one.changes[0].step.label, one.changes[0].change.to) for one in found.proposals] == [
        ("move", "TERN-1:W2-01", SUNDAY),
        ("move", "PLOVER-1:F1-07", SUNDAY),
    ]
    assert found.proposals[0].changes[0].text == "TERN-1:W2-01 goes from 2027-02-27 to 2027-02-28"
    assert all(reason.text and reason.source for row in found.items for reason in row.trace)
    assert "1 there - 0 lent - 0 booked, 1 ea free" in line(found).trace[0].text
    assert "TERN-1:W2-01 holds 1 (call-out of the plan): nothing; 1 ea are missing" in line(found).trace[-1].text


def test_who_booked_comes_first_whatever_the_plan_order(contested, squeezer, booked, wren):
    _, step = contested
    booked(squeezer, 1, wren, ref=f"step:{step.pk}")

    found = look()

    assert got(line(found)) == [("PLOVER-1:F1-07", 0, 0, 0, 1), ("TERN-1:W2-01", 0, 1, 0, 0)]
    assert [one.changes[0].step.label for one in found.proposals] == ["PLOVER-1:F1-07"]


def test_a_booking_by_hand_is_for_the_one_bench_that_its_member_holds(contested, squeezer, booked, wren):
    booked(squeezer, 1, wren)

    assert got(line(look())) == [("PLOVER-1:F1-07", 0, 0, 0, 1), ("TERN-1:W2-01", 0, 1, 0, 0)]


def test_what_is_lent_to_somebody_of_no_bench_is_gone_for_all(contested, squeezer, lent, owner):
    lent(squeezer.lots.get(), 1, owner, owner, due=SATURDAY)

    found = look()

    assert got(line(found)) == [("PLOVER-1:F1-07", 0, 0, 0, 1), ("TERN-1:W2-01", 0, 0, 0, 1)]
    assert {len(one.changes) for one in found.proposals} == {2}
    assert look(SUNDAY).goes


def test_what_a_bench_lent_is_no_more_its_own(tern_1, plover_1, tern, cleco, owned, lent, planned, wren, heron):
    lent(owned(tern, cleco, 50), 30, heron, wren)
    planned(tern_1, "W2-01", SATURDAY, wants=[(cleco, 30)])
    planned(plover_1, "F1-07", SATURDAY, wants=[(cleco, 30)])

    assert got(line(look(), "CLECO-3")) == [("PLOVER-1:F1-07", 0, 30, 0, 0), ("TERN-1:W2-01", 20, 0, 0, 10)]


def test_another_bench_lends_what_is_free_that_day(contested, squeezer, owned, plover, planned, plover_1):
    contested[0].delete()
    planned(plover_1, "F1-08", SUNDAY, wants=[(squeezer, 1)])
    owned(plover, squeezer, 1)
    squeezer.lots.first().holdings.update(quantity=0)

    found = look()

    kinds = {one.changes[0].kind: one for one in found.proposals}
    assert kinds["borrow"].changes[0].text == "Bench TERN borrows 1 ea of SQUEEZER from Bench PLOVER"
    assert "1 of its own - 0 that its steps hold = 1 ea free, 1 would do; ask Heron" in kinds["borrow"].trace[0].text
    assert isinstance(kinds["borrow"].changes[0].change, Borrow)
    assert [(spare.bench.code, int(spare.quantity)) for spare in line(found).spare] == [("PLOVER", 1)]


def row(step, cleco, holes, every, until=None, **more):
    return factories.RivetRowFactory(step=step, holes=holes, cleco_every=every, cleco=cleco, clecos_until=until, **more)


@pytest.mark.parametrize(
    ("every", "sealed", "wider"),
    [(2, False, [3]), (2, True, []), (3, False, []), (1, False, [])],
    ids=["match drilling", "a sealed seam", "fit-up already", "every hole"],
)
def test_clecos_are_spaced_wider_only_where_the_stage_allows(tern_1, tern, shared_bench, cleco, owned, planned, every, sealed, wider):
    owned(shared_bench, cleco, 40)
    step = planned(tern_1, "W2-01", SATURDAY)
    row(step, cleco, 31 if every == 1 else 81 if every == 2 else 130, every, code="RIB")
    if every == 1:
        row(step, cleco, 31, every, code="RIB-2")
    if sealed:
        factories.SeamFactory(step=step)

    changed = [one.changes[0].change for one in look().proposals]

    assert [one.every for one in changed if isinstance(one, Widen)] == wider
    assert not [one for one in changed if isinstance(one, Move)]  # it would lack as many on any other day


def test_a_workshop_s_own_spacing_is_used(tern_1, shared_bench, cleco, owned, planned):
    owned(shared_bench, cleco, 40)
    ClecoSpacing.objects.create(workshop=tern_1.workshop, stage="fit_up", every=5)
    row(planned(tern_1, "W2-01", SATURDAY), cleco, 130, 3)

    (proposal,) = look().proposals

    assert proposal.changes[0].change.every == 5
    assert "one hole in 5 instead of every third hole: 17 ea of CLECO-3 are free" in proposal.changes[0].text
    assert "own setting" in proposal.trace[0].source


def test_clecos_of_an_earlier_day_are_held_until_they_come_off(tern_1, plover_1, shared_bench, cleco, owned, planned):
    owned(shared_bench, cleco, 50)
    until = planned(tern_1, "F3-06", SUNDAY)
    row(planned(tern_1, "F3-04", SATURDAY - timedelta(days=1)), cleco, 40, 1, until)
    planned(plover_1, "F1-07", SATURDAY, wants=[(cleco, 20)])

    found = look()

    assert [step.label for step in found.steps] == ["PLOVER-1:F1-07"]
    assert got(line(found, "CLECO-3")) == [("PLOVER-1:F1-07", 0, 0, 20, 0), ("TERN-1:F3-04", 0, 0, 30, 10)]
    assert [one.changes[0].change.to for one in found.proposals] == [SUNDAY + timedelta(days=1)]


def test_figures_are_the_pool_s_own(contested, squeezer, cleco, shared_bench, owned, booked, lent, wren, owner, planned, tern_1):
    lot = owned(shared_bench, cleco, 100)
    planned(tern_1, "W2-02", SATURDAY, wants=[(cleco, 90)])
    lent(lot, 30, owner, owner, due=SATURDAY)
    booked(cleco, 20, wren)
    booked(squeezer, 1, wren)

    found = look()

    for item in (squeezer, cleco):
        (day,) = pool.free(item, SATURDAY, SATURDAY, today=TODAY)
        stand = line(found, item.code).found.stand
        assert (stand.there, stand.lent, stand.booked, stand.free) == (day.there, day.lent, day.booked, day.free)


def test_what_to_book_is_what_the_bench_has_not(contested, tern, plover):
    found = look()

    assert [(row.code, share.step, share.share.wanted) for row, share in found.wanted(tern.pk)] == [
        ("SQUEEZER", "TERN-1:W2-01", Decimal(1))
    ]
    assert len(found.wanted(plover.pk)) == 1


def test_another_workshop_s_steps_and_stock_are_not_seen(contested, outsider):
    assert "OUTSIDE" not in repr(look())


def counted(day=SATURDAY):
    with CaptureQueriesContext(connection) as found:
        look(day)
    return len(found)


def test_queries_do_not_grow_with_projects_or_steps(
    contested, workshop, shared_bench, squeezer, cleco, owned, planned, booked, wren, lent, owner
):
    owned(shared_bench, cleco, 500)
    booked(cleco, 1, wren)
    lent(cleco.lots.get(), 1, owner, owner)
    at_first = counted()
    for number in range(5):
        bench = factories.BenchFactory(workshop=workshop)
        owned(bench, cleco, 10)
        project = factories.ProjectFactory(bench=bench)
        until = planned(project, "Z", SUNDAY)
        for code in "ABC":
            row(planned(project, code, SATURDAY, wants=[(cleco, 5 + number)]), cleco, 40, 2, until)

    assert counted() == at_first <= 44
