"""The page of pins, and the same for programs: the order sheet's demand, day by day."""

import re
from datetime import date
from decimal import Decimal
from fractions import Fraction
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse
from rest_framework.test import APIClient

from tests import factories
from tests.factories import DAY

SIZE = Fraction(3, 32)
API = "/api/v1/projects/{}/pins"


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def cleco(workshop, bench):
    found = factories.ItemFactory(workshop=workshop, code="CLECO-3", name="Cleco, silver", kind="cleco", diameter=SIZE)
    factories.stock(factories.LotFactory(bench=bench, item=found), 40)
    return found


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20426AD3-3.5", kind="rivet", diameter=SIZE)


@pytest.fixture
def rows(project, cleco, rivet):
    """29 clecos from 6 March through 8 March, 30 more on the 8th: 59 of 40."""
    first = factories.StepFactory(project=project, code="F3-04", planned_on=date(2027, 3, 6))
    later = factories.StepFactory(project=project, code="F3-09", planned_on=date(2027, 3, 8), after=[first])
    factories.RivetRowFactory(step=first, rivet=rivet, holes=84, cleco_every=3, cleco=cleco, clecos_until=later, code="R1")
    return factories.RivetRowFactory(step=later, rivet=rivet, holes=30, cleco_every=1, cleco=cleco, code="R2")


@pytest.fixture
def url(project):
    return reverse("pins", args=[project.code])


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


@pytest.fixture
def program(reader):
    found = APIClient()
    found.force_login(reader.user, backend="django.contrib.auth.backends.ModelBackend")
    return found


class TestPage:
    def test_pins_say_what_lacks_when_who_competes_and_what_would_help(self, as_member, reader, url, rows):
        page = words(as_member(reader).get(url))

        assert "59 ea held at once, first on Mon 2027-03-08. 19 ea lacking at most , first Mon 2027-03-08." in page
        assert "Mon 2027-03-08 : 59 held, 40 there, 19 lacking" in page
        assert "Held by F3-09 (30), F3-04 (29)" in page
        assert "It fits if F3-09 or F3-04 alone is on other days, or holds 19 less." in page

    def test_pins_draw_a_chart_with_title_description_and_table(self, as_member, reader, url, rows, cleco):
        page = as_member(reader).get(url).content.decode()

        assert f'aria-labelledby="chart-{cleco.pk} about-{cleco.pk}"' in page
        assert re.search(r"<title[^>]*>CLECO-3: held and owned", page)
        assert re.search(r"<desc[^>]*>Bars are what steps hold at once: 59 ea at most", page)
        assert page.count('class="held"/>') == 3
        assert " style=" not in page  # the policy of the site refuses it
        assert words(as_member(reader).get(url)).count("29 ea 40 0") == 1

    def test_pins_count_the_steps_up_to_a_day(self, as_member, reader, url, rows):
        page = words(as_member(reader).get(url, {"before": "2027-03-06"}))
        assert "29 ea held at once" in page
        assert "What is there is enough on every day." in page

    @pytest.mark.parametrize("before", ["soon", "2027-02-30"])
    def test_pins_with_a_day_that_does_not_read_say_so_and_show_all(self, as_member, reader, url, rows, before):
        page = words(as_member(reader).get(url, {"before": before}))
        assert "Write the day as 2027-03-14." in page
        assert "59 ea held at once" in page

    def test_pins_of_two_projects_name_the_project_of_each_step(self, as_member, reader, bench, url, rows, cleco, rivet):
        step = factories.StepFactory(
            project=factories.ProjectFactory(bench=bench, code="TERN-2"), code="F1-01", planned_on=date(2027, 3, 8)
        )
        factories.RivetRowFactory(step=step, rivet=rivet, holes=5, cleco_every=1, cleco=cleco)

        page = as_member(reader).get(url, {"also": "TERN-2"})
        assert "Held by TERN-1:F3-09 (30), TERN-1:F3-04 (29), TERN-2:F1-01 (5)" in words(page)
        assert reverse("step", args=["TERN-2", "F1-01"]) in page.content.decode()

    def test_pins_fold_away_tools_of_which_there_is_enough(self, as_member, reader, url, rows, workshop, bench, project):
        gun = factories.ItemFactory(workshop=workshop, code="GUN", kind="tool")
        factories.stock(factories.LotFactory(bench=bench, item=gun), 1)
        factories.CallOutFactory(step=rows.step, item=gun, quantity=Decimal(1))

        page = as_member(reader).get(url).content.decode()
        assert f'<details id="item-{gun.pk}">' in page

    def test_pins_of_a_plan_without_any_say_what_makes_some(self, as_member, reader, url):
        assert "No step of this demand holds clecos or tools." in words(as_member(reader).get(url))

    def test_pins_are_linked_from_the_line_of_the_order_sheet_with_the_same_filter(self, as_member, reader, project, url, rows, cleco):
        sheet = as_member(reader).get(reverse("order-sheet", args=[project.code]), {"before": "2027-03-08"}).content.decode()
        assert f'href="{url}?before=2027-03-08#item-{cleco.pk}"' in sheet

    def test_pins_take_the_same_queries_whatever_the_plan(self, queries_of, reader, project, url, rows, cleco, rivet, workshop):
        few = queries_of(reader, url)
        for at in range(8):
            step = factories.StepFactory(project=project, planned_on=date(2027, 3, 9 + at))
            other = factories.ItemFactory(workshop=workshop, kind="cleco", diameter=Fraction(at + 4, 32))
            factories.RivetRowFactory(step=step, rivet=rivet, holes=90, cleco_every=1, cleco=other)
            factories.RivetRowFactory(step=step, rivet=rivet, holes=90, cleco_every=1, cleco=cleco)
        assert queries_of(reader, url) == few


