"""The page, the feed's address and the mail's wish."""

import re
from http import HTTPStatus

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import DigestMail, FeedAddress
from inventory.workshop import tokens
from tests.factories import DAY


@pytest.fixture
def page(as_member, reader):
    return lambda **asked: as_member(reader).get(reverse("reminders"), asked)


def test_page_lists_what_is_due_with_days_left_and_links(scene, page):
    text = page().content.decode()

    assert f'<a href="/lots/{scene.pk}/">SEAL, lot R7: last usable day of 12.5 g in Fridge/Door</a>' in text
    assert "Fri 2027-03-05, in 13 days" in text
    assert "expires 2027-03-05, as printed" in text


def test_page_looks_as_far_as_asked(scene, page):
    assert "SEAL" not in page(days=12).content.decode()
    assert "SEAL" in page(days=13).content.decode()


@pytest.mark.parametrize("days", ["0", "367", "x", "1.5", ""])
def test_days_that_do_not_read_are_said_and_sixty_are_shown(scene, page, days):
    answer = page(days=days)

    assert answer.status_code == HTTPStatus.OK
    assert 'role="alert"' in answer.content.decode()
    assert "Within 60 days" in answer.content.decode()


def test_overdue_stands_apart(scene, page):
    scene.expires_on = DAY.replace(day=18)
    scene.save()

    text = page().content.decode()
    assert text.index("Overdue") < text.index("Thu 2027-02-18, 2 days ago") < text.index("Within 60 days")


def test_queries_do_not_grow(scene, reader, queries_of):
    assert queries_of(reader, reverse("reminders")) <= 45 + 8


def test_home_leads_there(workshop, as_member, reader):
    assert f'href="{reverse("reminders")}"' in as_member(reader).get(reverse("home")).content.decode()


def test_address_is_shown_once_and_opens_the_feed(scene, as_member, reader):
    client = as_member(reader)
    start = re.search(r'name="start" value="(\w+)"', client.get(reverse("reminders")).content.decode())[1]
    answer = client.post(reverse("new-feed"), {"start": start})
    address = re.search(r'class="token">http://testserver(/feed/\w+\.ics)<', answer.content.decode())[1]

    assert "no-store" in answer["Cache-Control"]
    assert Client().get(address).status_code == HTTPStatus.OK
    later = client.get(reverse("reminders")).content.decode()
    assert address not in later
    assert start in later

    again = client.post(reverse("new-feed"), {"start": start}, follow=True)
    assert "No address was made now" in again.content.decode()
    assert Client().get(address).status_code == HTTPStatus.OK


def test_start_that_is_none_is_refused(scene, as_member, reader):
    for start in ("", "rl_abcdefgh", "rf_short", tokens.make_prefix(tokens.FEED) + "x"):
        assert as_member(reader).post(reverse("new-feed"), {"start": start}).status_code == HTTPStatus.BAD_REQUEST
    assert not FeedAddress.objects.exists()


def test_feed_is_ended(scene, as_member, reader, address_of):
    where = address_of(reader)
    answer = as_member(reader).post(reverse("end-feed"), follow=True)

    assert "is ended" in answer.content.decode()
    assert Client().get(where).status_code == HTTPStatus.NOT_FOUND


def test_mail_is_asked_for_and_asked_for_no_longer(scene, as_member, reader):
    client = as_member(reader)
    assert f"comes to {reader.user.email}" in client.post(reverse("digest"), {"wanted": "1"}, follow=True).content.decode()
    client.post(reverse("digest"), {"wanted": "1"})
    assert list(DigestMail.objects.values_list("member", "wanted")) == [(reader.pk, True)]

    assert "no more mail" in client.post(reverse("digest"), {"wanted": "0"}, follow=True).content.decode()
    assert not DigestMail.objects.filter(wanted=True).exists()


def test_one_member_s_wishes_are_not_another_s(scene, as_member, reader, owner, address_of):
    address_of(owner)
    as_member(owner).post(reverse("digest"), {"wanted": "1"})

    text = as_member(reader).get(reverse("reminders")).content.decode()
    assert "You get no mail" in text
    assert FeedAddress.objects.get().prefix not in text
