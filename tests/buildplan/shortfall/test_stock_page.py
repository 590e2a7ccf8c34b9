"""Stock against need by week: its page, its mark on the order sheet, and the same for programs."""

import re
from datetime import date
from decimal import Decimal
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse
from django_scopes import scopes_disabled
from rest_framework.test import APIClient

from buildplan.shortfall import queries
from inventory.models import Item
from tests import factories
from tests.factories import DAY

API = "/api/v1/projects/{}/stock-by-week"


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet", kind="rivet", identifiers=["AN470AD4-6"])


@pytest.fixture
def plan(project, bench, rivet):
    """100 here, of which 40 die on 1 March; 30 due on 24 February; 60 needed on 25 February and 90 on 6 March."""
    for code, on, quantity in (("F1", date(2027, 2, 25), 60), ("F2", date(2027, 3, 6), 90)):
        factories.CallOutFactory(
            step=factories.StepFactory(project=project, code=code, planned_on=on), item=rivet, quantity=Decimal(quantity)
        )
    factories.stock(factories.LotFactory(bench=bench, item=rivet, code="OLD", expires_on=date(2027, 3, 1)), 40)
    factories.stock(factories.LotFactory(bench=bench, item=rivet, code="NEW"), 60)
    factories.PackingLineFactory(
        crate=factories.CrateFactory(bench=bench, code="C-1", due_on=date(2027, 2, 24)), item=rivet, quantity=Decimal(30)
    )
    return project


@pytest.fixture
def url(project, rivet):
    return reverse("stock-by-week", args=[project.code, rivet.pk])


@pytest.fixture
def program(reader):
    found = APIClient()
    found.force_login(reader.user, backend="django.contrib.auth.backends.ModelBackend")
    return found


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


class TestPage:
    def test_page_shows_each_week_and_marks_the_first_short_one(self, as_member, reader, url, plan):
        page = words(as_member(reader).get(url))
        assert "2027-02-20 to 2027-02-21 100 0 0 0 0 100" in page
        assert "2027-02-22 to 2027-02-28 100 30 0 60 0 70" in page
        assert "2027-03-01 to 2027-03-07 first short week 70 0 0 90 20 0" in page
        assert "missing in all weeks together: 20 ea, short on the order sheet, first in the week of 2027-03-01" in page
        assert "F2 needs 90 ea on 2027-03-06" in page

    def test_picture_has_title_and_description_and_no_style(self, as_member, reader, url, plan):
        page = as_member(reader).get(url).content.decode()
        assert re.search(r'<title id="weeks-title">MS20470AD4-6: stock against need, week by week', page)
        assert re.search(r'<desc id="weeks-about">.*from 2027-03-01, with 20 ea missing\.', page)
        assert page.count('class="over"') == 1
        assert " style=" not in page

    def test_page_counts_the_steps_up_to_a_day_and_says_what_does_not_read(self, as_member, reader, url, plan):
        client = as_member(reader)
        assert "90 20 0" not in words(client.get(url, {"before": "2027-03-01"}))
        assert "Write the day as 2027-03-14." in words(client.get(url, {"before": "2027-02-30"}))

    def test_page_of_an_item_that_nobody_needs_says_so(self, as_member, reader, project, plan, workshop):
        other = factories.ItemFactory(workshop=workshop, code="SPAR")
        page = as_member(reader).get(reverse("stock-by-week", args=[project.code, other.pk]))
        assert "No step of this demand needs SPAR" in words(page)

    def test_tools_are_counted_by_what_is_held_at_once(self, as_member, reader, project, workshop, bench):
        gun = factories.ItemFactory(workshop=workshop, code="GUN", kind="tool")
        factories.stock(factories.LotFactory(bench=bench, item=gun), 1)
        for code in ("F1", "F2"):
            factories.CallOutFactory(step=factories.StepFactory(project=project, code=code, planned_on=DAY), item=gun)
        page = words(as_member(reader).get(reverse("stock-by-week", args=[project.code, gun.pk])))
        assert "2027-02-20 to 2027-02-21 first short week 1 0 0 2 1 1" in page
        assert "Held and owned, day by day" in page

    def test_outsider_s_item_and_project_are_not_found(self, as_member, reader, project, url, rivet, outsider):
        with scopes_disabled():
            theirs = Item.objects.get(code="OUTSIDE-ITEM").pk
        client = as_member(reader)
        for project_code, item in ((project.code, theirs), ("OUTSIDE-PROJECT", rivet.pk), ("OUTSIDE-PROJECT", theirs)):
            assert client.get(reverse("stock-by-week", args=[project_code, item])).status_code == HTTPStatus.NOT_FOUND

    def test_order_sheet_marks_the_line_and_leads_here_with_its_filter(self, as_member, reader, project, url, plan):
        page = as_member(reader).get(reverse("order-sheet", args=[project.code]), {"before": "2027-03-06"}).content.decode()
        assert f'href="{url}?before=2027-03-06"' in page
        assert "A triangle marks the first short week, from 2027-03-01." in page

    def test_page_takes_the_same_queries_whatever_the_plan(self, queries_of, reader, project, bench, rivet, url, plan, workshop):
        few = queries_of(reader, url)
        for at in range(8):
            step = factories.StepFactory(project=project, planned_on=date(2027, 3, 9 + at))
            factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(3))
            factories.CallOutFactory(step=step)
            factories.stock(factories.LotFactory(bench=bench, item=rivet), 1)
        assert queries_of(reader, url) == few


