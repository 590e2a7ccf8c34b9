"""A step gets its day and its people; what comes before it moves the day on which things are needed."""

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from buildplan.models import Step
from tests import factories

SOON = timedelta(days=9)


def furnish(workshop):
    bench = factories.BenchFactory(workshop=workshop)
    project = factories.ProjectFactory(bench=bench, code="TERN-1", name="Tern one")
    first = factories.StepFactory(project=project, code="F1", title="Deburr the skin")
    second = factories.StepFactory(project=project, code="F2", title="Rivet the skin", after=[first])
    factories.CallOutFactory(step=second, item=factories.ItemFactory(workshop=workshop, code="SPAR"), quantity=Decimal(2))
    return factories.MemberFactory(workshop=workshop, role="builder", name="Ada")


def plan_a_step(hands):
    day = timezone.localdate() + SOON
    hands.start()
    hands.follow("Plan", exact=True)
    hands.at("Plan of Tern one")
    hands.sees("0 of 2 steps done")
    hands.say_day("Planned day of F2", day)
    hands.press("Set the day of F2")
    hands.sees("F2 is planned for")
    hands.press("Undo")
    hands.sees("F2 has no planned day now")

    hands.follow("F2 Rivet the skin")
    hands.at("F2 Rivet the skin")
    hands.sees("Not everything before it is done")
    hands.follow("Plan its day")
    hands.at("When is F2 planned?")
    hands.say_day("Planned", day)
    hands.write("People it takes at once", "2")
    hands.press("Set the day")
    hands.at("F2 Rivet the skin")
    hands.sees("F2 is planned for")


def check(workshop):
    step = Step.objects.get(code="F2")
    assert (step.planned_on, step.people) == (timezone.localdate() + SOON, 2)


def test_a_step_is_planned_from_the_plan_and_from_its_page(each_way):
    each_way(furnish, plan_a_step, check)
