"""Shelf life for programs."""

import json
from datetime import timedelta
from http import HTTPStatus

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.models import Acceptance, Lot, StorageRule, Temperature
from tests import factories
from tests.factories import DAY

JSON = "application/json"


@pytest.fixture(autouse=True)
def _now(time_machine, morning):
    time_machine.move_to(morning + timedelta(days=2), tick=False)


@pytest.fixture
def send(as_member):
    def send(member, name, body, *args, **headers):
        return as_member(member).post(reverse(name, args=args), json.dumps(body), content_type=JSON, headers=headers)

    return send


def read(at, temperature, unit="C"):
    return {"at": at.isoformat(), "temperature": str(temperature), "unit": unit}


def test_device_with_scope_scan_posts_temperatures_once(as_device, fridge, batch, storekeeper, sealant, morning):
    factories.stock(batch, 5, place=fridge)
    StorageRule.objects.create(workshop=sealant.workshop, item=sealant, high=27, use_within_days=35, source="data sheet")
    body = {"place": "Fridge", "readings": [read(morning, 82.4, "F"), read(morning + timedelta(hours=1), 20)]}
    client = as_device(storekeeper, "scan")
    answer = client.post(reverse("api-temperatures"), json.dumps(body), content_type=JSON)
    assert (answer.status_code, answer.json()) == (201, {"added": 2, "known": 0, "corrected": 0, "lots": [batch.pk]})
    again = client.post(reverse("api-temperatures"), json.dumps(body), content_type=JSON)
    assert again.json()["known"] == 2
    assert as_device(storekeeper, "read").post(reverse("api-temperatures"), json.dumps(body), content_type=JSON).status_code == 403


def test_bad_reading_is_a_document_with_every_fault_and_keeps_none(send, builder, fridge, morning):
    body = {"place": "Fridge", "readings": [read(morning, 20), read(morning, 20), read(morning + timedelta(hours=1), 900)]}
    answer = send(builder, "api-temperatures", body)
    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert len(answer.json()["faults"]) == 2
    assert not Temperature.objects.exists()


@pytest.mark.parametrize(
    "reading",
    [
        {"at": "2027-02-20T08:00", "temperature": "20", "unit": "C"},
        {"at": "2027-02-20T08:00Z", "temperature": "NaN", "unit": "C"},
        {"at": "2027-02-20T08:00Z", "temperature": "20", "unit": "K"},
        {"at": "2027-02-20T08:00Z", "temperature": "20"},
    ],
)
def test_reading_that_does_not_read_is_refused(send, builder, fridge, reading):
    assert send(builder, "api-temperatures", {"place": "Fridge", "readings": [reading]}).status_code == HTTPStatus.BAD_REQUEST
    assert not Temperature.objects.exists()


def test_place_of_the_outsider_is_not_here(send, builder, outsider, fridge, morning):
    factories.PlaceFactory(workshop=outsider, path="OUTSIDE-PLACE")
    answer = send(builder, "api-temperatures", {"place": "OUTSIDE-PLACE", "readings": [read(morning, 20)]})
    assert answer.status_code == HTTPStatus.NOT_FOUND


def test_test_is_recorded_and_extends(send, inspector, batch):
    body = {"lot": batch.pk, "on": str(DAY), "passed": True, "method": "hardness"}
    answer = send(inspector, "api-update-tests", body)
    assert answer.status_code == HTTPStatus.CREATED
    assert answer.json()["code"] == "R7"
    assert Lot.objects.get(pk=batch.pk).passes == 1
    assert send(inspector, "api-update-tests", body).status_code == HTTPStatus.CONFLICT


def test_test_of_a_day_to_come_is_refused(send, inspector, batch):
    day = timezone.localdate() + timedelta(days=1)
    answer = send(inspector, "api-update-tests", {"lot": batch.pk, "on": str(day), "passed": True, "method": "hardness"})
    assert answer.status_code == HTTPStatus.BAD_REQUEST


