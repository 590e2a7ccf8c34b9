"""A form for a feed's address, and the day of a mail, asked for by eight at once."""

from collections import Counter
from datetime import UTC, datetime

import pytest

from inventory.models import DigestMail, FeedAddress
from inventory.workshop import feeds, queries, tokens

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2027, 2, 20, 9, 30, tzinfo=UTC)


def make(member, prefix):
    return feeds.make_feed_address(member=member, prefix=prefix, now=NOW, by=member)


@pytest.mark.parametrize("before", [0, 1])
def test_eight_of_one_form_make_one_address(at_once, owner, before):
    for _ in range(before):
        make(owner, tokens.make_prefix(tokens.FEED))
    prefix = tokens.make_prefix(tokens.FEED)

    found = at_once(lambda _: make(owner, prefix))

    assert Counter(type(one) for one in found) == {tuple: 1, feeds.AlreadyMade: 7}
    ((_, secret),) = [one for one in found if isinstance(one, tuple)]
    assert queries.feed_of(secret).member == owner
    assert FeedAddress.history.count() == before + 1


def test_eight_forms_at_once_leave_the_last_address(at_once, owner):
    found = at_once(lambda _: make(owner, tokens.make_prefix(tokens.FEED)))

    assert [type(one) for one in found] == [tuple] * 8
    assert sum(queries.feed_of(secret) is not None for _, secret in found) == 1


def test_eight_runs_at_once_take_the_day_once(at_once, owner):
    mail = feeds.want_digest(member=owner, wanted=True, by=owner)

    found = at_once(lambda _: feeds.take_day(mail=mail, today=NOW.date()))

    assert Counter(found) == {True: 1, False: 7}


def test_eight_clicks_at_once_ask_once(at_once, owner):
    found = at_once(lambda _: feeds.want_digest(member=owner, wanted=True, by=owner))

    assert {type(one) for one in found} == {DigestMail}
    assert DigestMail.history.count() == 1
