"""Places, lots, holdings and the ledger for programs."""

from datetime import date
from decimal import Decimal

import pytest
from django_scopes import scopes_disabled

from inventory.models import Holding, Lot, Movement, Place
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors, on_hand
from tests import factories
from tests.callers import Api
from tests.factories import DAY


@pytest.fixture
def api(as_device, storekeeper):
    return Api(as_device(storekeeper))


@pytest.fixture
def foreign(outsider):
    """The first row of a model in the outsider's workshop."""

    def foreign(model):
        with scopes_disabled():
            return model.objects.filter(workshop=outsider).order_by("pk")[0]

    return foreign


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", name="Tank sealant", min_life_days=10)


# Places


def test_place_is_made_with_what_it_lies_in(api, workshop):
    made = api.post("places", {"path": "Hangar/Rack 2/Drawer 7"})

    assert (made.status_code, made.json()["within"]) == (201, "Hangar/Rack 2")
    again = api.post("places", {"path": "HANGAR/ rack 2 /drawer 7"})
    assert (again.status_code, again.json()) == (200, made.json())
    assert [row["path"] for row in api.rows("places", within="hangar/rack 2")] == ["Hangar/Rack 2", "Hangar/Rack 2/Drawer 7"]
    assert [row["path"] for row in api.rows("places", search="RACK", path="hangar/rack 2")] == ["Hangar/Rack 2"]


def test_ends_of_the_ledger_are_no_places_here(api, lot, drawer, storekeeper):
    factories.stock(lot, 5, place=drawer)
    supplier = Place.objects.get(end="supplier")

    assert {row["path"] for row in api.rows("places")} == {drawer.path}
    assert api.get(f"places/{supplier.pk}").status_code == 404
    assert api.post("places", {"path": "used"}).status_code == 400


@pytest.mark.parametrize("path", ["", " ", "a//b", "a/" * 300 + "b", "x" * 81, "a\nb"])
def test_path_that_is_none_is_refused(api, workshop, path):
    assert api.post("places", {"path": path}).status_code == 400


def test_place_moves_with_all_in_it(api, workshop, storekeeper):
    inner = stock.ensure_place(workshop=workshop, path="Hangar/Rack 2/Drawer 7", by=storekeeper)
    beside = stock.ensure_place(workshop=workshop, path="Hangar/Rack 22", by=storekeeper)
    rack = inner.parent

    answer = api.patch(f"places/{rack.pk}", {"path": "Barn/Shelf 1"})

    assert (answer.status_code, answer.json()["path"], answer.json()["within"]) == (200, "Barn/Shelf 1", "Barn")
    inner.refresh_from_db()
    beside.refresh_from_db()
    assert (inner.path, inner.key, inner.parent_id) == ("Barn/Shelf 1/Drawer 7", "barn/shelf 1/drawer 7", rack.pk)
    assert beside.path == "Hangar/Rack 22"
    assert inner.history.first().history_user == storekeeper


def test_place_is_renamed_in_case_alone(api, drawer, workshop):
    assert api.patch(f"places/{drawer.pk}", {"path": drawer.path.upper()}).json()["name"] == "DRAWER 3"


def test_place_does_not_move_into_itself_or_onto_another(api, workshop, storekeeper):
    inner = stock.ensure_place(workshop=workshop, path="Hangar/Rack 2", by=storekeeper)

    assert api.patch(f"places/{inner.parent_id}", {"path": "Hangar/Rack 2/Hangar"}).status_code == 400
    assert api.patch(f"places/{inner.pk}", {"path": "HANGAR"}).status_code == 409
    assert api.patch(f"places/{inner.parent_id}", {"path": "x" * 80 + "/" + "y" * 80 + "/" + "z" * 80}).status_code == 200
    assert api.patch(f"places/{inner.parent_id}", {"path": "/".join(["a" * 79] * 5)}).status_code == 400
    assert Place.objects.filter(path__startswith="aaa").count() == 0


