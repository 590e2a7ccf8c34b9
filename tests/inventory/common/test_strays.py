"""Addresses that no view has, and mistakes of ours."""

import pytest
from django.test import Client
from django.urls import reverse

from inventory.workshop import queries


@pytest.mark.parametrize("address", ["/api/v1/nowhere", "/api/v1/", "/api/v1/me/"])
def test_program_gets_a_problem_document_of_an_address_that_is_none(db, address):
    answer = Client().get(address)

    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
    assert answer.json()["title"] == "Not Found"
    assert answer["RateLimit"]


def test_person_gets_a_page_of_an_address_that_is_none(db):
    answer = Client().get("/nowhere/")

    assert answer.status_code == 404
    assert answer["Content-Type"].startswith("text/html")


@pytest.mark.parametrize(("name", "kind"), [("api-me", "application/problem+json"), ("devices", "text/html")])
def test_mistake_of_ours_tells_nothing_of_itself(as_member, owner, monkeypatch, name, kind):
    """The one thing that no request can bring about by itself: a view that breaks."""
    client = as_member(owner)
    client.raise_request_exception = False
    monkeypatch.setattr(queries, "membership", lambda *_: 1 / 0)

    answer = client.get(reverse(name))

    assert (answer.status_code, answer["Content-Type"].partition(";")[0]) == (500, kind)
    assert "division" not in answer.content.decode()
