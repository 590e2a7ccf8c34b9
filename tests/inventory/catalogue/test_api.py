"""Items and codes for programs."""

from decimal import Decimal
from fractions import Fraction

import pytest
from django_scopes import scopes_disabled

from inventory.models import Identifier, Item, Lot
from tests import factories
from tests.callers import Api

NEW = {
    "code": "AN470AD4-6",
    "name": "Rivet",
    "kind": "rivet",
    "unit": "ea",
    "pack": "100",
    "diameter": "1/8",
    "identifiers": ["MS20470AD4-6"],
}


@pytest.fixture
def api(as_device, storekeeper):
    return Api(as_device(storekeeper))


@pytest.fixture
def foreign(outsider):
    with scopes_disabled():
        return Item.objects.get(workshop=outsider)


def test_item_is_made_and_read(api, workshop):
    made = api.post("items", NEW)

    assert made.status_code == 201
    assert made["Location"] == f"/api/v1/items/{made.json()['id']}"
    read = api.get(made["Location"])
    assert (read.json(), read["ETag"]) == (made.json(), made["ETag"])
    assert [code["text"] for code in read.json()["identifiers"]] == ["AN470AD4-6", "MS20470AD4-6"]
    assert {name: read.json()[name] for name in ("pack", "diameter", "unit", "lead_days")} == {
        "pack": "100",
        "diameter": "1/8",
        "unit": "ea",
        "lead_days": None,
    }
    assert Item.objects.get().history.get().history_user.role == "storekeeper"


def test_item_is_made_once_for_one_key(api, workshop):
    first, again = api.post("items", NEW, key="k"), api.post("items", NEW, key="k")

    assert (again.status_code, again.json(), again["Idempotent-Replay"]) == (201, first.json(), "true")
    assert Item.objects.count() == 1


@pytest.mark.parametrize("change", [{}, {"code": "ms20470 ad4-6"}, {"code": "OTHER", "identifiers": ["an470ad4-6"]}])
def test_code_that_means_something_makes_no_second_item(api, workshop, change):
    api.post("items", NEW)
    answer = api.post("items", {**NEW, **change})

    assert answer.status_code == 409
    assert "already means AN470AD4-6" in answer.json()["detail"]
    assert (Item.objects.count(), Identifier.objects.count()) == (1, 2)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"code": ""}, "code"),
        ({"code": "a\u0000b"}, "code"),
        ({"code": "x" * 81}, "code"),
        ({"kind": "thing"}, "kind"),
        ({"pack": "much"}, "pack"),
        ({"pack": "0.0001"}, "pack"),
        ({"pack": -1}, "pack"),
        ({"pack": "1e13"}, "pack"),
        ({"diameter": "1/0"}, "diameter"),
        ({"diameter": 0.125}, "diameter"),
        ({"diameter": "0.123456789012345678"}, "diameter"),
        ({"lead_days": 10**30}, "lead_days"),
        ({"life_months": 0}, "life_months"),
        ({"gravity": "0"}, "gravity"),
        ({"identifiers": "MS1"}, "identifiers"),
        ({"identifiers": [""]}, "identifiers"),
    ],
)
def test_bad_field_is_named(api, workshop, change, field):
    answer = api.post("items", {**NEW, **change})

    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    assert list(answer.json()["errors"]) == [field]
    assert Item.objects.count() == 0


@pytest.mark.parametrize(
    ("change", "said"), [({"unit": "bucketful"}, "bucketful"), ({"unit": "V"}, "stock is counted in ea"), ({"pack": 0}, "0")]
)
def test_value_that_makes_no_sense_is_refused(api, workshop, change, said):
    answer = api.post("items", {**NEW, **change})

    assert answer.status_code == 400
    assert said in answer.json()["detail"]


@pytest.mark.parametrize("body", ["[]", "3", "null", "{", '"x"', "[" * 100_000, '{"code": NaN}', b"\xff", ""])
def test_body_that_is_no_object_is_refused(api, workshop, body):
    answer = api.client.post("/api/v1/items", body, content_type="application/json")

    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


def test_body_of_another_type_is_refused(api, workshop):
    assert api.client.post("/api/v1/items", "code=X", content_type="application/x-www-form-urlencoded").status_code == 415


def test_body_too_large_is_refused(api, workshop):
    answer = api.post("items", {**NEW, "name": "x" * 3_000_000})

    assert (answer.status_code, answer["Content-Type"]) == (413, "application/problem+json")


def test_item_is_changed_where_it_was_seen(api, item):
    answer = api.patch(f"items/{item.pk}", {"pack": "500", "diameter": "0.125", "gravity": "1.55"})

    assert answer.status_code == 200
    assert answer["ETag"] == api.get(f"items/{item.pk}")["ETag"]
    item.refresh_from_db()
    assert (item.pack, item.diameter, item.gravity) == (Decimal(500), Fraction(1, 8), Decimal("1.55"))
    assert item.history.first().history_user.role == "storekeeper"


def test_edit_without_if_match_is_428_and_of_another_version_412(api, item):
    seen = api.get(f"items/{item.pk}")["ETag"]
    assert api.patch(f"items/{item.pk}", {"name": "first"}, match=seen).status_code == 200

    for answer, status in (
        (api.patch(f"items/{item.pk}", {"name": "second"}, match=seen), 412),
        (api.delete(f"items/{item.pk}", match=seen), 412),
        (api.client.patch(f"/api/v1/items/{item.pk}", {"name": "x"}, content_type="application/json"), 428),
        (api.client.delete(f"/api/v1/items/{item.pk}"), 428),
    ):
        assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    item.refresh_from_db()
    assert item.name == "first"


