"""Crates, bags and packing lines for programs."""

from datetime import date
from decimal import Decimal

import pytest
from django_scopes import scopes_disabled

from inventory.models import Bag, Crate, PackingLine, Sender
from inventory.receiving import services as receiving
from tests import factories
from tests.callers import Api
from tests.factories import DAY

NEW = {"code": "CRATE-7", "bench": "tern", "sender": "kestrel kits", "order": "K-2", "carrier": "Fenland", "due_on": "2027-02-20"}


@pytest.fixture
def api(as_device, storekeeper):
    return Api(as_device(storekeeper))


@pytest.fixture
def sender(workshop):
    return Sender.objects.create(workshop=workshop, name="Kestrel Kits")


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="CRATE-7")


@pytest.fixture
def line(api, crate, item):
    """A line as the API makes it."""
    asked = {"crate": "crate-7", "bag": "12/12A", "number": "4", "item": item.code.lower(), "quantity": "240", "price": "0.035"}
    made = api.post("lines", asked)
    assert made.status_code == 201, made.content
    return made.json()


# Crates


def test_crate_is_made_with_its_journey(api, bench, sender):
    made = api.post("crates", NEW)

    assert made.status_code == 201
    read = api.get(made["Location"]).json()
    assert read == made.json()
    assert {
        name: read[name] for name in ("code", "bench", "sender", "order", "carrier", "due_on", "lines", "open_lines", "arrived_on")
    } == {
        "code": "CRATE-7",
        "bench": "TERN",
        "sender": "Kestrel Kits",
        "order": "K-2",
        "carrier": "Fenland",
        "due_on": "2027-02-20",
        "lines": 0,
        "open_lines": 0,
        "arrived_on": None,
    }


def test_crate_is_made_once(api, bench, sender):
    first, again = (api.post("crates", NEW, key="k") for _ in range(2))

    assert again.json() == first.json()
    assert api.post("crates", {**NEW, "code": "crate-7"}).status_code == 409
    assert Crate.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"bench": "OUTSIDE-BENCH"}, 404),
        ({"sender": "Nobody"}, 404),
        ({"due_on": "2027-02-30"}, 400),
        ({"ordered_on": "2027-03-01"}, 400),
        ({"code": ""}, 400),
        ({"code": "x" * 41}, 400),
    ],
)
def test_crate_that_makes_no_sense_is_refused(api, bench, sender, change, status):
    answer = api.post("crates", {**NEW, **change})

    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert Crate.objects.count() == 0


def test_journey_is_changed_where_it_was_seen(api, crate, sender):
    address = f"crates/{crate.pk}"
    seen = api.get(address)["ETag"]
    answer = api.patch(address, {"sender": "Kestrel Kits", "due_on": "2027-02-27", "shipped_on": "2027-02-01"}, match=seen)

    assert (answer.status_code, answer.json()["sender"], answer.json()["due_on"]) == (200, "Kestrel Kits", "2027-02-27")
    assert api.patch(address, {"due_on": None}, match=seen).status_code == 412
    assert api.patch(address, {"due_on": None, "sender": None}).json()["sender"] is None
    crate.refresh_from_db()
    assert (crate.due_on, crate.shipped_on) == (None, date(2027, 2, 1))


def test_crates_are_filtered(api, bench, shared_bench, sender, item):
    coming = factories.CrateFactory(bench=bench, code="A", due_on=date(2027, 2, 20), order_code="K-2")
    factories.PackingLineFactory(crate=coming, item=item)
    factories.CrateFactory(bench=shared_bench, code="B", sender=sender, arrived_on=DAY, closed_on=DAY)

    def codes(**asked):
        return [row["code"] for row in api.rows("crates", **asked)]

    assert (
        codes(open="true") == codes(bench="tern") == codes(arrived="false") == codes(due_until="2027-02-20") == codes(search="k-2") == ["A"]
    )
    assert codes(open="false") == codes(sender="kestrel kits") == codes(arrived="true") == codes(closed="true") == codes(code="b") == ["B"]
    assert codes(due_until="2027-02-19") == []


