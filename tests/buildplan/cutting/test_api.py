"""Blanks and cuts over the API."""

import json
from http import HTTPStatus

import pytest

from buildplan.cutting.models import Cut, Spoiled
from inventory.models import Lot

pytestmark = pytest.mark.django_db

QUERIES = 3  # the device, operations, what was done


def post(client, where, body=None, **headers):
    return client.post(where, json.dumps(body or {}), content_type="application/json", headers=headers)


def test_cut_is_planned_sawn_and_spoiled_once(as_device, storekeeper, sheet, lot_of, step, later_step, piece_of, drawer, made_item):
    lot, now, later = lot_of(sheet, 2), piece_of(step, sheet, per_blank=4, item=made_item), piece_of(later_step, sheet, per_blank=4)
    client = as_device(storekeeper)
    body = {"blank": sheet.pk, "lot": lot.pk, "now": [{"piece": now.pk, "count": 2}], "later": [{"piece": later.pk, "count": 2}]}
    made, again = (post(client, "/api/v1/cuts", body, **{"Idempotency-Key": "k1"}) for _ in range(2))
    assert made.status_code == HTTPStatus.CREATED
    assert again.json() == made.json()
    pk = made.json()["id"]
    assert made["Location"] == f"/api/v1/cuts/{pk}"
    assert [(line["code"], line["count"], line["later"]) for line in made.json()["pieces"]] == [("W-31", 2, False), ("W-31", 2, True)]
    [blank] = client.get("/api/v1/blanks").json()["blanks"]
    assert (blank["item"], blank["there"], blank["promised"], blank["uncut"], blank["planned"]) == ("SHEET-032", "2", "1", 0, 4)
    saw = {"source": drawer.path, "target": drawer.path, "on": "2026-01-02", "kept": [{"length": "450", "width": "600"}]}
    sawn = post(client, f"/api/v1/cuts/{pk}/saw", saw)
    assert sawn.json()["state"] == "sawn"
    assert Lot.objects.get(item=made_item).pk == sawn.json()["pieces"][0]["lot"]
    assert post(client, f"/api/v1/cuts/{pk}/saw", saw).status_code == HTTPStatus.CONFLICT
    spoiled = {"line": sawn.json()["pieces"][0]["id"], "count": 1, "cause": "bent", "on": "2026-01-02"}
    for _ in range(2):
        answer = post(client, f"/api/v1/cuts/{pk}/spoil", spoiled, **{"Idempotency-Key": "k2"})
    assert answer.json()["pieces"][0]["spoiled"] == [{"count": 1, "cause": "bent", "on": "2026-01-02", "by": storekeeper.name}]
    assert Spoiled.objects.count() == 1
    planned = client.get("/api/v1/cuts?state=planned").json()["results"]
    assert [(one["mother"], one["step"]) for one in planned] == [(pk, "F9-01")]
    assert post(client, f"/api/v1/cuts/{planned[0]['id']}/undo").json()["state"] == "undone"


def test_stranding_is_a_conflict_of_its_own_type(as_device, storekeeper, sheet, lot_of, step, later_step, piece_of):
    lot, now = lot_of(sheet), piece_of(step, sheet, per_blank=4)
    piece_of(later_step, sheet, "W-32", 4, per_blank=4)
    body = {"blank": sheet.pk, "lot": lot.pk, "now": [{"piece": now.pk, "count": 2}]}
    refused = post(as_device(storekeeper), "/api/v1/cuts", body)
    assert refused.status_code == HTTPStatus.CONFLICT
    assert refused.json()["type"] == "urn:rivetloft:problem:stranding"
    assert "W-32" in refused.json()["detail"]
    assert post(as_device(storekeeper), "/api/v1/cuts", {**body, "accept": True}).json()["accepted"] is True


def test_operation_is_stated_done_beyond_its_number_and_taken_back(as_device, storekeeper, sheet, step, piece_of):
    piece, client = piece_of(step, sheet, count=12, per_blank=4), as_device(storekeeper)
    made = post(client, "/api/v1/operations", {"piece": piece.pk, "name": "trim", "hand": "left", "count": 2})
    where = made["Location"]
    for _ in range(2):
        answer = post(client, f"{where}/done", {"count": 3, "on": "2026-01-02"}, **{"Idempotency-Key": "k3"})
    assert answer.status_code == HTTPStatus.CREATED
    assert [answer.json()[name] for name in ("of", "count", "done", "left", "over")] == [12, 2, 3, 0, 1]
    refused = post(client, f"{where}/done", {"count": 10, "on": "2026-01-02"})
    assert (refused.status_code, "9 of 12 are as they were" in refused.json()["detail"]) == (HTTPStatus.CONFLICT, True)
    assert post(client, "/api/v1/operations", {"piece": piece.pk, "name": "trim", "count": 11}).status_code == HTTPStatus.BAD_REQUEST
    back = post(client, f"/api/v1/operations/done/{answer.json()['rows'][0]['id']}/take-back")
    assert back.json() == made.json()
    assert client.get("/api/v1/operations?project=tern-1&step=F3-01").json()["results"] == [made.json()]
    assert client.get(f"/api/v1/operations?piece={piece.pk + 1}").json()["results"] == []


def test_list_of_operations_takes_as_many_queries_for_many(as_device, owner, sheet, step, piece_of, django_assert_num_queries):
    client = as_device(owner)
    for code in ("W-31", "W-32", "W-33"):
        piece = piece_of(step, sheet, code, count=4, per_blank=4)
        for name in ("trim", "flute"):
            where = post(client, "/api/v1/operations", {"piece": piece.pk, "name": name, "count": 2})["Location"]
            post(client, f"{where}/done", {"count": 1, "on": "2026-01-02"})
        with django_assert_num_queries(QUERIES):
            assert client.get("/api/v1/operations").json()["results"][-1]["done"] == 1


def test_what_is_another_workshop_s_is_not_found(as_device, owner, sheet, lot_of, step, piece_of, outsider):
    lot, piece = lot_of(sheet), piece_of(step, sheet, per_blank=4)
    body = {"blank": sheet.pk, "lot": lot.pk, "now": [{"piece": piece.pk, "count": 1}]}
    client = as_device(owner)
    for wrong in ({**body, "lot": lot.pk + 10_000}, {**body, "blank": 10_000}, {**body, "now": [{"piece": 10_000, "count": 1}]}):
        assert post(client, "/api/v1/cuts", wrong).status_code == HTTPStatus.NOT_FOUND
    assert not Cut.objects.exists()


def test_list_takes_as_many_queries_for_many(as_device, owner, bar, lot_of, step, piece_of, django_assert_num_queries):
    piece, lot = piece_of(step, bar, count=9, length=100), lot_of(bar, 9)
    client = as_device(owner)
    for taken in (4, 4):
        for _ in range(3):
            assert (
                post(client, "/api/v1/cuts", {"blank": bar.pk, "lot": lot.pk, "now": [{"piece": piece.pk, "count": 1}]}).status_code == 201
            )
        with django_assert_num_queries(taken):
            client.get("/api/v1/cuts")