class TestLine:
    def test_line_of_one_item_is_the_order_sheet_s(self, plan, bench, rivet, workshop):
        second = factories.ProjectFactory(bench=bench, code="TERN-2")
        factories.CallOutFactory(step=factories.StepFactory(project=second, code="F1", planned_on=DAY), item=rivet, quantity=Decimal(7))
        for named in ([plan], [plan, second], [second]):
            for before in (None, date(2027, 3, 1)):
                asked = {"before": before, "as_of": DAY}
                sheet = {line.item.id: line for line in queries.shortfall(named, **asked).lines}
                assert queries.line_of(named, rivet.pk, **asked) == sheet[rivet.pk]

    def test_line_of_what_nobody_needs_is_none(self, plan, workshop):
        assert queries.line_of([plan], factories.ItemFactory(workshop=workshop).pk, before=None, as_of=DAY) is None

    def test_seam_that_cannot_be_reckoned_is_refused_as_on_the_order_sheet(self, plan, workshop):
        sealant = factories.ItemFactory(workshop=workshop, kind="sealant", unit="g", gravity=None)
        factories.SeamFactory(step=plan.steps.first(), sealant=sealant)
        for ask in (lambda **asked: queries.shortfall([plan], **asked), lambda **asked: queries.line_of([plan], sealant.pk, **asked)):
            with pytest.raises(queries.SeamNotKnown, match="Nothing is reckoned without it"):
                ask(before=None, as_of=DAY)


class TestApi:
    def test_weeks_agree_with_the_shortfall(self, program, plan):
        answer = program.get(API.format("tern-1"), {"item": "an470ad4-6"})
        assert answer.status_code == HTTPStatus.OK
        found = answer.json()
        (line,) = program.get("/api/v1/projects/TERN-1/shortfall").json()["lines"]
        assert (found["item"], found["unit"], found["returned"]) == ("MS20470AD4-6", "ea", False)
        assert (found["needed"], found["short"], found["first_short"]) == (line["needed"], line["short"], line["first_short"])
        assert found["first_short_week"] == "2027-03-01"
        assert found["weeks"][1:] == [
            {
                "first": "2027-02-22",
                "through": "2027-02-28",
                "opening": "100",
                "due": "30",
                "ended": "0",
                "needed": "60",
                "missing": "0",
                "left": "70",
            },
            {
                "first": "2027-03-01",
                "through": "2027-03-07",
                "opening": "70",
                "due": "0",
                "ended": "0",
                "needed": "90",
                "missing": "20",
                "left": "0",
            },
        ]
        assert found["trace"][-1]["source"]

    def test_item_that_nobody_needs_has_no_weeks(self, program, plan, workshop):
        factories.ItemFactory(workshop=workshop, code="SPAR")
        found = program.get(API.format("TERN-1"), {"item": "SPAR"}).json()
        assert (found["weeks"], found["short"], found["first_short_week"], found["trace"]) == ([], "0", None, [])

    @pytest.mark.parametrize(
        ("code", "asked", "status"),
        [
            ("OUTSIDE-PROJECT", {"item": "MS20470AD4-6"}, HTTPStatus.NOT_FOUND),
            ("TERN-1", {"item": "OUTSIDE-ITEM"}, HTTPStatus.NOT_FOUND),
            ("TERN-1", {}, HTTPStatus.BAD_REQUEST),
            ("TERN-1", {"item": "MS20470AD4-6", "before": "2027-02-30"}, HTTPStatus.BAD_REQUEST),
        ],
    )
    def test_what_is_not_there_or_does_not_read_is_a_problem(self, program, plan, code, asked, status):
        answer = program.get(API.format(code), asked)
        assert answer.status_code == status
        assert answer["Content-Type"] == "application/problem+json"
