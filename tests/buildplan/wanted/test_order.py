"""In which order to count a crate: from its rows to the turns of its bags."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from http import HTTPStatus

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from buildplan.wanted import queries
from inventory.claims.services import save_rule, save_sender
from inventory.tallying import services as tallying
from tests import factories

TODAY = date(2027, 2, 20)
DAY = date(2027, 3, 6)
NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


@pytest.fixture
def arrived(crate, owner):
    """Came two days ago from a sender whose clock for shortages runs 5 days."""
    sender = save_sender(name="Marsh Kits", by=owner)
    save_rule(sender=sender, fault="shortage", days=5, source="terms of sale, 4", by=owner)
    save_rule(sender=sender, fault="concealed", days=1, against="carrier", by=owner)
    crate.sender, crate.arrived_on = sender, TODAY - timedelta(days=2)
    crate.save()
    return crate


def bag(crate, path):
    return factories.BagFactory(crate=crate, path=path)


def line(of, item=None, quantity=10, **more):
    item = item or factories.ItemFactory(workshop=of.workshop)
    return factories.PackingLineFactory(crate=of.crate, bag=of, item=item, quantity=Decimal(quantity), **more)


def ask(crate):
    return queries.bags_in_order(crate, today=TODAY)


def paths(crate):
    return [one.path for one in ask(crate)]


def need(project, item, quantity, day=DAY, code="F3-05"):
    factories.CallOutFactory(step=factories.StepFactory(project=project, code=code, planned_on=day), item=item, quantity=Decimal(quantity))


def test_the_bag_that_a_step_waits_for_comes_first_then_the_dearer(arrived, project, rivet):
    line(bag(arrived, "A"), price=Decimal("0.50"))
    line(bag(arrived, "B"), price=Decimal(9))
    line(bag(arrived, "C"), rivet)
    need(project, rivet, 5)

    first, *_ = ask(arrived)

    assert paths(arrived) == ["C", "B", "A"]
    assert [reason.text for reason in first.trace] == [
        "shortage, from Marsh Kits, can be claimed until 2027-02-23: 3 days left",
        "TERN-1 F3-05 waits for MS20470AD4-6 on 2027-03-06",
        "1 line has no price, and counts as none",
    ]
    assert first.trace[0].source == "terms of sale, 4"


def test_a_step_that_the_shelf_serves_does_not_wait_for_the_crate(arrived, project, rivet, on_shelf):
    line(bag(arrived, "A"), rivet)
    need(project, rivet, 100)

    assert ask(arrived)[0].needed_on is None


def test_the_first_step_that_the_shelf_does_not_reach_waits(arrived, project, rivet, on_shelf):
    line(bag(arrived, "A"), rivet)
    need(project, rivet, 100)
    need(project, rivet, 13, DAY + timedelta(days=1), "F3-06")

    (one,) = ask(arrived)

    assert (one.needed_by, one.needed_on) == ("TERN-1 F3-06", DAY + timedelta(days=1))


def test_what_was_found_already_serves_the_first_of_the_steps(arrived, project, rivet, builder):
    listed = line(bag(arrived, "A"), rivet)
    need(project, rivet, 6)
    need(project, rivet, 4, DAY + timedelta(days=1), "F3-06")
    tallying.tally(crate=arrived, bag=listed.bag, line=listed, quantity=Decimal(6), at=NOW, by=builder)

    assert ask(arrived)[0].needed_by == "TERN-1 F3-06"


def test_without_a_due_day_the_first_step_that_is_short_waits(arrived, project, rivet):
    arrived.due_on = None
    arrived.save()
    line(bag(arrived, "A"), rivet)
    need(project, rivet, 6)

    assert ask(arrived)[0].needed_by == "TERN-1 F3-05"


def test_a_project_of_another_bench_waits_for_nothing_in_it(arrived, other_bench, rivet):
    line(bag(arrived, "A"), rivet)
    need(factories.ProjectFactory(bench=other_bench, code="PLOVER-1"), rivet, 6)

    assert ask(arrived)[0].needed_on is None


def test_bags_counted_to_the_end_have_no_turn_and_loose_lines_have_one(arrived, builder):
    done = bag(arrived, "A")
    line(done)
    whole = line(bag(arrived, "B"), quantity=1)
    factories.PackingLineFactory(crate=arrived, bag=None)
    tallying.finish_bag(bag=done, on=TODAY, by=builder)
    tallying.tally(crate=arrived, bag=whole.bag, line=whole, quantity=Decimal(1), at=NOW, by=builder)

    assert [(one.id, one.path) for one in ask(arrived)] == [(None, "")]


def test_a_crate_whose_counting_is_over_has_no_order(arrived, owner):
    line(bag(arrived, "A"))
    tallying.close(crate=arrived, on=TODAY, by=owner)
    arrived.refresh_from_db()

    assert ask(arrived) == ()


def test_a_crate_of_no_known_sender_says_that_no_clock_runs(crate):
    line(bag(crate, "A"))

    (one,) = ask(crate)

    assert one.last_day is None
    assert one.trace[0].text.startswith("no claim clock runs")


def test_it_takes_a_fixed_number_of_queries(arrived, project, rivet):
    def count():
        with CaptureQueriesContext(connection) as found:
            ask(arrived)
        return len(found)

    line(bag(arrived, "A"), rivet)
    need(project, rivet, 5)
    few = count()
    for at in range(8):
        each = line(bag(arrived, f"A/{at}"), price=Decimal(1))
        need(project, each.item, 5, code=f"S{at}")

    assert count() == few <= 30


@time_machine.travel(NOW)
def test_the_page_leads_to_each_bag(arrived, project, rivet, as_member, builder):
    of = bag(arrived, "7A")
    line(of, rivet, price=Decimal("1.25"))
    factories.PackingLineFactory(crate=arrived, bag=None)
    need(project, rivet, 5)

    page = as_member(builder).get(reverse("crate-order", args=[arrived.pk])).content.decode()

    assert f'<a href="{reverse("count-bag", args=[of.pk])}">Bag 7A</a>' in page
    assert f'<a href="{reverse("count-loose", args=[arrived.pk])}">In no bag</a>' in page
    assert "TERN-1 F3-05 waits on Sat 2027-03-06; worth 12.5" in page
    assert "claims until Tue 2027-02-23" in page


def test_the_page_of_a_crate_without_bags(crate, as_member, builder):
    answer = as_member(builder).get(reverse("crate-order", args=[crate.pk]))

    assert "nothing is left to count" in answer.content.decode()


@time_machine.travel(NOW)
def test_the_api_says_the_same(arrived, project, rivet, as_device, storekeeper):
    of = bag(arrived, "7A")
    line(of, rivet, price=Decimal("1.25"))
    need(project, rivet, 5)

    answer = as_device(storekeeper, "read").get(reverse("api-crate-order", args=[arrived.pk]))

    (turn,) = answer.json()["bags"]
    assert answer.json() | {"bags": []} == {"crate": "CRATE-7", "as_of": "2027-02-20", "bags": []}
    assert len(turn.pop("trace")) == 3
    assert turn == {
        "bag": of.pk,
        "path": "7A",
        "lines": 1,
        "claim_until": "2027-02-23",
        "needed_on": "2027-03-06",
        "needed_by": "TERN-1 F3-05",
        "worth": "12.5",
        "unpriced": 0,
    }


def test_the_api_is_not_for_a_device_that_only_scans(crate, as_device, storekeeper):
    assert as_device(storekeeper, "scan").get(reverse("api-crate-order", args=[crate.pk])).status_code == HTTPStatus.FORBIDDEN
