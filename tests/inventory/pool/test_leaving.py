"""Leaving: loans settled, bookings given back, the name kept or forgotten."""

from http import HTTPStatus

import pytest
from django.urls import reverse
from django_scopes import scopes_disabled

from inventory.models import Booking, Member, Place
from inventory.pool import leaving
from inventory.workshop import memberships, policy
from inventory.workshop.services import LastOwner
from tests.callers import Api
from tests.inventory.pool.conftest import NOW

FORGET = {"name": "forget"}


@pytest.fixture
def ann(people):
    return people[0]


def leave(member, by=None, *, forget=False):
    return leaving.leave(member=member, forget_name=forget, now=NOW, by=by or member)


def test_who_has_something_on_loan_settles_it_first(ann, owner, clecos, lend, take_in):
    loan = lend(clecos, 30, ann)
    take_in(loan, 10)

    with pytest.raises(leaving.StillOut, match="Ann still has 20 ea of CLECO-1/8 since 2027-02-20: take it in"):
        leave(ann, owner)
    assert Member.objects.get(pk=ann.pk).active

    loan.refresh_from_db()
    take_in(loan, 20, "lost")
    assert not leave(ann).active


def test_bookings_are_given_back_and_who_waits_gets_their_turn(people, clecos, book):
    ann, bea, _ = people
    book(clecos.item, 40, ann, 1)
    waiting = book(clecos.item, 40, bea, 1, wait=True)

    leave(ann)

    assert Booking.objects.get(member=ann).ended_as == "cancelled"
    assert not Booking.objects.get(pk=waiting.pk).waiting


def test_name_is_forgotten_on_the_place_of_their_hands_too(ann, people, owner, clecos, lend, take_in):
    for one in people[:2]:
        take_in(lend(clecos, 1, one), 1)
        leave(one, forget=True)

    assert sorted(Place.objects.exclude(hands=None).values_list("path", flat=True)) == ["Lent/a former member", "Lent/a former member 2"]
    assert not Place.history.filter(path__icontains="Ann").exists()


def test_name_is_forgotten_later_as_well(ann, owner, clecos, lend, take_in):
    take_in(lend(clecos, 1, ann), 1)
    leave(ann)

    leaving.forget(member=ann, by=owner)

    assert Member.objects.get(pk=ann.pk).name == memberships.FORMER
    assert Place.objects.get(hands=ann).path == "Lent/a former member"


def test_another_s_loans_are_not_told_to_who_may_not_end_it(people, clecos, lend):
    ann, bea, _ = people
    lend(clecos, 1, ann)

    with pytest.raises(policy.NotAllowed):
        leave(ann, bea)


def test_last_owner_keeps_their_bookings(owner, clecos, book):
    book(clecos.item, 1, owner, 1)
    Member.objects.exclude(pk=owner.pk).update(active=False)

    with pytest.raises(LastOwner):
        leave(owner)
    assert Booking.objects.get().ended_at is None


class TestPage:
    def test_page_says_what_is_out_and_refuses(self, as_member, owner, ann, clecos, lend):
        lend(clecos, 30, ann)
        page = as_member(owner).get(reverse("leave", args=[ann.pk])).content.decode()
        assert "Still on loan to Ann" in page
        assert "CLECO-1/8" in page

        answer = as_member(owner).post(reverse("leave", args=[ann.pk]), FORGET)

        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "Ann still has 30 ea of CLECO-1/8" in answer.content.decode()

    def test_who_leaves_sees_nothing_more(self, as_member, owner, ann):
        client = as_member(ann)
        client.post(reverse("leave", args=[ann.pk]), {"name": "keep"})

        assert not Member.objects.get(pk=ann.pk).active
        assert client.get(reverse("home")).status_code == HTTPStatus.FOUND  # it was their last workshop: signed out

    def test_owner_ends_a_membership_and_forgets_the_name_later(self, as_member, owner, ann):
        client = as_member(owner)
        client.post(reverse("leave", args=[ann.pk]), {"name": "keep"})
        assert "Who left (1)" in client.get(reverse("members")).content.decode()

        client.post(reverse("forget-name", args=[ann.pk]))

        assert Member.objects.get(pk=ann.pk).name == memberships.FORMER
        assert client.get(reverse("leave", args=[ann.pk])).status_code == HTTPStatus.NOT_FOUND

    def test_nobody_ends_another_s_membership(self, as_member, people):
        ann, bea, _ = people
        for answer in (
            as_member(bea).get(reverse("leave", args=[ann.pk])),
            as_member(bea).post(reverse("leave", args=[ann.pk]), {"name": "keep"}),
            as_member(bea).post(reverse("forget-name", args=[ann.pk])),
        ):
            assert answer.status_code == HTTPStatus.FORBIDDEN
        assert Member.objects.get(pk=ann.pk).active


class TestApi:
    def test_member_leaves(self, as_member, owner, ann):
        answer = Api(as_member(ann)).post(f"members/{ann.pk}/leave", {"forget_name": True})

        assert (answer.status_code, answer.json()["active"], answer.json()["name"]) == (200, False, memberships.FORMER)

    def test_who_has_something_is_told_409(self, as_member, owner, ann, clecos, lend):
        lend(clecos, 1, ann)

        answer = Api(as_member(owner)).post(f"members/{ann.pk}/leave")

        assert answer.status_code == HTTPStatus.CONFLICT
        assert "still has 1 ea of CLECO-1/8" in answer.json()["detail"]

    def test_device_ends_no_membership(self, as_device, owner, ann):
        assert Api(as_device(owner)).post(f"members/{ann.pk}/leave").status_code == HTTPStatus.FORBIDDEN

    def test_outsider_s_member_is_not_found(self, as_member, owner, outsider):
        with scopes_disabled():
            theirs = Member.objects.filter(workshop=outsider).first()

        assert Api(as_member(owner)).post(f"members/{theirs.pk}/leave").status_code == HTTPStatus.NOT_FOUND
