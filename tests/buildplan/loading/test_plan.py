from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django_scopes import scopes_disabled

from buildplan.models import CallOut, Project, Section, Step, StepAfter, Substitution
from tests import factories, loads
from tests.loads import load, loaded

ALL = f"{loads.STEPS},planned,after,minutes,done,hand"

pytestmark = pytest.mark.usefixtures("catalogue")


@pytest.fixture
def plan(tmp_path):
    """Writes a plan's folder: steps, and needs if any."""

    def write(*steps, needs=(), columns=ALL, needs_columns=loads.NEEDS, folder="plan"):
        path = tmp_path / folder
        loads.table(path / "steps.csv", columns, *steps)
        if needs:
            loads.table(path / "needs.csv", needs_columns, *needs)
        return path

    return write


def into(path, *more):
    return loaded("plan", path, "--project", "TERN-1", *more)


def refused(path, *more):
    before = loads.row_counts()
    found = load("plan", path, "--project", "TERN-1", *more)
    assert found.code == 1
    assert loads.row_counts() == before
    return found.errors


def only_error(path, *more):
    [error] = refused(path, *more)
    return error


def plain(code, after=""):
    return f"{code},Floats,Do it,,{after},,,"


def call_outs():
    return {(step, item): quantity for step, item, quantity in CallOut.objects.values_list("step__code", "item__code", "quantity")}


def test_plan_keeps_every_column(plan, bench):
    steps = "F1-01,Floats,Drill,2027-03,,90,2027-02-11,Left", "F1-02,Floats,Rivet,2027-03-08,F1-01,,no,none"
    found = into(plan(*steps, needs=("F1-01,AN470AD4-6,240", "f1-02,SEAL-B2,85")))
    assert found.loaded == {"steps": 2, "new": 2, "changed": 0, "removed": 0, "call_outs": 2, "made": ["project TERN-1"]}
    first, second = Step.objects.select_related("project", "section").order_by("position")
    assert (first.project.code, first.project.bench, first.section.name, first.title) == ("TERN-1", bench, "Floats", "Drill")
    assert (first.planned_on, first.minutes, first.hand) == (date(2027, 3, 31), 90, "left")
    assert (first.done, first.done_on) == (True, date(2027, 2, 11))
    assert (second.done, second.done_on, second.hand, second.minutes) == (False, None, "none", None)
    assert StepAfter.objects.values_list("step__code", "after__code").get() == ("F1-02", "F1-01")
    assert call_outs() == {("F1-01", "MS20470AD4-6"): 240, ("F1-02", "SEAL-B2"): 85}


def test_plan_of_a_book_with_both_sheets(tmp_path):
    path = loads.book(tmp_path / "p.xlsx", Steps=[ALL, plain("A")], needs=[loads.NEEDS, "A,SEAL-B2,5"])
    assert into(path).loaded["call_outs"] == 1


def test_plan_of_one_file_is_its_steps(file):
    assert into(file("my plan.csv", loads.STEPS, "A,Floats,Drill")).loaded["steps"] == 1


@time_machine.travel(date(2027, 3, 1))
def test_plan_reads_days_from_today(plan):
    into(plan("A,Floats,Do it,today+21,,,today-40,", "B,Floats,Do it,today,,,yes,", "C,Floats,Do it,,,,1,", "D,Floats,Do it,,,,0,"))
    assert list(Step.objects.order_by("position").values_list("planned_on", "done", "done_on")) == [
        (date(2027, 3, 22), True, date(2027, 1, 20)),
        (date(2027, 3, 1), True, None),
        (None, True, None),
        (None, False, None),
    ]


def test_plan_adds_up_needs_of_one_step_and_item_each_rounded_by_itself(plan):
    needs = "A,SEAL-B2,2,oz", "A,seal-b2,2,oz", "A,SEAL-B2,1,"
    into(plan(plain("A"), needs=needs, needs_columns=f"{loads.NEEDS},unit"))
    found = CallOut.objects.get()
    assert found.quantity == Decimal("114.398")
    assert found.rounding == "; ".join(["2 oz = 56.699046... g, rounded half up to 56.699"] * 2)