# Bags


def test_bag_is_made_with_those_it_lies_in(api, crate):
    made = api.post("bags", {"crate": "crate-7", "path": "12/12A"})

    assert (made.status_code, made.json()["path"], made.json()["name"]) == (201, "12/12A", "12A")
    again = api.post("bags", {"crate": "CRATE-7", "path": "12/12a"})
    assert (again.status_code, again.json()) == (200, made.json())
    assert [row["path"] for row in api.rows("bags", crate="crate-7")] == ["12", "12/12A"]
    assert [row["path"] for row in api.rows("bags", search="12a", counted="false")] == ["12/12A"]
    assert api.rows("bags", counted="true") == []
    assert api.get(f"bags/{made.json()['id']}").json() == made.json()


@pytest.mark.parametrize(("change", "status"), [({"crate": "OUTSIDE-CRATE"}, 404), ({"path": "a//b"}, 400), ({"path": ""}, 400)])
def test_bag_that_makes_no_sense_is_refused(api, crate, change, status):
    assert api.post("bags", {"crate": "CRATE-7", "path": "12", **change}).status_code == status
    assert Bag.objects.count() == 0


# Lines


def test_line_is_added_to_a_crate(api, line, crate, item):
    assert (line["bag"], line["number"], line["item"], line["name"]) == ("12/12A", "4", item.code, item.name)
    assert (line["quantity"], line["still_open"], line["unit"], line["price"]) == ("240", "240", "ea", "0.035")
    assert api.get(f"lines/{line['id']}").json() == line
    assert api.get(f"crates/{crate.pk}").json()["open_lines"] == 1


def test_line_without_a_bag_states_its_dates(api, crate, item):
    asked = {"crate": "CRATE-7", "number": "1", "item": item.code, "quantity": 2, "lot_code": "R7", "expires": "2027-03"}
    made = api.post("lines", asked).json()

    assert (made["bag"], made["bag_id"], made["quantity"], made["lot_code"], made["expires"]) == (None, None, "2", "R7", "2027-03")
    assert api.post("lines", asked).status_code == 409


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"number": "4", "bag": "12/12a"}, 409),
        ({"item": "OUTSIDE-ITEM"}, 404),
        ({"crate": "OUTSIDE-CRATE"}, 404),
        ({"quantity": "0"}, 400),
        ({"quantity": "x"}, 400),
        ({"price": "-1"}, 400),
        ({"price": "1e12"}, 400),
        ({"number": " "}, 400),
        ({"bag": "a//b"}, 400),
        ({"bag": 7, "number": []}, 400),
    ],
)
def test_line_that_makes_no_sense_is_refused(api, line, item, change, status):
    asked = {"crate": "CRATE-7", "bag": "12/12B", "number": "5", "item": item.code, "quantity": "1"}

    assert api.post("lines", {**asked, **change}).status_code == status
    assert (PackingLine.objects.count(), Bag.objects.filter(name="12B").count()) == (1, 0)


def test_line_of_a_crate_that_was_counted_to_the_end_is_not_added(api, line, crate, item):
    Crate.objects.update(closed_on=DAY)
    asked = {"crate": "CRATE-7", "number": "5", "item": item.code, "quantity": "1"}

    assert api.post("lines", asked).status_code == api.post("bags", {"crate": "CRATE-7", "path": "9"}).status_code == 409


def test_line_is_put_right_while_nothing_was_counted(api, line):
    answer = api.patch(f"lines/{line['id']}", {"quantity": "250", "price": None})

    assert answer.json() == {**line, "quantity": "250", "still_open": "250", "price": None}
    assert api.delete(f"lines/{line['id']}").status_code == 204
    assert PackingLine.objects.count() == 0


def test_line_that_something_came_of_stays_as_it_was_listed(api, line, drawer, storekeeper):
    row = PackingLine.objects.get()
    receiving.arrive(line=row, quantity=Decimal(10), place=drawer, on=DAY, by=storekeeper)

    refused = api.patch(f"lines/{row.pk}", {"quantity": "250"})
    assert (refused.status_code, refused.json()["title"]) == (409, "Something of this line was counted")
    assert api.delete(f"lines/{row.pk}").status_code == 409


