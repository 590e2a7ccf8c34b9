"""Tonight, the start page, its pick list, and the same answer through the API."""

import re
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse
from django_scopes import scope

from buildplan.models import PickTick, Step
from buildplan.tonight import services
from buildplan.tonight.walk import walk
from tests import factories
from tests.buildplan.tonight.conftest import NOW
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
        answer = as_member(reader).get(reverse("home"))
        assert "load the example, or your own files" in words(answer)
        assert f'href="{reverse("start")}"' in answer.content.decode()

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

    def test_line_is_ticked_scanned_and_taken_back(self, as_member, builder, steps):
        client, asked = as_member(builder), {"step": steps.second.pk}
        first = re.findall(r'name="tick" value="([^"]+)"', client.get(reverse("pick-list"), asked).content.decode())[0]

        assert "1 ticked off" in words(client.post(reverse("pick-tick"), {**asked, "tick": first}, follow=True))
        page = client.post(reverse("pick-tick"), {**asked, "code": " RIVET\r"}, follow=True)
        assert "RIVET is ticked off: 40 ea." in words(page)
        assert "2 ticked off" in words(page)
        assert "autofocus" in page.content.decode()
        assert "1 ticked off" in words(client.post(reverse("pick-tick"), {**asked, "undo": first}, follow=True))
        assert "No line is ticked off now" in words(client.post(reverse("pick-tick"), {**asked, "clear": 1}, follow=True))
        assert not PickTick.objects.exists()

    def test_scan_of_the_wrong_thing_is_said_and_the_field_is_free_for_the_next(self, as_member, builder, steps):
        page = as_member(builder).post(reverse("pick-tick"), {"step": steps.second.pk, "code": "SPAR"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "SPAR is not on this list." in words(page)
        assert 'value="SPAR"' not in page.content.decode()

    def test_nothing_scanned_is_said(self, as_member, builder, steps):
        page = as_member(builder).post(reverse("pick-tick"), {"step": steps.second.pk})
        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY

    def test_foreign_steps_are_not_found_by_who_ticks(self, as_member, builder, outsider):
        with scope(workshop=outsider):
            theirs = Step.objects.get().pk
        for sent in ({"clear": 1}, {"tick": "1-1"}, {"code": "X"}, {"undo": "1-1"}):
            assert as_member(builder).post(reverse("pick-tick"), {"step": theirs, **sent}).status_code == HTTPStatus.NOT_FOUND

    def test_lines_alone_are_sent_to_who_asks_again(self, as_member, reader, steps):
        part = as_member(reader).get(reverse("pick-list"), {"step": steps.second.pk}, headers={"HX-Request": "true"}).content.decode()
        assert part.startswith('<section id="walk"')
        assert 'name="tick"' not in part  # a reader looks

    def test_as_many_queries_however_many_lines_are_ticked(self, queries_of, builder, bench, steps):
        address = f"{reverse('pick-list')}?step={steps.second.pk}"
        few = queries_of(builder, address)
        for line in walk([steps.second.pk], today=DAY).lines:
            services.tick(walk=walk([steps.second.pk], today=DAY), key=line.key, by=builder, now=NOW)
        assert queries_of(builder, address) == few

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