def test_read_of_a_known_version_is_304(api, item):
    seen = api.get(f"items/{item.pk}")["ETag"]
    answer = api.get(f"items/{item.pk}", **{"If-None-Match": seen})

    assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", seen)


def test_new_code_of_an_item_is_one_more(api, item):
    old = item.code
    answer = api.patch(f"items/{item.pk}", {"code": "BETTER"})

    assert answer.json()["code"] == "BETTER"
    assert {code["text"] for code in answer.json()["identifiers"]} == {old, "BETTER"}
    assert [row["id"] for row in api.rows("items", code=old)] == [item.pk]


def test_code_of_another_item_is_not_taken(api, item, workshop):
    other = factories.ItemFactory(workshop=workshop)

    assert api.patch(f"items/{item.pk}", {"code": other.code}).status_code == 409


def test_unit_of_an_item_that_is_counted_stays(api, lot):
    answer = api.patch(f"items/{lot.item_id}", {"unit": "g"})

    assert answer.status_code == 400
    assert "its unit can't become g" in answer.json()["detail"]


def test_item_that_nothing_is_counted_in_is_removed_with_its_codes(api, item):
    assert api.delete(f"items/{item.pk}").status_code == 204
    assert (Item.objects.count(), Identifier.objects.count()) == (0, 0)
    assert api.get(f"items/{item.pk}").status_code == 404
    assert Item.history.get(history_type="-").history_user.role == "storekeeper"


def test_item_that_something_is_counted_in_stays(api, lot):
    answer = api.delete(f"items/{lot.item_id}")

    assert answer.status_code == 409
    assert Lot.objects.count() == 1


def test_items_are_filtered(api, workshop):
    rivet = factories.ItemFactory(workshop=workshop, code="AN470AD4-6", kind="rivet", identifiers=["MS20470AD4-6"])
    factories.ItemFactory(workshop=workshop, name="Rib, port")

    def codes(**asked):
        return [row["code"] for row in api.rows("items", **asked)]

    assert codes(kind="rivet") == codes(code="ms20470ad4-6") == codes(search="20470") == [rivet.code]
    assert codes(search="rib,") != codes(kind="rivet")
    assert codes(code="nothing") == []
    assert len(codes()) == 2


@pytest.mark.parametrize("asked", [{"kind": "thing"}, {"search": "a\0b"}, {"code": "x" * 81}, {"page_size": "0"}, {"cursor": "x"}])
def test_filter_that_makes_no_sense_is_refused(api, workshop, asked):
    answer = api.get("items", asked)

    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


@pytest.mark.parametrize("address", ["items", "identifiers"])
def test_queries_of_a_list_are_fixed(api, workshop, address):
    factories.ItemFactory(workshop=workshop)
    one = api.queries(address)
    factories.ItemFactory.create_batch(30, workshop=workshop)

    assert api.queries(address) == one


def test_scanner_teaches_a_code(as_device, storekeeper, item):
    api = Api(as_device(storekeeper, "scan"))
    made = api.post("identifiers", {"item": item.code.lower(), "text": "0012345678905"})

    assert (made.status_code, made.json()["item"], made.json()["own"]) == (201, item.code, False)
    again = api.post("identifiers", {"item": item.code, "text": "0012345678905"})
    assert (again.status_code, again.json()) == (200, made.json())
    assert api.get("identifiers").status_code == 403


@pytest.mark.parametrize(("scopes", "status"), [(("read",), 403), (("scan",), 403), (("manage",), 201)])
def test_making_an_item_takes_the_scope_manage(as_device, storekeeper, scopes, status):
    assert Api(as_device(storekeeper, *scopes)).post("items", NEW).status_code == status


def test_code_of_another_item_is_not_taught(api, item, workshop):
    other = factories.ItemFactory(workshop=workshop)
    answer = api.post("identifiers", {"item": item.code, "text": other.code})

    assert (answer.status_code, answer.json()["title"]) == (409, "This code means something else")


def test_taught_code_is_forgotten_and_the_own_one_stays(api, item):
    taught = api.post("identifiers", {"item": item.code, "text": "TAUGHT"}).json()["id"]
    own = Identifier.objects.get(text=item.code).pk

    assert api.delete(f"identifiers/{taught}").status_code == 204
    assert api.delete(f"identifiers/{own}").status_code == 409
    assert [row["text"] for row in api.rows("identifiers", item=item.code)] == [item.code]


def test_item_of_the_outsider_is_not_found(api, workshop, foreign):
    with scopes_disabled():
        code = Identifier.objects.get(item=foreign).pk

    assert api.get(f"items/{foreign.pk}").status_code == 404
    assert api.patch(f"items/{foreign.pk}", {"name": "x"}, match="*").status_code == 404
    assert api.delete(f"items/{foreign.pk}", match="*").status_code == 404
    assert api.delete(f"identifiers/{code}", match="*").status_code == 404
    assert api.post("identifiers", {"item": foreign.code, "text": "X"}).status_code == 404
    assert api.rows("items") == api.rows("items", search="OUTSIDE") == api.rows("identifiers") == []


def test_reader_may_not_write(as_member, reader, item):
    api = Api(as_member(reader))

    assert api.post("items", NEW).status_code == 403
    assert api.patch(f"items/{item.pk}", {"name": "x"}).status_code == 403
    assert api.delete(f"items/{item.pk}").status_code == 403
    assert api.post("identifiers", {"item": item.code, "text": "X"}).status_code == 403