def test_plan_again_keeps_identities_and_never_undoes_done(plan):
    into(plan("A,Floats,Do it,2027-03-01,,,2027-02-01,", "B,Floats,Do it,,A,,,"))
    before = dict(Step.objects.values_list("code", "pk"))
    found = into(plan("b,Wing,Do it,,,,,", "A,Floats,Do it,2027-03-01,,,no,"))
    assert found.loaded == {"steps": 2, "new": 0, "changed": 2, "removed": 0, "made": []}
    assert {code.upper(): pk for code, pk in Step.objects.values_list("code", "pk")} == before
    assert Step.objects.get(code="A").done_on == date(2027, 2, 1)
    assert list(Section.objects.order_by("position").values_list("name", flat=True)) == ["Wing", "Floats"]


def test_plan_again_warns_of_each_date_that_it_clears(plan):
    into(plan("A,Floats,Do it,2027-03-01,,,,", plain("B")))
    found = into(plan(plain("A"), plain("B")))
    assert found.warnings == ["steps.csv: planned: A was planned for 2027-03-01, and now has no date"]
    assert Step.objects.get(code="A").planned_on is None


def test_plan_again_without_a_column_leaves_it(plan):
    into(plan("A,Floats,Do it,2027-03-01,,90,,left", plain("B", after="A")))
    assert into(plan("A,Floats,Do it", "B,Floats,Do it", columns=loads.STEPS)).warnings == []
    step = Step.objects.get(code="A")
    assert (step.planned_on, step.minutes, step.hand, StepAfter.objects.count()) == (date(2027, 3, 1), 90, "left", 1)


def test_plan_again_says_which_needs_are_gone(plan, file):
    into(plan(plain("A"), needs=("A,SEAL-B2,5", "A,FLT.140,2")))
    found = into(plan(plain("A"), needs=("A,SEAL-B2,7",)))
    assert found.warnings == ["needs.csv: item: no longer needed, so removed: A FLT.140"]
    assert call_outs() == {("A", "SEAL-B2"): 7}


def test_plan_again_without_needs_leaves_them(plan):
    into(plan(plain("A"), needs=("A,SEAL-B2,5",)))
    assert into(plan("A,Floats,Do it", columns=loads.STEPS, folder="other")).warnings == []
    assert call_outs() == {("A", "SEAL-B2"): 5}


def test_plan_refuses_to_lose_steps_and_lists_them(plan):
    into(plan(plain("A"), plain("B"), plain("C")))
    error = only_error(plan(plain("B")))
    assert error == "steps.csv: step: TERN-1 has steps that the file has not: A, C: add them, or load with --remove-missing"


def test_plan_removes_missing_steps_where_told_to(plan):
    into(plan(plain("A"), plain("B", after="A"), needs=("A,SEAL-B2,5", "B,SEAL-B2,6")))
    found = into(plan(plain("B"), needs=("B,SEAL-B2,6",)), "--remove-missing")
    assert found.loaded["removed"] == 1
    assert found.warnings == ["steps.csv: step: removed, as the file has them not: A"]
    assert call_outs() == {("B", "SEAL-B2"): 6}


def test_plan_never_removes_a_step_with_history(plan, bench):
    into(plan("A,Floats,Do it,,,,yes,", plain("B"), plain("C")))
    lot = factories.LotFactory(bench=bench, item=factories.ItemFactory(workshop=bench.workshop))
    factories.SetAsideFactory(lot=lot, ref=f"step:{Step.objects.get(code='C').pk}")
    error = only_error(plan(plain("D")), "--remove-missing")
    assert error.startswith(
        "steps.csv: step: these are done, or have stock or an accepted substitution to their name, so they can't be removed: A, C: "
    )


