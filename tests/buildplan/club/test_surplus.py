"""What a bench has and no plan of it needs: reckoned, shown, and offered or asked for from there."""

from datetime import date, timedelta
from decimal import Decimal
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.club.calc import NOTHING
from buildplan.club.surplus import spares, surplus
from buildplan.plan.calc import step_ref
from buildplan.shortfall.calc import ItemFacts, Need, Supply
from inventory.models import Lot
from inventory.stock import services as stock
from inventory.stock.calc import LifeRule
from tests import factories
from tests.buildplan.club.conftest import NOW, SATURDAY, TODAY

URL = "/api/v1/club/surplus"


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def rivets(workshop):
    return factories.ItemFactory(workshop=workshop, code="AN470AD4-6", name="Rivet", kind="rivet")


@pytest.fixture
def bag(tern, rivets, drawer):
    lot = factories.LotFactory(bench=tern, item=rivets, code="R7")
    factories.stock(lot, 100, place=drawer)
    return lot


@pytest.fixture
def needing(project, rivets):
    """A step of Tern's that needs so many, planned or not."""

    def needing(quantity, **said):
        step = factories.StepFactory(project=project, **said)
        factories.CallOutFactory(step=step, item=rivets, quantity=Decimal(quantity))
        return step

    return needing


def told(bench):
    return [(spare.lot, spare.spare, spare.there) for spare in surplus(bench, as_of=TODAY).spares]


def test_surplus_is_what_no_step_not_done_needs_with_a_day_or_without(tern, bag, needing):
    needing(20, code="F1", planned_on=SATURDAY)
    needing(15, code="F2")
    needing(50, code="F3", done=True)
    (spare,) = surplus(tern, as_of=TODAY).spares

    assert (spare.item, spare.unit, spare.spare, spare.there, spare.until) == ("AN470AD4-6", "ea", 65, 100, "")
    assert [reason.text.split(" in ")[0] for reason in spare.reasons] == ["100 ea on hand", "35 ea of it for F1, F2", "65 ea are left"]


def test_surplus_leaves_out_what_is_set_aside_dead_bad_another_s_or_comes_back(tern, plover, bag, needing, rivets, cleco, wren):
    stock.set_aside(lot=bag, ref=step_ref(needing(10).pk), quantity=Decimal(30), by=wren)
    for bench, said in ((tern, {"state": "quarantined"}), (tern, {"expires_on": TODAY - timedelta(days=1)}), (plover, {})):
        factories.stock(factories.LotFactory(bench=bench, item=rivets, **said), 40)
    factories.stock(factories.LotFactory(bench=tern, item=cleco), 40)

    assert told(tern) == [("R7", 70, 100)]


def test_shared_stock_serves_as_the_order_sheet_has_it_and_is_no_surplus_of_the_bench(tern, shared_bench, bag, needing, rivets):
    pooled = factories.LotFactory(bench=shared_bench, item=rivets, expires_on=date(2027, 12, 1))
    factories.stock(pooled, 40)
    needing(50)

    assert told(tern) == [("R7", 90, 100)]  # what expires first goes first: forty of the pool, ten of the bag
    assert told(shared_bench) == [(pooled.code, 40, 40)]  # no plan is of that bench


def test_seam_that_cannot_be_reckoned_is_named(tern, project, bag, workshop):
    blank = factories.ItemFactory(workshop=workshop, code="SEAL-X", kind="sealant", unit="g")
    factories.SeamFactory(step=factories.StepFactory(project=project, code="F9"), sealant=blank, code="KEEL")

    assert "seam KEEL of F9, SEAL-X" in surplus(tern, as_of=TODAY).left_out[0]


@settings(max_examples=15, deadline=None)
@given(have=st.lists(st.integers(1, 50), min_size=1, max_size=3), needs=st.lists(st.integers(1, 40), max_size=4))
def test_surplus_is_stock_less_need_however_it_is_parted(have, needs):
    """By the arithmetic alone: lots without an end serve any step."""
    item = ItemFacts(1, "X", "x", "ea", returned=False, pack=None, lead_days=None, rule=LifeRule())
    wanted = [Need(TODAY, (0, at), at, f"F{at}", Decimal(count), "", "", "") for at, count in enumerate(needs)]
    lots = [Supply(at, f"L{at}", Decimal(count), None, None) for at, count in enumerate(have, start=1)]
    found = list(spares(item, wanted, lots, frozenset(range(1, len(have) + 1)), TODAY))

    assert sum((spare.spare for spare in found), NOTHING) == max(sum(have) - sum(needs), 0)


def test_page_offers_one_s_own_and_asks_for_another_s(as_member, wren, heron, bag, needing, tern):
    needing(40)
    own = as_member(wren).get(reverse("surplus")).content.decode()
    assert "60 of 100 ea" in own
    assert f'href="{reverse("offer")}?lot={bag.pk}&amp;quantity=60"' in own

    page = as_member(heron).get(reverse("surplus"), {"bench": "tern"}).content.decode()
    assert f'href="{reverse("ask")}?item=AN470AD4-6"' in page
    assert reverse("offer") + "?lot" not in page
    assert "Nothing is left over" in as_member(heron).get(reverse("surplus")).content.decode()
    assert as_member(heron).get(reverse("surplus"), {"bench": "NONE"}).status_code == HTTPStatus.NOT_FOUND


def test_offer_from_the_page_is_filled_in(as_member, wren, bag):
    page = as_member(wren).get(reverse("offer"), {"lot": bag.pk, "quantity": "60"}).content.decode()

    assert f'<option value="{bag.pk}" selected>' in page
    assert 'value="60"' in page


def test_api_tells_what_the_page_shows(as_member, wren, reader, bag, needing):
    needing(40, code="F1")
    found = as_member(wren).get(URL).json()

    assert (found["bench"], found["as_of"], found["left_out"]) == ("TERN", str(TODAY), [])
    assert [(lot["lot"], lot["spare"], lot["there"], lot["until"]) for lot in found["lots"]] == [(bag.pk, "60", "100", None)]
    assert {"text": "40 ea of it for F1", "source": "netting of all steps not done, with a day or without"} in found["lots"][0]["trace"]
    assert as_member(reader).get(URL, {"bench": "NONE"}).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("many", [1, 12])
def test_surplus_takes_the_same_queries_at_one_and_at_many(tern, workshop, project, many, django_assert_num_queries):
    for _ in range(many):
        item = factories.ItemFactory(workshop=workshop)
        factories.CallOutFactory(step=factories.StepFactory(project=project), item=item)
        factories.stock(factories.LotFactory(bench=tern, item=item), 5)
    with django_assert_num_queries(20):
        assert len(surplus(tern, as_of=TODAY).spares) == many == Lot.objects.filter(bench=tern).count()
