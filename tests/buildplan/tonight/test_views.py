"""Tonight, the start page, its pick list, and the same answer through the API."""

import re
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse
from django_scopes import scope

from buildplan.plan.models import Step
from tests import factories
from tests.factories import DAY

API = reverse("api-tonight")


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


class TestPage:
    def test_page_shows_ready_and_blocked_steps_with_reasons_and_places(self, as_member, reader, steps):
        page = words(as_member(reader).get(reverse("home"), {"minutes": "90"}))

        assert "What can be done on Sat 2027-02-20 in 90 minutes with 1 person. 2 steps to do in all." in page
        assert "Takes 2 things from 2 places" in page
        assert "40 ea RIVET Rivet Hangar/Drawer 10 , lot R-1" in page
        assert "takes 90 of your 90 minutes as asked for this evening" in page
        assert "F2 Rivet must be done first: F2 counts on 2027-02-20 (the plan)".replace(" (the plan)", "") in page
        assert "no lead time of SPAR is in the catalogue" in page

    def test_both_addresses_are_one_page_and_the_menu_names_it(self, as_member, reader, steps):
        client = as_member(reader)
        pages = [client.get(reverse(name)).content.decode() for name in ("home", "tonight")]
        for page in pages:
            assert "<h1>Tonight</h1>" in page
            assert re.search(r'<a href="/" aria-current="page">\s*Tonight', page)
            assert f'href="{reverse("projects")}"' in page

    def test_evening_stays_in_the_address_and_in_the_form(self, as_member, reader, steps):
        page = as_member(reader).get(reverse("home"), {"minutes": "60", "people": "2"})

        assert "takes 90 minutes, you have 60" in words(page)
        assert 'name="minutes" value="60"' in page.content.decode()
        assert "with 2 people" in words(page)

    @pytest.mark.parametrize("asked", [{"minutes": "soon"}, {"minutes": "0"}, {"people": "-1"}])
    def test_what_does_not_read_is_said_and_kept(self, as_member, reader, steps, asked):
        page = as_member(reader).get(reverse("home"), asked)
        ((name, value),) = asked.items()

        assert page.status_code == HTTPStatus.OK
        assert 'class="error"' in page.content.decode()
        assert f'name="{name}" value="{value}"' in page.content.decode()

    def test_project_is_chosen_where_there_are_several(self, as_member, reader, steps, other_bench):
        client = as_member(reader)
        assert 'name="project"' not in client.get(reverse("home")).content.decode()
        factories.StepFactory(project=factories.ProjectFactory(bench=other_bench, code="PLOVER-1"), code="P1", title="Weigh")
        assert "PLOVER-1: P1" in words(client.get(reverse("home")))
        assert "PLOVER-1: P1" not in words(client.get(reverse("home"), {"project": "TERN-1"}))

    def test_what_is_due_is_told(self, as_member, reader, steps, bench):
        factories.CrateFactory(bench=bench, code="CRATE-8", due_on=DAY)
        page = words(as_member(reader).get(reverse("home")))
        assert "Sat 2027-02-20, today : CRATE-8 for TERN is due: no list yet" in page

    def test_empty_workshop_is_told_how_to_begin(self, as_member, reader, workshop):
        page = words(as_member(reader).get(reverse("home")))
        assert "manage.py load catalogue" in page
        assert "--workshop MARSH" in page

    def test_all_done_says_so(self, as_member, reader, project):
        factories.StepFactory(project=project, done=True)
        assert "Every step is done." in words(as_member(reader).get(reverse("home")))

    def test_outsider_is_never_shown(self, as_member, reader, steps):
        for name in ("home", "pick-list", "projects"):
            assert "OUTSIDE" not in words(as_member(reader).get(reverse(name)))

    def test_as_many_queries_whatever_the_plan(self, queries_of, reader, project, bench, steps):
        few = queries_of(reader, reverse("home"))
        for _ in range(8):
            call_out = factories.CallOutFactory(step=factories.StepFactory(project=project))
            factories.stock(factories.LotFactory(bench=bench, item=call_out.item), 1)
        assert queries_of(reader, reverse("home")) == few


