"""Scans by the API: who may send them, what doesn't read, the list, settling and undoing."""

import json
from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.urls import reverse
from django_scopes import scopes_disabled

from inventory.models import Bag, Holding, Label, Movement, Scan, Tally
from inventory.scanning.calc import make_token
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors, on_hand
from inventory.tallying import services as tallying
from tests import factories
from tests.scans import NOW, act, as_json, scan

JSON = "application/json"
PROBLEM = "application/problem+json"
SCANS = "/api/v1/scans"


@pytest.fixture(autouse=True)
def _now(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def held(lot, drawer, storekeeper):
    stock.receive(lot=lot, quantity=10, place=drawer, on=NOW.date(), by=storekeeper)
    return lot


@pytest.fixture
def send(as_device, storekeeper):
    """Posts a body as a scanner."""
    client = as_device(storekeeper, "scan")

    def send(body):
        return client.post(SCANS, body if isinstance(body, str | bytes) else json.dumps(body), content_type=JSON)

    return send


@pytest.fixture
def conflict(held, item, drawer, storekeeper):
    """A count from before a count."""
    act(storekeeper, scan(item.code, "count", place=drawer.path, quantity=8))
    older = scan(item.code, "count", place=drawer.path, quantity=5, at=NOW - timedelta(hours=1))
    act(storekeeper, older)
    return Scan.objects.get(uuid=older.uuid)


# sending


def test_scanner_sends_and_gets_an_answer_for_each(send, held, item, storekeeper):
    sent = [scan(item.code, "take", quantity=3), scan("nothing", "take")]

    answer = send(as_json(sent))

    assert (answer.status_code, answer["Content-Type"]) == (207, JSON)
    done, unknown = answer.json()["results"]
    assert (done["uuid"], done["status"], done["outcome"], done["item"], done["quantity"]) == (
        str(sent[0].uuid),
        200,
        "done",
        item.code,
        "3",
    )
    assert (unknown["uuid"], unknown["status"], unknown["outcome"]) == (str(sent[1].uuid), 422, "unknown")
    assert unknown["type"] == "urn:rivetloft:problem:unknown-code"
    assert unknown["teach"]["href"] == "/api/v1/identifiers"
    kept = Scan.objects.get(uuid=sent[0].uuid)
    assert (kept.member, kept.device.name) == (storekeeper, "Scanner")


def test_repeat_is_answered_the_same(send, held, item):
    body = as_json([scan(item.code, "take", quantity=3)])

    assert send(body).json() == send(body).json()
    assert on_hand(held) == 7


def test_unknown_code_is_taught_and_then_known(send, as_device, storekeeper, held, item):
    unknown = send(as_json([scan("5412345000013", "find")])).json()["results"][0]
    teach = unknown["teach"]

    taught = as_device(storekeeper, "scan").post(teach["href"], json.dumps(teach["body"] | {"item": item.code}), content_type=JSON)

    assert taught.status_code == 201
    assert send(as_json([scan("5412345000013", "find")])).json()["results"][0]["item"] == item.code


def test_quantity_may_be_a_number_or_text(send, held, item):
    body = as_json([scan(item.code, "take"), scan(item.code, "take")])
    body["scans"][0]["quantity"], body["scans"][1]["quantity"] = 2, "1.0"

    assert [one["quantity"] for one in send(body).json()["results"]] == ["2", "1"]


def test_two_hundred_scans_are_taken(send, held, item):
    assert len(send(as_json([scan(item.code) for _ in range(200)])).json()["results"]) == 200


def test_separators_arrive_as_they_were_sent(send, workshop, bench, drawer, storekeeper):
    item = factories.ItemFactory(workshop=workshop, identifiers=["05412345000013"])
    lot = factories.LotFactory(bench=bench, item=item, code="ABC123")
    stock.receive(lot=lot, quantity=1, place=drawer, on=NOW.date(), by=storekeeper)

    answer = send(as_json([scan("]d2010541234500001310ABC123\x1d17290331\x1d", "find")]))

    assert answer.json()["results"][0]["lies"][0]["lot_code"] == "ABC123"
    assert Scan.objects.get().code.endswith("\x1d")


# who


def test_without_a_token_is_401(client, outsider):
    assert client.post(SCANS, "{}", content_type=JSON).status_code == 401


@pytest.mark.parametrize("scope", ["read"])
def test_token_that_only_reads_is_403(as_device, storekeeper, held, item, scope):
    answer = as_device(storekeeper, scope).post(SCANS, json.dumps(as_json([scan(item.code, "take")])), content_type=JSON)

    assert (answer.status_code, on_hand(held)) == (403, 10)


def test_signed_in_browser_sends_too(as_member, storekeeper, held, item):
    answer = as_member(storekeeper).post(SCANS, json.dumps(as_json([scan(item.code, "take")])), content_type=JSON)

    assert (answer.status_code, Scan.objects.get().device) == (207, None)


def test_scan_of_a_reader_is_refused_by_itself(as_device, workshop, held, item):
    owner = factories.MemberFactory(workshop=workshop, role="owner")
    client = as_device(owner, "scan")
    type(owner).objects.filter(pk=owner.pk).update(role="reader")

    answer = client.post(SCANS, json.dumps(as_json([scan(item.code, "take"), scan(item.code)])), content_type=JSON)

    assert [one["status"] for one in answer.json()["results"]] == [403, 200]


# what doesn't read

GOOD = {
    "uuid": "0b7d1f1e-5a52-4a38-9a0e-3f6d2a1c9b77",
    "code": "X",
    "action": "find",
    "at": "2027-02-20T11:59:00Z",
    "device_time": "2027-02-20T12:00:00Z",
}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("uuid", None),
        ("uuid", ...),
        ("uuid", "7"),
        ("uuid", ["x"]),
        ("code", ...),
        ("code", ""),
        ("code", None),
        ("code", "X" * 10_240),
        ("code", "a\x00b"),
        ("code", "\ud800"),
        ("code", {"a": 1}),
        ("action", ...),
        ("action", "steal"),
        ("action", 7),
        ("at", ...),
        ("at", "2027-02-20T11:59:00"),
        ("at", "yesterday"),
        ("at", "2027-02-30T11:59:00Z"),
        ("at", "0001-01-01T00:00:00+14:00"),
        ("at", 1771588740),
        ("device_time", ...),
        ("device_time", "2027-02-20"),
        ("quantity", "three"),
        ("quantity", "NaN"),
        ("quantity", "Infinity"),
        ("quantity", "-1"),
        ("quantity", "1e400"),
        ("quantity", "0.0001"),
        ("quantity", "1" * 1001),
        ("quantity", [1]),
        ("quantity", {}),
        ("quantity", True),
        ("place", ["x"]),
        ("place", "a\x00b"),
        ("place", "x" * 501),
        ("bag", {"x": 1}),
        ("lot", "x"),
        ("lot", 0),
        ("lot", 10**30),
        ("note", "x" * 201),
        ("note", []),
    ],
)
def test_fault_is_named_and_nothing_is_done(send, held, item, field, value):
    bad = {**GOOD, "uuid": str(uuid4())}
    bad[field] = value
    if value is ...:
        del bad[field]
    good = as_json([scan(item.code, "take") for _ in range(3)])["scans"]

    answer = send({"scans": [*good, bad]})

    assert (answer.status_code, answer["Content-Type"]) == (422, PROBLEM)
    document = answer.json()
    assert (document["status"], document["title"]) == (422, "These scans don't read")
    assert list(document["errors"]) == [f"scans[3].{field}"]
    assert f"scans[3].{field}" in document["detail"]
    assert (on_hand(held), Scan.objects.count()) == (10, 0)


