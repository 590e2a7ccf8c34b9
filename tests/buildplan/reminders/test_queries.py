"""What a workshop is to be reminded of, read from its rows."""

from datetime import date, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.reminders.queries import MOST_DAYS, due
from buildplan.shortfall.queries import shortfall
from inventory.models import Crate
from inventory.shelflife.queries import expiries
from tests import factories
from tests.factories import DAY


def test_each_kind_is_found_on_its_day(scene, reader):
    assert [(one.kind, one.day.isoformat(), one.about) for one in due(today=DAY, days=30, member=reader).reminders] == [
        ("claim", "2027-02-25", ("CRATE-7",)),
        ("order", "2027-03-01", ("MS20470AD4-6",)),
        ("crate", "2027-03-03", ("CRATE-8",)),
        ("expiry", "2027-03-05", ("SEAL",)),
    ]


def test_nothing_is_due_in_an_empty_workshop(workshop, reader):
    found = due(today=DAY, days=30, member=reader)

    assert (found.reminders, found.undated, found.to_do) == ((), (), ())


def test_crate_that_came_is_due_no_longer(scene, reader):
    Crate.objects.filter(code="CRATE-8").update(arrived_on=DAY)

    assert "crate" not in [one.kind for one in due(today=DAY, days=30, member=reader).reminders]


def test_crate_that_was_taken_in_line_by_line_is_due_no_longer(scene, reader):
    Crate.objects.get(code="CRATE-8").lines.update(open_quantity=0)

    assert "crate" not in [one.kind for one in due(today=DAY, days=30, member=reader).reminders]


def test_what_has_no_day_is_said(scene, bench, workshop, project, reader):
    factories.CrateFactory(bench=bench, code="CRATE-9")
    item = factories.ItemFactory(workshop=workshop, code="NO-LEAD")
    factories.CallOutFactory(step=factories.StepFactory(project=project), item=item)

    assert due(today=DAY, days=30, member=reader).undated == (
        "1 item short without a lead time or a day of need",
        "1 crate on the way without a due day",
    )


def test_orders_and_expiries_are_those_of_shortfall_and_expiries(scene, workshop, bench, project, reader):
    """Page, feed and mail can't say another day than the order sheet and the list of expiries do."""
    for n in range(5):
        item = factories.ItemFactory(workshop=workshop, code=f"PART-{n}", lead_days=n)
        step = factories.StepFactory(project=project, planned_on=DAY + timedelta(days=10 + n))
        factories.CallOutFactory(step=step, item=item)
        lot = factories.LotFactory(bench=bench, item=item, expires_on=DAY - timedelta(days=n), expires_as="day")
        factories.stock(lot, 1)
    found = due(today=DAY, days=MOST_DAYS, member=reader).reminders

    ordered = {(code, one.day) for one in found if one.kind == "order" for code in one.about}
    assert ordered == {(line.item.code, line.order_by) for line in shortfall([project], before=None, as_of=DAY).short}
    dying = {(one.about[0], one.day) for one in found if one.kind == "expiry"}
    assert dying == {(one.held.item, one.last_usable_day) for one in expiries(before=DAY + timedelta(days=MOST_DAYS))}
    assert len(dying) == 6


def test_last_days_of_the_calendar_are_no_error(scene, reader):
    assert due(today=date.max - timedelta(days=3), days=MOST_DAYS, member=reader).reminders


def test_queries_do_not_grow_with_projects_crates_and_lots(scene, workshop, reader):
    """At most 46, whatever the number of projects."""
    counts = []
    for more in (1, 5):
        for _ in range(more):
            furnish(workshop)
        with CaptureQueriesContext(connection) as taken:
            found = due(today=DAY, days=30, member=reader)
        counts.append(len(taken))

    assert len(found.reminders) == 4 + 5 * 6
    assert counts[0] == counts[1] <= 46


def furnish(workshop):
    """A bench with two projects that are each short of something, two crates due, and a lot that dies."""
    bench = factories.BenchFactory(workshop=workshop)
    for _ in range(2):
        step = factories.StepFactory(project=factories.ProjectFactory(bench=bench), planned_on=DAY)
        factories.CallOutFactory(step=step, item=factories.ItemFactory(workshop=workshop, lead_days=1))
        factories.CrateFactory(bench=bench, due_on=DAY)
    factories.stock(factories.LotFactory(bench=bench, expires_on=DAY, expires_as="day"), 1)


def test_outsider_is_never_named(scene, outsider, reader):
    assert "OUTSIDE" not in repr(due(today=DAY, days=MOST_DAYS, member=reader))