class TestPickList:
    def test_list_goes_place_by_place(self, as_member, reader, steps):
        page = as_member(reader).get(reverse("pick-list"), {"step": steps.second.pk})

        assert "Hangar/Drawer 2 20 ea CLECO-4 Cleco, lot TUB Hangar/Drawer 10 40 ea RIVET Rivet, lot R-1" in words(page)

    def test_ticks_stay_in_the_address(self, as_member, reader, steps):
        client = as_member(reader)
        keys = re.findall(r'name="got" value="([^"]+)"', client.get(reverse("pick-list"), {"step": steps.second.pk}).content.decode())
        page = client.get(reverse("pick-list"), {"step": steps.second.pk, "got": keys[0]})

        assert len(keys) == 2
        assert "1 ticked off" in words(page)
        assert f'value="{keys[0]}" checked' in page.content.decode()
        assert f'value="{keys[1]}" checked' not in page.content.decode()

    def test_what_the_shelves_do_not_give_is_said(self, as_member, reader, steps):
        page = words(as_member(reader).get(reverse("pick-list"), {"step": steps.third.pk}))
        assert "1 ea of SPAR short, for F3" in page

    def test_nothing_chosen_leads_back(self, as_member, reader, steps):
        for asked in ({}, {"step": steps.first.pk}):
            assert "No step is chosen" in words(as_member(reader).get(reverse("pick-list"), asked))

    def test_foreign_and_unreadable_steps_are_not_found(self, as_member, reader, steps, outsider):
        with scope(workshop=outsider):
            theirs = Step.objects.get().pk
        for step in (theirs, 0, "x", "9" * 30):
            answer = as_member(reader).get(reverse("pick-list"), {"step": step})
            assert answer.status_code == HTTPStatus.NOT_FOUND, step


class TestApi:
    def test_api_gives_the_same_answer(self, as_device, owner, steps):
        found = as_device(owner, "read").get(API, {"minutes": 90, "people": 2}).json()

        assert (found["today"], found["minutes"], found["people"], found["steps"], found["waiting"]) == ("2027-02-20", 90, 2, 2, 0)
        (ready,) = found["ready"]
        assert (ready["project"], ready["step"], ready["minutes"], ready["people"]) == ("TERN-1", "F2", 90, None)
        rivets = {"place": "Hangar/Drawer 10", "lot": "R-1", "lot_id": steps.rivet.lots.get().pk, "quantity": "40"}
        assert ready["takes"][1] == {"item": "RIVET", "unit": "ea", "quantity": "40", "returned": False, "lies": [rivets]}
        assert {"text": "takes 90 of your 90 minutes", "source": "as asked for this evening"} in ready["trace"]
        (blocked,) = found["blocked"]
        assert (blocked["step"], blocked["free_from"]) == ("F3", None)
        assert [(block["kind"], block["day"]) for block in blocked["blocks"]] == [("step", "2027-02-20"), ("stock", None)]

    @pytest.mark.parametrize("asked", [{"minutes": "0"}, {"minutes": "x"}, {"people": "0"}, {"people": "51"}])
    def test_what_does_not_read_is_a_problem(self, as_device, owner, steps, asked):
        answer = as_device(owner, "read").get(API, asked)
        assert answer.status_code == HTTPStatus.BAD_REQUEST
        assert answer["Content-Type"] == "application/problem+json"

    def test_project_that_is_not_here_is_not_found(self, as_device, owner, steps, outsider):
        client = as_device(owner, "read")
        assert client.get(API, {"project": "tern-1"}).json()["steps"] == 2
        for code in ("OUTSIDE-PROJECT", "NONE"):
            assert client.get(API, {"project": code}).status_code == HTTPStatus.NOT_FOUND

    def test_outsider_reads_nothing_of_it(self, as_device, steps, outsider):
        with scope(workshop=outsider):
            theirs = as_device(outsider.members.get(name="OUTSIDE owner"))
        assert "RIVET" not in theirs.get(API).content.decode()


class TestPeople:
    def test_people_are_entered_with_the_planned_day(self, as_member, owner, steps):
        client = as_member(owner)
        where = reverse("planned", args=["TERN-1", "F2"])
        client.post(where, {"planned_on": "2027-03-01", "people": "2"})
        steps.second.refresh_from_db()
        assert steps.second.people == 2
        client.post(where, {"planned_on": "2027-03-02"})  # a form that doesn't ask leaves it
        steps.second.refresh_from_db()
        assert (steps.second.people, str(steps.second.planned_on)) == (2, "2027-03-02")
        assert client.post(where, {"planned_on": "", "people": "0"}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY
