"""The projects and the order sheet: what is short and why, what is ordered, the same lines as a file."""

import csv
import re
from datetime import date
from decimal import Decimal
from http import HTTPStatus
from io import StringIO

import pytest
import time_machine
from django.urls import reverse

from buildplan.shortfall import sheet
from buildplan.shortfall.views import MOST, PAGE
from inventory.models import Crate, PackingLine
from tests import factories
from tests.factories import DAY

PLANNED = date(2027, 3, 6)


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def rivets(workshop):
    return factories.ItemFactory(
        workshop=workshop,
        code="MS20470AD4-6",
        name="Rivet, universal",
        kind="rivet",
        pack=Decimal(100),
        lead_days=5,
    )


@pytest.fixture
def wanted(project, rivets):
    """A step on 6 March needs 240 rivets."""
    step = factories.StepFactory(project=project, code="F3-05", planned_on=PLANNED)
    return factories.CallOutFactory(step=step, item=rivets, quantity=Decimal(240))


@pytest.fixture
def url(project):
    return reverse("order-sheet", args=[project.code])


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


def lines(client, project, **asked):
    answer = client.get(reverse("order-sheet-csv", args=[project.code]), asked)
    return list(csv.DictReader(StringIO(answer.content.decode())))


class TestProjects:
    def test_projects_counts_steps_and_items_short(self, as_member, reader, project, wanted):
        factories.StepFactory(project=project, done=True)

        page = words(as_member(reader).get(reverse("projects")))
        assert "Steps done 1 of 2" in page
        assert "Items short 1" in page

    def test_projects_leads_to_order_sheet_and_plan(self, as_member, reader, project, url):
        page = as_member(reader).get(reverse("projects")).content.decode()

        assert f'href="{url}"' in page
        assert f'href="{reverse("plan", args=[project.code])}"' in page

    def test_projects_of_an_empty_workshop_leads_to_the_first_steps(self, as_member, reader, workshop):
        answer = as_member(reader).get(reverse("projects"))

        assert "No aeroplane is planned here yet." in words(answer)
        assert f'href="{reverse("start")}"' in answer.content.decode()

    def test_projects_never_shows_the_outsider(self, as_member, reader, project):
        assert "OUTSIDE" not in words(as_member(reader).get(reverse("projects")))

    def test_projects_takes_the_same_queries_whatever_the_plan(self, queries_of, reader, project, bench):
        def grow():
            call_out = factories.CallOutFactory(step=factories.StepFactory(project=project))
            factories.stock(factories.LotFactory(bench=bench, item=call_out.item), 1)

        grow()
        few = queries_of(reader, reverse("projects"))
        for _ in range(15):
            grow()
        assert queries_of(reader, reverse("projects")) == few


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", life_months=3, lead_days=10, pack=Decimal(4))


def _sealing(project, sealant, *days):
    for day in days:
        step = factories.StepFactory(project=project, code=f"S{day:%m%d}", planned_on=day)
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(5))


class TestWindow:
    """What dies has a window to buy it in; the figures are those of tests/buildplan/shortfall/test_buying.py."""

    def test_sheet_shows_from_when_to_when_to_buy(self, as_member, reader, url, project, sealant):
        _sealing(project, sealant, PLANNED)

        page = words(as_member(reader).get(url))
        assert "Buy it from Thu 2026-12-10 to Sun 2027-02-21 : earlier it would be dead before its last use." in page
        assert "not before 2026-12-10 = 2027-03-06 - 76 days - 10 days lead time" in page
        assert "MIL-DTL-5516D par. 6.5" in page
        assert "hort on several days:" not in page

    def test_sheet_says_an_empty_window_with_both_dates_and_the_two_purchases(self, as_member, reader, url, project, sealant):
        _sealing(project, sealant, PLANNED, date(2027, 6, 12))

        page = words(as_member(reader).get(url))
        assert "No day to buy : not before Tue 2027-03-16, or it is dead before its last use; order by Sun 2027-02-21" in page
        assert "It opens if S0612 on 2027-06-12 comes on 2027-05-17 or before" in page
        assert "Short on several days: 2 purchases are needed." in page
        assert "from Sat 2027-02-20 to Sun 2027-02-21: 5 g, so 8 in whole packs, for S0306 on 2027-03-06" in page

    def test_csv_has_the_first_day_to_buy(self, as_member, reader, project, sealant):
        _sealing(project, sealant, PLANNED)

        (line,) = lines(as_member(reader), project)
        assert (line["not_before"], line["order_by"]) == ("2026-12-10", "2027-02-21")

    def test_sheet_says_nothing_of_a_window_for_what_does_not_die(self, as_member, reader, url, project, wanted):
        assert "Buy it from" not in words(as_member(reader).get(url))
        assert lines(as_member(reader), project)[0]["not_before"] == ""


