"""What a message offers to take back, pressed as the page shows it: counts, arrivals, orders, what was put away, corrections."""

from datetime import date
from decimal import Decimal
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled

from inventory.models import Crate, Holding, Lot, Movement, PackingLine, Tally
from inventory.receiving import services as receiving
from inventory.tallying import queries
from tests import factories
from tests.undo import pressed

TODAY = timezone.localdate().isoformat()


@pytest.fixture
def keeper(as_member, storekeeper):
    return as_member(storekeeper)


def test_count_of_a_line_is_taken_back(keeper, lines):
    page = pressed(keeper, "count-line", lines["1"].pk, what="more", quantity="5", request_key=uuid4())

    assert "That count is taken back." in page
    assert queries.line_tally(lines["1"]).good == 0


def test_count_of_something_not_listed_is_taken_back(keeper, crate, items):
    pressed(keeper, "count-other", crate.pk, code="SPAR", quantity="1", finding="good", request_key=uuid4())

    assert [tally.quantity for tally in Tally.objects.order_by("pk")] == [1, -1]


def test_counted_bag_and_closed_crate_are_open_again(keeper, crate, bags):
    pressed(keeper, "finish-bag", bags["8"].pk)
    bags["8"].refresh_from_db()
    assert bags["8"].counted_on is None

    pressed(keeper, "close-crate", crate.pk, on=TODAY)
    crate.refresh_from_db()
    assert crate.closed_on is None


def test_arrival_is_taken_back(keeper, lines):
    page = pressed(keeper, "arrived", lines["1"].pk, quantity="20", place="Rack 1", on=TODAY, seen="20")

    assert "The movement is reversed." in page
    assert PackingLine.objects.get(pk=lines["1"].pk).open_quantity == 20
    assert not Holding.objects.filter(place__path="Rack 1", quantity__gt=0).exists()


def test_whole_crate_taken_in_at_one_press_is_taken_back_at_one(keeper, crate):
    page = pressed(keeper, "crate-arrived", crate.pk, place="Rack 1", on=TODAY)

    assert "All 4 movements are reversed." in page
    assert all(line.open_quantity == line.quantity for line in PackingLine.objects.filter(crate=crate))
    assert not Holding.objects.filter(place__path="Rack 1", quantity__gt=0).exists()


def test_what_was_put_away_waits_again(keeper, crate, count):
    count("SPAR", 2, bag="7/A")
    count("MS20470AD4-6", 20)

    pressed(keeper, "put-away", crate.pk, place="Rack 1", on=TODAY)

    assert queries.sheet(crate).waiting == 2
    assert not Holding.objects.filter(place__path="Rack 1", quantity__gt=0).exists()


def test_reversing_several_is_all_or_none(keeper, crate, storekeeper, drawer):
    arrived = receiving.arrive_all(
        lines=list(PackingLine.objects.filter(crate=crate)), place=drawer, on=timezone.localdate(), by=storekeeper
    )
    receiving.reverse(movement=arrived[-1], on=timezone.localdate(), by=storekeeper)

    answer = keeper.post(reverse("reverse-all"), {"movement": [row.pk for row in arrived]})

    assert answer.status_code == HTTPStatus.CONFLICT
    assert not Movement.objects.filter(reverses=arrived[0]).exists()


def test_reversing_several_finds_our_own_alone(keeper, crate, storekeeper, drawer, outsider):
    ours = receiving.arrive_all(lines=list(PackingLine.objects.filter(crate=crate)), place=drawer, on=date(2027, 2, 20), by=storekeeper)
    with scopes_disabled():
        foreign = Movement.objects.get(workshop=outsider).pk

    for asked in ([], [foreign], [ours[0].pk, foreign], ["all"]):
        assert keeper.post(reverse("reverse-all"), {"movement": asked}).status_code == HTTPStatus.NOT_FOUND, asked
    assert not Movement.objects.exclude(reverses=None).exists()


def test_due_day_is_what_it_was(keeper, crate):
    pressed(keeper, "due", crate.pk, due_on="2027-05-01")

    assert Crate.objects.get(pk=crate.pk).due_on == date(2027, 3, 1)


def test_counted_stock_lot_s_state_and_its_dates_are_what_they_were(keeper, lot, drawer):
    factories.stock(lot, 7, place=drawer)

    pressed(keeper, "count", lot.pk, drawer.pk, counted="5")
    assert Holding.objects.get(lot=lot, place=drawer).quantity == 7

    pressed(keeper, "lot-state", lot.pk, state="quarantined", note="dented")
    assert Lot.objects.get(pk=lot.pk).state == "good"

    pressed(keeper, "lot-dates", lot.pk, made="2027-01", expires="3Q27")
    now = Lot.objects.get(pk=lot.pk)
    assert (now.made, now.expires) == (lot.made, lot.expires)


def test_opening_that_was_put_right_is_what_it_was(keeper, lot):
    pressed(keeper, "lot-opened", lot.pk, opened="2026-06-01", note="read off the tube")

    assert Lot.objects.get(pk=lot.pk).opened_on is None


def test_judgement_that_only_an_inspector_lifts_offers_no_undo(keeper, lot):
    page = keeper.post(reverse("lot-state", args=[lot.pk]), {"state": "failed", "note": "did not cure"}, follow=True)

    assert "is judged: failed." in page.content.decode()
    assert 'class="undo"' not in page.content.decode()


class TestWithdrawOrder:
    @pytest.fixture
    def order(self, bench, item, storekeeper):
        said = {"bench": bench, "item": item, "quantity": Decimal(25), "due_on": None, "ordered_on": date(2027, 2, 20), "by": storekeeper}
        return receiving.expect(**said, request_key=uuid4()).crate

    def test_order_marked_by_mistake_is_gone_and_its_history_says_who(self, order, storekeeper):
        receiving.withdraw_order(crate=order, by=storekeeper)

        assert not Crate.objects.filter(pk=order.pk).exists()
        assert Crate.history.filter(id=order.pk).first().history_user_id == storekeeper.pk

    def test_order_that_anything_came_of_stays(self, order, storekeeper, drawer):
        line = order.lines.get()
        receiving.arrive(line=line, quantity=Decimal(5), place=drawer, on=date(2027, 2, 21), by=storekeeper)

        with pytest.raises(receiving.LineTouched):
            receiving.withdraw_order(crate=order, by=storekeeper)
        assert order.lines.exists()

    def test_crate_that_is_no_order_stays(self, crate, storekeeper):
        with pytest.raises(receiving.StillInUse, match="more than one order"):
            receiving.withdraw_order(crate=crate, by=storekeeper)

    def test_order_marked_on_the_sheet_is_taken_back_from_its_message(self, keeper, project, item):
        page = pressed(keeper, "ordered", project.code, item.pk, quantity="25", request_key=uuid4(), next="/shelves/")

        assert "nothing is on its way by it" in page
        assert not Crate.objects.exists()
