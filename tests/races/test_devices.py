"""A form that issues a device, sent by eight clicks at once; eight requests of one device at once."""

from collections import Counter
from datetime import UTC, datetime

import pytest

from inventory.models import Device
from inventory.workshop import services, tokens
from inventory.workshop.services import AlreadyIssued, issue_device, saw

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2027, 2, 20, 9, 30, tzinfo=UTC)


def test_eight_of_one_form_issue_one_device(at_once, owner):
    prefix = tokens.make_prefix()

    found = at_once(lambda _: issue_device(member=owner, name="Scanner", scopes=("scan",), prefix=prefix, by=owner))

    assert Counter(type(one) for one in found) == {tuple: 1, AlreadyIssued: 7}
    ((device, token),) = [one for one in found if isinstance(one, tuple)]
    assert Device.objects.get() == device
    assert tokens.read(token).is_of(Device.objects.get().digest)


def test_eight_requests_of_one_device_are_seen_once(at_once, owner):
    device, _ = issue_device(member=owner, name="Scanner", scopes=("scan",), by=owner)

    found = at_once(lambda _: saw(device=Device.objects.get(pk=device.pk), now=NOW))

    assert found == [None] * 8
    assert Device.objects.get().last_seen == NOW


def test_eight_revocations_leave_one_line_in_the_history(at_once, owner):
    device, _ = issue_device(member=owner, name="Scanner", scopes=("scan",), by=owner)

    at_once(lambda _: services.revoke_device(device=device, now=NOW, by=owner))

    assert [row.history_type for row in Device.history.filter(id=device.pk).order_by("history_id")] == ["+", "~"]