def test_missing_step_with_an_accepted_substitution_is_never_removed(plan, owner):
    into(plan(plain("A"), plain("B")))
    wanted, offered = factories.ItemFactory(workshop=owner.workshop), factories.ItemFactory(workshop=owner.workshop)
    step = Step.objects.get(code="A")
    Substitution.objects.create(workshop=owner.workshop, step=step, wanted=wanted, served_by=offered, by=owner, note="the maker said so")
    error = only_error(plan(plain("B")), "--remove-missing")
    assert "an accepted substitution to their name, so they can't be removed: A" in error


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        (
            (plain("A", after="C"), plain("B", after="A"), plain("C", after="B")),
            "steps.csv:2: after: a loop, each waiting for the next: A -> C -> B -> A",
        ),
        (
            (plain("X"), plain("a", after="b"), plain("B", after="A;X")),
            "steps.csv:3: after: a loop, each waiting for the next: a -> B -> a",
        ),
        ((plain("A", after="a"),), "steps.csv:2: after: 'a' is this step itself"),
        ((plain("A"), plain("a")), "steps.csv:3: step: 'a' is already on steps.csv:2"),
        ((plain("F1-01"), plain("F1-02", after="F1-1")), "steps.csv:3: after: 'F1-1' is no step of this plan: did you mean F1-01?"),
        ((plain("A;B"),), "steps.csv:2: step: 'A;B' holds a \";\""),
        (("A,,Do it,,,,,",), "steps.csv:2: section: blank"),
        (("A,Floats,Do it,2027-02-30,,,,",), "steps.csv:2: planned: '2027-02-30' is no day of the calendar"),
        (("A,Floats,Do it,,,-1,,",), "steps.csv:2: minutes: '-1' is not from 0"),
        (("A,Floats,Do it,,,,perhaps,",), "steps.csv:2: done: 'perhaps' is neither yes, no, nor a day"),
        (("A,Floats,Do it,,,,,both",), "steps.csv:2: hand: 'both' is unknown: "),
        ((f"{'x' * 41},Floats,Do it,,,,,",), "steps.csv:2: step: "),
    ],
)
def test_plan_refuses_steps_that_make_no_sense(plan, steps, told):
    assert only_error(plan(*steps)).startswith(told)


def test_plan_names_every_loop_at_once(plan):
    steps = plain("A", after="B"), plain("B", after="A"), plain("C", after="D"), plain("D", after="C"), plain("E", after="A")
    assert [error.split(": ")[0] for error in refused(plan(*steps))] == ["steps.csv:2", "steps.csv:4"]


@pytest.mark.parametrize(
    ("need", "told"),
    [
        ("B,SEAL-B2,5,", "needs.csv:2: step: 'B' is no step of this plan"),
        ("A,SEAL-B3,5,", "needs.csv:2: item: 'SEAL-B3' is no code of the catalogue: did you mean SEAL-B2?"),
        ("A,SEAL-B2,5,ea", "needs.csv:2: unit: ea is a count, g a mass"),
        ("A,SEAL-B2,0,", "needs.csv:2: quantity: '0' is zero"),
        ("A,SEAL-B2,0.0004,", "needs.csv:2: quantity: 0.0004 g is less than half a thousandth of g"),
        ("A,FLT.140,999999999999,km", "needs.csv:2: quantity: 999999999999 km is past 10^12 m"),
    ],
)
def test_plan_refuses_needs_that_make_no_sense(plan, need, told):
    assert only_error(plan(plain("A"), needs=(need,), needs_columns=f"{loads.NEEDS},unit")).startswith(told)


def test_plan_tells_faults_of_steps_and_needs_at_once(plan):
    errors = refused(plan("A,,Do it,,,,,", plain("B"), needs=("A,SEAL-B2,5", "C,SEAL-B2,5")))
    assert [error.split(": ")[:2] for error in errors] == [["steps.csv:2", "section"], ["needs.csv:3", "step"]]


def test_plan_of_a_project_that_is_there_keeps_its_bench(plan, project, bench, other_bench):
    into(plan(plain("A")))
    assert Project.objects.get().bench == bench


def test_plan_with_a_bench_sets_whose_project_it_is(plan, project, other_bench):
    into(plan(plain("A")), "--bench", "PLOVER")
    assert Project.objects.get().bench == other_bench


def test_plan_of_the_same_code_as_an_outsiders_is_ours_alone(plan, outsider):
    loaded("plan", plan(plain("OUTSIDE-STEP")), "--project", "OUTSIDE-PROJECT")
    with scopes_disabled():
        assert Step.objects.filter(code="OUTSIDE-STEP").count() == 2
        assert Step.objects.get(workshop=outsider).title == "Rivet the skin"