class TestOrderSheet:
    def test_sheet_shows_the_line_with_its_figures(self, as_member, reader, url, bench, wanted, rivets):
        factories.stock(factories.LotFactory(bench=bench, item=rivets), 112)

        page = words(as_member(reader).get(url))
        assert "1 item needed, 1 short" in page
        assert "MS20470AD4-6 Rivet, universal 240 ea 112 0 128 200 ea 2 \N{MULTIPLICATION SIGN} 100" in page
        assert "Fri 2027-02-26" in page
        assert "First short Sat 2027-03-06" in page

    def test_sheet_says_why_with_its_source(self, as_member, reader, url, bench, wanted, rivets):
        factories.stock(factories.LotFactory(bench=bench, item=rivets, state="disputed"), 112)

        page = words(as_member(reader).get(url))
        assert "112 ea disputed with its sender" in page
        assert "order by 2027-02-26 = 2027-03-06 - 5 days lead time - 3 days receiving allowance" in page
        assert "lead_days of the catalogue" in page

    def test_sheet_says_how_late_an_order_is(self, as_member, reader, url, wanted):
        with time_machine.travel(date(2027, 3, 1), tick=False):
            assert "3 days past" in words(as_member(reader).get(url))

    def test_sheet_says_where_no_lead_time_is_known(self, as_member, reader, url, project):
        factories.CallOutFactory(step=factories.StepFactory(project=project))

        assert "not known" in words(as_member(reader).get(url))

    def test_sheet_leads_to_the_steps(self, as_member, reader, url, wanted):
        address = reverse("step", args=["TERN-1", "F3-05"])
        assert f'<a href="{address}">F3-05</a>' in as_member(reader).get(url).content.decode()

    def test_sheet_takes_a_day(self, as_member, reader, url, project, wanted):
        client = as_member(reader)

        assert "No step up to that day needs anything" in words(client.get(url, {"before": "2027-03-05"}))
        assert "MS20470AD4-6" in words(client.get(url, {"before": "2027-03-06"}))

    def test_sheet_says_what_is_wrong_with_a_day_and_filters_nothing(self, as_member, reader, url, wanted):
        page = words(as_member(reader).get(url, {"before": "2027-02-30"}))

        assert "Write the day as 2027-03-14" in page
        assert "For all steps not done" in page

    def test_sheet_shows_what_is_met_when_asked(self, as_member, reader, url, bench, wanted, rivets):
        factories.stock(factories.LotFactory(bench=bench, item=rivets), 240)
        client = as_member(reader)

        assert "Nothing is short" in words(client.get(url))
        assert "MS20470AD4-6" in words(client.get(url, {"every": "on"}))

    def test_section_chooses_what_is_shown_and_not_what_is_counted(self, as_member, reader, url, project, wanted, rivets):
        tail = factories.SectionFactory(project=project, name="Tail", position=2)
        wings = factories.SectionFactory(project=project, name="Wings", position=3)
        factories.CallOutFactory(step=factories.StepFactory(project=project, section=tail), item=rivets, quantity=Decimal(10))
        client = as_member(reader)

        page = words(client.get(url, {"section": tail.pk}))
        assert "Only lines that steps of Tail need are shown" in page
        assert "250 ea" in page
        assert "Nothing is short for the steps of this section" in words(client.get(url, {"section": wings.pk}))

    def test_projects_of_the_bench_are_netted_together(self, as_member, reader, url, bench, other_bench, wanted, rivets):
        second = factories.ProjectFactory(bench=bench, code="TERN-2")
        factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
        step = factories.StepFactory(project=second, code="F1-01", planned_on=PLANNED)
        factories.CallOutFactory(step=step, item=rivets, quantity=Decimal(10))
        client = as_member(reader)

        assert "PLOVER-1" not in words(client.get(url))
        page = client.get(url, {"also": "TERN-2"})
        assert "250 ea" in words(page)
        assert f'<a href="{reverse("step", args=["TERN-2", "F1-01"])}">TERN-2:F1-01</a>' in page.content.decode()

    @pytest.mark.parametrize("code", ["PLOVER-1", "OUTSIDE-PROJECT", "NONE"])
    def test_project_that_is_not_of_the_bench_is_refused(self, as_member, reader, url, other_bench, wanted, code):
        factories.ProjectFactory(bench=other_bench, code="PLOVER-1")
        factories.ProjectFactory(bench=wanted.step.project.bench, code="TERN-2")

        page = words(as_member(reader).get(url, {"also": code}))
        assert "is not one of the available choices" in page
        assert "240 ea" in page

    def test_order_sheets_go_to_the_only_project(self, as_member, reader, url):
        assert as_member(reader).get(reverse("order-sheets")).url == url

    def test_project_that_is_not_there(self, as_member, reader, url):
        assert as_member(reader).get(reverse("order-sheet", args=["NONE"])).status_code == HTTPStatus.NOT_FOUND

    def test_sheet_takes_the_same_queries_whatever_its_size(self, queries_of, owner, url, project, bench):
        crate = factories.CrateFactory(bench=bench, due_on=PLANNED)

        def grow():
            call_out = factories.CallOutFactory(step=factories.StepFactory(project=project))
            factories.PackingLineFactory(crate=crate, item=call_out.item, quantity=Decimal("0.5"))

        grow()
        few = queries_of(owner, url)
        for _ in range(15):
            grow()
        assert queries_of(owner, url) == few


