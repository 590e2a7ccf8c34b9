"""The reminders of the API."""

from http import HTTPStatus

import pytest
from django.urls import reverse
from django_scopes import scope

WHERE = reverse("api-reminders")


def test_reminders_say_day_kind_text_link_and_trace(scene, as_device, reader, owner):
    found = as_device(owner, "read").get(WHERE, {"days": 30}).json()

    assert (found["as_of"], found["days"], found["undated"]) == ("2027-02-20", 30, [])
    assert [one["kind"] for one in found["reminders"]] == ["claim", "order", "crate", "expiry"]
    assert found["reminders"][-1] == {
        "day": "2027-03-05",
        "days_left": 13,
        "kind": "expiry",
        "text": "SEAL, lot R7: last usable day of 12.5 g in Fridge/Door",
        "link": f"/lots/{scene.pk}/",
        "about": ["SEAL"],
        "trace": [{"text": "expires: usable through 2027-03-05", "source": "expires 2027-03-05, as printed"}],
    }


def test_thirty_days_are_looked_ahead_unless_said(scene, as_device, owner):
    assert as_device(owner).get(WHERE).json()["days"] == 30
    assert [one["kind"] for one in as_device(owner).get(WHERE, {"days": 5}).json()["reminders"]] == ["claim"]


@pytest.mark.parametrize("days", ["0", "-1", "367", "x", "1e3"])
def test_days_that_do_not_read_are_a_problem(scene, as_device, owner, days):
    answer = as_device(owner).get(WHERE, {"days": days})

    assert answer.status_code == HTTPStatus.BAD_REQUEST
    assert answer["Content-Type"] == "application/problem+json"


def test_outsider_sees_nothing_of_it(scene, as_device, outsider):
    with scope(workshop=outsider):
        theirs = as_device(outsider.members.get(name="OUTSIDE owner"))

    assert "SEAL" not in theirs.get(WHERE).content.decode()
