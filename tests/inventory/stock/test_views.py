"""Shelves and lots: what is shown, counted, reversed and judged."""

import re
from datetime import date
from decimal import Decimal
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse

from inventory.models import Holding, Lot, Movement
from inventory.shelflife.calc import StatedDate
from inventory.stock import queries, services
from inventory.stock.views import PAGE
from tests import factories
from tests.factories import DAY


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


def words(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split())


@pytest.fixture
def held(lot, drawer):
    return factories.stock(lot, 12, drawer)


def found(**asked):
    return [one.lot for one in queries.held(queries.find_holdings(**asked))]


class TestFindHoldings:
    @pytest.fixture
    def stocked(self, bench, shared_bench, workshop):
        rivet = factories.ItemFactory(
            workshop=workshop, code="MS20470AD4-6", name="Rivet, universal", kind="rivet", identifiers=["AN470AD4-6"]
        )
        sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", name="Sealant, class B-2", kind="sealant")
        places = {path: factories.PlaceFactory(workshop=workshop, path=path) for path in ("Hangar/Rack 1", "Club room")}
        factories.stock(factories.LotFactory(bench=bench, item=rivet, code="R7"), 5, places["Hangar/Rack 1"])
        factories.stock(factories.LotFactory(bench=shared_bench, item=sealant, code="S9"), 5, places["Club room"])

    @pytest.mark.parametrize(
        ("asked", "lots"),
        [
            ({}, ["R7", "S9"]),
            ({"text": "rivet"}, ["R7"]),
            ({"text": "an470"}, ["R7"]),
            ({"text": "s9"}, ["S9"]),
            ({"text": "nothing"}, []),
            ({"kind": "sealant"}, ["S9"]),
            ({"bench": "POOL"}, ["S9"]),
            ({"place": "RACK"}, ["R7"]),
            ({"place": "Hangar", "kind": "sealant"}, []),
        ],
    )
    def test_find_holdings_by_each_filter(self, stocked, asked, lots):
        assert found(**asked) == lots

    def test_find_holdings_leaves_out_what_is_empty(self, held):
        Holding.objects.update(quantity=0)
        assert found() == []

    def test_held_tells_what_is_set_aside(self, held, lot):
        factories.SetAsideFactory(lot=lot, ref="step:1", quantity=Decimal(3))
        factories.SetAsideFactory(lot=lot, ref="step:2", quantity=Decimal(4))

        (one,) = queries.held(queries.find_holdings())
        assert (one.quantity, one.set_aside) == (12, 7)


class TestShelves:
    def test_shelves_show_until_when_and_why(self, as_member, reader, bench, workshop, drawer):
        item = factories.ItemFactory(workshop=workshop, kind="sealant")
        factories.stock(factories.LotFactory(bench=bench, item=item, code="DEAD", expires_on=date(2027, 2, 19)), 1, drawer)
        factories.stock(factories.LotFactory(bench=bench, item=item, code="UNKNOWN"), 1, drawer)
        factories.stock(factories.LotFactory(bench=bench, code="EVER", state="disputed"), 1, drawer)

        page = words(as_member(reader).get(reverse("shelves")))
        assert "Fri 2027-02-19 past expires 2027-02-19, as printed" in page
        assert "unknown: it doesn't count" in page
        assert "EVER disputed" in page
        assert "none known of" in page

    def test_shelves_filter_and_say_when_nothing_is_found(self, as_member, reader, held, lot):
        client = as_member(reader)

        assert lot.code in words(client.get(reverse("shelves"), {"text": lot.code}))
        assert "Nothing like that lies here" in words(client.get(reverse("shelves"), {"text": "nothing"}))

    @pytest.mark.parametrize("asked", [{"kind": "boat"}, {"bench": "OUTSIDE-BENCH"}, {"text": "x" * 81}])
    def test_shelves_say_what_cannot_be_asked(self, as_member, reader, held, asked):
        page = as_member(reader).get(reverse("shelves"), asked)

        assert page.status_code == HTTPStatus.OK
        assert 'aria-invalid="true"' in page.content.decode()

    def test_empty_shelves_say_what_to_do_to_who_may(self, as_member, reader, storekeeper):
        page = words(as_member(reader).get(reverse("shelves")))

        assert "Nothing lies here yet" in page
        assert "Load what you have" not in page
        assert "Load what you have" in words(as_member(storekeeper).get(reverse("shelves")))
        assert "OUTSIDE" not in page

    def test_shelves_come_by_pages_that_keep_the_filter(self, as_member, reader, bench, item, drawer):
        for _ in range(PAGE + 1):
            factories.stock(factories.LotFactory(bench=bench, item=item), 1, drawer)
        client = as_member(reader)

        page = client.get(reverse("shelves"), {"kind": "part"})
        assert "Page 1 of 2" in words(page)
        assert "?kind=part&amp;page=2" in page.content.decode()
        assert "Page 2 of 2" in words(client.get(reverse("shelves"), {"kind": "part", "page": "2"}))

    def test_shelves_take_the_same_queries_whatever_lies_there(self, queries_of, owner, bench, workshop):
        def grow():
            lot = factories.LotFactory(bench=bench)
            factories.stock(lot, 1, factories.PlaceFactory(workshop=workshop))
            factories.SetAsideFactory(lot=lot, ref="step:1")

        grow()
        few = queries_of(owner, reverse("shelves"))
        for _ in range(30):
            grow()
        assert queries_of(owner, reverse("shelves")) == few


