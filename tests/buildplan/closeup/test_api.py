"""Closing up and leak tests for programs."""

import json
from http import HTTPStatus
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from buildplan.closeup.models import Closing, LeakTest
from buildplan.closeup.starting import CODES
from tests import factories
from tests.buildplan.closeup.conftest import NOW

READING = {"at": "2027-02-20T09:00:00Z", "pressure": "27", "pressure_unit": "inH2O", "temperature": 20, "temperature_unit": "C"}
READING |= {"barometer": "1013", "barometer_unit": "hPa"}


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def send(as_member, builder):
    """What the API answers, to the builder unless said."""

    def send(method, where, body=None, *, by=builder, **headers):
        sent = {} if body is None else {"data": json.dumps(body), "content_type": "application/json"}
        return getattr(as_member(by), method)(f"/api/v1/{where}", headers=headers, **sent)

    return send


def test_list_is_read_changed_ticked_closed_and_opened_again(send, section):
    read = send("get", f"gates/{section.pk}")
    assert [point["point"] for point in read.json()["points"]] == list(CODES)
    assert read.json()["points"][0]["known"]["says"] == "against"
    assert send("patch", f"gates/{section.pk}", {}).status_code == HTTPStatus.PRECONDITION_REQUIRED

    points = [{"text": "Strainer fitted"}, {"point": "marks", "drop": True}, {"point": "edges", "position": 0}]
    changed = send("patch", f"gates/{section.pk}", {"points": points}, **{"if-match": read["ETag"]})
    names = [point["point"] for point in changed.json()["points"]]
    assert (names[0], "marks" in names, changed.json()["points"][-1]["text"]) == ("edges", False, "Strainer fitted")

    ticked = send("post", f"gates/{section.pk}/tick", {"point": "edges"})
    assert ticked.json()["points"][0]["tick"]["by"]
    assert send("post", f"gates/{section.pk}/tick", {"point": "marks"}).status_code == HTTPStatus.CONFLICT
    assert send("post", f"gates/{section.pk}/tick", {"point": "seen"}).status_code == HTTPStatus.FORBIDDEN
    assert send("post", f"gates/{section.pk}/untick", {"point": "edges"}).json()["points"][0]["tick"] is None

    refused = send("post", f"gates/{section.pk}/close", {})
    assert (refused.status_code, refused.json()["type"]) == (HTTPStatus.CONFLICT, "urn:rivetloft:problem:not-ready-to-close")
    reasons = [{"point": name, "why": "as built"} for name in names]
    for _ in range(2):
        closed = send("post", f"gates/{section.pk}/close", {"reasons": reasons}, **{"idempotency-key": "a"})
    assert closed.json()["closings"][0]["points"][0]["why"] == "as built"
    assert Closing.objects.count() == 1
    opened = send("post", f"gates/{section.pk}/reopen", {"why": "the vent chafes"})
    assert opened.json()["closings"][0]["reopened_why"] == "the vent chafes"
    assert opened.json()["closed_at"] is None


def test_leak_test_is_begun_read_changed_and_a_reading_struck(send, section):
    limit = {"drop": "0.5", "drop_unit": "inH2O", "minutes": 15, "source": "an invented manual"}
    for _ in range(2):
        made = send("post", "leak-tests", {"gate": section.pk, "name": "Left tank", **limit}, **{"idempotency-key": "t"})
    assert (made.status_code, made.json()["pressure"], LeakTest.objects.count()) == (HTTPStatus.CREATED, None, 1)
    where = f"leak-tests/{made.json()['id']}"

    key = str(uuid4())
    for _ in range(2):
        send("post", f"{where}/readings", {**READING, "key": key})
    found = send("post", f"{where}/readings", {**READING, "at": "2027-02-20T09:15:00Z", "pressure": "26.4"}).json()
    assert (found["verdict"], [row["missing"] for row in found["readings"]]) == ("beyond", ["0 inH2O", "0.6 inH2O"])
    struck = send("post", f"leak-readings/{found['readings'][1]['id']}/strike", {"why": "the other gauge"}).json()
    assert (struck["verdict"], struck["readings"][1]["struck"]) == ("empty", "the other gauge")

    read = send("get", where)
    changed = send("patch", where, {"minutes": None, "drop": None, "drop_unit": "", "source": ""}, **{"if-match": read["ETag"]})
    assert (changed.json()["minutes"], changed.json()["name"]) == (None, "Left tank")
    for body, told in (
        ({"gate": section.pk, "name": "x", "drop": 1, "source": "x"}, "say in which unit drop is"),
        ({"gate": section.pk, "name": "x", "minutes": 15}, "say where the kit maker states this"),
    ):
        assert told in send("post", "leak-tests", body).content.decode()


def test_lists_are_filtered_and_take_as_many_queries_for_many_rows_as_for_one(send, project, section, leak, read):
    read(0, 27)

    def counted(where):
        with CaptureQueriesContext(connection) as asked:
            found = send("get", where)
        return len(asked), len(found.json()["results"])

    send("get", "gates")  # signs in
    few = [counted(where) for where in ("gates?closed=false", "leak-tests")]
    for number in range(5):
        factories.StepFactory(project=project, section__name=f"Section {number}")
        read(number + 1, 27)
    many = [counted(where) for where in ("gates?closed=false", "leak-tests")]
    assert [asked for asked, _ in few] == [asked for asked, _ in many]
    assert [rows for _, rows in many] == [6, 1]
    assert counted("gates?closed=true")[1] == 0
    assert counted(f"gates?project={project.code}")[1] == 6
    assert counted(f"leak-tests?gate={section.pk + 1}")[1] == 0
