from datetime import date
from decimal import Decimal

import pytest
from django_scopes import scopes_disabled

from buildplan.models import CallOut, Finish, Project, Section, Step, StepAfter
from buildplan.plan.services import Need, Plan, PlannedStep, ensure_project, put_plan, set_bench, steps_with_history
from inventory.workshop.policy import NotAllowed
from tests import factories

ALL = frozenset({"planned_on", "after", "minutes", "done", "hand"})
DAY = date(2027, 3, 6)


def step(code, section="Floats", **more):
    return PlannedStep(code, section, f"Do {code}", **more)


def put(project, by, *steps, needs=None, stated=ALL):
    return put_plan(project=project, plan=Plan(steps, needs, stated), by=by)


def codes(project):
    return list(Step.objects.filter(project=project).order_by("position").values_list("code", flat=True))


def test_put_plan_keeps_the_order_of_the_plan(project, builder):
    put(project, builder, step("B", "Wing"), step("A"), step("C", "wing"))
    assert codes(project) == ["B", "A", "C"]
    assert list(Section.objects.order_by("position").values_list("name", flat=True)) == ["Wing", "Floats"]


def test_put_plan_again_keeps_the_identity_of_steps(project, builder):
    put(project, builder, step("A"), step("B"))
    before = dict(Step.objects.values_list("code", "pk"))
    put(project, builder, step("b"), step("C"), step("a", "Wing"))
    assert {code.upper(): pk for code, pk in Step.objects.values_list("code", "pk") if code != "C"} == before
    assert codes(project) == ["b", "C", "a"]


def test_put_plan_of_the_same_plan_writes_nothing(project, item, builder):
    plan = step("A", planned_on=DAY, minutes=5, hand="left"), step("B", after=("A",), done=True, done_on=DAY)
    needs = [Need("A", item.pk, Decimal(3))]
    put(project, builder, *plan, needs=needs)
    histories = [model.history.count() for model in (Step, Section, CallOut)]
    changes = put(project, builder, *plan, needs=needs)
    assert (changes.made, changes.changed) == (0, 0)
    assert [model.history.count() for model in (Step, Section, CallOut)] == histories


def test_put_plan_never_undoes_done(project, builder):
    put(project, builder, step("A", done=True, done_on=DAY))
    put(project, builder, step("A"))
    put(project, builder, step("A", done=True))
    found = Step.objects.get()
    assert (found.done, found.done_on) == (True, DAY)


def test_put_plan_tells_of_a_date_that_it_clears(project, builder):
    put(project, builder, step("A", planned_on=DAY))
    changes = put(project, builder, step("A"))
    assert changes.dates_cleared == [("A", DAY)]
    assert Step.objects.get().planned_on is None


def test_put_plan_leaves_what_is_not_stated(project, builder):
    put(project, builder, step("A", planned_on=DAY, minutes=5, hand="left"), step("B", after=("A",)))
    put(project, builder, step("A"), step("B"), stated=frozenset())
    found = Step.objects.get(code="A")
    assert (found.planned_on, found.minutes, found.hand) == (DAY, 5, "left")
    assert StepAfter.objects.count() == 1


def test_put_plan_replaces_what_steps_come_after(project, builder):
    put(project, builder, step("A"), step("B", after=("A",)), step("C", after=("a", "B")))
    put(project, builder, step("A", after=("B",)), step("B"), step("C", after=("B",)))
    assert set(StepAfter.objects.values_list("step__code", "after__code")) == {("A", "B"), ("C", "B")}


def test_put_plan_replaces_call_outs(project, builder, workshop):
    kept, gone, new = (factories.ItemFactory(workshop=workshop) for _ in range(3))
    put(project, builder, step("A"), needs=[Need("A", kept.pk, Decimal(1)), Need("A", gone.pk, Decimal(2))])
    pk = CallOut.objects.get(item=kept).pk
    changes = put(project, builder, step("A"), needs=[Need("a", kept.pk, Decimal(5), "5.0004 ea"), Need("A", new.pk, Decimal(3))])
    assert changes.call_outs_removed == [("A", gone.pk)]
    assert dict(CallOut.objects.values_list("item_id", "quantity")) == {kept.pk: Decimal(5), new.pk: Decimal(3)}
    assert CallOut.objects.get(item=kept).pk == pk


