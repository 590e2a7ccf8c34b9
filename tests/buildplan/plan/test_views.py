"""The plan's page: what is done, ready, waiting; planned days."""

from datetime import date
from http import HTTPStatus

import pytest
from django.urls import reverse

from buildplan.models import Step
from buildplan.plan import queries, services
from buildplan.plan.views import PAGE
from inventory.workshop.policy import NotAllowed
from tests import factories

DAY = date(2027, 3, 6)


@pytest.fixture
def steps(project):
    """Done, then ready, then waiting."""
    first = factories.StepFactory(project=project, code="F1-01", done=True, done_on=date(2027, 1, 9))
    second = factories.StepFactory(project=project, code="F1-02", after=[first], planned_on=DAY, minutes=90, hand="left")
    third = factories.StepFactory(project=project, code="F1-03", after=[first, second])
    return first, second, third


def url(project):
    return reverse("plan", args=[project.code])


def rows(project):
    return {step.code: step for section in queries.sections(project) for step in section.steps}


class TestSections:
    def test_sections_stand_in_plan_order_with_their_steps(self, project):
        wings = factories.SectionFactory(project=project, name="Wings", position=2)
        floats = factories.SectionFactory(project=project, name="Floats", position=1)
        for code, section, position in (("W2", wings, 4), ("W1", wings, 3), ("F1", floats, 2)):
            factories.StepFactory(project=project, section=section, code=code, position=position)

        found = queries.sections(project)
        assert [(section.name, [step.code for step in section.steps]) for section in found] == [("Floats", ["F1"]), ("Wings", ["W1", "W2"])]

    def test_step_is_ready_when_all_before_it_is_done(self, project, steps):
        found = rows(project)
        assert [(step.code, step.ready, step.waits_for) for step in found.values()] == [
            ("F1-01", False, ()),
            ("F1-02", True, ()),
            ("F1-03", False, ("F1-02",)),
        ]

    def test_progress_counts_each_project_by_itself(self, project, bench, steps):
        factories.ProjectFactory(bench=bench, code="TERN-2")
        assert [(one.project.code, one.done, one.steps) for one in queries.progress()] == [("TERN-1", 1, 3), ("TERN-2", 0, 0)]


class TestSetPlanned:
    def test_set_planned_keeps_who_changed_it(self, steps, builder):
        services.set_planned(step=steps[1], planned_on=date(2027, 4, 1), by=builder)

        assert Step.objects.get(code="F1-02").planned_on == date(2027, 4, 1)
        assert steps[1].history.first().history_user == builder

    def test_set_planned_clears(self, steps, builder):
        services.set_planned(step=steps[1], planned_on=None, by=builder)

        assert Step.objects.get(code="F1-02").planned_on is None

    def test_set_planned_refuses_a_step_that_is_done(self, steps, builder):
        with pytest.raises(services.StepDone, match="F1-01 is done"):
            services.set_planned(step=steps[0], planned_on=DAY, by=builder)

    def test_set_planned_refuses_reader_and_outsider(self, steps, reader):
        for by in (reader, factories.MemberFactory()):
            with pytest.raises(NotAllowed):
                services.set_planned(step=steps[1], planned_on=None, by=by)