def test_every_fault_is_named_at_once(send, outsider):
    answer = send({"scans": [GOOD | {"quantity": "x"}, GOOD, GOOD | {"uuid": "x", "at": "x"}]})

    assert sorted(answer.json()["errors"]) == ["scans[0].quantity", "scans[2].at", "scans[2].uuid"]


@pytest.mark.parametrize("body", [b"{", b"\xff\xfe", b"scans", b"[" * 100_000, b'{"scans": [NaN]}'])
def test_body_that_is_no_json_is_400(send, outsider, body):
    answer = send(body)
    assert (answer.status_code, answer["Content-Type"]) == (400, PROBLEM)


@pytest.mark.parametrize(
    "body", [[], {}, 7, None, b"", b'"x"', {"scans": None}, {"scans": {}}, {"scans": []}, {"scans": [7]}, {"scans": [[]]}]
)
def test_body_of_another_shape_is_422(send, outsider, body):
    answer = send(body)
    assert (answer.status_code, answer["Content-Type"]) == (422, PROBLEM)
    assert answer.json()["detail"]


def test_body_that_is_a_list_is_told_what_a_body_is(send, item):
    answer = send(as_json([scan(item.code, "take")])["scans"])

    assert answer.status_code == 422
    assert answer.json()["detail"] == 'the body must be an object, and this is a list: send {"scans": [...]}. Nothing was done.'