def test_place_that_nothing_refers_to_is_removed(api, drawer, lot):
    factories.stock(lot, 5, place=drawer)
    empty = factories.PlaceFactory(workshop=drawer.workshop)

    assert api.delete(f"places/{empty.pk}").status_code == 204
    refused = api.delete(f"places/{drawer.pk}")
    assert (refused.status_code, "stays" in refused.json()["detail"]) == (409, True)


# Lots


def test_lot_is_made_with_dates_as_its_label_states_them(api, bench, sealant):
    made = api.post("lots", {"item": "seal-b2", "bench": "tern", "code": "R7", "made": "2Q26", "expires": "2027-03"})

    assert made.status_code == 201
    read = made.json()
    assert (read["item"], read["bench"], read["made"], read["expires"]) == ("SEAL-B2", "TERN", "2Q2026", "2027-03")
    assert (read["last_usable_day"], read["life_known"], read["on_hand"], read["unit"]) == ("2027-03-31", True, "0", "g")
    again = api.post("lots", {"item": "SEAL-B2", "bench": "TERN", "code": "R7", "expires": "2027-03"})
    assert (again.status_code, again.json()) == (200, read)


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"item": "NOTHING"}, 404),
        ({"bench": "NOWHERE"}, 404),
        ({"item": "OUTSIDE-ITEM"}, 404),
        ({"bench": "OUTSIDE-BENCH"}, 404),
        ({"bench": []}, 400),
        ({"made": "2027-02-30"}, 400),
        ({"made": 2027}, 400),
        ({"made": "2028-01", "expires": "2027-01"}, 400),
        ({"state": "fine"}, 400),
        ({"code": "a\u0000"}, 400),
    ],
)
def test_lot_that_makes_no_sense_is_refused(api, bench, sealant, change, status):
    answer = api.post("lots", {"item": "SEAL-B2", "bench": "TERN", **change})

    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert "OUTSIDE" not in answer.json().get("title", "")
    assert Lot.objects.count() == 0


def test_lot_is_judged_dated_and_opened_at_once(api, lot, storekeeper):
    answer = api.patch(f"lots/{lot.pk}", {"state": "quarantined", "expires": "2027-06", "opened": "2027-02-01", "note": "dented"})

    read = answer.json()
    assert (read["state"], read["expires"], read["made"], read["opened"]) == ("quarantined", "2027-06", None, "2027-02-01")
    assert lot.history.first().history_change_reason == "dented"


def test_second_opening_changes_nothing_at_all(api, lot, storekeeper):
    stock.open_lot(lot=lot, on=DAY, by=storekeeper)
    answer = api.patch(f"lots/{lot.pk}", {"expires": "2027-06", "opened": "2027-03-01"})

    assert answer.status_code == 409
    lot.refresh_from_db()
    assert (lot.expires, lot.opened_on) == (None, DAY)


def test_opening_is_put_right_and_read_with_its_reasons(api, lot, storekeeper, as_member, builder):
    stock.open_lot(lot=lot, on=DAY, by=storekeeper)
    where = f"lots/{lot.pk}/opened"
    for wrong in ({"opened": None}, {"opened": None, "note": ""}, {"opened": "9999-01-01", "note": "x"}, {"note": "x"}):
        assert api.post(where, wrong).status_code == 400, wrong
    right = api.post(where, {"opened": None, "note": "scanned the wrong tube"})

    assert right.status_code == 200
    assert (right.json()["lot"], right.json()["opened"]) == (lot.pk, None)
    assert [(one["opened"], one["by"], one["why"]) for one in api.get(where).json()["openings"]] == [
        (None, storekeeper.name, "scanned the wrong tube"),
        (str(DAY), storekeeper.name, ""),
    ]
    assert Api(as_member(builder)).post(where, {"opened": None, "note": "x"}).status_code == 403


def test_opening_of_the_outsiders_lot_is_not_found(api, foreign):
    where = f"lots/{foreign(Lot).pk}/opened"

    assert api.get(where).status_code == 404
    assert api.post(where, {"opened": None, "note": "x"}).status_code == 404


