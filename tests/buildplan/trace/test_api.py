"""Traces and notices for programs."""

from http import HTTPStatus
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils.crypto import get_random_string

from buildplan.models import Notice, Task
from buildplan.trace import services
from tests.buildplan.trace.conftest import AT

SAID = {
    "reference": "SB-7",
    "title": "Heads",
    "text": "Look.",
    "issued_on": "2027-03-01",
    "items": ["ms20470ad4-6"],
    "codes": ["R-1"],
}


@pytest.fixture
def api(as_device, owner):
    return as_device(owner)


def send(client, method, name, *args, data=None, **headers):
    return client.generic(method, reverse(name, args=args), data, content_type="application/json", headers=headers)


def post(client, name, *args, **data):
    return client.post(reverse(name, args=args), data, content_type="application/json")


def test_a_trace_says_how_sure_each_line_is_and_why(api, rivet, lot_of, step_of, finish):
    lot = lot_of(rivet)
    finish(step_of("F1"), (lot, 3))
    finish(step_of("F2"), (lot_of(rivet, "R-2"), 4))

    found = api.get(reverse("api-trace"), {"lot": lot.pk}).json()

    assert found["way"] == "forward"
    assert [(line["certainty"], line["kind"], line["step"]) for line in found["lines"]] == [
        ("certain", "step", "F1"),
        ("certain", "shelf", None),
    ]
    assert found["lines"][0]["quantity"] == "3"
    assert "F1 took 3 ea of lot R-1" in found["lines"][0]["trace"][0]["text"]
    assert [line["step"] for line in found["not"]] == ["F2"]
    back = api.get(reverse("api-trace"), {"project": "tern-1", "step": "f2"}).json()
    assert [lot["code"] for lot in back["lots"]] == ["R-2"]
    assert back["worked"][0]["step"] == "F2"


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        ({}, 400),
        ({"lot": "1", "code": "R"}, 400),
        ({"step": "F1"}, 400),
        ({"lot": "x"}, 404),
        ({"code": "OUTSIDE-LOT"}, 404),
        ({"project": "OUTSIDE-PROJECT"}, 404),
        ({"project": "TERN-1", "step": "NONE"}, 404),
        ({"project": "TERN-1", "section": "NONE"}, 404),
        ({"assembly": "1"}, 404),
    ],
)
def test_a_trace_of_what_is_not_here_or_of_nothing_is_refused(api, outsider, project, asked, status):
    assert api.get(reverse("api-trace"), asked).status_code == status


def test_a_notice_is_written_once_swept_ticked_and_told(api, rivet, lot_of, step_of, finish):
    lot = lot_of(rivet)
    finish(step_of("F1"), (lot, 3))
    key = get_random_string(12)

    made = [
        api.post(reverse("api-notices"), SAID, content_type="application/json", headers={"Idempotency-Key": key}).json() for _ in range(2)
    ]

    assert made[0] == made[1]
    pk = made[0]["id"]
    assert (made[0]["items"], made[0]["sweep"]) == (["MS20470AD4-6"], None)
    assert post(api, "api-notice-sweep", pk).json()["counts"]["to_look"] == 2
    tasks = api.get(reverse("api-notice-tasks"), {"notice": pk, "open": "true"}).json()["results"]
    assert [(task["where"], task["verdict"], task["step"]) for task in tasks] == [
        ("shelf", "affected", None),
        ("step", "affected", "TERN-1:F1"),
    ]
    ticked = post(api, "api-notice-tick", tasks[1]["id"], outcome="sound").json()
    assert ticked["outcome"] == "sound"
    assert post(api, "api-notice-tick", tasks[1]["id"], outcome="again").status_code == HTTPStatus.CONFLICT
    assert post(api, "api-notice-untick", tasks[1]["id"]).json()["ticked_at"] is None
    assert post(api, "api-notice-quarantine", tasks[0]["id"]).json()["outcome"] == "put into quarantine"
    assert post(api, "api-notice-quarantine", tasks[1]["id"]).status_code == HTTPStatus.CONFLICT
    lot.refresh_from_db()
    assert lot.state == "quarantined"
    letters = post(api, "api-notice-letters", pk).json()
    assert letters == api.get(reverse("api-notice-letters", args=[pk])).json()
    assert "SB-7: Heads" in letters[0]["text"]


def test_a_notice_is_changed_by_who_has_seen_it_and_removed(api, rivet):
    made = post(api, "api-notices", **SAID)
    pk, address = made.json()["id"], reverse("api-notice", args=[made.json()["id"]])
    tag = api.get(address)["ETag"]

    changed = api.patch(address, {"codes": ["R-2"]}, content_type="application/json", headers={"If-Match": tag})

    assert (changed.json()["codes"], changed.json()["title"], changed.json()["items"]) == (["R-2"], "Heads", ["MS20470AD4-6"])
    assert (
        api.patch(address, {"title": "x"}, content_type="application/json", headers={"If-Match": tag}).status_code
        == HTTPStatus.PRECONDITION_FAILED
    )
    assert api.delete(address, headers={"If-Match": changed["ETag"]}).status_code == HTTPStatus.NO_CONTENT
    assert not Notice.objects.filter(pk=pk).exists()


def test_an_item_that_is_not_here_is_a_404_and_nothing_is_written(api, rivet, outsider):
    assert post(api, "api-notices", **{**SAID, "items": ["OUTSIDE-ITEM"]}).status_code == HTTPStatus.NOT_FOUND
    assert not Notice.objects.exists()
    assert post(api, "api-notices", **{**SAID, "items": [], "codes": []}).status_code == HTTPStatus.BAD_REQUEST


def test_lists_take_as_many_queries_for_one_as_for_many(queries_of, owner, rivet, lot_of, notice_of, django_assert_max_num_queries):
    addresses = [reverse("api-notices"), reverse("api-notice-tasks")]
    counts = []
    for number in range(2):
        for again in range(1 + 4 * number):
            lot_of(rivet, f"R-{number}-{again}")
            services.sweep(notice=notice_of(rivet, reference=f"SB-{number}-{again}"), by=owner, now=AT)
        counts.append([queries_of(owner, address) for address in addresses])

    assert counts[0] == counts[1]


def test_a_scanner_reads_and_does_not_sweep(as_device, owner, rivet, notice_of):
    notice = notice_of(rivet)

    assert post(as_device(owner, "read"), "api-notice-sweep", notice.pk).status_code == HTTPStatus.FORBIDDEN
    assert as_device(owner, "read").get(reverse("api-notice", args=[notice.pk])).status_code == HTTPStatus.OK


def test_a_task_key_is_unknown_to_others(api, outsider):
    assert post(api, "api-notice-tick", 10**6, outcome=str(uuid4())).status_code == HTTPStatus.NOT_FOUND
    assert not Task.objects.exists()
