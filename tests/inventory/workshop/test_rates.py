"""How many requests a minute the API takes, and what it says of that."""

import re
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from threading import Thread

import pytest
import time_machine
from django.core.exceptions import ImproperlyConfigured
from django.test import Client
from django.urls import reverse

from buildplan.site import settings as site
from inventory.workshop import tokens
from inventory.workshop.rates import Caller, count

ME = reverse("api-me")
START = datetime(2027, 2, 20, 9, 30, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def small_rates(settings):
    settings.API_RATE = 3
    settings.API_STRANGERS_RATE = 2


@pytest.fixture
def clock():
    with time_machine.travel(START, tick=False) as clock:
        yield clock


def statuses(client, times, address=ME, **headers):
    return [client.get(address, headers=headers).status_code for _ in range(times)]


def test_each_answer_says_what_is_left(clock, as_device, owner):
    answer = as_device(owner, "read").get(ME)

    assert answer["RateLimit-Policy"] == '"device";q=3;w=60'
    assert answer["RateLimit"] == '"device";r=2;t=45'
    assert "Retry-After" not in answer


def test_one_too_many_is_refused_until_the_minute_is_over(clock, as_device, owner):
    client = as_device(owner, "read")
    assert statuses(client, 4) == [200, 200, 200, 429]
    clock.shift(timedelta(seconds=44))
    assert statuses(client, 1) == [429]
    clock.shift(timedelta(seconds=1))
    assert statuses(client, 1) == [200]


def test_refusal_is_a_problem_document_that_says_when_to_come_back(clock, as_device, owner):
    client = as_device(owner, "read")
    statuses(client, 3)
    answer = client.get(ME)

    assert answer["Content-Type"] == "application/problem+json"
    assert answer["Retry-After"] == "45"
    assert answer["RateLimit"] == '"device";r=0;t=45'
    assert answer.json() == {
        "type": "https://iana.org/assignments/http-problem-types#quota-exceeded",
        "title": "Too many requests",
        "status": 429,
        "detail": "3 requests a minute are taken of one device: go on in 45 s",
        "violated-policies": ["device"],
    }


def test_refused_request_does_nothing(clock, as_device, owner, django_assert_num_queries):
    client = as_device(owner, "manage")
    statuses(client, 3)

    with django_assert_num_queries(1):  # whose it is
        assert client.delete(reverse("api-device", args=[1])).status_code == HTTPStatus.TOO_MANY_REQUESTS


def test_each_device_has_its_own(clock, as_device, owner):
    first, second = as_device(owner, "read"), as_device(owner, "read")

    assert statuses(first, 4)[-1] == 429
    assert statuses(second, 3) == [200, 200, 200]


def test_signed_in_person_has_their_own(clock, as_device, as_member, owner):
    client = as_member(owner)

    assert statuses(as_device(owner, "read"), 4)[-1] == 429
    assert client.get(ME)["RateLimit-Policy"] == '"user";q=3;w=60'
    assert statuses(client, 3) == [200, 200, 429]


def test_wrong_tokens_count_by_address_and_good_ones_go_on(clock, as_device, owner):
    wrong = {"Authorization": f"Bearer {tokens.make(tokens.make_prefix()).text}"}

    assert statuses(Client(), 2, **wrong) == [401, 401]
    assert statuses(Client(), 1, **wrong) == [429]
    assert statuses(Client(), 1) == [429]
    assert statuses(Client(REMOTE_ADDR="203.0.113.9"), 1, **wrong) == [401]
    assert statuses(as_device(owner, "read"), 1) == [200]


def test_address_can_t_be_made_up(clock, db):
    for at in range(2):
        statuses(Client(), 1, **{"X-Forwarded-For": f"203.0.113.{at}", "X-Real-IP": f"203.0.113.{at}"})

    assert statuses(Client(), 1, **{"X-Forwarded-For": "203.0.113.9"}) == [429]


@pytest.mark.parametrize("address", ["/api/v1/nowhere", "/api/v1/devices/999999"])
def test_refusals_and_what_is_not_there_count_and_say_what_is_left(clock, as_device, owner, address):
    client = as_device(owner, "read")
    answers = [client.get(address), client.delete(reverse("api-device", args=[1])), client.get(address)]

    assert [answer["RateLimit"] for answer in answers] == [f'"device";r={left};t=45' for left in (2, 1, 0)]
    assert statuses(client, 1) == [429]


def test_pages_are_not_counted(clock, as_member, owner):
    client = as_member(owner)

    assert statuses(client, 6, reverse("devices")) == [200] * 6
    assert "RateLimit" not in client.get(reverse("devices"))


def test_fields_are_structured_fields(clock, as_device, owner):
    answer = as_device(owner, "read").get(ME)

    for name in ("RateLimit", "RateLimit-Policy"):
        assert re.fullmatch(r'"[a-z]+"(;[a-z]+=\d+)+', answer[name])


def test_requests_at_once_are_all_counted(db):
    caller = Caller("device", "device-1", 1000)
    threads = [Thread(target=lambda: [count(caller, START) for _ in range(50)]) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert count(caller, START).used == 401


@pytest.mark.parametrize("given", ["0", "-1", "many", "1.5", "\N{ARABIC-INDIC DIGIT THREE}"])
def test_rate_that_is_none_is_refused_at_the_start(monkeypatch, given):
    monkeypatch.setenv("RIVETLOFT_RATE", given)

    with pytest.raises(ImproperlyConfigured, match="give a whole number above 0"):
        site._number("RIVETLOFT_RATE", 600)


def test_rate_is_600_unless_set(monkeypatch):
    monkeypatch.delenv("RIVETLOFT_RATE", raising=False)
    assert site._number("RIVETLOFT_RATE", 600) == 600
    monkeypatch.setenv("RIVETLOFT_RATE", "1200")
    assert site._number("RIVETLOFT_RATE", 600) == 1200