def test_each_edit_of_a_lot_asks_for_its_own_right(as_member, builder, lot):
    api = Api(as_member(builder))

    assert api.patch(f"lots/{lot.pk}", {"opened": "2027-02-01"}).status_code == 200
    assert api.patch(f"lots/{lot.pk}", {"state": "failed"}).status_code == 403
    assert api.patch(f"lots/{lot.pk}", {"made": None}).status_code == 403


def test_lot_is_removed_only_where_nothing_refers_to_it(api, lot, bench):
    empty = factories.LotFactory(bench=bench)
    factories.stock(lot, 5)

    assert api.delete(f"lots/{empty.pk}").status_code == 204
    refused = api.delete(f"lots/{lot.pk}")
    assert (refused.status_code, "it has movements" in refused.json()["detail"]) == (409, True)
    assert list(Lot.objects.all()) == [lot]


def test_movement_makes_an_edit_of_the_lot_as_it_was_412(api, lot, drawer):
    seen = api.get(f"lots/{lot.pk}")["ETag"]
    factories.stock(lot, 5, place=drawer)

    assert api.patch(f"lots/{lot.pk}", {"state": "failed"}, match=seen).status_code == 412


def test_lots_are_filtered(api, bench, shared_bench, sealant, item, drawer):
    dying = factories.LotFactory(bench=bench, item=sealant, code="R7", expires_on=date(2027, 3, 31), expires_as="month")
    lasting = factories.LotFactory(bench=shared_bench, item=item, code="BOX")
    failed = factories.LotFactory(bench=bench, item=item, code="BAD", state="failed")
    for lot in (dying, lasting, failed):
        factories.stock(lot, 5, place=drawer if lot is dying else None)

    def codes(**asked):
        return [row["code"] for row in api.rows("lots", **asked)]

    assert codes(item="seal-b2") == codes(place="HANGAR") == codes(search="tank") == codes(expires_before="2027-04-01") == ["R7"]
    assert codes(expires_before="2027-03-31") == []
    assert codes(usable_on="2027-03-21") == ["R7", "BOX"]
    assert codes(usable_on="2027-03-22") == codes(bench="pool") == codes(code="BOX") == ["BOX"]
    assert codes(state="failed") == codes(search="bad") == ["BAD"]
    assert codes(state="good", bench="TERN", place="nowhere") == []


# Holdings


def test_holdings_say_what_lies_where(api, lot, drawer, sealant, bench):
    factories.stock(lot, "2.5", place=drawer)
    other = factories.LotFactory(bench=bench, item=sealant, state="disputed")
    factories.stock(other, 5)
    empty = factories.stock(factories.LotFactory(bench=bench), 1, place=drawer)
    stock.scrap(lot=empty.lot, quantity=1, place=drawer, on=DAY, by=factories.MemberFactory(workshop=lot.workshop))

    (row,) = api.rows("holdings", place="hangar/rack 1")
    assert (row["lot"], row["item"], row["quantity"], row["unit"], row["place"]) == (lot.pk, lot.item.code, "2.5", "ea", drawer.path)
    assert [row["lot"] for row in api.rows("holdings", kind="sealant")] == [other.pk]
    assert [row["lot"] for row in api.rows("holdings", state="disputed", item="SEAL-B2", search="tank", lot=other.pk)] == [other.pk]
    assert len(api.rows("holdings", bench="tern")) == 2


# Movements


def test_each_kind_of_movement_is_written(api, lot, drawer, workshop):
    shelf = factories.PlaceFactory(workshop=workshop, path="Shelf 9")

    def write(kind, quantity, **more):
        answer = api.post("movements", {"kind": kind, "lot": lot.pk, "quantity": quantity, "place": drawer.path.lower(), **more})
        assert answer.status_code == 201, answer.content
        return answer.json()

    received = write("receive", "11.0", on="2027-02-20", note="by post")
    assert (received["source"], received["target"], received["quantity"], received["unit"]) == ("supplier", drawer.path, "11", "ea")
    assert (received["on"], received["note"], received["reverses"], received["reversed_by"]) == ("2027-02-20", "by post", None, None)
    assert write("move", 2, to="shelf 9")["target"] == "Shelf 9"
    assert write("use", "1")["target"] == "used"
    assert write("scrap", "1")["target"] == "scrapped"
    assert write("adjust", "8")["quantity"] == "1"

    assert {row.place_id: row.quantity for row in Holding.objects.all()} == {drawer.pk: Decimal(8), shelf.pk: Decimal(2)}
    assert ledger_errors() == []


