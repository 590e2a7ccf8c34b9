"""Blanks, how the workshop saws and how large lots are, over the API."""

import json
from datetime import date
from fractions import Fraction
from http import HTTPStatus
from uuid import uuid4

import pytest
from django.utils import timezone

from buildplan.cutting import services
from buildplan.cutting.models import Blank, Cut, CuttingRules, Measured
from buildplan.cutting.services import Kept
from inventory.models import Lot
from tests import factories

pytestmark = pytest.mark.django_db

BLANK_QUERIES = 6  # the device; the blank, what is there, pieces and cuts of them, what is promised
SIZE_QUERIES = 2


def send(client, method, where, body, **headers):
    return client.generic(method, where, json.dumps(body), content_type="application/json", headers=headers)


def change(client, where, body):
    return send(client, "PATCH", where, body, **{"If-Match": client.get(where)["ETag"]})


def test_blank_is_made_once_changed_and_removed(as_device, storekeeper, workshop):
    factories.ItemFactory(workshop=workshop, code="RAIL", kind="other")
    client = as_device(storekeeper)
    body = {"item": "rail", "form": "bar", "length": "3000", "end_trim": "10", "kerf": "0"}
    made, again = (send(client, "POST", "/api/v1/blanks", body, **{"Idempotency-Key": "k1"}) for _ in range(2))
    assert (made.status_code, again.json()) == (HTTPStatus.CREATED, made.json())
    assert [made.json()[name] for name in ("length", "end_trim", "kerf", "unit", "width")] == ["3000", "10", "0", "mm", None]
    where = made["Location"]
    assert change(client, where, {"kerf": "5/2"}).json() == {**made.json(), "kerf": "5/2"}
    assert change(client, where, {"kerf": None}).json()["kerf"] is None
    assert Blank.objects.get().end_trim == 10
    assert send(client, "PATCH", where, {"kerf": "1"}).status_code == HTTPStatus.PRECONDITION_REQUIRED
    wrong = change(client, where, {"end_trim": "3000"})
    assert (wrong.status_code, "as long as the blank" in wrong.content.decode()) == (HTTPStatus.BAD_REQUEST, True)
    known = send(client, "POST", "/api/v1/blanks", {**body, "kerf": "1"})
    assert (known.status_code, known.json()["id"]) == (HTTPStatus.OK, made.json()["id"])
    assert client.delete(where, headers={"If-Match": client.get(where)["ETag"]}).status_code == HTTPStatus.NO_CONTENT
    assert client.get(where).status_code == HTTPStatus.NOT_FOUND


def test_blank_of_a_plan_stays(as_device, storekeeper, bar, step, piece_of):
    piece_of(step, bar, length=100)
    client, where = as_device(storekeeper), f"/api/v1/blanks/{bar.pk}"
    assert client.delete(where, headers={"If-Match": client.get(where)["ETag"]}).status_code == HTTPStatus.CONFLICT


def test_kerf_and_trim_are_read_by_all_and_changed_by_an_owner(as_device, owner, storekeeper):
    where = "/api/v1/cutting-rules"
    client = as_device(owner)
    assert client.get(where).json() == {"unit": "mm", "kerf": "0", "end_trim": "0", "allowance": "0"}
    assert change(client, where, {"kerf": "2.5"}).json() == {"unit": "mm", "kerf": "5/2", "end_trim": "0", "allowance": "0"}
    assert change(client, where, {"end_trim": "10"}).json()["kerf"] == "5/2"
    assert change(as_device(storekeeper), where, {"kerf": "0"}).status_code == HTTPStatus.FORBIDDEN
    assert CuttingRules.objects.get().kerf == Fraction(5, 2)


@pytest.fixture
def half(bar, lot_of, step, later_step, piece_of, owner):
    """Two of 300 mm now, one later, of a bar of 1000."""
    lot = lot_of(bar)
    now, later = piece_of(step, bar, "R-1", 2, length=300), piece_of(later_step, bar, "R-2", 1, length=300)
    return services.plan_cut(blank=bar, lot=lot, now={now: 2}, later={later: 1}, key=uuid4(), by=owner)