def test_201_scans_are_refused_as_a_whole(send, held, item):
    answer = send(as_json([scan(item.code, "take") for _ in range(201)]))

    assert (answer.status_code, answer["Content-Type"]) == (413, PROBLEM)
    assert answer.json()["detail"].startswith("these are 201 scans: 200 at once are the most")
    assert (on_hand(held), Scan.objects.count()) == (10, 0)


def test_body_past_the_server_s_limit_is_413(send, outsider):
    assert send(b'{"scans": ["' + b"x" * 3_000_000 + b'"]}').status_code == 413


def test_another_media_type_is_415(as_device, storekeeper):
    assert as_device(storekeeper, "scan").post(SCANS, {"scans": "x"}).status_code == 415


def test_clock_a_year_off_is_refused_by_itself(send, held, item):
    off = timedelta(days=365)
    wrong = scan(item.code, "take", at=NOW - off, device_time=NOW - off)

    refused, done = send(as_json([wrong, scan(item.code, "take")])).json()["results"]

    assert (refused["status"], refused["type"], done["outcome"]) == (422, "urn:rivetloft:problem:clock", "done")
    assert "about a year behind" in refused["detail"]


def test_uuid_with_another_body_is_refused_by_itself(send, held, item):
    sent = scan(item.code, "take")
    other = as_json([sent])["scans"][0] | {"quantity": "5"}

    first, again = send({"scans": [*as_json([sent])["scans"], other]}).json()["results"]

    assert (first["status"], again["status"], again["type"]) == (200, 409, "urn:rivetloft:problem:uuid-reused")


# the list


def test_list_shows_the_latest_first_with_answers(as_device, storekeeper, held, item):
    act(storekeeper, scan(item.code, "take"), scan(item.code, "find", at=NOW))

    rows = as_device(storekeeper, "read").get(SCANS).json()["results"]

    assert [row["action"] for row in rows] == ["find", "take"]
    assert (rows[1]["outcome"], rows[1]["answer"]["quantity"], rows[1]["member"]) == ("done", "1", storekeeper.name)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("outcome=done", 2),
        ("outcome=conflict", 1),
        ("action=count", 2),
        ("action=take", 1),
        ("undone=true", 0),
        ("undone=false", 3),
        ("since=2027-02-21T00:00:00Z", 0),
        ("search=ITEM", 3),
        ("device=999", 0),
    ],
)
def test_list_is_filtered(as_device, storekeeper, conflict, item, asked, found):
    act(storekeeper, scan(item.code, "take", at=NOW))

    assert len(as_device(storekeeper, "read").get(f"{SCANS}?{asked}").json()["results"]) == found


