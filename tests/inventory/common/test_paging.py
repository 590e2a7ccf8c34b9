"""Pages by cursor."""

from base64 import b64encode
from http import HTTPStatus

import pytest
from rest_framework import serializers
from rest_framework.generics import ListAPIView
from rest_framework.test import APIRequestFactory

from inventory.common.paging import Cursor
from inventory.models import Place
from tests import factories


class PlaceOut(serializers.ModelSerializer):
    class Meta:
        model = Place
        fields = ("id", "path")


class PlacesView(ListAPIView):
    serializer_class = PlaceOut
    pagination_class = Cursor
    authentication_classes = permission_classes = ()

    def get_queryset(self):
        return Place.objects.all()


class LatestFirstView(PlacesView):
    ordering = "-pk"


def page(view=PlacesView, url="/", **asked):
    answer = view.as_view()(APIRequestFactory().get(url, asked))
    answer.render()
    return answer


def paths(answer):
    return [row["path"] for row in answer.data["results"]]


@pytest.fixture
def shelves(workshop):
    return [factories.PlaceFactory(workshop=workshop, path=f"Shelf {number:03}") for number in range(60)]


def test_page_holds_fifty_unless_asked(shelves):
    assert (len(paths(page())), len(paths(page(page_size=7))), len(paths(page(page_size=200)))) == (50, 7, 60)


def test_next_goes_through_all_and_previous_leads_back(shelves):
    first = page(page_size=25)
    second = page(url=first.data["next"])
    third = page(url=second.data["next"])

    assert paths(first) + paths(second) + paths(third) == [shelf.path for shelf in shelves]
    assert (first.data["previous"], third.data["next"]) == (None, None)
    assert paths(page(url=third.data["previous"])) == paths(second)


def test_row_that_comes_meanwhile_moves_no_page(shelves, workshop):
    first = page(LatestFirstView, page_size=20)
    factories.PlaceFactory(workshop=workshop)

    assert paths(page(LatestFirstView, url=first.data["next"]))[0] == shelves[39].path


@pytest.mark.parametrize("size", ["0", "201", "-1", "many", "1.5", "", "٣", "9" * 5000])
def test_page_size_that_is_none_is_refused(shelves, size):
    answer = page(page_size=size)

    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert answer.data["errors"] == {"page_size": ["Give a number from 1 to 200."]}


@pytest.mark.parametrize("tokens", [b"p=abc", b"r=x", b"o=-1", b"p=%00", b"p=\xff", b"r=" + b"9" * 5000])
def test_cursor_of_somebody_else_is_refused(shelves, tokens):
    answer = page(cursor=b64encode(tokens).decode())

    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert answer.data["detail"].startswith("this cursor is none of ours")


@pytest.mark.parametrize("cursor", ["x", "é"])
def test_cursor_that_is_no_base_64_is_refused(shelves, cursor):
    assert page(cursor=cursor).status_code == HTTPStatus.BAD_REQUEST


def test_cursor_past_every_number_is_an_empty_page(shelves):
    assert paths(page(cursor=b64encode(b"p=" + b"9" * 40).decode())) == []