def test_put_plan_without_needs_leaves_call_outs(project, item, builder):
    put(project, builder, step("A"), needs=[Need("A", item.pk, Decimal(1))])
    put(project, builder, step("A"))
    assert CallOut.objects.count() == 1


def test_put_plan_removes_steps_with_all_that_hangs_on_them(project, item, builder):
    put(project, builder, step("A", "Tail"), step("B", after=("A",)), needs=[Need("A", item.pk, Decimal(1))])
    changes = put(project, builder, step("B"))
    assert changes.removed == ["A"]
    assert codes(project) == ["B"]
    assert [CallOut.objects.count(), StepAfter.objects.count(), Section.objects.filter(name="Tail").count()] == [0, 0, 0]


def test_put_plan_notes_who_made_changed_and_removed(project, item, builder, owner):
    put(project, builder, step("A"), needs=[Need("A", item.pk, Decimal(1))])
    put(project, owner, step("A", minutes=9), needs=[])
    pk = Step.objects.get().pk
    told = (
        Step.history.filter(id=pk).order_by("history_id").values_list("history_type", "history_user_id", "minutes", "history_relation_id")
    )
    assert list(told) == [("+", builder.pk, None, pk), ("~", owner.pk, 9, pk)]
    ended = CallOut.history.filter(step_id=pk).order_by("history_id").values_list("history_type", "history_user_id", "quantity")
    assert list(ended) == [("+", builder.pk, Decimal(1)), ("-", owner.pk, Decimal(1))]


def test_put_plan_leaves_other_projects_alone(project, builder, outsider, other_bench):
    other = factories.StepFactory(project=factories.ProjectFactory(bench=other_bench), code="A")
    put(project, builder, step("A"))
    put(project, builder, step("B"))
    assert Step.objects.filter(pk=other.pk).exists()
    with scopes_disabled():
        assert Step.objects.filter(workshop=outsider).count() == 1


def test_put_plan_refuses_a_reader(project, reader):
    with pytest.raises(NotAllowed):
        put(project, reader, step("A"))


def test_put_plan_takes_the_same_queries_for_few_and_many_steps(project, builder, workshop, django_assert_max_num_queries):
    items = [factories.ItemFactory(workshop=workshop) for _ in range(40)]

    def plan(many):
        return (
            [step(f"S{n}", after=(f"S{n - 1}",) if n else ()) for n in range(many)],
            [Need(f"S{n}", items[n].pk, Decimal(1)) for n in range(many)],
        )

    few, few_needs = plan(2)
    with django_assert_max_num_queries(40) as counted:
        put(project, builder, *few, needs=few_needs)
    other = factories.ProjectFactory(bench=project.bench)
    many, many_needs = plan(40)
    with django_assert_max_num_queries(len(counted)):
        put(other, builder, *many, needs=many_needs)


@pytest.fixture
def planned(project):
    return factories.StepFactory(project=project)


def test_steps_with_history_is_none_of_a_step_that_nothing_happened_to(planned):
    assert steps_with_history([planned]) == set()


def test_steps_with_history_holds_a_done_one(project):
    assert len(steps_with_history([factories.StepFactory(project=project, done=True)])) == 1


def test_steps_with_history_holds_one_that_was_finished_and_taken_back(planned, builder, workshop):
    Finish.objects.create(workshop=workshop, step=planned, on=DAY, by=builder, taken_back_by=builder)
    assert steps_with_history([planned]) == {planned.pk}


def test_steps_with_history_holds_one_that_stock_is_set_aside_for(planned, lot):
    factories.SetAsideFactory(lot=lot, ref=f"step:{planned.pk}")
    assert steps_with_history([planned]) == {planned.pk}


def test_ensure_project_finds_in_any_case(bench, other_bench, builder):
    project, made = ensure_project(bench=bench, code="TERN-1", by=builder)
    again = ensure_project(bench=other_bench, code=" tern-1 ", by=builder)
    assert made
    assert again == (project, False)
    assert Project.objects.get().bench == bench


def test_set_bench_says_whose_project_it_is(project, other_bench, builder):
    set_bench(project=project, bench=other_bench, by=builder)
    assert Project.objects.get().bench == other_bench
    assert Project.history.latest("history_id").history_user == builder
