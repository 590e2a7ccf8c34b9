"""The order sheet's reads: from rows to the answer, in a fixed number of queries."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django_scopes.exceptions import ScopeError

from buildplan.plan.calc import step_ref
from buildplan.plan.models import Project, Step
from buildplan.shortfall import queries
from buildplan.shortfall.trace import why
from tests import factories

AS_OF = date(2027, 2, 20)
DAY = date(2027, 3, 6)


def ask(*named, before=None, as_of=AS_OF):
    return queries.shortfall(list(named), before=before, as_of=as_of)


def figures(line):
    return tuple(map(int, (line.needed, line.usable, line.in_transit, line.short)))


def unusable(line):
    return {reason.value: int(quantity) for reason, quantity in line.unusable}


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05", planned_on=DAY)


@pytest.fixture
def wanted(step, item):
    return factories.CallOutFactory(step=step, item=item, quantity=Decimal(100))


def lot_of(bench, item, quantity, **more):
    lot = factories.LotFactory(bench=bench, item=item, **more)
    factories.stock(lot, quantity)
    return lot


def test_shortfall_nets_own_and_shared_benches(project, bench, shared_bench, item, wanted):
    lot_of(bench, item, 30)
    lot_of(shared_bench, item, 20)
    assert figures(ask(project).lines[0]) == (100, 50, 0, 50)


def test_shortfall_lists_another_bench_as_worth_asking(project, other_bench, item, wanted):
    lot_of(other_bench, item, 70)
    line = ask(project).lines[0]
    assert figures(line) == (100, 0, 0, 100)
    assert unusable(line) == {"other_bench": 70}


def test_shortfall_never_sees_the_outsider(project, outsider, item, wanted):
    line = ask(project).lines[0]
    assert figures(line) == (100, 0, 0, 100)
    assert unusable(line) == {}


@pytest.mark.parametrize("state", ["quarantined", "disputed", "failed"])
def test_shortfall_skips_lot_in_a_bad_state(project, bench, item, wanted, state):
    lot_of(bench, item, 10, state=state, expires_on=date(2026, 1, 1))
    assert unusable(ask(project).lines[0]) == {state: 10}


@pytest.mark.parametrize(("kind", "reason"), [("sealant", {"unknown_life": 10}), ("chemical", {"unknown_life": 10}), ("part", {})])
def test_shortfall_never_guesses_a_missing_date(project, bench, workshop, step, kind, reason):
    item = factories.ItemFactory(workshop=workshop, kind=kind)
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(10))
    lot_of(bench, item, 10)
    assert unusable(ask(project).lines[0]) == reason


def test_shortfall_item_with_a_life_needs_a_date(project, bench, workshop, step):
    item = factories.ItemFactory(workshop=workshop, life_months=9)
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(10))
    lot_of(bench, item, 4)
    lot_of(bench, item, 5, made_on=date(2026, 6, 30), made_as="month")
    line = ask(project).lines[0]
    assert unusable(line) == {"unknown_life": 4}
    assert figures(line) == (10, 5, 0, 5)


def test_shortfall_made_in_a_month_lives_to_a_month_s_last_day(project, bench, workshop, item):
    """REFERENCE: made 2024-02 + 9 months -> 2024-11-30 (computed from NAVEDTRA 14015, table 5-5: a month is its last day)."""
    item = factories.ItemFactory(workshop=workshop, life_months=9)
    for at, day in enumerate((date(2024, 11, 30), date(2024, 12, 1))):
        step = factories.StepFactory(project=project, planned_on=day, code=f"S{at}")
        factories.CallOutFactory(step=step, item=item, quantity=Decimal(1))
    lot_of(bench, item, 10, made_on=date(2024, 2, 29), made_as="month")
    line = ask(project, as_of=date(2024, 11, 1)).lines[0]
    assert figures(line) == (2, 1, 0, 1)
    assert line.first_short == date(2024, 12, 1)
    assert unusable(line) == {"expired": 9}


def test_shortfall_opened_lot_dies_by_its_opened_life(project, bench, workshop, step):
    item = factories.ItemFactory(workshop=workshop, kind="sealant", open_life_days=10)
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(10))
    lot_of(bench, item, 10, expires_on=date(2028, 1, 1), opened_on=DAY - timedelta(days=11))
    assert unusable(ask(project).lines[0]) == {"expired": 10}


def test_shortfall_counts_crate_due_in_time(project, bench, item, wanted):
    crate = factories.CrateFactory(bench=bench, due_on=DAY)
    factories.PackingLineFactory(crate=crate, item=item, quantity=Decimal(60))
    assert figures(ask(project).lines[0]) == (100, 0, 60, 40)


def test_shortfall_overdue_crate_counts_from_today_and_says_so(project, bench, item, wanted):
    crate = factories.CrateFactory(bench=bench, due_on=date(2027, 1, 5), code="CRATE-7")
    factories.PackingLineFactory(crate=crate, item=item, quantity=Decimal(60))
    line = ask(project).lines[0]
    assert figures(line) == (100, 0, 60, 40)
    assert any("due 2027-01-05, overdue: counts from 2027-02-20" in reason.text for reason in why(line))


def test_shortfall_crate_without_due_day_is_late(project, bench, item, wanted):
    factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench), item=item, quantity=Decimal(60))
    assert unusable(ask(project).lines[0]) == {"late": 60}


def test_shortfall_crate_of_another_bench_does_not_count(project, other_bench, item, wanted):
    crate = factories.CrateFactory(bench=other_bench, due_on=AS_OF)
    factories.PackingLineFactory(crate=crate, item=item, quantity=Decimal(60))
    line = ask(project).lines[0]
    assert figures(line) == (100, 0, 0, 100)
    assert unusable(line) == {}


def test_shortfall_arrived_part_of_a_line_counts_no_more(project, bench, item, wanted):
    crate = factories.CrateFactory(bench=bench, due_on=AS_OF)
    factories.PackingLineFactory(crate=crate, item=item, quantity=Decimal(60), open_quantity=Decimal(15))
    assert figures(ask(project).lines[0]) == (100, 0, 15, 85)


def test_shortfall_line_in_transit_without_dates_says_that_they_must_be_read(project, bench, workshop, step):
    item = factories.ItemFactory(workshop=workshop, kind="sealant")
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(10))
    factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, due_on=DAY), item=item, quantity=Decimal(10))
    line = ask(project).lines[0]
    assert figures(line) == (10, 0, 10, 0)
    assert any("must be read on arrival" in reason.text for reason in why(line))


def test_shortfall_set_aside_serves_its_step_alone(project, bench, item, wanted, step):
    later = factories.StepFactory(project=project, planned_on=DAY + timedelta(days=9), code="F3-09")
    factories.CallOutFactory(step=later, item=item, quantity=Decimal(40))
    lot = lot_of(bench, item, 120)
    factories.SetAsideFactory(lot=lot, ref=step_ref(later.pk), quantity=Decimal(40))
    line = ask(project).lines[0]
    assert line.first_short == DAY
    assert figures(line) == (140, 120, 0, 20)


def test_shortfall_clecos_need_their_peak(project, bench, workshop, step):
    cleco = factories.ItemFactory(workshop=workshop, kind="cleco")
    factories.CallOutFactory(step=step, item=cleco, quantity=Decimal(60))
    same_day = factories.StepFactory(project=project, planned_on=DAY, code="F3-06")
    factories.CallOutFactory(step=same_day, item=cleco, quantity=Decimal(50))
    other_day = factories.StepFactory(project=project, planned_on=DAY + timedelta(days=1), code="F3-07")
    factories.CallOutFactory(step=other_day, item=cleco, quantity=Decimal(100))
    lot_of(bench, cleco, 90)
    line = ask(project).lines[0]
    assert figures(line) == (110, 90, 0, 20)
    assert line.steps == ("F3-05", "F3-06", "F3-07")


def test_shortfall_done_step_needs_nothing(project, step, wanted):
    Step.objects.filter(pk=step.pk).update(done=True)
    assert ask(project).lines == ()


def test_shortfall_nets_projects_of_one_bench_in_the_order_named(project, bench, item, wanted):
    second = factories.ProjectFactory(bench=bench, code="TERN-2")
    step = factories.StepFactory(project=second, planned_on=DAY, code="A1")
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(50))
    lot_of(bench, item, 100)
    found = ask(second, project)
    assert found.project == "TERN-2,TERN-1"
    line = found.lines[0]
    assert line.steps == ("TERN-2:A1", "TERN-1:F3-05")
    assert [(need.label, int(quantity)) for need, _, quantity in line.served] == [("TERN-2:A1", 50), ("TERN-1:F3-05", 50)]


def test_shortfall_refuses_projects_of_two_benches(project, other_bench):
    second = factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
    with pytest.raises(queries.NotOneBench, match=r"PLOVER-1 of PLOVER"):
        ask(project, second)


def test_shortfall_takes_the_workshop_s_receiving_allowance(project, workshop, bench, step):
    item = factories.ItemFactory(workshop=workshop, lead_days=5)
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(1))
    assert ask(project).lines[0].order_by == date(2027, 2, 26)
    workshop.receiving_days = 0
    workshop.save()
    assert ask(*queries.projects(["TERN-1"])).lines[0].order_by == date(2027, 3, 1)


def test_lines_stand_by_order_by_day_then_item_and_unknown_last(project, workshop, step):
    for code, lead in (("C", 9), ("B", 9), ("A", None), ("D", 20)):
        one = factories.ItemFactory(workshop=workshop, code=code, lead_days=lead)
        factories.CallOutFactory(step=step, item=one, quantity=Decimal(1))
    assert [line.item.code for line in ask(project).lines] == ["D", "B", "C", "A"]


def test_projects_are_found_in_any_case(project):
    assert queries.projects(["tern-1", "TERN-1"]) == [project]


def test_projects_of_the_outsider_are_unknown(project, outsider):
    with pytest.raises(queries.NoSuchProject, match="TERN-1"):
        queries.projects(["OUTSIDE-PROJECT"])


@pytest.mark.django_db
def test_reading_outside_any_workshop_raises():
    with pytest.raises(ScopeError):
        Project.objects.count()


def _plan(project, bench, count):
    """`count` further steps, each with an item of its own, a lot, a set-aside and a line on its way."""
    before = None
    for at in range(count):
        item = factories.ItemFactory(workshop=project.workshop)
        before = factories.StepFactory(project=project, planned_on=DAY, code=f"Q{at}", after=[before] if before else [])
        factories.CallOutFactory(step=before, item=item, quantity=Decimal(10))
        lot = lot_of(bench, item, 4)
        factories.SetAsideFactory(lot=lot, ref=step_ref(before.pk))
        factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, due_on=DAY), item=item, quantity=Decimal(3))


@pytest.mark.parametrize("count", [1, 50])
def test_shortfall_takes_the_same_queries_whatever_the_size(project, bench, count, django_assert_num_queries):
    _plan(project, bench, count)
    with django_assert_num_queries(18):
        named = queries.projects(["TERN-1"])
        found = ask(*named)
        reasons = [why(line) for line in found.lines]
    assert len(found.lines) == count
    assert all(reasons)
    assert {figures(line) for line in found.lines} == {(10, 4, 3, 3)}