class TestLongOrderSheet:
    @pytest.fixture
    def many(self, workshop, project):
        """One line more than a page holds, and one of them needed in more steps than it shows."""
        steps = [factories.StepFactory(project=project, planned_on=PLANNED) for _ in range(MOST + 2)]
        items = [factories.ItemFactory(workshop=workshop, code=f"PART-{at:02}") for at in range(PAGE + 1)]
        for item in items:
            factories.CallOutFactory(step=steps[0], item=item)
        for step in steps[1:]:
            factories.CallOutFactory(step=step, item=items[0])
        return items

    def test_sheet_comes_by_pages_and_whole_to_print(self, as_member, owner, url, many):
        client = as_member(owner)
        pages = [client.get(url, {"page": number}).context["page"].object_list for number in (1, 2)]
        assert [len(found) for found in pages] == [PAGE, 1]

        whole = client.get(url, {"all": 1})
        assert len(whole.context["page"].object_list) == PAGE + 1
        assert "Mark as ordered" not in whole.content.decode()
        assert len(lines(client, whole.context["project"])) == PAGE + 1

    def test_line_shows_its_first_steps_and_by_itself_all(self, as_member, owner, url, many):
        client = as_member(owner)
        told = words(client.get(url, {"page": 1}))
        assert f"all {MOST + 2} steps that need PART-00" in told

        alone = client.get(url, {"item": "PART-00"})
        assert [row.line.item.code for row in alone.context["page"].object_list] == ["PART-00"]
        assert f"all {MOST + 2} steps" not in words(alone)
        assert len(client.get(url, {"item": "PART-99"}).context["page"].object_list) == 0


class TestOnItsWay:
    @pytest.fixture
    def crate(self, bench, rivets):
        crate = factories.CrateFactory(bench=bench, code="CRATE-7", due_on=date(2027, 2, 18))
        factories.PackingLineFactory(crate=crate, item=rivets, quantity=Decimal(60))
        return crate

    def test_sheet_lists_what_is_on_its_way_and_overdue(self, as_member, reader, url, crate):
        page = words(as_member(reader).get(url))

        assert "CRATE-7 Due Thu 2027-02-18, 2 days overdue" in page
        assert "60 ea MS20470AD4-6" in page

    def test_sheet_shows_forms_to_those_who_may_alone(self, as_member, reader, storekeeper, url, crate, wanted):
        client = as_member(reader)
        page = client.get(url).content.decode()
        assert "Mark as ordered" not in page
        assert "/arrived/" not in page

        client.force_login(storekeeper.user, backend="django.contrib.auth.backends.ModelBackend")
        page = client.get(url).content.decode()
        assert "Mark as ordered" in page
        assert "/arrived/" in page
        assert "Change due day" in page

    def test_sheet_leaves_out_another_bench_s_crates(self, as_member, reader, url, other_bench):
        factories.PackingLineFactory(crate=factories.CrateFactory(bench=other_bench, code="CRATE-9"))

        assert "CRATE-9" not in words(as_member(reader).get(url))


