"""What each action does, and what a scan is refused for."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django_scopes import scopes_disabled

from inventory.models import Bag, Holding, Identifier, Label, Lot, Movement, Place, Scan, Tally
from inventory.scanning.calc import make_token
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors, on_hand
from inventory.tallying import services as tallying
from tests import factories
from tests.scans import NOW, act, one, scan

DAY = NOW.date()


@pytest.fixture
def shelf(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Shelf")


@pytest.fixture
def held(lot, drawer, storekeeper):
    """Ten of the lot in the drawer."""
    stock.receive(lot=lot, quantity=10, place=drawer, on=date(2027, 2, 1), by=storekeeper)
    Movement.objects.filter(lot=lot)
    return lot


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="CRATE-7")


@pytest.fixture
def bag(workshop, crate):
    return Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")


@pytest.fixture
def line(crate, bag, item):
    return factories.PackingLineFactory(crate=crate, bag=bag, item=item, quantity=Decimal(12))


def label(workshop, number=7, **thing):
    return Label.objects.create(workshop=workshop, token=make_token(number), **thing).token


def kind(answer):
    return answer.body["type"].removeprefix("urn:rivetloft:problem:")


@pytest.fixture(autouse=True)
def _later(time_machine):
    time_machine.move_to(NOW, tick=False)


# take


def test_take_uses_from_where_it_lies(held, item, drawer, builder):
    answer = one(builder, item.code, "take", quantity=3)

    assert (answer.outcome, answer.status) == ("done", 200)
    assert answer.body["text"] == f"3 ea of lot {held.code} of {item.code} used from {drawer.path}"
    assert {name: answer.body[name] for name in ("item", "lot", "lot_code", "quantity", "unit", "place", "holds")} == {
        "item": item.code,
        "lot": held.pk,
        "lot_code": held.code,
        "quantity": "3",
        "unit": "ea",
        "place": drawer.path,
        "holds": "7",
    }
    moved = Movement.objects.get(pk=answer.body["movements"][0])
    assert (moved.quantity, moved.source, moved.target.end, moved.by) == (3, drawer, "used", builder)
    assert (moved.at, moved.on) == (NOW - timedelta(minutes=1), DAY)
    assert on_hand(held) == 7
    assert ledger_errors() == []


def test_take_without_quantity_is_one(held, item, builder):
    assert one(builder, item.code, "take").body["quantity"] == "1"


def test_take_by_the_lot_s_label(workshop, held, builder):
    assert one(builder, label(workshop, lot=held), "take").body["lot"] == held.pk


def test_take_by_the_label_s_address_in_capitals(workshop, held, builder):
    token = label(workshop, lot=held)
    assert one(builder, f"HTTPS://HANGAR.EXAMPLE/T/{token}", "take").outcome == "done"


def test_take_more_than_there_is_refused(held, item, builder):
    answer = one(builder, item.code, "take", quantity=11)

    assert (answer.outcome, answer.status, answer.body["title"]) == ("refused", 409, "Not enough there")
    assert on_hand(held) == 10


def test_take_from_two_lots_lists_them(bench, held, item, drawer, shelf, storekeeper, builder):
    other = factories.LotFactory(bench=bench, item=item, code="R8")
    stock.receive(lot=other, quantity=4, place=shelf, on=DAY, by=storekeeper)

    answer = one(builder, item.code, "take")

    assert (answer.outcome, answer.status, kind(answer)) == ("refused", 409, "choose")
    assert [(one["lot"], one["place"], one["quantity"]) for one in answer.body["choices"]] == [
        (held.pk, drawer.path, "10"),
        (other.pk, "Shelf", "4"),
    ]


def test_take_of_a_choice_by_lot_or_by_place(bench, held, item, shelf, storekeeper, builder):
    other = factories.LotFactory(bench=bench, item=item, code="R8")
    stock.receive(lot=other, quantity=4, place=shelf, on=DAY, by=storekeeper)

    by_lot, by_place = act(builder, scan(item.code, "take", lot=other.pk), scan(item.code, "take", place="shelf"))

    assert (by_lot.body["lot"], by_place.body["lot"]) == (other.pk, other.pk)
    assert on_hand(other) == 2


def test_take_of_a_lot_in_two_places_lists_them(held, item, drawer, shelf, builder):
    stock.move(lot=held, quantity=4, source=drawer, target=shelf, on=DAY, by=builder)

    answer = one(builder, item.code, "take")

    assert kind(answer) == "choose"
    assert [one["place"] for one in answer.body["choices"]] == [drawer.path, "Shelf"]
    assert one(builder, item.code, "take", place="Shelf").body["holds"] == "3"


def test_take_is_refused_where_nothing_is(item, lot, builder):
    answer = one(builder, item.code, "take")

    assert (answer.status, kind(answer), answer.body["choices"]) == (409, "nothing-there", [])


def test_take_from_another_place_says_where_it_lies(held, item, drawer, shelf, builder):
    answer = one(builder, item.code, "take", place="Shelf")

    assert kind(answer) == "nothing-there"
    assert [one["place"] for one in answer.body["choices"]] == [drawer.path]


def test_take_of_an_expired_lot_is_blocked_with_what_lifts_it(bench, drawer, storekeeper, builder):
    item = factories.ItemFactory(workshop=bench.workshop, code="SEAL-B2", kind="sealant", unit="g")
    old = factories.LotFactory(bench=bench, item=item, code="OLD", expires_on=date(2027, 2, 1))
    good = factories.LotFactory(bench=bench, item=item, code="NEW", expires_on=date(2027, 9, 1))
    for lot in (old, good):
        stock.receive(lot=lot, quantity=100, place=drawer, on=DAY, by=storekeeper)

    answer = one(builder, "SEAL-B2", "take", quantity=5, lot=old.pk)

    assert (answer.outcome, answer.status, kind(answer)) == ("refused", 409, "blocked")
    assert "2027-02-01 as its last usable day" in answer.body["detail"]
    assert "an inspector's recorded acceptance would lift this" in answer.body["lift"]
    assert answer.body["detail"].count("would lift this") == 1
    assert on_hand(old) == 100


def test_take_of_an_expired_lot_offers_those_in_date(bench, drawer, storekeeper, builder, workshop):
    item = factories.ItemFactory(workshop=bench.workshop, code="SEAL-B2", kind="sealant", unit="g")
    old = factories.LotFactory(bench=bench, item=item, code="OLD", expires_on=date(2027, 2, 1))
    good = factories.LotFactory(bench=bench, item=item, code="NEW", expires_on=date(2027, 9, 1))
    for lot in (old, good):
        stock.receive(lot=lot, quantity=100, place=drawer, on=DAY, by=storekeeper)

    choices = one(builder, "SEAL-B2", "take", lot=old.pk).body["choices"]

    assert [(one["lot_code"], one["last_usable_day"]) for one in choices] == [("NEW", "2027-09-01")]


@pytest.mark.parametrize(("state", "lift"), [("quarantined", "judge it good"), ("failed", "Nothing lifts that")])
def test_take_of_a_lot_that_is_not_good_is_blocked(held, item, storekeeper, builder, state, lift):
    stock.set_state(lot=held, state=state, by=storekeeper, note="dented")

    answer = one(builder, item.code, "take")

    assert (kind(answer), lift in answer.body["lift"]) == ("blocked", True)
    assert f"is {state}" in answer.body["detail"]


def test_take_of_an_unknown_life_says_to_write_the_date_down(bench, drawer, storekeeper, builder):
    item = factories.ItemFactory(workshop=bench.workshop, code="SEAL-B2", kind="sealant", unit="g")
    stock.receive(lot=factories.LotFactory(bench=bench, item=item), quantity=100, place=drawer, on=DAY, by=storekeeper)

    assert "Write the date" in one(builder, "SEAL-B2", "take").body["lift"]


def test_take_of_what_is_set_aside_is_refused(held, item, builder):
    factories.SetAsideFactory(lot=held, ref="step:1", quantity=Decimal(8))

    ok, refused = act(builder, scan(item.code, "take", quantity=2), scan(item.code, "take", quantity=1))

    assert (ok.outcome, refused.body["title"]) == ("done", "Set aside for other steps")
    assert on_hand(held) == 8


def test_take_by_a_reader_is_refused(held, item, reader):
    assert one(reader, item.code, "take").status == 403


@pytest.mark.parametrize("quantity", ["0", "0.0001", "9999999999999"])
def test_take_of_a_quantity_that_makes_no_sense_is_refused(held, item, builder, quantity):
    answer = one(builder, item.code, "take", quantity=quantity)

    assert answer.outcome == "refused"
    assert answer.status in {400, 409}


# put


def test_put_carries_all_of_a_lot(held, item, drawer, shelf, builder):
    answer = one(builder, item.code, "put", place="SHELF")

    assert answer.body["text"] == f"10 ea of lot {held.code} of {item.code} carried from {drawer.path} to Shelf"
    assert (answer.body["from"], answer.body["place"], answer.body["holds"]) == (drawer.path, "Shelf", "10")
    assert Holding.objects.get(lot=held, place=shelf).quantity == 10
    assert ledger_errors() == []


def test_put_carries_part_of_a_lot_then_the_rest(held, item, drawer, shelf, builder):
    first, rest = act(builder, scan(item.code, "put", place="Shelf", quantity=4), scan(item.code, "put", place="Shelf"))

    assert (first.body["holds"], rest.body["quantity"], rest.body["holds"]) == ("4", "6", "10")
    assert ledger_errors() == []


def test_put_to_a_place_by_its_label(workshop, held, item, shelf, builder):
    answer = one(builder, item.code, "put", place=f"https://x.example/t/{label(workshop, place=shelf).lower()}")

    assert answer.body["place"] == "Shelf"


def test_put_where_it_lies_already_is_refused(held, item, drawer, builder):
    answer = one(builder, item.code, "put", place=drawer.path)

    assert (answer.outcome, kind(answer)) == ("refused", "nothing-there")
    assert "lies in Hangar/Rack 1/Drawer 3 already" in answer.body["detail"]


def test_put_without_a_place_is_refused(held, item, builder):
    answer = one(builder, item.code, "put")
    assert (answer.status, kind(answer), answer.body["missing"]) == (422, "missing", ["place"])


def test_put_to_an_unknown_place_offers_what_is_written_alike(held, item, shelf, builder):
    answer = one(builder, item.code, "put", place="Shef")

    assert (answer.status, kind(answer), answer.body["near"]) == (422, "unknown-place", ["Shelf"])


@pytest.mark.parametrize("place", ["used", "x" * 500, "/", " "])
def test_put_to_what_no_place_can_be_is_refused(held, item, builder, place):
    assert one(builder, item.code, "put", place=place).outcome == "refused"


def test_put_of_a_place_s_label_is_refused(workshop, shelf, drawer, builder):
    assert kind(one(builder, label(workshop, place=shelf), "put", place=drawer.path)) == "wrong-thing"


def test_put_of_a_counted_bag_takes_it_into_stock(workshop, line, bag, shelf, storekeeper):
    tallying.tally(crate=bag.crate, bag=bag, item=line.item, quantity=Decimal(12), at=NOW - timedelta(hours=1), by=storekeeper)

    answer = one(storekeeper, label(workshop, bag=bag), "put", place="Shelf")

    assert answer.outcome == "done", answer.body
    assert (answer.body["bag"], answer.body["place"], len(answer.body["movements"])) == ("CRATE-7/7A", "Shelf", 1)
    assert Holding.objects.get(place=shelf).quantity == 12


def test_put_of_a_bag_that_nobody_counted_lays_it_there(workshop, line, bag, shelf, storekeeper):
    answer = one(storekeeper, label(workshop, bag=bag), "put", place="Shelf")

    assert (answer.outcome, answer.body["movements"]) == ("done", [])
    bag.refresh_from_db()
    assert bag.place == shelf


def test_put_of_a_bag_with_a_quantity_is_refused(workshop, bag, shelf, storekeeper):
    assert kind(one(storekeeper, label(workshop, bag=bag), "put", place="Shelf", quantity=1)) == "wrong-thing"


# count


def test_count_makes_the_place_hold_what_was_counted(held, item, drawer, storekeeper):
    answer = one(storekeeper, item.code, "count", place=drawer.path, quantity=8)

    assert answer.body["text"] == f"{drawer.path} holds 8 ea of lot {held.code} of {item.code}, 2 fewer than the ledger said"
    assert (on_hand(held), ledger_errors()) == (8, [])


def test_count_that_agrees_moves_nothing(held, item, drawer, storekeeper):
    answer = one(storekeeper, item.code, "count", place=drawer.path, quantity=10)

    assert (answer.outcome, answer.body["movements"]) == ("done", [])
    assert answer.body["text"].endswith("as the ledger says")


def test_count_of_what_lies_elsewhere_finds_it_here_too(held, item, shelf, storekeeper):
    answer = one(storekeeper, item.code, "count", place="Shelf", quantity=2)

    assert (answer.outcome, answer.body["lot"], answer.body["holds"]) == ("done", held.pk, "2")


def test_count_without_quantity_is_refused(held, item, drawer, storekeeper):
    assert kind(one(storekeeper, item.code, "count", place=drawer.path)) == "missing"


def test_count_by_a_builder_is_refused(held, item, drawer, builder):
    assert one(builder, item.code, "count", place=drawer.path, quantity=1).status == 403


def test_count_keeps_what_was_taken_since(held, item, drawer, storekeeper):
    """Ten minutes ago there were 9 (not 10); since then 3 were used: 6 are left."""
    one(storekeeper, item.code, "take", quantity=3)

    answer = one(storekeeper, item.code, "count", place=drawer.path, quantity=9, at=NOW - timedelta(minutes=10))

    assert (answer.outcome, answer.body["holds"]) == ("done", "6")
    assert ledger_errors() == []


def test_count_older_than_a_count_is_a_conflict(held, item, drawer, storekeeper):
    one(storekeeper, item.code, "count", place=drawer.path, quantity=8)

    answer = one(storekeeper, item.code, "count", place=drawer.path, quantity=5, at=NOW - timedelta(minutes=10))

    assert (answer.outcome, answer.status, kind(answer)) == ("conflict", 409, "older-than-correction")
    assert on_hand(held) == 8
    assert Scan.objects.get(uuid=answer.uuid).outcome == "conflict"


def test_take_older_than_a_count_is_a_conflict(held, item, drawer, storekeeper):
    newer, older = act(
        storekeeper,
        scan(item.code, "count", place=drawer.path, quantity=8),
        scan(item.code, "take", at=NOW - timedelta(minutes=10)),
    )

    assert (newer.outcome, older.outcome) == ("done", "conflict")
    assert on_hand(held) == 8


def test_count_older_than_one_that_was_reversed_is_none(held, item, drawer, storekeeper):
    newer = one(storekeeper, item.code, "count", place=drawer.path, quantity=8)
    stock.reverse(movement=Movement.objects.get(pk=newer.body["movements"][0]), on=DAY, by=storekeeper)

    older = one(storekeeper, item.code, "count", place=drawer.path, quantity=5, at=NOW - timedelta(minutes=10))

    assert (older.outcome, on_hand(held)) == ("done", 5)


def test_counts_in_the_order_of_their_scanning_are_no_conflict(held, item, drawer, storekeeper):
    times = [NOW - timedelta(hours=2), NOW - timedelta(hours=1)]
    scans = [scan(item.code, "count", place=drawer.path, quantity=9 - n, at=at) for n, at in enumerate(times)]

    assert [answer.body.get("holds") for answer in act(storekeeper, *scans)] == ["9", "8"]


# open


def test_open_starts_the_opened_life(held, item, builder):
    answer = one(builder, item.code, "open")

    held.refresh_from_db()
    assert (answer.outcome, held.opened_on) == ("done", DAY)


def test_second_opening_is_refused(held, item, builder):
    first, second = act(builder, scan(item.code, "open"), scan(item.code, "open"))

    assert (first.outcome, second.body["title"]) == ("done", "Already open")


def test_open_then_take_in_one_batch_sees_the_opening(bench, drawer, storekeeper, builder):
    item = factories.ItemFactory(workshop=bench.workshop, code="SEAL-B2", kind="sealant", unit="g", open_life_days=0)
    lot = factories.LotFactory(bench=bench, item=item, expires_on=date(2027, 9, 1))
    stock.receive(lot=lot, quantity=100, place=drawer, on=DAY, by=storekeeper)
    before = scan("SEAL-B2", "take", quantity=5)

    taken, opened, blocked = act(
        builder,
        before,
        scan("SEAL-B2", "open", at=NOW - timedelta(days=1)),
        scan("SEAL-B2", "take", quantity=5),
    )

    assert (taken.outcome, opened.outcome, kind(blocked)) == ("done", "done", "blocked")
    assert (on_hand(lot), ledger_errors()) == (95, [])


# tally


def test_tally_counts_one_more_in_the_bag(line, bag, item, builder):
    answer = one(builder, item.code, "tally", bag="crate-7/7a")

    assert answer.body["text"] == f"1 ea of {item.code} counted in CRATE-7/7A"
    found = Tally.objects.get(pk=answer.body["tally"])
    assert (found.line, found.quantity, found.how, found.request_key) == (line, 1, "scan", answer.uuid)


def test_tally_without_a_bag_takes_the_only_one_that_lists_it(line, item, builder):
    assert one(builder, item.code, "tally", quantity=3).body["bag"] == "CRATE-7/7A"


def test_tally_without_a_bag_lists_those_that_may_be_meant(workshop, crate, line, item, builder):
    other = Bag.objects.create(workshop=workshop, crate=crate, name="7B", path="7B")
    factories.PackingLineFactory(crate=crate, bag=other, item=item)

    answer = one(builder, item.code, "tally")

    assert (kind(answer), answer.body["choices"]) == ("choose", [{"bag": "CRATE-7/7A"}, {"bag": "CRATE-7/7B"}])


def test_tally_of_what_no_crate_lists_asks_for_the_bag(item, builder):
    assert kind(one(builder, item.code, "tally")) == "missing"


def test_tally_of_what_the_bag_does_not_list_says_so(workshop, line, bag, builder):
    other = factories.ItemFactory(workshop=workshop)

    answer = one(builder, other.code, "tally", bag="CRATE-7/7A")

    assert answer.body["text"].endswith("the packing list has none of it")


def test_tally_by_a_gs1_code_keeps_lot_and_expiry(workshop, line, item, builder):
    Identifier.objects.create(workshop=workshop, item=item, text="5412345000013", key="5412345000013")

    answer = one(builder, "]d2010541234500001310ABC123\x1d17290331", "tally")

    found = Tally.objects.get(pk=answer.body["tally"])
    assert (found.item, found.lot_code, found.expires_on) == (item, "ABC123", date(2029, 3, 31))


def test_tally_older_than_a_correction_is_a_conflict(line, item, builder):
    tallying.correct(line=line, counted=Decimal(12), at=NOW - timedelta(minutes=5), by=builder)

    answer = one(builder, item.code, "tally", at=NOW - timedelta(minutes=10))

    assert (answer.outcome, answer.status) == ("conflict", 409)
    assert Tally.objects.count() == 1


def test_tally_of_an_unknown_bag_is_refused(line, item, builder):
    assert kind(one(builder, item.code, "tally", bag="CRATE-7/9Z")) == "unknown-place"


def test_bag_of_a_crate_whose_code_has_a_slash(workshop, bench, item, builder):
    crate = factories.CrateFactory(bench=bench, code="CRATE-7/R1")
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="A", path="A")
    inner = Bag.objects.create(workshop=workshop, crate=crate, name="B", path="A/B", parent=bag)
    factories.PackingLineFactory(crate=crate, bag=inner, item=item)

    assert one(builder, item.code, "tally", bag="CRATE-7/R1/A/B").body["bag"] == "CRATE-7/R1/A/B"


# find


def test_find_says_what_it_is_and_where(held, item, drawer, reader):
    answer = one(reader, item.code)

    assert answer.body["text"] == f"{item.code} a thing: 10 ea on hand in {drawer.path}"
    assert [(one["lot"], one["place"]) for one in answer.body["lies"]] == [(held.pk, drawer.path)]


@pytest.mark.parametrize("thing", ["lot", "place", "bag"])
def test_find_by_a_label(workshop, held, drawer, bag, reader, thing):
    answer = one(reader, label(workshop, **{thing: {"lot": held, "place": drawer, "bag": bag}[thing]}))

    assert answer.outcome == "done"
    assert {"lot": held.code, "place": drawer.path, "bag": "CRATE-7/7A"}[thing] in answer.body["text"]


def test_find_moves_nothing(held, item, reader):
    one(reader, item.code)
    assert Movement.objects.count() == 1


# unknown and unreadable


def test_unknown_code_says_how_to_teach_it_and_what_is_alike(workshop, builder):
    factories.ItemFactory(workshop=workshop, code="AN470AD4-6")

    answer = one(builder, "AN470AD4-G", "take")

    assert (answer.outcome, answer.status, kind(answer)) == ("unknown", 422, "unknown-code")
    assert answer.body["teach"] == {"method": "POST", "href": "/api/v1/identifiers", "body": {"item": None, "text": "AN470AD4-G"}}
    assert answer.body["near"][0] == {"code": "AN470AD4-6", "item": "AN470AD4-6"}


def test_unknown_gs1_code_teaches_its_gtin(builder):
    answer = one(builder, "]d2010541234500001310ABC123")
    assert answer.body["teach"]["body"]["text"] == "05412345000013"


def test_code_with_a_wrong_check_digit_is_refused(builder):
    answer = one(builder, "]E02112345678901", "take")

    assert (answer.outcome, answer.status, kind(answer)) == ("refused", 422, "unreadable-code")
    assert answer.body["problems"] == ["check_digit"]


def test_separators_stripped_are_refused_for_what_moves_goods(workshop, held, item, builder):
    """A lot code of twenty characters or a stripped separator: nobody can tell where it ends."""
    Identifier.objects.create(workshop=workshop, item=item, text="05412345000013", key="05412345000013")
    stripped = "]d20105412345000013" + "10ABC1231234567890123417290331"

    answer = one(builder, stripped, "take")

    assert kind(answer) == "unreadable-code"
    assert on_hand(held) == 10


def test_label_with_other_dates_than_the_lot_is_refused(workshop, bench, drawer, storekeeper, builder):
    item = factories.ItemFactory(workshop=workshop, identifiers=["05412345000013"], kind="sealant", unit="g")
    lot = factories.LotFactory(bench=bench, item=item, code="ABC123", expires_on=date(2029, 3, 31))
    stock.receive(lot=lot, quantity=10, place=drawer, on=DAY, by=storekeeper)

    right = one(builder, "]d2010541234500001310ABC123\x1d17290331", "take")
    wrong = one(builder, "]d2010541234500001310ABC123\x1d17290430", "take")

    assert (right.outcome, wrong.body["title"]) == ("done", "This lot has other dates")


def test_lot_code_on_the_label_chooses_the_lot(workshop, bench, held, item, drawer, storekeeper, builder):
    Identifier.objects.create(workshop=workshop, item=item, text="05412345000013", key="05412345000013")
    other = factories.LotFactory(bench=bench, item=item, code="ABC123")
    stock.receive(lot=other, quantity=10, place=drawer, on=DAY, by=storekeeper)

    assert one(builder, "]d2010541234500001310ABC123", "take").body["lot"] == other.pk


@pytest.mark.parametrize("gtin", ["05412345000013", "5412345000013"])
def test_gtin_is_known_with_and_without_its_leading_zero(workshop, held, item, builder, gtin):
    Identifier.objects.create(workshop=workshop, item=item, text=gtin, key=gtin)

    assert one(builder, "]E05412345000013").body["item"] == item.code


# the clock


def test_skew_is_taken_off(held, item, builder):
    """The device is two hours behind: what it scanned at 9:58 by its clock was scanned at 11:58."""
    two = timedelta(hours=2)
    one(builder, item.code, "take", at=NOW - two - timedelta(minutes=2), device_time=NOW - two)

    assert Movement.objects.latest("pk").at == NOW - timedelta(minutes=2)


@pytest.mark.parametrize(
    ("off", "said"), [(-365, "about a year behind"), (365, "about a year ahead"), (2, "2 days ahead"), (-8000, "21 years")]
)
def test_clock_over_a_day_off_is_refused_and_not_kept(held, item, builder, off, said):
    wrong = scan(item.code, "take", at=NOW + timedelta(days=off), device_time=NOW + timedelta(days=off))

    (answer,) = act(builder, wrong)

    assert (answer.outcome, answer.status, kind(answer)) == ("refused", 422, "clock")
    assert said in answer.body["detail"]
    assert (on_hand(held), Scan.objects.count()) == (10, 0)


def test_scan_made_after_it_was_sent_is_refused(held, item, builder):
    assert kind(one(builder, item.code, "take", at=NOW + timedelta(hours=1))) == "clock"


# once


def test_repeat_gets_the_first_answer_and_moves_nothing(held, item, builder):
    sent = scan(item.code, "take", quantity=3)

    first, again = act(builder, sent), act(builder, sent)

    assert first == again
    assert (on_hand(held), Scan.objects.count()) == (7, 1)


def test_repeat_in_one_batch_acts_once(held, item, builder):
    sent = scan(item.code, "take", quantity=3)

    first, again = act(builder, sent, sent)

    assert (first, on_hand(held)) == (again, 7)


def test_repeat_sent_later_is_the_same_scan(held, item, builder):
    sent = scan(item.code, "take", quantity=3)
    later = NOW + timedelta(minutes=5)
    act(builder, sent)

    (again,) = act(builder, replace(sent, device_time=later), now=later)

    assert (again.outcome, on_hand(held)) == ("done", 7)


def test_refusal_is_answered_again_even_where_it_would_do_now(item, lot, drawer, storekeeper):
    sent = scan(item.code, "take")
    (refused,) = act(storekeeper, sent)
    stock.receive(lot=lot, quantity=10, place=drawer, on=DAY, by=storekeeper)

    assert act(storekeeper, sent) == [refused]


@pytest.mark.parametrize("other", [{"quantity": Decimal(4)}, {"code": "X"}, {"action": "find"}, {"note": "x"}, {"at": NOW}, {"lot": 7}])
def test_uuid_with_another_body_is_refused(held, item, builder, other):
    sent = scan(item.code, "take", quantity=3)
    act(builder, sent)

    (answer,) = act(builder, replace(sent, **other))

    assert (answer.outcome, answer.status, kind(answer)) == ("refused", 409, "uuid-reused")
    assert on_hand(held) == 7


def test_uuid_of_another_workshop_is_free(held, item, builder, outsider):
    uuid = uuid4()
    with scopes_disabled():
        stranger = factories.MemberFactory(workshop=outsider)
        Scan.objects.create(
            workshop=outsider,
            uuid=uuid,
            fingerprint="x",
            member=stranger,
            code="x",
            action="find",
            at=NOW,
            outcome="done",
            status=200,
            answer={},
        )

    assert one(builder, item.code, "take", uuid=uuid).outcome == "done"


# the batch


def test_bad_scan_does_not_spoil_the_others(held, item, shelf, builder):
    answers = act(
        builder,
        scan(item.code, "take", quantity=2),
        scan("nothing", "take"),
        scan(item.code, "take", quantity=100),
        scan(item.code, "open"),
        scan(item.code, "open"),
        scan(item.code, "put", place="nowhere"),
        scan(item.code, "put", place="Shelf", quantity=5),
    )

    assert [answer.outcome for answer in answers] == ["done", "unknown", "refused", "done", "refused", "refused", "done"]
    assert sorted(Holding.objects.filter(lot=held).values_list("quantity", flat=True)) == [3, 5]
    assert (ledger_errors(), Scan.objects.count()) == ([], 7)


def test_outsider_s_things_are_unknown(builder, outsider):
    with scopes_disabled():
        lot, place = Lot.objects.get(workshop=outsider), Place.objects.filter(workshop=outsider, end="storage").get()
        tokens = [label(outsider, 1, lot=lot), label(outsider, 2, place=place)]

    answers = act(builder, scan("OUTSIDE-ITEM"), *(scan(token) for token in tokens), scan("x", lot=lot.pk))

    assert {answer.outcome for answer in answers} == {"unknown"}
    assert "OUTSIDE" not in str([answer.body for answer in answers[1:]])


def queries(act):
    with CaptureQueriesContext(connection) as found:
        act()
    return len(found)


@pytest.mark.parametrize("action", ["take", "put", "count", "find"])
def test_queries_are_the_same_for_one_and_for_many(bench, shelf, storekeeper, workshop, action):
    lots = [factories.LotFactory(bench=bench) for _ in range(41)]
    for number, lot in enumerate(lots):
        place = factories.PlaceFactory(workshop=workshop, path=f"Drawer {number}")
        stock.receive(lot=lot, quantity=10, place=place, on=DAY, by=storekeeper)
    places = {"put": "Shelf"}
    scans = [scan(lot.item.code, action, quantity=4 if action == "count" else None, place=places.get(action, "")) for lot in lots]
    one(storekeeper, lots[0].item.code, "take")  # the end of the ledger is there
    one(storekeeper, lots[0].item.code, "count", quantity=8)

    assert queries(lambda: act(storekeeper, scans[0])) == queries(lambda: act(storekeeper, *scans[1:]))
