"""GET /api/v1/expiries."""

import json
from http import HTTPStatus
from io import StringIO

import pytest
from django.core.management import call_command
from rest_framework.test import APIClient

URL = "/api/v1/expiries"


@pytest.fixture
def client(reader):
    found = APIClient()
    found.force_login(reader.user, backend="django.contrib.auth.backends.ModelBackend")
    return found


def test_api_gives_the_same_object_as_the_command(client, scene):
    out = StringIO()
    call_command("expiries", "--before", "2027-04-01", "--workshop", "MARSH", "--json", stdout=out)
    found = client.get(URL, {"before": "2027-04-01"})

    assert found.status_code == HTTPStatus.OK
    assert found.json() == json.loads(out.getvalue())
    assert [(line["lot"], line["last_usable_day"]) for line in found.json()["lines"]] == [
        ("R6", "2027-02-15"),
        ("R7", "2027-03-02"),
        ("R9", None),
    ]


def test_api_without_a_day_takes_today(client, scene):
    found = client.get(URL).json()

    assert found["before"] == "2027-02-20"
    assert [line["lot"] for line in found["lines"]] == ["R6", "R9"]


def test_api_names_a_bad_day(client, scene):
    found = client.get(URL, {"before": "2027-02-30"})

    assert found.status_code == HTTPStatus.BAD_REQUEST
    assert found["Content-Type"] == "application/problem+json"
    assert "before" in found.json()["errors"]


def test_api_never_shows_the_outsider(client, scene, outsider):
    assert "OUTSIDE" not in client.get(URL, {"before": "2099-01-01"}).content.decode()


def test_api_takes_the_same_queries_at_one_and_at_many(client, django_assert_num_queries, queries_of, reader, lot_of):
    lot_of("R0", 10)
    few = queries_of(reader, f"{URL}?before=2099-01-01")
    for at in range(1, 8):
        lot_of(f"R{at}", at)

    assert queries_of(reader, f"{URL}?before=2099-01-01") == few


SHELF = "/api/v1/shelf-life"


def test_shelf_life_says_who_takes_a_lot_and_what_could_use_the_rest(client, scene):
    found = client.get(SHELF).json()
    line = found["lines"][1]

    assert (found["as_of"], found["days"], [one["lot"] for one in found["lines"]]) == ("2027-02-20", 30, ["R6", "R7", "R8", "R9"])
    assert (line["days_left"], line["dying"], line["unused"], line["could_use"]) == (10, True, "38", ["F3-09"])
    assert line["needs"] == [
        {"step": "F3-04", "on": "2027-02-27", "quantity": "12", "taken": "12", "late": False, "waits_for": []},
        {"step": "F3-09", "on": "2027-03-13", "quantity": "20", "taken": "0", "late": True, "waits_for": ["F3-04"]},
    ]
    assert line["trace"][-1]["text"] == "50 on hand of the lot - 12 taken: 38 g unused"


def test_shelf_life_lines_are_those_of_the_expiries(client, scene):
    lines = client.get(SHELF).json()["lines"]
    expiries = client.get(URL, {"before": "2099-01-01"}).json()["lines"]

    same = ("item", "lot", "place", "quantity", "unit", "last_usable_day", "limit")
    assert [[line[name] for name in same] for line in lines] == [[line[name] for name in same] for line in expiries]


@pytest.mark.parametrize(("asked", "lots"), [({"state": "dead"}, ["R6"]), ({"item": "r8"}, ["R8"]), ({"place": "loft"}, [])])
def test_shelf_life_takes_the_page_s_filters(client, scene, asked, lots):
    assert [line["lot"] for line in client.get(SHELF, asked).json()["lines"]] == lots


@pytest.mark.parametrize(("name", "value"), [("state", "tired"), ("days", "0"), ("days", "many")])
def test_shelf_life_names_a_bad_parameter(client, scene, name, value):
    found = client.get(SHELF, {name: value})

    assert found.status_code == HTTPStatus.BAD_REQUEST
    assert name in found.json()["errors"]


def test_shelf_life_never_shows_the_outsider(client, scene, outsider):
    assert "OUTSIDE" not in client.get(SHELF).content.decode()
