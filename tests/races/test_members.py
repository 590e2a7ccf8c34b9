"""Two owners who demote each other, eight who leave at once, an invitation opened by eight."""

from collections import Counter
from datetime import UTC, datetime

import pytest

from inventory.models import BenchHolder, Member
from inventory.pool import leaving
from inventory.workshop import invitations, memberships, tokens
from inventory.workshop.invitations import Gone
from inventory.workshop.services import LastOwner
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2027, 2, 20, 9, 30, tzinfo=UTC)


def owners():
    return Member.objects.filter(role="owner", active=True).count()


def test_eight_owners_who_step_down_leave_one(at_once, workshop):
    found = [factories.MemberFactory(workshop=workshop) for _ in range(8)]

    told = at_once(lambda number: memberships.change_member(member=found[number], name="X", role="reader", by=found[number]))

    assert Counter(type(one) for one in told) == {Member: 7, LastOwner: 1}
    assert owners() == 1


def test_eight_owners_who_leave_leave_one(at_once, workshop):
    found = [factories.MemberFactory(workshop=workshop) for _ in range(8)]

    told = at_once(lambda number: leaving.leave(member=found[number], forget_name=True, now=NOW, by=found[number]))

    assert Counter(type(one) for one in told) == {Member: 7, LastOwner: 1}
    assert owners() == 1


def test_eight_who_open_one_invitation_make_one_member(at_once, owner, bench):
    users = [factories.UserFactory() for _ in range(8)]
    prefix = tokens.make_prefix(tokens.INVITATION)
    _, secret = invitations.invite(name="Wren", role="builder", bench=bench, prefix=prefix, now=NOW, by=owner)

    told = at_once(lambda number: invitations.accept(secret=secret, user=users[number], name="Wren", now=NOW))

    assert Counter(type(one) for one in told) == {Member: 1, Gone: 7}
    assert Member.objects.filter(role="builder").count() == BenchHolder.objects.count() == 1