def test_offcut_is_measured_and_keeps_its_promise_or_gives_it_up(as_device, storekeeper, half, drawer):
    client = as_device(storekeeper)
    body = {"source": drawer.path, "target": drawer.path, "on": "2026-01-02", "kept": [{"length": "100"}]}
    refused = send(client, "POST", f"/api/v1/cuts/{half.pk}/saw", body)
    assert refused.status_code == HTTPStatus.BAD_REQUEST
    assert "one of 300 mm gives them" in refused.content.decode()
    assert send(client, "POST", f"/api/v1/cuts/{half.pk}/saw", {**body, "kept": [{"length": "400"}]}).status_code == HTTPStatus.OK
    offcut = Lot.objects.get(item__code="ANGLE-25-OFFCUT")
    where = f"/api/v1/lots/{offcut.pk}/size"
    read = client.get(where).json()
    assert [read[name] for name in ("lot", "unit", "length", "mother", "cut")] == [offcut.pk, "mm", "400", half.lot_id, half.pk]
    assert change(client, where, {"length": "299"}).status_code == HTTPStatus.BAD_REQUEST
    assert change(client, where, {"unit": "in"}).status_code == HTTPStatus.BAD_REQUEST
    changed = change(client, where, {"unit": "cm", "length": "30", "certificate": "C-7"}).json()
    assert (changed["length"], changed["unit"], changed["certificate"]) == ("30", "cm", "C-7")
    assert change(client, where, {"length": "29", "release": "sawn askew"}).json()["length"] == "29"
    assert Measured.objects.get(lot=offcut).certificate == "C-7"
    [gone] = client.get("/api/v1/cuts?state=undone").json()["results"]
    assert (gone["mother"], gone["note"]) == (half.pk, "sawn askew")


def test_promise_is_given_up_at_the_saw(as_device, storekeeper, half, drawer):
    client = as_device(storekeeper)
    body = {"source": drawer.path, "target": drawer.path, "on": "2026-01-02", "release": "used up"}
    assert send(client, "POST", f"/api/v1/cuts/{half.pk}/saw", body).status_code == HTTPStatus.OK
    assert Cut.objects.get(mother=half).note == "used up"
    tomorrow = date.fromordinal(timezone.localdate().toordinal() + 1)
    late = send(client, "POST", f"/api/v1/cuts/{half.pk}/saw", {**body, "on": str(tomorrow)})
    assert late.status_code == HTTPStatus.BAD_REQUEST


def test_size_of_a_lot_that_nobody_measured_is_null_and_of_no_blank_is_not_found(as_device, storekeeper, bar, lot_of, workshop, outsider):
    client, lot = as_device(storekeeper), lot_of(bar)
    where = f"/api/v1/lots/{lot.pk}/size"
    assert client.get(where).json()["length"] is None
    assert change(client, where, {"length": "990"}).json()["unit"] == "mm"
    bolt = lot_of(bar, code="X", item=factories.ItemFactory(workshop=workshop, code="BOLT"))
    assert client.get(f"/api/v1/lots/{bolt.pk}/size").status_code == HTTPStatus.NOT_FOUND


def test_reading_takes_as_many_queries_for_many(as_device, owner, bar, lot_of, step, piece_of, django_assert_num_queries):
    client = as_device(owner)
    client.get("/api/v1/blanks")  # it is written down when a device was first seen
    for many in (1, 4):
        for at in range(many):
            lot, piece = lot_of(bar, 1, f"A-{many}-{at}"), piece_of(step, bar, f"R-{many}-{at}", 1, length=100)
            services.plan_cut(blank=bar, lot=lot, now={piece: 1}, later={}, key=uuid4(), by=owner)
            services.measure(lot=lot, said=Kept(Fraction(900)), by=owner)
        with django_assert_num_queries(BLANK_QUERIES):
            client.get(f"/api/v1/blanks/{bar.pk}")
        with django_assert_num_queries(SIZE_QUERIES):
            client.get(f"/api/v1/lots/{lot.pk}/size")
