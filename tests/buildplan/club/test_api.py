"""The club's endpoints give what its pages show."""

from http import HTTPStatus

import pytest
import time_machine
from django_scopes import scopes_disabled

from inventory.models import Bench
from tests.buildplan.club.conftest import NOW, SATURDAY


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def api(as_device, storekeeper):
    return as_device(storekeeper, "read")


def test_day_says_what_each_step_gets_and_the_smallest_change(api, contested):
    found = api.get(f"/api/v1/club/day?day={SATURDAY}").json()

    assert (found["goes"], found["items"][0]["short"]) == (False, "1")
    assert found["items"][0]["steps"][1] == {
        "step": "TERN-1:W2-01",
        "needed": "1",
        "own": "0",
        "promised": "0",
        "pool": "0",
        "lacking": "1",
    }
    first = found["proposals"][0]
    assert (first["token"], first["changes"][0]["to"]) == (f"move:{contested[1].pk}:2027-02-28", "2027-02-28")
    assert first["trace"][0]["source"]


def test_day_that_is_past_or_no_day_is_a_problem(api, contested):
    for day in ("2027-02-19", "soon"):
        for what in ("day", "week"):
            answer = api.get(f"/api/v1/club/{what}?day={day}")
            assert answer.status_code == HTTPStatus.BAD_REQUEST
            assert answer["Content-Type"].startswith("application/problem+json")


def test_week_gives_seven_days_of_each_pool_item(api, contested, squeezer, booked, wren):
    booked(squeezer, 1, wren)

    found = api.get("/api/v1/club/week?day=2027-02-21").json()

    (row,) = found["rows"]
    assert [day["free"] for day in row["days"]] == ["1"] * 6 + ["0"]
    assert found["work"][-1] == {"day": "2027-02-27", "steps": [{"project": "PLOVER-1", "steps": 1}, {"project": "TERN-1", "steps": 1}]}


def test_statement_adds_up_and_names_a_bench_by_its_code(api, used, wren):
    address = "/api/v1/club/statement?first=2027-02-01&last=2027-02-28"

    found = api.get(address).json()
    assert (found["total"], [row["cost"] for row in found["projects"]]) == ("12.00", ["4.00", "8.00"])
    assert found["projects"][1]["lines"][1]["cost"] is None
    assert [row["member"] for row in api.get(f"{address}&bench=tern").json()["members"]] == ["Wren"]
    assert [row["cost"] for row in api.get(f"{address}&member={wren.pk}").json()["members"]] == ["8.00"]


def test_another_workshop_s_bench_and_member_are_not_found(api, outsider):
    with scopes_disabled():
        bench = Bench.objects.get(workshop=outsider)
        member = outsider.members.first()
    for asked in (f"bench={bench.code}", f"member={member.pk}"):
        answer = api.get(f"/api/v1/club/statement?first=2027-02-01&last=2027-02-28&{asked}")
        assert answer.status_code == HTTPStatus.NOT_FOUND