@pytest.mark.parametrize("asked", ["outcome=x", "action=x", "since=x", "device=x", "page_size=1000", "cursor=x"])
def test_filter_that_does_not_read_is_400(as_device, storekeeper, asked):
    assert as_device(storekeeper, "read").get(f"{SCANS}?{asked}").status_code == 400


def test_list_never_names_the_outsider(as_device, storekeeper, outsider):
    with scopes_disabled():
        stranger = factories.MemberFactory(workshop=outsider)
        Scan.objects.create(
            workshop=outsider,
            uuid=uuid4(),
            fingerprint="",
            member=stranger,
            code="OUTSIDE",
            action="find",
            at=NOW,
            outcome="done",
            status=200,
            answer={},
        )

    assert as_device(storekeeper, "read").get(SCANS).json()["results"] == []


def test_list_takes_as_many_queries_for_many(as_device, storekeeper, held, item, django_assert_num_queries):
    client = as_device(storekeeper, "read")
    act(storekeeper, scan(item.code))
    client.get(SCANS)
    with django_assert_num_queries(2):
        client.get(SCANS)
    act(storekeeper, *(scan(item.code) for _ in range(20)))
    with django_assert_num_queries(2):
        client.get(SCANS)


@pytest.mark.parametrize("address", ["", "/undo", "/settle"])
def test_scan_of_the_outsider_is_not_found(as_device, storekeeper, outsider, address):
    uuid = uuid4()
    with scopes_disabled():
        stranger = factories.MemberFactory(workshop=outsider)
        Scan.objects.create(
            workshop=outsider,
            uuid=uuid,
            fingerprint="",
            member=stranger,
            code="x",
            action="find",
            at=NOW,
            outcome="conflict",
            status=409,
            answer={},
        )
    client = as_device(storekeeper)

    found = (
        client.post(f"{SCANS}/{uuid}{address}", json.dumps({"apply": True}), content_type=JSON)
        if address
        else client.get(f"{SCANS}/{uuid}")
    )
    assert found.status_code == 404


# undo


def test_undo_reverses_the_movement_once(as_device, storekeeper, held, item):
    sent = scan(item.code, "take", quantity=3)
    act(storekeeper, sent)
    client = as_device(storekeeper, "scan")

    first, again = (client.post(f"{SCANS}/{sent.uuid}/undo") for _ in range(2))

    assert (first.status_code, first.json()["undone_by"], again.status_code) == (200, storekeeper.name, 409)
    assert (on_hand(held), ledger_errors()) == (10, [])


def test_undo_takes_a_tally_back(as_device, workshop, bench, item, storekeeper):
    crate = factories.CrateFactory(bench=bench, code="CRATE-7")
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    factories.PackingLineFactory(crate=crate, bag=bag, item=item)
    sent = scan(item.code, "tally", quantity=3)
    act(storekeeper, sent)

    answer = as_device(storekeeper, "scan").post(f"{SCANS}/{sent.uuid}/undo")

    assert answer.status_code == 200
    assert [row.quantity for row in Tally.objects.order_by("pk")] == [3, -3]


def test_undo_of_putting_a_bag_away_makes_it_wait_again(as_device, workshop, bench, item, drawer, storekeeper):
    crate = factories.CrateFactory(bench=bench, code="CRATE-7")
    bag = Bag.objects.create(workshop=workshop, crate=crate, name="7A", path="7A")
    factories.PackingLineFactory(crate=crate, bag=bag, item=item)
    tallying.tally(crate=crate, bag=bag, item=item, quantity=3, at=NOW, by=storekeeper)
    label = Label.objects.create(workshop=workshop, token=make_token(7), bag=bag)
    sent = scan(label.token, "put", place=drawer.path)
    act(storekeeper, sent)

    as_device(storekeeper, "scan").post(f"{SCANS}/{sent.uuid}/undo")

    assert Tally.objects.get().movement is None
    assert not Holding.objects.filter(quantity__gt=0).exists()