def test_count_that_agrees_moves_nothing(api, lot, drawer):
    factories.stock(lot, 5, place=drawer)
    asked = {"kind": "adjust", "lot": lot.pk, "quantity": "5", "place": drawer.path}
    answer, again = (api.post("movements", asked, key="k") for _ in range(2))

    assert [(one.status_code, one.content) for one in (answer, again)] == [(204, b"")] * 2
    assert (again["Idempotent-Replay"], Movement.objects.count()) == ("true", 1)


def test_movement_sent_twice_moves_once(api, lot, drawer):
    factories.stock(lot, 5, place=drawer)
    asked = {"kind": "use", "lot": lot.pk, "quantity": "2", "place": drawer.path}
    first, again = (api.post("movements", asked, key="k") for _ in range(2))

    assert (first.status_code, again.json(), again["Location"]) == (201, first.json(), first["Location"])
    assert on_hand(lot) == 3
    assert api.post("movements", {**asked, "quantity": "1"}, key="k").status_code == 422
    assert on_hand(lot) == 3


@pytest.mark.parametrize(
    ("change", "status", "said"),
    [
        ({"quantity": "6"}, 409, "holds 5 ea"),
        ({"quantity": "0"}, 400, "the quantity is 0"),
        ({"quantity": "0.0001"}, 400, ""),
        ({"quantity": "-1"}, 400, ""),
        ({"quantity": "NaN"}, 400, ""),
        ({"quantity": "1e400"}, 400, ""),
        ({"quantity": True}, 400, ""),
        ({"quantity": [1]}, 400, ""),
        ({"quantity": None}, 400, ""),
        ({"lot": 10**30}, 404, "there is no lot"),
        ({"lot": -1}, 404, "there is no lot"),
        ({"lot": "x"}, 400, ""),
        ({"place": "nowhere"}, 404, "there is no place nowhere here"),
        ({"place": "a\u0000"}, 400, ""),
        ({"to": "nowhere"}, 404, "there is no place"),
        ({"kind": "move"}, 400, ""),
        ({"kind": "steal"}, 400, ""),
        ({"on": "2027-02-30"}, 400, ""),
        ({"note": "x" * 201}, 400, ""),
        ({"note": "a\nb"}, 400, "control characters"),
    ],
)
def test_movement_that_makes_no_sense_is_refused(api, lot, drawer, change, status, said):
    factories.stock(lot, 5, place=drawer)
    answer = api.post("movements", {"kind": "use", "lot": lot.pk, "quantity": "1", "place": drawer.path, **change}, key="k")

    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert said in answer.json().get("detail", "")
    assert on_hand(lot) == 5
    assert api.post("movements", {"kind": "use", "lot": lot.pk, "quantity": "1", "place": drawer.path}, key="k").status_code == 201


@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_ledger_is_not_changed(api, lot, drawer, method):
    factories.stock(lot, 5, place=drawer)
    pk = Movement.objects.get().pk

    assert getattr(api.client, method)(f"/api/v1/movements/{pk}", headers={"If-Match": "*"}).status_code == 405
    assert getattr(api.client, method)("/api/v1/movements").status_code == 405


def test_movement_is_reversed_once(api, lot, drawer, builder):
    factories.stock(lot, 5, place=drawer)
    used = stock.use(lot=lot, quantity=2, place=drawer, on=DAY, by=builder)
    answer = api.post(f"movements/{used.pk}/reverse", {"on": "2027-02-21", "note": "wrong can"}, key="k")

    assert answer.status_code == 201
    assert (answer.json()["reverses"], answer.json()["note"], on_hand(lot)) == (used.pk, "wrong can", 5)
    assert api.get(f"movements/{used.pk}").json()["reversed_by"] == answer.json()["id"]
    assert api.post(f"movements/{used.pk}/reverse", {"on": "2027-02-21", "note": "wrong can"}, key="k").json() == answer.json()
    assert api.post(f"movements/{used.pk}/reverse").status_code == 409


