"""Feed addresses and the wish for mail: who may, and what is kept."""

from datetime import UTC, date, datetime

import pytest
from django.db import IntegrityError, transaction

from inventory.models import DigestMail, FeedAddress
from inventory.workshop import feeds, policy, queries, tokens
from inventory.workshop.services import hand

NOW = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)


def make(member, by=None, prefix=None):
    return feeds.make_feed_address(member=member, prefix=prefix or tokens.make_prefix(tokens.FEED), now=NOW, by=by or member)


def test_feed_is_made_by_its_member_alone(reader, owner):
    with pytest.raises(policy.NotAllowed, match="their member's own"):
        make(reader, by=owner)
    with pytest.raises(policy.NotAllowed, match="their member's own"):
        feeds.want_digest(member=reader, wanted=True, by=owner)


def test_hand_of_the_workshop_has_no_feed(workshop):
    with pytest.raises(feeds.BadAddress, match="nobody who signs in"):
        make(hand(workshop))


def test_who_left_makes_none(reader):
    reader.active = False
    reader.save()

    with pytest.raises(policy.NotAllowed):
        make(reader)


def test_form_sent_again_makes_none_even_after_another(reader):
    first, _ = make(reader)
    prefix = first.prefix
    make(reader)

    with pytest.raises(feeds.AlreadyMade):
        make(reader, prefix=prefix)


def test_start_that_another_has_is_refused(reader, owner):
    prefix = make(owner)[0].prefix

    with pytest.raises(feeds.AlreadyMade):
        make(reader, prefix=prefix)


def test_secret_is_256_bits_and_each_is_another(reader):
    secrets = [make(reader)[1] for _ in range(3)]

    assert len(set(secrets)) == 3
    assert all(len(secret.rsplit("_", 1)[1]) == 52 for secret in secrets)  # 52 x 5 bits hold 256


def test_feed_is_found_by_its_secret_in_one_query(reader, django_assert_num_queries):
    _, secret = make(reader)

    with django_assert_num_queries(1):
        found = queries.feed_of(secret)
        assert (found.member.pk, found.workshop.pk) == (reader.pk, reader.workshop_id)
    with django_assert_num_queries(0):
        assert queries.feed_of("rf_x") is None


def test_address_is_whole_or_ended(reader):
    make(reader)

    with pytest.raises(IntegrityError, match="feed_address_whole"), transaction.atomic():
        FeedAddress.objects.update(digest=None)


def test_ending_again_says_that_there_was_none(reader):
    make(reader)

    assert [feeds.end_feed_address(member=reader, by=reader) for _ in range(2)] == [True, False]


def test_day_that_was_given_back_is_taken_again(reader):
    mail = feeds.want_digest(member=reader, wanted=True, by=reader)
    day = date(2027, 2, 20)

    assert feeds.take_day(mail=mail, today=day)
    feeds.give_day_back(mail=mail, today=day)
    assert DigestMail.objects.get().sent_on is None
    assert feeds.take_day(mail=mail, today=day)


def test_mail_that_nobody_wants_any_more_has_no_day(reader):
    mail = feeds.want_digest(member=reader, wanted=True, by=reader)
    feeds.want_digest(member=reader, wanted=False, by=reader)

    assert not feeds.take_day(mail=mail, today=date(2027, 2, 20))


def test_wishes_keep_their_history(reader):
    feeds.want_digest(member=reader, wanted=True, by=reader)
    feeds.want_digest(member=reader, wanted=True, by=reader)
    feeds.want_digest(member=reader, wanted=False, by=reader)

    assert list(DigestMail.history.order_by("history_id").values_list("wanted", "history_user")) == [(True, reader.pk), (False, reader.pk)]
