"""What programs do for the club."""

from datetime import timedelta
from http import HTTPStatus
from uuid import uuid4

import pytest
import time_machine
from django_scopes import scopes_disabled

from buildplan.models import Step
from inventory.models import Booking, Item, UnitCost
from tests import factories
from tests.buildplan.club.conftest import NOW, SATURDAY


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


JSON = "application/json"


@pytest.fixture
def api(as_device, storekeeper):
    return as_device(storekeeper, "manage")


def test_proposal_is_taken_once_and_stale_after(api, contested):
    token = api.get(f"/api/v1/club/day?day={SATURDAY}").json()["proposals"][0]["token"]

    done = api.post("/api/v1/club/day/take", {"day": str(SATURDAY), "token": token}, content_type=JSON)
    assert (done.status_code, len(done.json()["done"])) == (HTTPStatus.OK, 1)
    assert Step.objects.get(pk=contested[1].pk).planned_on == SATURDAY + timedelta(days=1)
    assert api.get(f"/api/v1/club/day?day={SATURDAY}").json()["goes"]
    assert api.post("/api/v1/club/day/take", {"day": str(SATURDAY), "token": token}, content_type=JSON).status_code == HTTPStatus.CONFLICT


def test_day_is_booked_for_who_comes_first_and_again_books_nothing(api, contested, squeezer):
    first, second = (step.project.bench.code for step in contested)
    asked = {"day": str(SATURDAY), "bench": first, "key": str(uuid4())}

    booked = api.post("/api/v1/club/day/book", asked, content_type=JSON).json()["bookings"]
    assert [(row["item"], row["bench"], row["waiting"]) for row in booked] == [(squeezer.code, first, False)]
    assert api.post("/api/v1/club/day/book", asked, content_type=JSON).json() == {"bookings": []}
    late = {"day": str(SATURDAY), "bench": second, "key": str(uuid4())}
    assert api.post("/api/v1/club/day/book", late, content_type=JSON).status_code == HTTPStatus.CONFLICT
    assert api.post("/api/v1/club/day/book", {**late, "wait": True}, content_type=JSON).json()["bookings"][0]["waiting"]
    assert Booking.objects.count() == 2


def test_reader_takes_and_books_nothing(as_member, reader, contested):
    api = as_member(reader)
    for what, asked in (("take", {"token": "move:1:2027-02-28"}), ("book", {"bench": "TERN", "key": str(uuid4())})):
        assert api.post(f"/api/v1/club/day/{what}", {"day": str(SATURDAY), **asked}, content_type=JSON).status_code == HTTPStatus.FORBIDDEN


def test_unit_cost_is_set_replaced_and_taken_back(api, workshop):
    factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")
    asked = {"item": "SEAL-B2", "since": "2027-01-01", "amount": "0.42"}

    made = api.post("/api/v1/unit-costs", asked, content_type=JSON)
    assert (made.status_code, made.json()["amount"], made.json()["unit"]) == (HTTPStatus.CREATED, "0.42", "g")
    again = api.post("/api/v1/unit-costs", {**asked, "amount": "0.5"}, content_type=JSON)
    assert (again.status_code, again.json()["id"]) == (HTTPStatus.OK, made.json()["id"])
    address = f"/api/v1/unit-costs/{made.json()['id']}"
    assert api.delete(address).status_code == 428
    assert api.delete(address, headers={"If-Match": again["ETag"]}).status_code == HTTPStatus.NO_CONTENT
    assert not UnitCost.objects.exists()


def test_what_comes_back_and_another_workshop_s_item_have_no_cost(api, workshop, outsider):
    factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", unit="ea")
    with scopes_disabled():
        theirs = Item.objects.filter(workshop=outsider).first().code
    for code, words in (("CLECO-4", "comes back"), (theirs, "")):
        answer = api.post("/api/v1/unit-costs", {"item": code, "since": "2027-01-01", "amount": "1"}, content_type=JSON)
        assert answer.status_code in {HTTPStatus.BAD_REQUEST, HTTPStatus.NOT_FOUND, 422}
        assert words in answer.content.decode()
    assert not UnitCost.objects.exists()
