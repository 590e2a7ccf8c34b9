"""Moving seal days: what goes along, what is refused, and a look that changes nothing."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildplan.models import SealDay
from buildplan.sealday import services
from buildplan.sealday.services import BadDay, DayTaken
from inventory.models import SetAside
from inventory.stock import services as stock
from tests import factories
from tests.buildplan.sealday.conftest import NOW, SATURDAY, SUNDAY, WEEK, planned, seam
from tests.factories import DAY

ONE_DAY = timedelta(days=1)


def moving(*days, to, later=False, by, act=services.move):
    return act(days=days, to=to, later=later, by=by, today=DAY, now=NOW)


@pytest.fixture
def sunday(bench, steps, b2, owner, day):
    seam(steps.fillet, b2, 40)
    return planned(bench, SUNDAY, [steps.fillet], b2, owner)


@pytest.fixture
def where(steps):
    """On which day each step is planned."""

    def where():
        for step in vars(steps).values():
            step.refresh_from_db()
        return {step.code: step.planned_on for step in vars(steps).values()}

    return where


def dump():
    """Every row of every table."""
    with connection.cursor() as cursor:
        found = {}
        for table in sorted(connection.introspection.table_names()):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")  # noqa: S608 - our own tables
            found[table] = sorted(map(repr, cursor.fetchall()))
    return found


def test_move_takes_the_steps_along_and_nothing_else(day, lots, owner, where):
    moving(day, to=SATURDAY + WEEK, by=owner)

    day.refresh_from_db()
    assert day.on == SATURDAY + WEEK
    friday = SATURDAY - ONE_DAY
    assert where() == {"F3-03": friday, "F3-04": day.on, "F3-05": day.on, "F3-06": SUNDAY, "F3-08": SATURDAY + 2 * WEEK}


def test_move_of_two_days_by_one_day_does_not_trip_over_itself(day, sunday, lots, owner, where):
    moving(day, sunday, to=SUNDAY, by=owner)

    assert list(SealDay.objects.order_by("pk").values_list("on", flat=True)) == [SUNDAY, SUNDAY + ONE_DAY]
    moving(day, sunday, to=SATURDAY, by=owner)
    assert list(SealDay.objects.order_by("pk").values_list("on", flat=True)) == [SATURDAY, SUNDAY]


def test_move_with_later_takes_what_comes_after_and_its_seal_day_along(day, sunday, lots, project, owner, where):
    other = factories.StepFactory(project=project, code="W1-01", planned_on=SUNDAY)
    moved = moving(day, to=SATURDAY + WEEK, later=True, by=owner)

    assert moved == (day, sunday)
    found = where()
    assert (found["F3-06"], found["F3-08"]) == (SUNDAY + WEEK, SATURDAY + 3 * WEEK)
    other.refresh_from_db()
    assert (found["F3-03"], other.planned_on) == (SATURDAY - ONE_DAY, SUNDAY)


def test_move_holds_the_lots_anew(day, lots, steps, owner):
    services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
    moving(day, to=SATURDAY + WEEK, by=owner)  # the old lot is dead by then

    assert set(SetAside.objects.values_list("lot__code", flat=True)) == {"S-2"}


def test_move_refuses_where_no_day_can_be(day, sunday, lots, bench, b2, project, owner):
    near = planned(
        bench,
        DAY + ONE_DAY,
        [factories.StepFactory(project=project)],
        factories.ItemFactory(workshop=bench.workshop, kind="sealant"),
        owner,
    )
    cases = [
        ((day,), SATURDAY, BadDay, "on 2027-03-13 already"),
        ((day,), DAY - ONE_DAY, BadDay, "2027-02-19, which is past"),
        ((day,), SUNDAY, DayTaken, "bench TERN has a seal day on 2027-03-14 already"),
        ((day, near), DAY, BadDay, "which is past"),  # the other would go to January
        ((), SUNDAY, BadDay, "no seal day is named"),
        ((day, sunday), date.max, BadDay, "leaves the calendar"),
        ((day,), date.max, BadDay, "9999-12-31 is more than ten years off"),
    ]
    for days, to, problem, text in cases:
        with pytest.raises(problem, match=text):
            moving(*days, to=to, by=owner)
    assert list(SealDay.objects.order_by("on").values_list("on", flat=True)) == [DAY + ONE_DAY, SATURDAY, SUNDAY]


class TestLook:
    def test_look_changes_nothing(self, day, sunday, lots, owner):
        services.hold_lots(day=day, by=owner, today=DAY, now=NOW)
        before = dump()

        moving(day, sunday, to=SATURDAY + WEEK, later=True, by=owner, act=services.try_move)

        assert dump() == before

    def test_look_says_what_the_move_then_does(self, day, sunday, lots, owner, shown):
        looked = moving(day, sunday, to=SATURDAY + WEEK, later=True, by=owner, act=services.try_move)
        assert looked.before == (shown(day), shown(sunday))

        moving(day, sunday, to=SATURDAY + WEEK, later=True, by=owner)
        assert looked.after == (shown(day), shown(sunday))
        assert [view.day.on for view in looked.after] == [SATURDAY + WEEK, SUNDAY + WEEK]

    def test_look_names_dates_shortages_lots_deaths_and_what_is_blocked(self, day, lots, drawer, owner, steps, b2):
        """The old lot's 70 g die on Monday: a week later 110 g are to come of the 30 g that are left of the new one."""
        stock.scrap(lot=lots.new, quantity=Decimal(170), place=drawer, on=DAY, by=owner)
        looked = moving(day, to=SATURDAY + WEEK, later=True, by=owner, act=services.try_move)

        found = {change.what: (change.before, change.after) for change in looked.changes}
        assert found["seal day of F3-04, F3-05"] == ("2027-03-13", "2027-03-20")
        assert found["short of SEAL-B2 (TERN-1)"] == (
            "10 g, first on 2027-03-13; order by 2027-02-24",
            "80 g, first on 2027-03-20; order by 2027-03-03",
        )
        assert found["dead: SEAL-B2 (TERN-1)"] == ("none", "70 g of lot S-1 in Hangar/Rack 1/Drawer 3")
        assert found["lots for F3-04, F3-05"] == ("70 g of SEAL-B2 S-1; 30 g of SEAL-B2 S-2", "30 g of SEAL-B2 S-2")
        assert found["blocked by F3-04, F3-05"] == (
            "F3-06: planned for 2027-03-14; SEAL-B2 of F3-04 is cured on 2027-03-16 at 17:00",
            "F3-06: planned for 2027-03-21; SEAL-B2 of F3-04 is cured on 2027-03-23 at 17:00",
        )
        assert found["F3-06 Rivet the skin"] == ("2027-03-14", "2027-03-21")

    def test_look_names_pins_that_no_longer_reach(self, day, lots, bench, steps, workshop, project, owner):
        cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco", diameter=Fraction(3, 32))
        factories.stock(factories.LotFactory(bench=bench, item=cleco), 40)
        wing = factories.StepFactory(project=project, code="W1-01", planned_on=SATURDAY + WEEK)
        for step in (steps.left, wing):
            factories.RivetRowFactory(step=step, holes=30, cleco=cleco, cleco_every=1)

        looked = moving(day, to=SATURDAY + WEEK, later=True, by=owner, act=services.try_move)
        found = {change.what: (change.before, change.after) for change in looked.changes}
        assert found["pins: CLECO-3 (TERN-1)"] == ("none", "20 lacking on 2027-03-20")


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(1, 40), st.booleans(), st.booleans())
def test_move_there_and_back_leaves_everything_as_it_was(day, sunday, lots, owner, shown, where, shift, later, hold):
    """Dates, plans, set-asides: what a person sees of both days is equal, held or not."""
    for one in (day, sunday):
        if hold:
            services.hold_lots(day=one, by=owner, today=DAY, now=NOW)
        else:
            services.release_lots(day=one, by=owner)

    def seen():
        aside = set(SetAside.objects.values_list("lot", "ref", "quantity"))
        return shown(day), shown(sunday), where(), aside

    before = seen()
    moving(day, sunday, to=SATURDAY + timedelta(days=shift), later=later, by=owner)
    moving(day, sunday, to=SATURDAY, later=later, by=owner)

    assert seen() == before