class TestCount:
    @pytest.fixture
    def count(self, as_member, storekeeper, held):
        client = as_member(storekeeper)
        address = reverse("count", args=[held.lot_id, held.place_id])
        return lambda **given: client.post(address, given, follow=True)

    def test_count_corrects_the_holding_and_keeps_the_difference(self, count, held, storekeeper):
        page = words(count(counted="9.0", note="three fell down"))

        held.refresh_from_db()
        assert held.quantity == Decimal(9)
        moved = Movement.objects.get(target__end="counted")
        assert (moved.quantity, moved.note, moved.by, moved.on) == (Decimal(3), "three fell down", storekeeper, DAY)
        assert "9 ea now" in page

    def test_count_that_agrees_moves_nothing(self, count):
        assert "the count agrees, nothing changed" in words(count(counted="12"))
        assert Movement.objects.count() == 1

    def test_count_of_nothing_empties_the_place(self, count, held):
        count(counted="0")

        held.refresh_from_db()
        assert held.quantity == 0

    @pytest.mark.parametrize("counted", ["", "-1", "0.0001", "a few"])
    def test_count_says_what_is_wrong_and_keeps_what_was_typed(self, count, held, counted):
        page = count(counted=counted, note="typed")

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert 'value="typed"' in page.content.decode()
        held.refresh_from_db()
        assert held.quantity == 12

    def test_count_goes_back_to_where_it_was_asked(self, as_member, storekeeper, held):
        answer = as_member(storekeeper).post(
            reverse("count", args=[held.lot_id, held.place_id]), {"counted": "12", "next": "/shelves/?page=2"}
        )

        assert answer.url == "/shelves/?page=2"

    def test_count_refuses_a_builder(self, as_member, builder, held):
        assert as_member(builder).post(reverse("count", args=[held.lot_id, held.place_id])).status_code == HTTPStatus.FORBIDDEN


