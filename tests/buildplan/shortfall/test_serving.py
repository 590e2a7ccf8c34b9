"""What may serve where a rivet is short: offered, never netted; accepted, all of the step's need moves; withdrawn, it comes back."""

import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse
from django_scopes import scopes_disabled

from buildplan.hardware import services
from buildplan.hardware.models import Substitution
from buildplan.models import RivetLoss
from buildplan.records import queries as records
from buildplan.shortfall import queries
from buildplan.shortfall.trace import why
from tests import factories
from tests.factories import DAY

PLANNED = date(2027, 3, 6)
NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)
NOTE = "maker's letter of 3 February"


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector", name="Ines")


@pytest.fixture
def wanted(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470D4-6", name="Rivet, 2017", kind="rivet", lead_days=5)


@pytest.fixture
def offered(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD5-7", name="Rivet, thicker", kind="rivet")


@pytest.fixture
def step(project, wanted):
    step = factories.StepFactory(project=project, code="F3-05", planned_on=PLANNED)
    factories.RivetRowFactory(step=step, rivet=wanted, holes=84, code="R1")
    return step


@pytest.fixture
def other(project, wanted):
    step = factories.StepFactory(project=project, code="F3-06", planned_on=PLANNED)
    factories.CallOutFactory(step=step, item=wanted, quantity=Decimal(16))
    return step


@pytest.fixture
def accept(step, wanted, offered, inspector):
    def accept(**changes):
        given = {"step": step, "wanted": wanted, "served_by": offered, "note": NOTE, "now": NOW, "by": inspector}
        return services.accept_substitution(**{**given, **changes})

    return accept


def lot_of(bench, item, quantity, **more):
    lot = factories.LotFactory(bench=bench, item=item, **more)
    factories.stock(lot, quantity)
    return lot


def lines(project):
    found = queries.shortfall(queries.projects([project.code]), before=None, as_of=DAY)
    return {line.item.code: line for line in found.lines}


def words(page):
    text = re.sub(r"<[^>]+>", " ", page.content.decode()).replace("&#x27;", "'")
    return " ".join(text.split())


class TestNetting:
    def test_offer_is_never_netted_by_itself(self, project, bench, step, offered):
        lot_of(bench, offered, 500)
        found = lines(project)
        assert set(found) == {"MS20470D4-6"}
        assert found["MS20470D4-6"].short == 84

    def test_accepted_moves_that_step_s_whole_need_and_says_so(self, project, bench, step, other, offered, accept):
        lot_of(bench, offered, 500)
        accept()
        found = lines(project)
        assert (found["MS20470AD5-7"].needed, found["MS20470AD5-7"].short, found["MS20470AD5-7"].steps) == (84, 0, ("F3-05",))
        assert (found["MS20470D4-6"].needed, found["MS20470D4-6"].steps) == (16, ("F3-06",))
        words = next(reason for reason in why(found["MS20470AD5-7"]) if "F3-05 needs" in reason.text)
        assert f"84 holes; in place of MS20470D4-6, accepted by Ines on 2027-02-20: {NOTE}" in words.text
        assert words.source == "row R1"

    def test_accepted_moves_call_outs_too(self, project, other, offered, accept):
        accept(step=other)
        line = lines(project)["MS20470AD5-7"]
        assert (line.needed, line.short) == (16, 16)
        assert any("in place of MS20470D4-6, accepted by Ines" in reason.text for reason in why(line))

    def test_accepted_joins_what_the_step_needs_of_the_other_anyway(self, project, step, offered, accept):
        factories.CallOutFactory(step=step, item=offered, quantity=Decimal(16))
        accept()
        assert lines(project)["MS20470AD5-7"].needed == 100

    def test_accepted_takes_the_loss_of_the_rivet_that_is_driven(self, project, workshop, step, accept):
        RivetLoss.objects.create(workshop=workshop, diameter=Fraction(4, 32), percent=Decimal(50))
        RivetLoss.objects.create(workshop=workshop, diameter=Fraction(5, 32), percent=Decimal(10))
        accept()
        assert lines(project)["MS20470AD5-7"].needed == 93  # 84 x 1.1 = 92.4

    def test_accepted_is_not_followed_further(self, project, workshop, step, wanted, offered, accept):
        """The step needs D4-6 and D5-7: AD5-7 serves for the one, AD6-7 for the other, and neither for both."""
        own = factories.ItemFactory(workshop=workshop, code="MS20470D5-7", kind="rivet")
        larger = factories.ItemFactory(workshop=workshop, code="MS20470AD6-7", kind="rivet")
        factories.CallOutFactory(step=step, item=own, quantity=Decimal(16))
        accept()
        accept(wanted=own, served_by=larger)
        assert {code: int(line.needed) for code, line in lines(project).items()} == {"MS20470AD5-7": 84, "MS20470AD6-7": 16}

    def test_withdrawn_restores_the_plan_s_need(self, project, step, accept, inspector):
        before = lines(project)
        services.withdraw_substitution(substitution=accept(), now=NOW, by=inspector)
        assert lines(project) == before

    def test_clecos_stay_as_planned(self, project, workshop, step, wanted, accept):
        cleco = factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", diameter=Fraction(1, 8))
        factories.RivetRowFactory(step=step, rivet=wanted, holes=30, cleco_every=1, cleco=cleco)
        accept()
        assert lines(project)["CLECO-4"].needed == 30

    def test_finishing_proposes_lots_of_what_serves(self, project, bench, step, wanted, offered, accept):
        lot_of(bench, offered, 500, code="THICK")
        lot_of(bench, wanted, 500, code="PLAN")
        accept()
        (found,) = records.proposals(step, on=DAY)
        assert [(choice.lot_code, int(choice.proposed)) for choice in found.choices] == [("THICK", 84)]

    def test_acceptance_of_the_outsider_moves_nothing_here(self, project, outsider, step):
        theirs = factories.StepFactory(project=factories.ProjectFactory(bench__workshop=outsider))
        d, ad = (factories.ItemFactory(workshop=outsider, code=code, kind="rivet") for code in ("MS20470D4-6", "MS20470AD5-7"))
        by = factories.MemberFactory(workshop=outsider)
        Substitution.objects.create(workshop=outsider, step=theirs, wanted=d, served_by=ad, by=by, note=NOTE)
        assert set(lines(project)) == {"MS20470D4-6"}


class TestSheet:
    @pytest.fixture
    def url(self, project):
        return reverse("order-sheet", args=[project.code])

    def test_sheet_offers_what_may_serve_with_rule_source_and_stock(self, as_member, reader, bench, url, step, offered):
        lot_of(bench, offered, 500)
        page = words(as_member(reader).get(url))
        assert "May serve, ask the plans: MS20470AD5-7 Rivet, thicker: 500 ea on hand. 2117 may replace 2017 up to 3/16 in" in page
        assert "AC 43.13-1B p. 4-16" in page
        assert reverse("substitutions", args=[step.project.code, "F3-05"]) in as_member(reader).get(url).content.decode()

    def test_sheet_says_what_this_demand_takes_of_it_already(self, as_member, reader, project, bench, url, step, offered):
        lot_of(bench, offered, 500)
        factories.CallOutFactory(step=factories.StepFactory(project=project), item=offered, quantity=Decimal(120))
        assert "500 ea on hand, 120 of them taken by this demand" in words(as_member(reader).get(url))

    @pytest.mark.parametrize(
        "bad",
        [{"state": "quarantined"}, {"expires_on": PLANNED - timedelta(days=1)}, {"other_bench": True}, {"unit": "lb"}, {"nothing": True}],
    )
    def test_sheet_offers_only_what_could_serve(self, as_member, reader, bench, other_bench, url, step, offered, bad):
        if "unit" in bad:
            offered.unit = bad["unit"]
            offered.save()
        more = {name: value for name, value in bad.items() if name in {"state", "expires_on"}}
        if "nothing" not in bad:
            lot_of(other_bench if "other_bench" in bad else bench, offered, 500, **more)
        assert "May serve" not in words(as_member(reader).get(url))

    def test_sheet_offers_nothing_where_nothing_is_short(self, as_member, reader, bench, url, step, wanted, offered):
        lot_of(bench, wanted, 84)
        lot_of(bench, offered, 500)
        assert "May serve" not in words(as_member(reader).get(url, {"every": "on"}))

    def test_sheet_offers_the_pool_s(self, as_member, reader, shared_bench, url, step, offered):
        lot_of(shared_bench, offered, 500)
        assert "May serve" in words(as_member(reader).get(url))

    def test_sheet_never_offers_the_outsider_s(self, as_member, reader, outsider, url, step):
        with scopes_disabled():
            theirs = factories.ItemFactory(workshop=outsider, code="MS20470AD5-7", kind="rivet")
            lot_of(factories.BenchFactory(workshop=outsider, shared=True), theirs, 500)
        assert "May serve" not in words(as_member(reader).get(url))

    def test_sheet_takes_the_same_queries_however_much_may_serve(self, queries_of, reader, workshop, bench, url, step, offered, project):
        lot_of(bench, offered, 500)
        few = queries_of(reader, url)
        for size in range(4, 14):
            short = factories.ItemFactory(workshop=workshop, code=f"MS20470D3-{size}", kind="rivet")
            factories.RivetRowFactory(step=factories.StepFactory(project=project), rivet=short)
            lot_of(bench, factories.ItemFactory(workshop=workshop, code=f"MS20470AD4-{size}", kind="rivet"), 50)
        assert queries_of(reader, url) == few


class TestPage:
    @pytest.fixture
    def url(self, step):
        return reverse("substitutions", args=[step.project.code, step.code])

    @pytest.fixture
    def stocked(self, bench, offered):
        return lot_of(bench, offered, 500)

    def test_inspector_accepts_and_withdraws(self, as_member, inspector, project, url, wanted, offered, stocked):
        client = as_member(inspector)
        page = words(client.get(url))
        assert "this step needs 84 ea; 84 ea short in the whole plan" in page
        answer = client.post(url, {"wanted": wanted.pk, "served_by": offered.pk, "note": NOTE}, follow=True)
        assert "Accepted: MS20470AD5-7 serves for MS20470D4-6 in F3-05." in words(answer)
        assert f"MS20470AD5-7 serves for MS20470D4-6 : {NOTE} accepted by Ines on 2027-02-20" in words(answer)
        assert lines(project)["MS20470AD5-7"].short == 0

        answer = client.post(reverse("withdraw", args=[Substitution.objects.get().pk]), follow=True)
        assert "F3-05 needs MS20470D4-6 again." in words(answer)
        assert "accepted by Ines on 2027-02-20, withdrawn by Ines on 2027-02-20" in words(answer)
        assert set(lines(project)) == {"MS20470D4-6"}

    @pytest.mark.parametrize("role", ["owner", "storekeeper", "builder", "reader"])
    def test_others_see_what_may_serve_and_accept_nothing(self, as_member, workshop, url, wanted, offered, stocked, accept, role):
        client = as_member(factories.MemberFactory(workshop=workshop, role=role))
        page = words(client.get(url))
        assert "MS20470AD5-7 Rivet, thicker: 500 ea on hand" in page
        assert "A member with the role of inspector can accept it." in page
        given = {"wanted": wanted.pk, "served_by": offered.pk, "note": NOTE}
        assert client.post(url, given).status_code == HTTPStatus.FORBIDDEN
        assert not Substitution.objects.exists()
        assert client.post(reverse("withdraw", args=[accept().pk])).status_code == HTTPStatus.FORBIDDEN
        assert Substitution.objects.get().withdrawn_at is None

    @pytest.mark.parametrize("wrong", [{"note": " "}, {"wanted": "x"}, {"served_by": ""}])
    def test_acceptance_that_does_not_read_changes_nothing(self, as_member, inspector, url, wanted, offered, stocked, wrong):
        answer = as_member(inspector).post(url, {"wanted": wanted.pk, "served_by": offered.pk, "note": NOTE, **wrong})
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert 'role="alert"' in answer.content.decode()
        assert not Substitution.objects.exists()

    def test_acceptance_without_a_rule_is_told(self, as_member, inspector, workshop, url, wanted):
        same_size = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet")
        answer = as_member(inspector).post(url, {"wanted": wanted.pk, "served_by": same_size.pk, "note": NOTE})
        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "no published rule known here lets MS20470AD4-6 serve for MS20470D4-6" in words(answer)

    def test_item_of_the_outsider_is_not_found(self, as_member, inspector, outsider, url, wanted):
        theirs = factories.ItemFactory(workshop=outsider, code="MS20470AD5-7", kind="rivet")
        answer = as_member(inspector).post(url, {"wanted": wanted.pk, "served_by": theirs.pk, "note": NOTE})
        assert answer.status_code == HTTPStatus.NOT_FOUND

    def test_page_of_a_done_step_only_tells(self, as_member, inspector, step, url, stocked, accept):
        accept()
        step.done = True
        step.save()
        page = as_member(inspector).get(url)
        assert "The step is done: what served in it stays as it was written down." in words(page)
        assert page.content.decode().count('method="post"') == 1  # signing out

    def test_page_of_a_step_without_rivets_says_so(self, as_member, reader, project):
        step = factories.StepFactory(project=project)
        page = words(as_member(reader).get(reverse("substitutions", args=[project.code, step.code])))
        assert "No other rivet in stock may serve here" in page

    def test_page_takes_the_same_queries_whatever_the_step_needs(self, queries_of, inspector, workshop, bench, url, step, stocked):
        few = queries_of(inspector, url)
        for size in range(4, 12):
            short = factories.ItemFactory(workshop=workshop, code=f"MS20470D3-{size}", kind="rivet")
            factories.RivetRowFactory(step=step, rivet=short)
            lot_of(bench, factories.ItemFactory(workshop=workshop, code=f"MS20470AD4-{size}", kind="rivet"), 50)
        assert queries_of(inspector, url) == few