@pytest.mark.parametrize("action", ["find", "open"])
def test_undo_of_what_moved_nothing_is_refused(as_device, storekeeper, held, item, action):
    sent = scan(item.code, action)
    act(storekeeper, sent)

    assert as_device(storekeeper, "scan").post(f"{SCANS}/{sent.uuid}/undo").status_code == 409


def test_undo_of_what_went_on_is_refused(as_device, storekeeper, held, item, drawer, workshop):
    factories.PlaceFactory(workshop=workshop, path="Shelf")
    put = scan(item.code, "put", place="Shelf")
    act(storekeeper, put, scan(item.code, "take", quantity=10))

    answer = as_device(storekeeper, "scan").post(f"{SCANS}/{put.uuid}/undo")

    assert (answer.status_code, Scan.objects.get(uuid=put.uuid).undone_at) == (409, None)


# conflicts


def test_conflict_is_applied_now(as_device, storekeeper, conflict, held):
    answer = as_device(storekeeper, "scan").post(f"{SCANS}/{conflict.uuid}/settle", json.dumps({"apply": True}), content_type=JSON)

    assert (answer.status_code, answer.json()["outcome"], answer.json()["settled_by"]) == (200, "done", storekeeper.name)
    assert (on_hand(held), ledger_errors()) == (5, [])


def test_conflict_is_let_go(as_device, storekeeper, conflict, held):
    answer = as_device(storekeeper, "scan").post(f"{SCANS}/{conflict.uuid}/settle", json.dumps({"apply": False}), content_type=JSON)

    assert (answer.json()["outcome"], answer.json()["answer"]["title"], on_hand(held)) == ("refused", "Let go", 8)


@pytest.mark.parametrize("apply", [True, False])
def test_conflict_is_settled_once(as_device, storekeeper, conflict, apply):
    client = as_device(storekeeper, "scan")
    first, again = (client.post(f"{SCANS}/{conflict.uuid}/settle", json.dumps({"apply": apply}), content_type=JSON) for _ in range(2))

    assert (first.status_code, again.status_code) == (200, 409)


def test_device_that_asks_again_learns_what_became_of_a_conflict(as_device, storekeeper, conflict, held, item, drawer):
    as_device(storekeeper, "scan").post(f"{SCANS}/{conflict.uuid}/settle", json.dumps({"apply": True}), content_type=JSON)

    (answer,) = act(
        storekeeper, scan(item.code, "count", place=drawer.path, quantity=5, at=NOW - timedelta(hours=1), uuid=UUID(str(conflict.uuid)))
    )

    assert (answer.outcome, on_hand(held)) == ("done", 5)


def test_settling_by_a_reader_is_refused(conflict, as_member, reader):
    answer = as_member(reader).post(f"{SCANS}/{conflict.uuid}/settle", json.dumps({"apply": False}), content_type=JSON)
    assert answer.status_code == 403


@pytest.mark.parametrize("body", [{}, {"apply": "x"}, []])
def test_settling_without_saying_how_is_400(as_device, storekeeper, conflict, body):
    assert as_device(storekeeper, "scan").post(f"{SCANS}/{conflict.uuid}/settle", json.dumps(body), content_type=JSON).status_code == 400


def test_conflict_that_can_not_be_done_now_stays(as_device, storekeeper, held, item, drawer):
    act(storekeeper, scan(item.code, "count", place=drawer.path, quantity=0))
    older = scan(item.code, "take", place=drawer.path, at=NOW - timedelta(hours=1), lot=held.pk)
    act(storekeeper, older)

    answer = as_device(storekeeper, "scan").post(f"{SCANS}/{older.uuid}/settle", json.dumps({"apply": True}), content_type=JSON)

    assert answer.status_code == 409
    assert Scan.objects.get(uuid=older.uuid).outcome in {"conflict", "refused"}
    assert Movement.objects.count() == 2


def test_address_is_named():
    assert reverse("api-scans") == SCANS
