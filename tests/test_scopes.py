"""Every address of the API at its door: no token, too small a scope, and another workshop's rows.

The rows are made from the URL configuration: a new endpoint is tried without being named here.
"""

from http import HTTPStatus
from uuid import UUID

import pytest
from django.test import Client
from django.urls import URLResolver, get_resolver, reverse
from django.urls.converters import IntConverter, PathConverter, StringConverter, UUIDConverter
from django_scopes import scopes_disabled

from inventory.common.scopes import scope_of
from inventory.workshop import policy, tokens
from inventory.workshop.authentication import ScopedMember
from tests.test_isolation import FOREIGN, address  # noqa: F401 - a fixture

WORDS = ("GET", "POST", "PUT", "PATCH", "DELETE")
# A token that is for something else than the scope asked for.
SMALLER = {"read": ("scan",), "scan": ("read",), "manage": ("read", "scan")}
# What stands in an address that isn't of a row.
ANYTHING = {IntConverter: 1, StringConverter: "x", PathConverter: "x/y", UUIDConverter: UUID(int=1)}
# What only the outsider's rows say; a code that was asked for may come back.
THEIRS = ("OUTSIDE-BENCH", "OUTSIDE-ITEM", "OUTSIDE-LOT", "OUTSIDE device", "OUTSIDE owner", "Project OUTSIDE")


def views(patterns):
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            if pattern.namespace != "repair":  # tests/inventory/workshop/test_repair.py
                yield from views(pattern.url_patterns)
        else:
            yield pattern


API = [pattern for root in get_resolver().url_patterns if str(root.pattern) == "api/v1/" for pattern in views(root.url_patterns)]


def methods(pattern):
    offered = getattr(pattern.callback, "actions", None) or {name: name for name in map(str.lower, WORDS)}
    return [word for word in WORDS if hasattr(pattern.callback.cls, offered.get(word.lower(), " "))]


CASES = [(pattern, method) for pattern in API for method in methods(pattern)]


@pytest.fixture(autouse=True)
def ample_rates(settings):
    """One client tries them all."""
    settings.API_RATE = settings.API_STRANGERS_RATE = 10 * len(CASES)


@pytest.fixture
def answers(address):  # noqa: F811
    """What each endpoint answers to a client, by method and name; one with an id is asked for the outsider's row."""

    def where(pattern):
        if pattern.name in FOREIGN or not pattern.pattern.converters:
            return address(pattern.name)
        return reverse(pattern.name, kwargs={name: ANYTHING[type(kind)] for name, kind in pattern.pattern.converters.items()})

    def answers(client, cases=CASES):
        return {f"{method} {pattern.name}": ask(client, method, where(pattern)) for pattern, method in cases}

    return answers


def ask(client, method, where):
    return client.generic(method, where, b"{}", content_type="application/json", headers={"If-Match": "*"})


def other_than(status, found):
    return {name: answer.status_code for name, answer in found.items() if answer.status_code != status}


def test_there_are_endpoints_to_try():
    assert {"api-me", "api-device", "api-shortfall"} <= {pattern.name for pattern in API}


def test_each_view_asks_for_a_member_with_a_scope():
    assert [pattern.name for pattern in API if ScopedMember not in pattern.callback.cls.permission_classes] == []


def test_without_a_token_nobody_gets_in(answers):
    found = answers(Client())

    assert other_than(HTTPStatus.UNAUTHORIZED, found) == {}
    assert {answer["WWW-Authenticate"] for answer in found.values()} == {'Bearer realm="Rivetloft"'}
    assert {answer["Content-Type"] for answer in found.values()} == {"application/problem+json"}


def test_with_a_token_that_is_no_good_nobody_gets_in(answers):
    wrong = tokens.make(tokens.make_prefix()).text

    assert other_than(HTTPStatus.UNAUTHORIZED, answers(Client(headers={"authorization": f"Bearer {wrong}"}))) == {}


@pytest.mark.parametrize("wanted", sorted(policy.SCOPES))
def test_too_small_a_scope_is_refused(answers, as_device, owner, wanted):
    cases = [(pattern, method) for pattern, method in CASES if scope_of(pattern.callback.cls, method) == wanted]
    found = answers(as_device(owner, *SMALLER[wanted]), cases)

    assert other_than(HTTPStatus.FORBIDDEN, found) == {}
    assert [name for name, answer in found.items() if not answer.json()["detail"].endswith(f"this takes {wanted}")] == []


def test_another_workshop_s_row_is_not_found(answers, as_device, owner, outsider):
    found = answers(as_device(owner), [(pattern, method) for pattern, method in CASES if pattern.name in FOREIGN])

    refused = other_than(HTTPStatus.NOT_FOUND, found)
    # The empty body may be read first: that it doesn't do says nothing of the row.
    assert {name: status for name, status in refused.items() if status != HTTPStatus.BAD_REQUEST or not name.startswith("POST")} == {}
    assert [name for name, answer in found.items() if any(named in answer.content.decode() for named in THEIRS)] == []
    with scopes_disabled():
        assert not outsider.devices.exclude(revoked_at=None).exists()


def test_every_answer_says_what_is_left_and_none_fails(answers, as_device, owner):
    found = answers(as_device(owner))

    assert {name: answer.status_code for name, answer in found.items() if answer.status_code >= HTTPStatus.INTERNAL_SERVER_ERROR} == {}
    assert [name for name, answer in found.items() if not answer.get("RateLimit", "").startswith('"device";r=')] == []