class TestApi:
    def test_pins_answer_with_the_figures_and_reasons_of_the_page(self, program, project, rows):
        answer = program.get(API.format("tern-1"), {"before": "2027-03-08"})
        assert answer.status_code == HTTPStatus.OK
        found = answer.json()
        assert (found["project"], found["before"], found["as_of"]) == ("TERN-1", "2027-03-08", "2027-02-20")
        (item,) = found["items"]
        assert (item["item"], item["peak"], item["peak_day"], item["lacking"], item["first_lacking"]) == (
            *("CLECO-3", "59", "2027-03-08", "19", "2027-03-08"),
        )
        steps = [{"step": "F3-09", "held": "30", "alone": True}, {"step": "F3-04", "held": "29", "alone": True}]
        assert item["days"] == [
            {"first": "2027-02-20", "through": "2027-03-05", "held": "0", "owned": "40", "lacking": "0", "steps": []},
            {"first": "2027-03-06", "through": "2027-03-07", "held": "29", "owned": "40", "lacking": "0", "steps": []},
            {"first": "2027-03-08", "through": "2027-03-08", "held": "59", "owned": "40", "lacking": "19", "steps": steps},
        ]
        assert any("row R1" in reason["source"] for reason in item["trace"])
        assert any("it fits if F3-09 or F3-04 alone" in reason["text"] for reason in item["trace"])

    def test_pins_and_shortfall_agree(self, program, project, rows):
        (pins,) = program.get(API.format("TERN-1")).json()["items"]
        lines = program.get("/api/v1/projects/TERN-1/shortfall", {"all": "true"}).json()["lines"]
        (line,) = [line for line in lines if line["item"] == "CLECO-3"]
        assert (pins["peak"], pins["lacking"], pins["first_lacking"]) == (line["needed"], line["short"], line["first_short"])

    def test_pins_without_an_end_known_are_null(self, program, project, rivet, cleco):
        undated = factories.StepFactory(project=project, code="F9-01")
        step = factories.StepFactory(project=project, code="F1-01", planned_on=date(2027, 3, 6))
        factories.RivetRowFactory(step=step, rivet=rivet, holes=5, cleco_every=1, cleco=cleco, clecos_until=undated)
        (item,) = program.get(API.format("TERN-1"), {"before": "2027-03-06"}).json()["items"]
        assert item["days"][-1]["through"] is None

    @pytest.mark.parametrize("code", ["NOPE", "OUTSIDE-PROJECT"])
    def test_pins_of_a_project_of_nobody_or_of_the_outsider_are_not_found(self, program, project, code):
        answer = program.get(API.format(code))
        assert answer.status_code == HTTPStatus.NOT_FOUND
        assert answer["Content-Type"] == "application/problem+json"

    def test_pins_name_a_bad_parameter(self, program, project):
        answer = program.get(API.format("TERN-1"), {"before": "2027-02-30"})
        assert answer.status_code == HTTPStatus.BAD_REQUEST
        assert "before" in answer.json()["errors"]
