"""What dies, beside what the plans need of it."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django_scopes.exceptions import ScopeError

from buildplan.ageing import queries
from buildplan.ageing.queries import Asked
from inventory.models import PoolRules, SetAside, UnitCost
from tests import factories
from tests.factories import DAY


def ask(*, days=30, **asked):
    return queries.shelf_life(Asked(**asked), days=days, today=DAY)


def codes(rows):
    return [row.expiry.held.lot for row in rows]


def row_of(found, code):
    (row,) = [row for row in found.rows if row.expiry.held.lot == code]
    return row


def test_rows_stand_by_last_usable_day_the_dead_first_and_unknown_last(scene):
    found = ask()

    assert codes(found.rows) == ["R6", "R7", "R8", "R9"]
    assert (found.dead, found.unknown) == (1, 1)


def test_row_says_who_takes_it_and_what_is_left(scene):
    row = row_of(ask(), "R7")

    assert [(use.label, use.taken) for use in row.taking] == [("F3-04", 12)]
    assert [use.label for use in row.late] == ["F3-09"]
    assert (row.on_hand, row.unused, row.days_left) == (50, 38, 10)


def test_dying_says_which_step_could_be_pulled_forward_and_what_it_waits_for(scene):
    (row,) = ask().dying

    assert row.expiry.held.lot == "R7"
    assert [(use.label, use.waits_for) for use in row.could_use] == [("F3-09", ("F3-04",))]


def test_dying_is_within_the_days_asked_for(scene):
    assert codes(ask(days=9).dying) == []
    assert codes(ask(days=10).dying) == ["R7"]
    assert codes(ask(days=200).dying) == ["R7", "R8"]


def test_lot_that_dies_today_is_dying_not_dead(lot_of):
    lot_of("R7", 0)
    found = ask()

    assert codes(found.dying) == ["R7"]
    assert found.dead == 0


def test_what_is_not_good_is_shown_but_not_offered(lot_of, needed):
    lot_of("R7", 10, state="quarantined")
    needed("F3-09", date(2027, 3, 13), 20)
    found = ask()

    assert codes(found.rows) == ["R7"]
    assert found.dying == ()
    assert row_of(found, "R7").could_use == ()


def test_smallest_remaining_life_makes_a_step_too_late(lot_of, needed, sealant):
    sealant.min_life_days = 7
    sealant.save()
    lot_of("R7", 10)
    needed("F3-04", DAY + timedelta(days=4), 5)
    (row,) = ask().dying

    assert row.serves_until == DAY + timedelta(days=3)
    assert [use.label for use in row.could_use] == ["F3-04"]


def test_step_of_another_bench_is_worth_asking_where_it_is_short(lot_of, needed, other_bench):
    lot_of("R7", 10)
    theirs = factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
    needed("A1", DAY + timedelta(days=4), 5, project=theirs)
    (row,) = ask().dying

    assert [(use.label, use.ours, use.missing) for use in row.could_use] == [("A1", False, 5)]


def test_two_projects_name_their_steps_by_project(lot_of, needed, bench):
    lot_of("R7", 10)
    second = factories.ProjectFactory(bench=bench, code="TERN-2")
    needed("A1", DAY + timedelta(days=4), 5, project=second)
    needed("A1", DAY + timedelta(days=5), 6)

    assert [use.label for use in row_of(ask(), "R7").taking] == ["TERN-2:A1", "TERN-1:A1"]


def test_step_with_two_seams_takes_once(lot_of, project, sealant):
    """Two seams of one step with the same grams: 1 m x 6 mm x 6 mm / 2 x 1.5 is 27 g each."""
    lot_of("R7", 10, 100)
    step = factories.StepFactory(project=project, code="F3-04", planned_on=DAY)
    sealant.gravity = Decimal("1.5")
    sealant.save()
    for code in ("S1", "S2"):
        factories.SeamFactory(step=step, sealant=sealant, code=code)

    row = row_of(ask(), "R7")
    assert [(use.quantity, use.taken, use.source) for use in row.taking] == [(54, 54, "seam S1, seam S2")]
    assert row.unused == 46


def test_set_aside_and_free_grams_of_one_need_add_up(lot_of, needed, workshop):
    lot = lot_of("R7", 10)
    step = needed("F3-04", DAY, 20)
    SetAside.objects.create(workshop=workshop, lot=lot, ref=f"step:{step.pk}", quantity=Decimal(5))

    assert row_of(ask(), "R7").unused == 30


def test_lot_that_two_projects_count_on_is_said(lot_of, needed, bench):
    lot_of("R7", 10)
    for code in ("TERN-2", "TERN-3"):
        needed("A1", DAY, 30, project=factories.ProjectFactory(bench=bench, code=code))
    row = row_of(ask(), "R7")

    assert (row.unused, row.contested) == (0, True)
    assert row.trace[-1].text == "50 on hand of the lot - 60 taken: several projects count on the same"


def test_lot_in_two_places_counts_once(lot_of, workshop, needed):
    lot = lot_of("R7", 10, 30)
    factories.stock(lot, 20, factories.PlaceFactory(workshop=workshop, path="Rack"))
    needed("F3-04", DAY, 12)
    found = ask()

    assert [(row.expiry.held.place, row.on_hand, row.unused) for row in found.rows] == [("Hangar/Fridge", 50, 38), ("Rack", 50, 38)]


def test_seam_that_cannot_be_reckoned_is_named(lot_of, project, sealant):
    lot_of("R7", 10)
    step = factories.StepFactory(project=project, code="F3-04", planned_on=DAY)
    factories.SeamFactory(step=step, sealant=sealant, code="S1")

    (fault,) = ask().left_out
    assert "seam S1" in fault


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ({"place": "hangar / fridge"}, ["R6", "R7", "R8", "R9"]),
        ({"place": "Rack"}, []),
        ({"item": "seal-b2"}, ["R6", "R7", "R8", "R9"]),
        ({"item": "class b"}, ["R6", "R7", "R8", "R9"]),
        ({"item": "r7"}, ["R7"]),
        ({"state": "dead"}, ["R6"]),
        ({"state": "unknown"}, ["R9"]),
        ({"state": "good"}, ["R6", "R7", "R8", "R9"]),
        ({"state": "failed"}, []),
        ({"item": "r7", "state": "dead"}, []),
    ],
)
def test_filters_by_place_item_and_state(scene, asked, shown):
    assert codes(ask(**asked).rows) == shown


def test_a_filter_leaves_the_figures_of_what_is_shown(scene):
    assert row_of(ask(item="R7"), "R7") == row_of(ask(), "R7")


def test_trace_says_the_limit_the_takers_and_the_rest(scene):
    texts = [(reason.text, reason.source) for reason in row_of(ask(), "R7").trace]

    assert texts == [
        ("expires: usable through 2027-03-02", "expires 2027-03-02, as printed"),
        (
            "F3-04 takes 12 of the 12 g that it needs on 2027-02-27: as planned",
            "call-out of the plan; needs in time order, first expired first out",
        ),
        ("50 on hand of the lot - 12 taken: 38 g unused", "computed; each project is netted by itself"),
    ]


def test_outsider_is_never_seen(scene, outsider):
    assert not any("OUTSIDE" in str(row) for row in ask().rows)


def test_nothing_is_read_without_a_workshop(db):
    with pytest.raises(ScopeError):
        ask()


def test_queries_are_the_same_at_one_and_at_many(django_assert_max_num_queries, django_assert_num_queries, lot_of, needed, bench):
    lot_of("R0", 10)
    needed("F0", DAY, 1)
    with django_assert_max_num_queries(25) as found:
        ask()
    few = len(found)
    for at in range(1, 8):
        lot_of(f"R{at}", at)
        project = factories.ProjectFactory(bench=bench)
        before = needed(f"E{at}", DAY, 1, project=project)
        needed(f"F{at}", DAY + timedelta(days=at), 1, project=project, after=[before])
    with django_assert_num_queries(few):
        ask()


def test_value_of_what_dies_unused_is_its_cost_of_today_and_says_so(scene, sealant):
    PoolRules.objects.create(workshop=sealant.workshop, currency="EUR")
    for since, amount in ((DAY - timedelta(days=30), "0.3"), (DAY, "0.355"), (DAY + timedelta(days=1), "9")):
        UnitCost.objects.create(workshop=sealant.workshop, item=sealant, since=since, amount=amount)
    found = ask()

    r7 = row_of(found, "R7")
    assert (r7.unused, r7.value.amount, r7.value.currency) == (38, Decimal("13.49"), "EUR")
    assert r7.trace[-1].text == "38 g unused x 0.355 EUR = 13.49 EUR"
    assert r7.trace[-1].source.startswith("unit cost since 2027-02-20")
    assert found.dying_value == (Decimal("13.49"), "EUR")


def test_lot_in_two_places_is_worth_its_unused_part_once(scene, sealant, workshop):
    UnitCost.objects.create(workshop=sealant.workshop, item=sealant, since=DAY, amount=1)
    factories.stock(scene[0], 2, factories.PlaceFactory(workshop=workshop))

    assert ask().dying_value == (Decimal("40.00"), "")


def test_without_a_cost_there_is_no_value(scene):
    found = ask()

    assert found.dying_value is None
    assert all(row.value is None for row in found.rows)