def test_arrival_that_is_reversed_is_to_come_again(api, line, drawer, storekeeper):
    row = PackingLine.objects.get()
    moved = receiving.arrive(line=row, quantity=Decimal(240), place=drawer, on=DAY, by=storekeeper)
    assert api.rows("lines", open="true") == []

    assert api.post(f"movements/{moved.pk}/reverse", {}).status_code == 201
    assert api.rows("lines", open="true")[0]["still_open"] == "240"


def test_lines_are_filtered(api, line, crate, workshop):
    other = factories.PackingLineFactory(crate=crate, item=factories.ItemFactory(workshop=workshop, name="Rib"), open_quantity=0)

    def ids(**asked):
        return [row["id"] for row in api.rows("lines", **asked)]

    assert ids(bag=line["bag_id"]) == ids(item=line["item"]) == ids(open="true") == [line["id"]]
    assert ids(open="false") == ids(search="rib") == [other.pk]
    assert ids(crate="crate-7") == [line["id"], other.pk]
    assert api.get("lines", {"bag": "x"}).status_code == 400


def test_crates_and_bags_are_removed_only_where_nothing_is_in_them(api, line, crate, bench):
    empty = api.post("bags", {"crate": "CRATE-7", "path": "99"}).json()["id"]
    bare = factories.CrateFactory(bench=bench)

    assert api.delete(f"bags/{empty}").status_code == api.delete(f"crates/{bare.pk}").status_code == 204
    for address, what in ((f"bags/{line['bag_id']}", "packing lines"), (f"crates/{crate.pk}", "bags")):
        refused = api.delete(address)
        assert (refused.status_code, what in refused.json()["detail"]) == (409, True)
    assert (Crate.objects.get(), Bag.objects.count()) == (crate, 2)


# What all of them share


@pytest.mark.parametrize("address", ["crates", "bags", "lines"])
def test_queries_of_a_list_are_fixed(api, line, bench, storekeeper, address):
    one = api.queries(address)
    for number in range(20):
        made = factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench))
        receiving.ensure_bag(crate=made.crate, path=f"A/{number}", by=storekeeper)

    assert api.queries(address) == one


def test_rows_of_the_outsider_are_not_found(api, line, outsider):
    with scopes_disabled():
        crate = Crate.objects.get(workshop=outsider)
        theirs = PackingLine.objects.get(workshop=outsider)
        bag = Bag.objects.create(workshop=outsider, crate=crate, name="OUTSIDE", path="OUTSIDE")

    for address, body in ((f"crates/{crate.pk}", {"carrier": "x"}), (f"lines/{theirs.pk}", {"quantity": "1"})):
        assert api.get(address).status_code == 404
        assert api.patch(address, body, match="*").status_code == 404
    for address in (f"lines/{theirs.pk}", f"bags/{bag.pk}", f"crates/{crate.pk}"):
        assert api.delete(address, match="*").status_code == 404
    assert api.get(f"bags/{bag.pk}").status_code == 404
    for address in ("crates", "bags", "lines"):
        assert "OUTSIDE" not in api.get(address).content.decode()
    assert api.rows("lines", crate="OUTSIDE-CRATE") == api.rows("bags", crate="OUTSIDE-CRATE") == api.rows("lines", bag=bag.pk) == []


def test_builder_may_not_list_what_should_come(as_member, builder, line, crate):
    api = Api(as_member(builder))

    assert api.patch(f"crates/{crate.pk}", {"carrier": "x"}).status_code == 403
    assert api.patch(f"lines/{line['id']}", {"quantity": "1"}).status_code == 403
    assert api.delete(f"lines/{line['id']}").status_code == 403
    assert api.post("bags", {"crate": "CRATE-7", "path": "1"}).status_code == 403
    assert api.post("crates", {"code": "X", "bench": "TERN"}).status_code == 403
