"""The log for programs."""

import json
from http import HTTPStatus
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from buildplan.logbook import services
from buildplan.models import LogEntry, Signature
from tests import factories
from tests.buildplan.logbook.conftest import BEFORE
from tests.factories import DAY

JSON = "application/json"


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


def send(client, method, where, body, **headers):
    return getattr(client, method)(f"/api/v1/{where}", json.dumps(body), content_type=JSON, headers=headers)


@pytest.fixture
def body(project, step, builder):
    hours = [{"member": builder.pk, "minutes": 90}, {"name": "Jon", "minutes": 20}]
    return {"project": project.code, "step": step.code, "on": str(BEFORE), "text": "Riveted.", "hours": hours}


def test_entry_is_written_read_corrected_and_signed(as_member, builder, inspector, body, finished):
    client = as_member(builder)
    made = send(client, "post", "log", body)
    assert made.status_code == HTTPStatus.CREATED
    entry = made.json()
    assert (entry["minutes"], entry["step"], entry["took"][0]["lots"][0]["code"]) == (110, "F3-05", "R7")

    read = client.get(made["Location"])
    assert read.json() == entry
    changed = send(client, "patch", f"log/{entry['id']}", {"text": "Riveted twice."}, **{"if-match": read["ETag"]})
    assert (changed.json()["text"], changed.json()["minutes"]) == ("Riveted twice.", 110)
    stale = send(client, "patch", f"log/{entry['id']}", {"text": "x"}, **{"if-match": read["ETag"]})
    assert stale.status_code == HTTPStatus.PRECONDITION_FAILED

    signed = send(as_member(inspector), "post", f"log/{entry['id']}/sign", {"licence": "A-1234"})
    assert signed.status_code == HTTPStatus.CREATED
    assert signed.json()["signatures"][0] | {"id": 0, "at": ""} == {
        "id": 0,
        "name": "Amos Reed",
        "role": "inspector",
        "licence": "A-1234",
        "statement": services.STATEMENT,
        "at": "",
        "withdrawn_at": None,
        "withdrawn_why": "",
        "changed": [],
    }
    refused = send(as_member(builder), "patch", f"log/{entry['id']}", {"text": "x"}, **{"if-match": "*"})
    assert refused.status_code == HTTPStatus.CONFLICT
    assert "has seen and signed this entry" in refused.json()["detail"]


def test_same_request_acts_once(as_member, builder, body):
    client = as_member(builder)
    for headers, sent in (({"idempotency-key": "a"}, body), ({}, {**body, "key": str(uuid4())})):
        first, second = (send(client, "post", "log", sent, **headers).json() for _ in range(2))
        assert first == second
    assert LogEntry.objects.count() == 2


def test_signature_is_withdrawn_and_entry_struck(as_member, builder, inspector, write):
    entry = write()
    signature = services.sign(of=entry, key=uuid4(), by=inspector, now=timezone.now())
    answer = send(as_member(inspector), "post", f"log/signatures/{signature.pk}/withdraw", {"why": "wrong float"})
    assert answer.json()["withdrawn_why"] == "wrong float"
    assert Signature.objects.exclude(withdrawn_at=None).exists()

    struck = send(as_member(builder), "post", f"log/{entry.pk}/strike", {"why": "wrong float"})
    assert (struck.json()["struck"], struck.json()["minutes"]) == ("wrong float", 0)


def test_what_does_not_do_is_said(as_member, builder, body, outsider):
    client = as_member(builder)
    cases = [
        ({"on": "2027-02-21"}, HTTPStatus.BAD_REQUEST),
        ({"text": " "}, HTTPStatus.BAD_REQUEST),
        ({"hours": [{"minutes": 5}]}, HTTPStatus.BAD_REQUEST),
        ({"hours": [{"name": "Jon", "minutes": 5}] * 2}, HTTPStatus.BAD_REQUEST),
        ({"step": "NONE"}, HTTPStatus.NOT_FOUND),
        ({"project": "OUTSIDE-PROJECT"}, HTTPStatus.NOT_FOUND),
        ({"hours": [{"member": 10**9, "minutes": 5}]}, HTTPStatus.NOT_FOUND),
    ]
    for wrong, status in cases:
        answer = send(client, "post", "log", body | wrong)
        assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json"), wrong
    assert not LogEntry.objects.exists()


def test_list_filters_and_pages_in_the_same_queries(as_member, builder, write, project, step, workshop, finished):
    ida = factories.MemberFactory(workshop=workshop, role="builder")
    write(text="of the step")
    write(text="general", of=None, on=DAY, by=ida)
    client = as_member(builder)

    def texts(**asked):
        answer = client.get("/api/v1/log", asked)
        assert answer.status_code == HTTPStatus.OK
        return [row["text"] for row in answer.json()["results"]]

    assert texts() == ["of the step", "general"]
    assert texts(step="f3-05") == texts(section="floats") == texts(until=BEFORE) == texts(member=builder.pk) == ["of the step"]
    assert texts(project=project.code, since=DAY) == texts(member=ida.pk) == ["general"]
    assert texts(struck="true") == []
    with CaptureQueriesContext(connection) as few:
        texts()
    for number in range(8):
        write(text=str(number))
    with CaptureQueriesContext(connection) as many:
        assert len(texts()) == 10
    assert len(many) == len(few)