class TestLot:
    def test_lot_shows_dates_places_and_ledger(self, as_member, reader, held, lot, drawer):
        services.set_dates(
            lot=lot,
            made=None,
            expires=StatedDate.parse("2Q27"),
            by=factories.MemberFactory(workshop=lot.workshop),
        )

        page = words(as_member(reader).get(reverse("lot", args=[lot.pk])))
        assert "Expires 2Q2027" in page
        assert "Wed 2027-06-30" in page
        assert f"12 ea in {drawer.path}" in page
        assert "12 ea supplier" in page

    def test_lot_offers_each_role_what_it_may(self, as_member, reader, builder, storekeeper, held, lot):
        factories.stock(lot, 1, held.place)
        used = services.use(lot=lot, quantity=Decimal(1), place=held.place, on=DAY, by=builder)
        received = Movement.objects.exclude(pk=used.pk).first()
        address = reverse("lot", args=[lot.pk])
        offered = {}
        for member in (reader, builder, storekeeper):
            page = as_member(member).get(address).content.decode()
            links = [reverse("reverse", args=[movement.pk]) in page for movement in (used, received)]
            offered[member.role] = (*links, "Judge it" in page)

        assert offered == {"reader": (False, False, False), "builder": (True, False, False), "storekeeper": (True, True, True)}

    def test_reverse_asks_first_and_then_undoes(self, as_member, builder, held, lot):
        used = services.use(lot=lot, quantity=Decimal(5), place=held.place, on=DAY, by=builder)
        client = as_member(builder)
        address = reverse("reverse", args=[used.pk])

        assert "moved 5 ea" in words(client.get(address))
        page = words(client.post(address, {"note": "wrong bag"}, follow=True))

        assert queries.on_hand(lot) == 12
        assert "undoes an earlier movement" in page
        assert "reversed Sat 2027-02-20" in page

    def test_reverse_says_why_it_cannot(self, as_member, storekeeper, builder, held, lot):
        received = Movement.objects.get()
        services.use(lot=lot, quantity=Decimal(5), place=held.place, on=DAY, by=builder)
        client = as_member(storekeeper)

        page = client.post(reverse("reverse", args=[received.pk]), {"note": "typed"})
        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "holds 7 ea, and 12 ea were to be taken" in words(page)

    def test_reverse_twice_is_told(self, as_member, storekeeper, held, lot):
        address = reverse("reverse", args=[Movement.objects.get().pk])
        client = as_member(storekeeper)
        client.post(address)

        assert "was reversed on 2027-02-20 already" in words(client.post(address))

    def test_reverse_refuses_a_builder_what_he_may_not(self, as_member, builder, held):
        assert as_member(builder).post(reverse("reverse", args=[Movement.objects.get().pk])).status_code == HTTPStatus.FORBIDDEN

    def test_state_is_judged_with_a_reason(self, as_member, storekeeper, lot):
        as_member(storekeeper).post(reverse("lot-state", args=[lot.pk]), {"state": "quarantined", "note": "dented can"})

        lot.refresh_from_db()
        assert lot.state == "quarantined"
        assert lot.history.first().history_change_reason == "dented can"

    def test_state_refuses_a_builder_and_what_is_no_state(self, as_member, builder, storekeeper, lot):
        address = reverse("lot-state", args=[lot.pk])

        assert as_member(builder).post(address, {"state": "failed"}).status_code == HTTPStatus.FORBIDDEN
        assert as_member(storekeeper).post(address, {"state": "fine"}).status_code == HTTPStatus.UNPROCESSABLE_ENTITY

    def test_failed_lot_is_not_made_good_on_its_page_by_a_storekeeper(self, as_member, storekeeper, lot):
        Lot.objects.filter(pk=lot.pk).update(state="failed")
        page = as_member(storekeeper).post(reverse("lot-state", args=[lot.pk]), {"state": "good", "note": "looks fine"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "only an inspector lifts that" in words(page)

    def test_dates_are_written_down_as_the_label_says(self, as_member, storekeeper, lot):
        as_member(storekeeper).post(reverse("lot-dates", args=[lot.pk]), {"made": "2026-11", "expires": "2Q27"})

        lot.refresh_from_db()
        assert (str(lot.made), str(lot.expires)) == ("2026-11", "2Q2027")

    def test_dates_that_make_no_sense_are_told(self, as_member, storekeeper, lot):
        page = as_member(storekeeper).post(reverse("lot-dates", args=[lot.pk]), {"made": "2027-05", "expires": "2027-03-01"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "is before it was made" in words(page)

    def test_opening_is_put_right_with_a_reason_that_the_page_shows(self, as_member, storekeeper, lot):
        services.open_lot(lot=lot, on=DAY, by=storekeeper)
        keeper, address = as_member(storekeeper), reverse("lot-opened", args=[lot.pk])
        bad = keeper.post(address, {"opened": "2027-02-19", "note": ""})
        late = keeper.post(address, {"opened": "2027-12-01", "note": "typed wrong"})
        assert (bad.status_code, late.status_code) == (HTTPStatus.UNPROCESSABLE_ENTITY, HTTPStatus.UNPROCESSABLE_ENTITY)
        assert 'value="2027-02-19"' in bad.content.decode()
        assert "is still to come" in words(late)

        page = keeper.post(address, {"opened": "", "note": "scanned the wrong tube"}, follow=True)
        assert "not opened: scanned the wrong tube" in words(page)
        lot.refresh_from_db()
        assert lot.opened_on is None

    def test_opening_is_not_put_right_by_a_builder_nor_shown_to_a_stranger(self, as_member, builder, lot, outsider):
        address = reverse("lot-opened", args=[lot.pk])
        assert as_member(builder).post(address, {"opened": "", "note": "x"}).status_code == HTTPStatus.FORBIDDEN
        assert "Put right when it was opened" not in words(as_member(builder).get(reverse("lot", args=[lot.pk])))
        stranger = factories.MemberFactory(workshop=outsider, role="owner")
        assert as_member(stranger).post(address, {"opened": "", "note": "x"}).status_code == HTTPStatus.NOT_FOUND

    def test_lot_takes_the_same_queries_whatever_moved(self, queries_of, owner, lot, drawer):
        address = reverse("lot", args=[lot.pk])
        factories.stock(lot, 1, drawer)
        few = queries_of(owner, address)
        for _ in range(30):
            factories.stock(lot, 1, drawer)

        assert queries_of(owner, address) == few
