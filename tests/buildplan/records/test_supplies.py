"""The page of what each batch of sealant uses up."""

from decimal import Decimal
from http import HTTPStatus

import pytest
from django.urls import reverse

from buildplan.sealing import supplies
from tests import factories

URL = "/supplies/"


@pytest.fixture
def cup(workshop):
    return factories.SealingSupplyFactory(workshop=workshop, name="Cup")


def words(page):
    return " ".join(page.content.decode().split())


def test_empty_list_offers_ours_and_says_that_it_is_ours(as_member, builder):
    client = as_member(builder)
    assert "Start with ours, which is no source's" in words(client.get(URL))

    page = client.post(URL, {"ours": "1"}, follow=True)
    assert "it is ours and no source" in words(page)
    assert len(supplies.listed()) == len(supplies.OURS)


def test_thing_is_put_on_the_list(as_member, builder, cup):
    page = as_member(builder).post(URL, {"name": "Glove", "quantity": "2", "unit": "pair", "next": "/plan/"}, follow=True)

    assert "Glove is on the list." in words(page)
    assert 'href="/plan/">Back to where you came from' in words(page)
    assert [(one.name, one.quantity) for one in supplies.listed()] == [("Cup", 1), ("Glove", 2)]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"name": "cup"}, "cup is on the list already"),
        ({"quantity": "0"}, "Give more than 0."),
        ({"quantity": "a few"}, "Write the quantity in digits"),
        ({"unit": ""}, "This field is required."),
    ],
)
def test_bad_thing_is_refused_and_what_was_typed_stays(as_member, builder, cup, given, told):
    page = as_member(builder).post(URL, {"name": "Glove", "quantity": "2", "unit": "pair", **given})

    assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert told in words(page)
    assert len(supplies.listed()) == 1


def test_thing_is_changed_and_taken_off(as_member, builder, cup):
    client = as_member(builder)
    address = reverse("supply", args=[cup.pk])
    assert 'value="Cup"' in words(client.get(address))

    client.post(address, {"name": "Cup", "quantity": "1.5", "unit": "ea"})
    assert supplies.listed()[0].quantity == Decimal("1.5")
    client.post(address, {"remove": "1"})
    assert supplies.listed() == []


def test_reader_sees_the_list_and_changes_nothing(as_member, reader, cup):
    client = as_member(reader)
    page = words(client.get(URL))

    assert "Cup" in page
    assert "Put it on the list" not in page
    assert client.post(URL, {"name": "Glove", "quantity": "2", "unit": "pair"}).status_code == HTTPStatus.FORBIDDEN
    assert client.post(URL, {"ours": "1"}).status_code == HTTPStatus.FORBIDDEN
    assert client.post(reverse("supply", args=[cup.pk]), {"remove": "1"}).status_code == HTTPStatus.FORBIDDEN


def test_list_takes_the_same_queries_whatever_its_length(queries_of, builder, workshop, cup):
    few = queries_of(builder, URL)
    for _ in range(12):
        factories.SealingSupplyFactory(workshop=workshop)
    assert queries_of(builder, URL) == few
