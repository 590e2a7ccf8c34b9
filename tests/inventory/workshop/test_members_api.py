"""Members, holders and invitations for programs."""

import json
from http import HTTPStatus

import pytest
from django_scopes import scopes_disabled

from inventory.models import BenchHolder, Invitation, KeptAnswer, Member
from inventory.workshop import tokens
from tests.callers import Api

WREN = {"email": "wren@club.example", "name": "Wren", "role": "builder"}


@pytest.fixture
def api(as_member, owner):
    """A signed-in owner."""
    return Api(as_member(owner))


class TestMembers:
    def test_somebody_is_made_a_member_once_for_a_key(self, api):
        answers = [api.post("members", WREN, key="one") for _ in range(2)]

        assert [answer.status_code for answer in answers] == [201, 201]
        assert answers[0].json() == answers[1].json()
        assert Member.objects.get(user__email="wren@club.example").role == "builder"
        assert api.get(answers[0]["Location"]).json()["name"] == "Wren"

    def test_one_who_is_a_member_already_is_changed(self, api):
        api.post("members", WREN)

        answer = api.post("members", {**WREN, "role": "reader"})

        assert (answer.status_code, answer.json()["role"]) == (200, "reader")

    def test_role_is_changed_by_who_saw_it(self, api, builder):
        assert api.patch(f"members/{builder.pk}", {"role": "inspector"}).json()["role"] == "inspector"
        assert api.patch(f"members/{builder.pk}", {"role": "reader"}, match='"old"').status_code == 412
        assert api.client.patch(f"/api/v1/members/{builder.pk}", {}, content_type="application/json").status_code == 428

    def test_last_owner_stays(self, api, owner):
        answer = api.patch(f"members/{owner.pk}", {"role": "reader"})

        assert answer.status_code == HTTPStatus.CONFLICT
        assert "last owner" in answer.json()["detail"]

    def test_others_may_look_and_change_nothing(self, as_member, storekeeper, builder):
        api = Api(as_member(storekeeper))

        assert api.get(f"members/{builder.pk}").status_code == HTTPStatus.OK
        assert api.patch(f"members/{builder.pk}", {"role": "reader"}).status_code == HTTPStatus.FORBIDDEN
        assert api.post("members", WREN).status_code == HTTPStatus.FORBIDDEN

    def test_device_decides_nothing(self, as_device, owner, builder):
        api = Api(as_device(owner))

        for answer in (
            api.post("members", WREN),
            api.patch(f"members/{builder.pk}", {"role": "owner"}),
            api.post("invitations", {"name": "Wren", "role": "owner"}),
        ):
            assert answer.status_code == HTTPStatus.FORBIDDEN
            assert "not by a device" in answer.json()["detail"]
        assert Member.objects.filter(role="owner").count() == 1

    def test_list_takes_as_many_queries_for_many(self, api):
        one = api.queries("members")
        for number in range(5):
            api.post("members", {**WREN, "email": f"wren{number}@club.example"})

        assert api.queries("members") == one


class TestHolders:
    def test_they_are_set_all_at_once(self, api, bench, builder):
        assert api.get(f"benches/{bench.pk}/holders").json() == {"bench": "TERN", "shared": False, "members": []}

        answer = api.client.put(f"/api/v1/benches/{bench.pk}/holders", {"members": [builder.pk]}, content_type="application/json")

        assert answer.json()["members"] == [{"id": builder.pk, "name": builder.name, "active": True}]
        assert BenchHolder.objects.get().member == builder

    def test_outsider_s_member_and_bench_are_not_found(self, api, bench, outsider):
        with scopes_disabled():
            theirs, foreign = Member.objects.filter(workshop=outsider).first(), outsider.benches.get()

        for where, body in ((bench, {"members": [theirs.pk]}), (foreign, {"members": []})):
            answer = api.client.put(f"/api/v1/benches/{where.pk}/holders", body, content_type="application/json")
            assert answer.status_code == HTTPStatus.NOT_FOUND

    def test_shared_bench_says_why_not(self, api, shared_bench, builder):
        answer = api.client.put(f"/api/v1/benches/{shared_bench.pk}/holders", {"members": [builder.pk]}, content_type="application/json")

        assert answer.status_code == HTTPStatus.BAD_REQUEST
        assert "everybody's" in json.dumps(answer.json())


class TestInvitations:
    def test_link_is_in_the_answer_alone(self, api, bench):
        answer = api.post("invitations", {"name": "Wren", "role": "builder", "bench": "tern"}, key="one")

        secret = answer.json()["link"].split("/join/")[1].rstrip("/")
        row = Invitation.objects.get()
        assert (answer.status_code, row.digest, row.bench) == (201, tokens.read(secret, tokens.INVITATION).digest, bench)
        assert "no-store" in answer["Cache-Control"]
        rest = secret.split("_")[2]
        assert rest not in json.dumps(api.rows("invitations"))
        assert rest not in json.dumps(list(KeptAnswer.objects.values("body")))
        assert "link" not in api.get(f"invitations/{row.pk}").json()

    def test_it_is_withdrawn_once(self, api):
        pk = api.post("invitations", {"name": "Wren", "role": "builder"}).json()["id"]

        assert api.delete(f"invitations/{pk}").status_code == HTTPStatus.NO_CONTENT
        assert api.get(f"invitations/{pk}").json()["withdrawn_at"]

    def test_owners_alone_see_them(self, api, as_member, storekeeper):
        pk = api.post("invitations", {"name": "Wren", "role": "builder"}).json()["id"]
        other = Api(as_member(storekeeper))

        assert other.get("invitations").status_code == HTTPStatus.FORBIDDEN
        assert other.get(f"invitations/{pk}").status_code == HTTPStatus.FORBIDDEN
        assert other.delete(f"invitations/{pk}").status_code == HTTPStatus.FORBIDDEN

    def test_list_takes_as_many_queries_for_many(self, api):
        one = api.queries("invitations")
        for _ in range(5):
            api.post("invitations", {"name": "Wren", "role": "builder"})

        assert api.queries("invitations") == one
