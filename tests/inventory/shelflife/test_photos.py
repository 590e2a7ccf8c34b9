"""Photos of an update test."""

import pytest
from django.urls import reverse

from inventory.models import UpdateTest
from tests import factories
from tests.pictures import picture, upload


@pytest.fixture
def inspector(workshop):
    return factories.MemberFactory(workshop=workshop, role="inspector")


@pytest.fixture
def address(workshop, lot, inspector):
    test = UpdateTest.objects.create(workshop=workshop, lot=lot, on="2027-02-20", passed=True, method="tack free in time", by=inspector)
    return reverse("test-photos", args=[test.pk])


def test_who_judges_lots_keeps_a_photo_of_a_test(address, lot, as_member, inspector):
    client = as_member(inspector)

    assert client.post(address, {"photo": upload(picture()), "caption": "the coupon"}).url == address
    assert "the coupon" in client.get(address).content.decode()
    assert address in client.get(reverse("lot", args=[lot.pk])).content.decode()
    assert client.post(address, {"photo": upload(b"%PDF-1.7")}).status_code == 422


def test_a_builder_sees_the_photos_and_keeps_none(address, as_member, builder):
    client = as_member(builder)

    assert client.get(address).status_code == 200
    assert client.post(address, {"photo": upload(picture())}).status_code == 403