def test_acceptance_is_made_once_for_a_key_and_withdrawn(send, inspector, batch, owner):
    body = {"lot": batch.pk, "until": str(timezone.localdate()), "reason": "sample"}
    assert send(owner, "api-acceptances", body).status_code == HTTPStatus.FORBIDDEN
    answers = [send(inspector, "api-acceptances", body, **{"Idempotency-Key": "k1"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    made = Acceptance.objects.get()
    gone = send(inspector, "api-acceptance-withdraw", {"why": "soft"}, made.pk)
    assert (gone.status_code, gone.json()["withdrawn_why"]) == (200, "soft")
    assert send(inspector, "api-acceptance-withdraw", {}, made.pk).status_code == HTTPStatus.CONFLICT


def test_rule_is_set_changed_by_its_version_and_forgotten(send, as_member, storekeeper, sealant):
    body = {"item": "SEAL-B2", "high": "27", "use_within_days": 35, "source": "data sheet"}
    assert [send(storekeeper, "api-storage-rules", body).status_code for _ in range(2)] == [201, 200]
    where = reverse("api-storage-rule", args=[StorageRule.objects.get().pk])
    client = as_member(storekeeper)
    tag = client.get(where)["ETag"]
    changed = client.patch(where, json.dumps({"high": "25"}), content_type=JSON, headers={"If-Match": tag})
    assert (changed.status_code, changed.json()["high"], changed.json()["use_within_days"]) == (200, "25", 35)
    assert client.patch(where, json.dumps({"high": "24"}), content_type=JSON, headers={"If-Match": tag}).status_code == 412
    assert client.delete(where, headers={"If-Match": "*"}).status_code == 204
    assert not StorageRule.objects.exists()


def test_rule_of_storage_that_makes_no_sense_is_refused(send, storekeeper, sealant):
    for said in ({}, {"high": "900"}, {"low": "30", "high": "20"}, {"high": "80.123"}, {"never_above": "35", "use_within_days": 5}):
        assert send(storekeeper, "api-storage-rules", {"item": sealant.code, "source": "sheet", **said}).status_code == 400, said
    assert send(storekeeper, "api-storage-rules", {"item": sealant.code, "high": "27"}).status_code == 400  # without its source
    assert not StorageRule.objects.exists()


def test_disposal_is_written_down(send, storekeeper, batch, fridge):
    factories.stock(batch, 100, place=fridge)
    body = {"lot": batch.pk, "place": "Fridge", "quantity": "60", "mass_g": "92.5", "way": "town collection"}
    answer = send(storekeeper, "api-disposals", body)
    assert (answer.status_code, answer.json()["mass_g"], answer.json()["quantity"]) == (201, "92.5", "60")


def test_item_says_what_a_pass_adds(as_member, storekeeper, sealant):
    where = reverse("api-item", args=[sealant.pk])
    client = as_member(storekeeper)
    assert client.get(where).json()["extend_part"] == "1/2"
    changed = client.patch(where, json.dumps({"extend_part": None}), content_type=JSON, headers={"If-Match": "*"})
    assert changed.json()["extend_part"] is None
    wrong = client.patch(where, json.dumps({"extend_part": "3/2"}), content_type=JSON, headers={"If-Match": "*"})
    assert wrong.status_code == HTTPStatus.BAD_REQUEST


LISTS = ("api-storage-rules", "api-update-tests", "api-acceptances", "api-disposals", "api-temperatures")


@pytest.mark.parametrize("name", LISTS)
def test_lists_take_the_same_queries_at_one_row_and_at_many(name, as_member, reader, bench, fridge, morning, query_counts):
    def fill(count):
        for _ in range(count):
            number = Acceptance.objects.count()
            item = factories.ItemFactory(workshop=bench.workshop)
            lot = factories.LotFactory(bench=bench, item=item)
            holding = factories.stock(lot, 5, place=fridge, by=reader)
            said = {"workshop": bench.workshop, "lot": lot, "by": reader, "on": DAY}
            lot.update_tests.create(workshop=bench.workshop, on=DAY, passed=True, method="m", by=reader)
            Acceptance.objects.create(**said, until=DAY, reason="r")
            StorageRule.objects.create(workshop=bench.workshop, item=item, high=27, source="s")
            Temperature.objects.create(workshop=bench.workshop, place=holding.place, at=morning + timedelta(hours=number), celsius=20)
            lot.disposals.create(workshop=bench.workshop, movement=lot.movements.get(), mass_g=1, way="w")

    client = as_member(reader)
    one, many = query_counts(lambda: client.get(reverse(name)), fill)
    assert one == many
