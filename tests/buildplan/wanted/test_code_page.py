"""The page and the endpoint that say what a code is."""

from datetime import UTC, datetime
from http import HTTPStatus
from urllib.parse import quote

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from buildplan.wanted.views import code_address
from inventory.labels.services import ensure_labels
from inventory.models import Identifier
from tests import factories
from tests.pool import lend, squeezer

NOW = datetime(2027, 2, 20, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


def api(text):
    return f"/api/v1/codes/{quote(text, safe='')}"


def token(row, by):
    return ensure_labels(rows=[row], by=by)[0].token


# The endpoint


def test_api_says_what_a_code_is_and_who_wants_it(wanted, on_shelf, rivet, as_device, storekeeper):
    answer = as_device(storekeeper, "read").get(api("010541234500001310R7\x1d17290331"))

    body = answer.json()
    (step,), (lot,) = body.pop("wanted"), body.pop("lots")
    assert answer.status_code == HTTPStatus.OK
    assert body == {
        "code": "010541234500001310R7\x1d17290331",
        "kind": "gs1",
        "fields": {"01": "05412345000013", "10": "R7", "17": "290331", "expires": "2029-03-31"},
        "problems": [],
        "means": "item",
        "item": {"id": rivet.pk, "code": "MS20470AD4-6", "name": "Rivet", "kind": "rivet", "unit": "ea"},
        "lot": None,
        "bag": None,
        "place": None,
        "crate": None,
        "more_lots": 0,
        "coming": [],
        "more_wanted": 0,
        "left_out": [],
    }
    assert {key: step[key] for key in ("project", "step", "day", "needed", "here", "coming", "short")} == {
        "project": "TERN-1",
        "step": "F3-05",
        "day": "2027-03-06",
        "needed": "240",
        "here": "112",
        "coming": "0",
        "short": "128",
    }
    assert step["trace"][0] == {"text": "F3-05 needs 240 ea on 2027-03-06: as planned", "source": "call-out of the plan"}
    assert lot | {"id": 0, "trace": []} == {
        "id": 0,
        "code": "R7",
        "named": True,
        "item": "MS20470AD4-6",
        "bench": "TERN",
        "state": "good",
        "quantity": "112",
        "unit": "ea",
        "set_aside": "0",
        "last_usable_day": "2029-03-31",
        "life_known": True,
        "limit": "expires",
        "places": [{"place": "Hangar/Rack 1/Drawer 3", "quantity": "112"}],
        "trace": [],
    }


def test_api_reads_an_address_with_its_slashes_left_alone(on_shelf, as_device, storekeeper):
    link = "https://id.gs1.org/01/05412345000013/10/R7"
    client = as_device(storekeeper, "read")

    plain, escaped = client.get(f"/api/v1/codes/{link}?workshop=MARSH"), client.get(api(link))

    assert plain.json()["kind"] == "digital_link"
    assert plain.json() == escaped.json()


def test_api_on_an_unknown_code_offers_to_teach_it(rivet, as_device, storekeeper):
    answer = as_device(storekeeper, "read").get(api("MS20470AD4-7"))

    body = answer.json()
    assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
    assert (body["type"], body["status"], body["kind"]) == ("urn:rivetloft:problem:unknown-code", 422, "opaque")
    assert body["teach"] == {"method": "POST", "href": reverse("api-identifiers"), "body": {"item": None, "text": "MS20470AD4-7"}}
    assert body["near"] == [{"code": "MS20470AD4-6", "item": "MS20470AD4-6"}]


def test_api_knows_a_code_once_it_was_taught_as_offered(rivet, as_device, storekeeper):
    client = as_device(storekeeper, "manage")
    offer = client.get(api("]E04006381333931")).json()["teach"]

    taught = client.post(
        offer["href"], offer["body"] | {"item": "MS20470AD4-6"}, content_type="application/json", headers={"Idempotency-Key": "teach-1"}
    )

    assert taught.status_code == HTTPStatus.CREATED
    assert client.get(api("]E04006381333931")).json()["item"]["code"] == "MS20470AD4-6"


@pytest.mark.parametrize("text", ["OUTSIDE-ITEM", "outside-lot", "OUTSIDE-CRATE"])
def test_api_does_not_know_what_is_the_outsider_s(workshop, as_device, storekeeper, text):
    answer = as_device(storekeeper, "read").get(api(text))

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "OUTSIDE" not in str(answer.json()["near"])


@pytest.mark.parametrize("text", ["A\0B", "\x1d", "é" * 4000, "[)>\x1e06\x1d", "https://[", "%", "?", "#", " "])
def test_api_on_an_odd_text_is_a_problem_document(workshop, as_device, storekeeper, text):
    answer = as_device(storekeeper, "read").get(api(text))

    assert (answer.status_code, answer.json()["type"]) == (422, "urn:rivetloft:problem:unknown-code")


def test_api_on_a_text_longer_than_any_code(workshop, as_device, storekeeper):
    answer = as_device(storekeeper, "read").get(api("X" * 10_000))

    assert (answer.status_code, answer.json()["type"]) == (422, "urn:rivetloft:problem:long-code")


def test_api_wants_the_scope_read(rivet, as_device, storekeeper):
    assert Client().get(api("MS20470AD4-6")).status_code == HTTPStatus.UNAUTHORIZED
    assert as_device(storekeeper, "scan").get(api("MS20470AD4-6")).status_code == HTTPStatus.FORBIDDEN


# The page


def page(client, text):
    answer = client.get(code_address(text))
    return answer.status_code, answer.content.decode()


def test_page_says_what_a_code_is_and_who_wants_it(wanted, on_shelf, as_member, reader):
    status, body = page(as_member(reader), "010541234500001310R7\x1d17290331")

    assert status == HTTPStatus.OK
    assert "010541234500001310R7␝17290331" in body
    assert reverse("step", args=["TERN-1", "F3-05"]) in body
    assert "<strong>128</strong>" in body
    assert "Hangar/Rack 1/Drawer 3" in body
    assert "<strong>this code's</strong>" in body


def test_page_of_a_bag_leads_to_counting_it(crate, bag, rivet, wanted, as_member, builder):
    factories.PackingLineFactory(crate=crate, bag=bag, item=rivet)

    status, body = page(as_member(builder), token(bag, builder))

    assert status == HTTPStatus.OK
    assert reverse("count-bag", args=[bag.pk]) in body
    assert reverse("crate-order", args=[crate.pk]) in body


@pytest.mark.parametrize("text", ["Hangar/Rack 1/Drawer 3", "CRATE-7", "R7"])
def test_page_of_a_place_a_crate_and_a_lot(on_shelf, wanted, crate, as_member, reader, text):
    assert page(as_member(reader), text)[0] == HTTPStatus.OK


def test_page_says_what_is_wrong_with_a_code_that_means_something_all_the_same(rivet, as_member, reader):
    _, body = page(as_member(reader), f"]C10105412345000013{'10' + 'A' * 20}17290331")

    assert "without a separator" in body


def test_page_without_a_code_asks_for_one(as_member, reader):
    answer = as_member(reader).get(reverse("code"))

    assert answer.status_code == HTTPStatus.OK
    assert "Look up a code" in answer.content.decode()


def test_page_of_an_unknown_code_teaches_it_with_one_press(rivet, as_member, storekeeper):
    client = as_member(storekeeper)
    status, body = page(client, "MS20470AD4-7")
    assert status == HTTPStatus.NOT_FOUND
    assert "This code means MS20470AD4-6" in body

    for _ in range(2):  # pressed twice
        answer = client.post(reverse("code"), {"code": "MS20470AD4-7", "text": "MS20470AD4-7", "item": "MS20470AD4-6"})
        assert (answer.status_code, answer.url) == (HTTPStatus.FOUND, code_address("MS20470AD4-7"))

    assert Identifier.objects.filter(key="MS20470AD4-7", item=rivet).count() == 1
    assert page(client, "MS20470AD4-7")[0] == HTTPStatus.OK


def test_page_keeps_what_was_typed_where_it_names_no_item(rivet, as_member, storekeeper):
    answer = as_member(storekeeper).post(reverse("code"), {"code": "X-1", "text": "X-1", "item": "nothing like it"})

    body = answer.content.decode()
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "nothing in the catalogue has the code nothing like it" in body
    assert 'value="nothing like it"' in body


def test_page_where_somebody_taught_it_meanwhile_says_so(rivet, as_member, storekeeper):
    other = factories.ItemFactory(workshop=rivet.workshop, code="BOLT", identifiers=["X-1"])

    answer = as_member(storekeeper).post(reverse("code"), {"code": "X-1", "text": "X-1", "item": "MS20470AD4-6"}, follow=True)

    assert Identifier.objects.get(key="X-1").item == other
    assert "X-1" in answer.content.decode()


def test_page_does_not_let_a_reader_teach(rivet, as_member, reader):
    client = as_member(reader)

    assert "Teach this code" not in page(client, "MS20470AD4-7")[1]
    answer = client.post(reverse("code"), {"code": "MS20470AD4-7", "text": "MS20470AD4-7", "item": "MS20470AD4-6"})
    assert answer.status_code == HTTPStatus.FORBIDDEN
    assert not Identifier.objects.filter(key="MS20470AD4-7").exists()


def test_page_does_not_take_the_outsider_s_item(outsider, rivet, as_member, storekeeper):
    answer = as_member(storekeeper).post(reverse("code"), {"code": "X-1", "text": "X-1", "item": "OUTSIDE-ITEM"})

    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY


def test_page_of_the_outsider_s_code_is_of_an_unknown_one(workshop, as_member, owner):
    status, body = page(as_member(owner), "OUTSIDE-ITEM")

    assert status == HTTPStatus.NOT_FOUND
    assert "a thing" not in body


def test_page_on_a_text_longer_than_any_code(as_member, owner):
    assert page(as_member(owner), "X" * 5000)[0] == HTTPStatus.UNPROCESSABLE_ENTITY


def test_page_takes_a_fixed_number_of_queries(bench, wanted, on_shelf, rivet, project, reader, queries_of):
    few = queries_of(reader, code_address("MS20470AD4-6"))
    for at in range(5):
        factories.stock(factories.LotFactory(bench=bench, item=rivet), 3)
        factories.CallOutFactory(step=factories.StepFactory(project=project, code=f"S{at}"), item=rivet)

    assert queries_of(reader, code_address("MS20470AD4-6")) == few


# A serial number


@pytest.fixture
def thing(shared_bench, drawer, storekeeper):
    return squeezer(shared_bench, drawer, storekeeper, serial="SQ-0007")


def test_page_knows_a_serial_number_and_says_where_the_thing_is(thing, as_member, owner, builder, drawer):
    client = as_member(owner)
    page = client.get(code_address("sq-0007"))
    assert page.status_code == HTTPStatus.OK
    assert "is the serial number of a single thing, Rivet squeezer." in " ".join(page.content.decode().split())
    assert f"It lies in {drawer.path}." in page.content.decode()
    assert reverse("thing", args=[thing.pk]) in page.content.decode()
    assert "teach" not in page.content.decode()

    lend(thing.lot, drawer, builder, quantity=1)
    assert f"<strong>{builder.name}</strong> has it" in client.get(code_address("SQ-0007")).content.decode()


def test_serial_number_of_two_things_is_no_code_to_teach(thing, shared_bench, drawer, storekeeper, as_member, owner, as_device):
    drill = factories.ItemFactory(workshop=shared_bench.workshop, code="DRILL", kind="tool")
    squeezer(shared_bench, drawer, storekeeper, serial="SQ-0007", item=drill)

    page = as_member(owner).get(code_address("SQ-0007"))
    assert (page.status_code, "2 things have the serial number SQ-0007" in page.content.decode()) == (HTTPStatus.CONFLICT, True)
    answer = as_device(storekeeper, "read").get(api("SQ-0007"))
    assert (answer.status_code, len(answer.json()["choices"])) == (HTTPStatus.CONFLICT, 2)