class TestPlanPage:
    def test_plan_says_what_is_done_ready_and_waiting(self, as_member, builder, project, steps):
        page = " ".join(as_member(builder).get(url(project)).content.decode().split())

        assert "1 of 3 steps done" in page
        assert "Done Sat 2027-01-09" in page
        assert "Ready" in page
        assert f'Waits for <a href="{reverse("step", args=["TERN-1", "F1-02"])}">F1-02</a>' in page
        assert "left hand, 90 minutes" in page

    def test_plan_takes_a_planned_day_and_comes_back_to_the_step(self, as_member, builder, project, steps):
        answer = as_member(builder).post(reverse("planned", args=["TERN-1", "F1-02"]), {"planned_on": "2027-04-01"})

        assert answer.url == f"{url(project)}?at={steps[1].pk}#step-{steps[1].pk}"
        assert Step.objects.get(code="F1-02").planned_on == date(2027, 4, 1)

    def test_plan_says_what_is_wrong_with_a_day_and_keeps_it(self, as_member, builder, project, steps):
        page = as_member(builder).post(reverse("planned", args=["TERN-1", "F1-02"]), {"planned_on": "2027-02-30"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert 'value="2027-02-30"' in page.content.decode()
        assert "Write the day as 2027-03-14" in page.content.decode()

    def test_plan_shows_a_reader_days_and_no_forms(self, as_member, reader, project, steps):
        client = as_member(reader)

        page = client.get(url(project)).content.decode()
        assert "Planned Sat 2027-03-06" in page
        assert 'name="planned_on"' not in page
        assert client.post(reverse("planned", args=["TERN-1", "F1-02"]), {}).status_code == HTTPStatus.FORBIDDEN

    def test_plan_without_steps_says_what_to_do(self, as_member, builder, project):
        assert "manage.py load plan" in as_member(builder).get(url(project)).content.decode()

    def test_plan_finds_a_project_in_any_case_and_with_a_slash(self, as_member, builder, bench):
        slashed = factories.ProjectFactory(bench=bench, code="TERN/2")
        factories.StepFactory(project=slashed, code="F1/01")
        client = as_member(builder)

        assert client.get("/projects/tern/2/plan/").status_code == HTTPStatus.OK
        assert client.get(reverse("step", args=["TERN/2", "F1/01"])).status_code == HTTPStatus.OK

    def test_plans_go_to_the_only_project_or_ask(self, as_member, builder, project, bench):
        client = as_member(builder)
        assert client.get(reverse("plans")).url == url(project)

        other = factories.ProjectFactory(bench=bench)
        page = client.get(reverse("plans")).content.decode()
        assert url(project) in page
        assert url(other) in page

    def test_plans_of_an_empty_workshop_say_what_to_do(self, as_member, builder):
        assert "No aeroplane is planned here yet" in as_member(builder).get(reverse("plans")).content.decode()

    def test_plan_takes_the_same_queries_whatever_its_size(self, queries_of, builder, project):
        first = factories.StepFactory(project=project)
        few = queries_of(builder, url(project))
        for _ in range(25):
            factories.StepFactory(project=project, after=[first])

        assert queries_of(builder, url(project)) == few


class TestLongPlan:
    @pytest.fixture
    def long(self, project):
        """Two pages: all of the first page is done, and a step more."""
        floats, wings = (factories.SectionFactory(project=project, name=name, position=at) for at, name in enumerate(("Floats", "Wings")))
        return [
            factories.StepFactory(project=project, code=f"L{at}", section=floats if at < 5 else wings, position=at, done=at <= PAGE)
            for at in range(PAGE + 5)
        ]

    @pytest.fixture
    def codes(self, as_member, reader, project):
        def codes(**asked):
            page = as_member(reader).get(url(project), asked)
            return [step.code for _, found in page.context["shown"] for step in found]

        return codes

    def test_plan_opens_where_there_is_work(self, long, codes):
        assert codes() == [step.code for step in long[PAGE:]]
        assert codes(page=1) == [step.code for step in long[:PAGE]]

    def test_plan_opens_at_a_step_and_at_a_section(self, long, codes):
        assert long[3].code in codes(at=long[3].pk)
        assert long[PAGE].code in codes(at=long[PAGE].pk)
        assert codes(section=long[0].section_id)[0] == long[0].code
        assert codes(at="x", section="y") == codes()

    def test_sections_say_how_far_they_are_whatever_page_is_open(self, as_member, reader, project, long):
        page = as_member(reader).get(url(project), {"page": 2}).content.decode()
        assert f"{PAGE - 4} of {PAGE} done" in page

    def test_plan_with_all_done_opens_at_its_start(self, long, codes):
        Step.objects.update(done=True)
        assert codes()[0] == long[0].code