class TestOrdered:
    @pytest.fixture
    def order(self, as_member, storekeeper, url, project, wanted, rivets):
        """Fills in the line's form as the page shows it, and sends it."""
        client = as_member(storekeeper)
        page = client.get(url).content.decode()
        given = dict(re.findall(r'name="(quantity|request_key)" value="([^"]*)"', page))
        address = reverse("ordered", args=[project.code, rivets.pk])
        return lambda **more: client.post(address, {**given, "due_on": "2027-03-01", **more}, follow=True)

    def test_ordered_is_prefilled_with_what_to_buy(self, order, url, project):
        page = words(order())

        crate = Crate.objects.get()
        assert (crate.bench, crate.ordered_on, crate.due_on) == (project.bench, DAY, date(2027, 3, 1))
        assert PackingLine.objects.get().quantity == 300
        assert "Ordered: 300 ea of MS20470AD4-6, due 2027-03-01" in page

    def test_ordered_is_on_its_way_and_no_longer_short(self, order):
        page = words(order())

        assert "Nothing is short" in page
        assert "300 ea MS20470AD4-6" in page

    def test_ordered_twice_from_one_page_makes_one_order(self, order):
        order()
        order()

        assert Crate.objects.count() == 1

    def test_ordered_without_a_day_is_told_not_to_count(self, order):
        page = words(order(due_on=""))

        assert "it counts once it has one" in page
        assert "1 short" in page

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"quantity": "0"}, "Give more than 0"),
            ({"quantity": "many"}, "Write the quantity in digits"),
            ({"due_on": "2027-02-19"}, "due on 2027-02-19 is before the order on 2027-02-20"),
        ],
    )
    def test_ordered_says_what_is_wrong_and_keeps_what_was_typed(self, order, given, told):
        page = order(**given)

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page)
        assert f'value="{next(iter(given.values()))}"' in page.content.decode()
        assert not Crate.objects.exists()

    def test_ordered_refuses_a_builder(self, as_member, builder, project, rivets):
        answer = as_member(builder).post(reverse("ordered", args=[project.code, rivets.pk]), {"quantity": "1"})

        assert answer.status_code == HTTPStatus.FORBIDDEN


class TestCsv:
    def test_csv_has_the_same_lines(self, as_member, reader, project, bench, wanted, rivets):
        factories.stock(factories.LotFactory(bench=bench, item=rivets), 112)
        factories.stock(factories.LotFactory(bench=bench, item=rivets, state="failed"), 5)

        (line,) = lines(as_member(reader), project)
        why = line.pop("why")
        assert line == {
            "not_before": "",
            "order_by": "2027-02-26",
            "item": "MS20470AD4-6",
            "name": "Rivet, universal",
            "needed": "240",
            "usable": "112",
            "in_transit": "0",
            "short": "128",
            "buy": "200",
            "packs": "2",
            "unit": "ea",
            "first_short": "2027-03-06",
            "unusable": "5 failed its test",
            "steps": "F3-05",
        }
        assert "5 days lead time - 3 days receiving allowance [lead_days of the catalogue" in why

    def test_csv_takes_the_same_filters(self, as_member, reader, project, wanted):
        client = as_member(reader)

        assert lines(client, project, before="2027-03-05") == []
        assert len(lines(client, project, before="2027-03-06")) == 1

    def test_csv_refuses_a_filter_that_does_not_read(self, as_member, reader, project):
        answer = as_member(reader).get(reverse("order-sheet-csv", args=[project.code]), {"before": "soon"})

        assert answer.status_code == HTTPStatus.BAD_REQUEST

    def test_csv_is_a_file_named_for_its_project(self, as_member, reader, project):
        answer = as_member(reader).get(reverse("order-sheet-csv", args=[project.code]))

        assert answer["Content-Type"] == "text/csv; charset=utf-8"
        assert answer["Content-Disposition"] == 'attachment; filename="order-sheet-TERN-1.csv"'

    @pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
    def test_csv_keeps_a_text_from_being_run(self, start):
        assert sheet.text_cell(f"{start}HYPERLINK(1)") == f"'{start}HYPERLINK(1)"

    def test_csv_guards_the_texts_of_a_line(self, as_member, reader, project, workshop):
        item = factories.ItemFactory(workshop=workshop, code="=1+1", name="@SUM(A1)")
        factories.CallOutFactory(step=factories.StepFactory(project=project, code="-F1"), item=item)

        (line,) = lines(as_member(reader), project)
        assert (line["item"], line["name"], line["steps"], line["needed"]) == ("'=1+1", "'@SUM(A1)", "'-F1", "1")