def test_ledger_is_filtered_and_stands_latest_first(api, lot, drawer, builder, sealant, bench):
    factories.stock(lot, 5, place=drawer)
    used = stock.use(lot=lot, quantity=2, place=drawer, on=date(2027, 3, 1), by=builder, ref="step:4", note="left keel")
    other = factories.LotFactory(bench=bench, item=sealant)
    factories.stock(other, 5)

    def ids(**asked):
        return [row["id"] for row in api.rows("movements", **asked)]

    assert ids() == sorted(ids(), reverse=True)
    assert ids(ref="step:4") == ids(to="used") == ids(since="2027-03-01") == ids(search="keel") == [used.pk]
    assert used.pk not in ids(until="2027-02-28")
    assert len(ids(lot=lot.pk)) == len(ids(item=lot.item.code)) == len(ids(place="hangar")) == 2


@pytest.mark.parametrize("asked", [{"lot": "x"}, {"lot": "9" * 30}, {"since": "soon"}, {"to": "nowhere"}, {"item": "\0"}, {"place": "a\0"}])
def test_ledger_asked_for_nonsense_says_so(api, workshop, asked):
    assert api.get("movements", asked).status_code == 400


# What all of them share


@pytest.mark.parametrize("address", ["places", "lots", "holdings", "movements", "benches", "members"])
def test_queries_of_a_list_are_fixed(api, bench, sealant, address):
    factories.stock(factories.LotFactory(bench=bench, item=sealant), 5)
    one = api.queries(address)
    for lot in factories.LotFactory.create_batch(20, bench=bench):
        factories.stock(lot, 5)

    assert api.queries(address) == one


def test_queries_of_usable_lots_are_fixed(api, bench):
    factories.stock(factories.LotFactory(bench=bench), 5)
    one = api.queries("lots", usable_on="2027-03-01")
    for lot in factories.LotFactory.create_batch(20, bench=bench):
        factories.stock(lot, 5)

    assert api.queries("lots", usable_on="2027-03-01") == one


def test_rows_of_the_outsider_are_not_found(api, lot, drawer, foreign):
    theirs, place, moved = foreign(Lot), foreign(Place), foreign(Movement)
    with scopes_disabled():
        stored = Holding.objects.get(lot=theirs).place
    use = {"kind": "use", "lot": theirs.pk, "quantity": "1", "place": drawer.path}

    assert api.post("movements", use).status_code == 404
    assert api.post("movements", {**use, "lot": lot.pk, "place": stored.path}).status_code == 404
    assert api.post(f"movements/{moved.pk}/reverse").status_code == 404
    for address, body in ((f"lots/{theirs.pk}", {"state": "failed"}), (f"places/{place.pk}", {"path": "Mine"})):
        assert api.get(address).status_code == 404
        assert api.patch(address, body, match="*").status_code == 404
    assert api.delete(f"places/{place.pk}", match="*").status_code == 404
    for address in ("lots", "places", "holdings", "movements", "benches", "members"):
        assert "OUTSIDE" not in api.get(address).content.decode()
    assert api.rows("holdings", lot=theirs.pk) == api.rows("movements", lot=theirs.pk) == api.rows("movements", place=stored.path) == []


def test_benches_are_read_alone_and_members_made_by_owners(api, bench, shared_bench, storekeeper):
    assert [row["code"] for row in api.rows("benches", shared="true")] == ["POOL"]
    assert [row["code"] for row in api.rows("benches", search="ter")] == ["TERN"]
    assert [row["id"] for row in api.rows("members", role="storekeeper", search=storekeeper.name)] == [storekeeper.pk]
    assert api.get(f"benches/{bench.pk}").json() == {"id": bench.pk, "code": "TERN", "name": "Bench TERN", "shared": False}
    assert api.get(f"members/{storekeeper.pk}").json()["role"] == "storekeeper"
    assert (api.post("benches", {"code": "X"}).status_code, api.post("members", {}).status_code) == (405, 403)
