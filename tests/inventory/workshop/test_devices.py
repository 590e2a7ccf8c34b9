"""Devices: issued, seen, renamed, revoked; by services, pages and the API."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled

from inventory.common.texts import BadText
from inventory.models import Device, KeptAnswer
from inventory.workshop import policy, queries, services, tokens
from inventory.workshop.policy import NotAllowed
from inventory.workshop.services import hand, issue_device, rename_device, revoke_device
from tests import factories

NOW = datetime(2027, 2, 20, 9, 30, tzinfo=UTC)


@pytest.fixture
def issued(owner):
    return issue_device(member=owner, name="Scanner", scopes=("read", "scan"), by=owner)


@pytest.fixture
def device(issued):
    return issued[0]


class TestIssue:
    def test_issue_keeps_the_digest_alone(self, issued):
        device, token = issued

        kept = Device.objects.filter(pk=device.pk).values().get()
        assert kept["digest"] == tokens.read(token).digest
        assert token.startswith(f"{kept['prefix']}_")
        assert not [name for name, value in kept.items() if token in str(value) or token.split("_")[2] in str(value)]
        assert not [row for row in Device.history.values() if token.split("_")[2] in str(row)]

    def test_issue_gives_the_scopes_asked_for(self, device):
        assert (device.may_read, device.may_scan, device.may_manage) == (True, True, False)
        assert policy.scopes(device) == ("read", "scan")

    def test_issue_tells_the_history_who_did_it(self, device, owner):
        assert Device.history.get(id=device.pk).history_user == owner
        assert not hasattr(Device.history.model, "digest")

    @pytest.mark.parametrize("role", ["owner", "storekeeper"])
    def test_owner_and_storekeeper_issue_for_themselves(self, workshop, role):
        member = factories.MemberFactory(workshop=workshop, role=role)

        assert issue_device(member=member, name="Phone", scopes=("scan",), by=member)[0].member == member

    @pytest.mark.parametrize("role", ["builder", "inspector", "reader"])
    def test_others_issue_none(self, workshop, role):
        member = factories.MemberFactory(workshop=workshop, role=role)

        with pytest.raises(NotAllowed, match="owner, storekeeper"):
            issue_device(member=member, name="Phone", scopes=("scan",), by=member)

    def test_nobody_issues_in_another_s_name(self, owner, storekeeper, outsider):
        with scopes_disabled():
            foreign = outsider.members.first()
        for member, by in ((storekeeper, owner), (owner, storekeeper), (foreign, owner)):
            with pytest.raises(NotAllowed):
                issue_device(member=member, name="Phone", scopes=("scan",), by=by)

    def test_workshop_s_own_hand_has_no_device(self, workshop):
        by = hand(workshop)

        with pytest.raises(services.BadDevice, match="belongs to a person"):
            issue_device(member=by, name="Phone", scopes=("scan",), by=by)

    @pytest.mark.parametrize("scopes", [(), ("read", "write"), ("",), "read"])
    def test_issue_refuses_scopes_that_there_are_not(self, owner, scopes):
        with pytest.raises(services.BadDevice, match="one or more of read, scan, manage"):
            issue_device(member=owner, name="Phone", scopes=scopes, by=owner)

    @pytest.mark.parametrize("name", ["", "  ", "x" * 81, "a\nb"])
    def test_issue_refuses_a_name_that_does_not_do(self, owner, name):
        with pytest.raises(BadText):
            issue_device(member=owner, name=name, scopes=("read",), by=owner)

    def test_same_prefix_issues_once_and_says_so(self, owner, storekeeper):
        prefix = tokens.make_prefix()
        issue_device(member=owner, name="Phone", scopes=("read",), prefix=prefix, by=owner)

        for by in (owner, storekeeper):
            with pytest.raises(services.AlreadyIssued, match="its token was shown then"):
                issue_device(member=by, name="Phone", scopes=("read",), prefix=prefix, by=by)
        assert Device.objects.count() == 1

    def test_prefix_of_the_outsider_s_is_taken_too(self, owner, outsider):
        with scopes_disabled():
            prefix = outsider.devices.get().prefix

        with pytest.raises(services.AlreadyIssued):
            issue_device(member=owner, name="Phone", scopes=("read",), prefix=prefix, by=owner)

    @pytest.mark.parametrize("prefix", ["rl_", "rl_0000000l", "rl_k7m2p9qd_", "x" * 16])
    def test_issue_refuses_what_is_no_prefix(self, owner, prefix):
        with pytest.raises(services.BadDevice, match="open the form anew"):
            issue_device(member=owner, name="Phone", scopes=("read",), prefix=prefix, by=owner)

    def test_database_refuses_a_device_that_may_nothing(self, device):
        with pytest.raises(IntegrityError), transaction.atomic():
            Device.objects.filter(pk=device.pk).update(may_read=False, may_scan=False)


class TestRenameAndRevoke:
    def test_rename(self, device, owner):
        rename_device(device=device, name=" Gate ", by=owner)

        assert Device.objects.get().name == "Gate"
        assert Device.history.filter(id=device.pk).count() == 2

    def test_revoke_is_for_good(self, device, owner):
        for now in (NOW, NOW + timedelta(days=1)):
            revoke_device(device=device, now=now, by=owner)

        assert Device.objects.get().revoked_at == NOW
        assert Device.history.filter(id=device.pk).count() == 2

    def test_owner_revokes_and_renames_another_s(self, owner, storekeeper):
        other, _ = issue_device(member=storekeeper, name="Phone", scopes=("scan",), by=storekeeper)

        assert rename_device(device=other, name="Tablet", by=owner).name == "Tablet"
        assert revoke_device(device=other, now=NOW, by=owner).revoked_at == NOW
        assert Device.history.filter(id=other.pk).latest().history_user == owner

    def test_storekeeper_has_no_hand_on_another_s(self, device, storekeeper):
        with pytest.raises(NotAllowed):
            revoke_device(device=device, now=NOW, by=storekeeper)
        with pytest.raises(NotAllowed):
            rename_device(device=device, name="Mine", by=storekeeper)

    def test_who_is_no_storekeeper_any_more_still_revokes_their_own(self, storekeeper):
        device, _ = issue_device(member=storekeeper, name="Phone", scopes=("scan",), by=storekeeper)
        storekeeper.role = "reader"
        storekeeper.save()

        assert revoke_device(device=device, now=NOW, by=storekeeper).revoked_at == NOW

    def test_outsider_revokes_nothing_of_ours(self, device, outsider):
        with scopes_disabled():
            foreign = outsider.members.first()

        with pytest.raises(NotAllowed, match="another workshop's"):
            revoke_device(device=device, now=NOW, by=foreign)


class TestSeen:
    def test_seen_is_written_once_a_minute(self, device, django_assert_num_queries):
        services.saw(device=device, now=NOW)
        with django_assert_num_queries(0):
            services.saw(device=device, now=NOW + timedelta(seconds=59))
        assert Device.objects.get().last_seen == NOW
        services.saw(device=device, now=NOW + timedelta(seconds=60))

        assert Device.objects.get().last_seen == NOW + timedelta(seconds=60)

    def test_of_two_requests_at_once_one_writes(self, device):
        twin = Device.objects.get()
        services.saw(device=device, now=NOW)
        services.saw(device=twin, now=NOW + timedelta(seconds=1))

        assert Device.objects.get().last_seen == NOW

    def test_seen_leaves_no_trace_in_the_history(self, device):
        services.saw(device=device, now=NOW)

        assert Device.history.filter(id=device.pk).count() == 1


class TestQueries:
    def test_owner_sees_everybody_s_and_others_their_own(self, device, owner, storekeeper, builder):
        other, _ = issue_device(member=storekeeper, name="Phone", scopes=("scan",), by=storekeeper)

        assert [list(queries.devices(member)) for member in (owner, storekeeper, builder)] == [[other, device], [other], []]

    def test_revoked_ones_stand_last(self, device, owner):
        later, _ = issue_device(member=owner, name="Wedge", scopes=("scan",), by=owner)
        revoke_device(device=device, now=NOW, by=owner)

        assert list(queries.devices(owner)) == [later, device]


class TestPages:
    def form(self, client):
        page = client.get(reverse("devices")).content.decode()
        return {"start": re.search(r'name="start" value="([^"]+)"', page)[1], "name": "Gate", "scan": "on"}

    def test_token_is_shown_once_and_never_stored_by_a_browser(self, as_member, owner):
        client = as_member(owner)
        answer = client.post(reverse("devices"), self.form(client))

        token = re.search(r'class="token">([^<]+)<', answer.content.decode())[1]
        assert queries.device_of(token).name == "Gate"
        assert "no-store" in answer["Cache-Control"]
        assert f"Bearer {token}" in answer.content.decode().replace("&quot;", '"')
        for name, args in (("devices", []), ("device", [Device.objects.get().pk])):
            assert token.split("_")[2] not in client.get(reverse(name, args=args)).content.decode()
        assert token not in str(dict(client.session))

    def test_form_sent_twice_issues_one(self, as_member, owner):
        client = as_member(owner)
        given = self.form(client)
        client.post(reverse("devices"), given)
        again = client.post(reverse("devices"), given, follow=True)

        assert "Nothing was issued now" in again.content.decode()
        assert 'class="token"' not in again.content.decode()
        assert Device.objects.count() == 1

    @pytest.mark.parametrize("wrong", [{"name": ""}, {"scan": ""}, {"start": ""}, {"start": "rl_x"}])
    def test_form_that_does_not_do_is_shown_again(self, as_member, owner, wrong):
        client = as_member(owner)
        answer = client.post(reverse("devices"), {**self.form(client), **wrong})

        assert answer.status_code == 422
        assert 'role="alert"' in answer.content.decode()
        assert not Device.objects.exists()

    def test_who_may_issue_none_gets_no_form_and_no_device(self, as_member, builder):
        client = as_member(builder)

        assert "<button" not in client.get(reverse("devices")).content.decode().split("<main")[1].split("<footer")[0]
        given = {"start": tokens.make_prefix(), "name": "Gate", "scan": "on"}
        assert client.post(reverse("devices"), given).status_code == 403

    def test_page_takes_the_same_queries_for_one_device_and_many(self, queries_of, owner, device):
        before = queries_of(owner, reverse("devices"))
        for at in range(5):
            by = factories.MemberFactory(workshop=owner.workshop)
            issue_device(member=by, name=f"Scanner {at}", scopes=("read",), by=by)

        assert queries_of(owner, reverse("devices")) == before

    def test_rename_and_revoke(self, as_member, owner, device):
        client = as_member(owner)

        assert "is called Gate now" in client.post(reverse("device", args=[device.pk]), {"name": "Gate"}, follow=True).content.decode()
        assert client.post(reverse("device", args=[device.pk]), {"name": ""}).status_code == 422
        asked = client.get(reverse("device", args=[device.pk])).content.decode()
        assert "Revoke Gate" in asked
        client.post(reverse("revoke-device", args=[device.pk]))

        assert Device.objects.get().revoked_at is not None
        assert "Revoke Gate" not in client.get(reverse("device", args=[device.pk])).content.decode()

    def test_looking_revokes_nothing(self, as_member, owner, device):
        assert as_member(owner).get(reverse("revoke-device", args=[device.pk])).status_code == 405

    @pytest.mark.parametrize("name", ["device", "revoke-device"])
    def test_another_s_device_is_not_found(self, as_member, storekeeper, device, name):
        assert as_member(storekeeper).post(reverse(name, args=[device.pk]), {"name": "Mine"}).status_code == 404
        assert (Device.objects.get().name, Device.objects.get().revoked_at) == ("Scanner", None)


class TestApi:
    def test_list_shows_devices_without_their_tokens(self, as_member, owner, issued):
        device, token = issued
        found = as_member(owner).get(reverse("api-devices"))

        (shown,) = found.json()["results"]
        assert shown == {
            "id": device.pk,
            "name": "Scanner",
            "member": owner.name,
            "prefix": token.rsplit("_", 1)[0],
            "scopes": ["read", "scan"],
            "made_at": shown["made_at"],
            "last_seen": None,
            "revoked_at": None,
        }

    def test_list_takes_the_same_queries_for_one_device_and_many(self, queries_of, owner, device):
        before = queries_of(owner, reverse("api-devices"))
        for at in range(5):
            issue_device(member=owner, name=f"Scanner {at}", scopes=("read",), by=owner)

        assert queries_of(owner, reverse("api-devices")) == before

    def test_issue_answers_with_the_token_once(self, as_member, owner):
        client = as_member(owner)
        answer = client.post(reverse("api-devices"), {"name": "Gate", "scopes": ["scan"]}, content_type="application/json")

        assert answer.status_code == 201
        assert answer["Cache-Control"] == "no-store"
        assert queries.device_of(answer.json()["token"]).name == "Gate"
        assert client.get(answer["Location"]).json() == {name: value for name, value in answer.json().items() if name != "token"}

    @pytest.mark.parametrize(
        "body",
        [{}, {"name": "Gate"}, {"name": "Gate", "scopes": []}, {"name": "Gate", "scopes": ["all"]}, {"name": "", "scopes": ["read"]}, []],
    )
    def test_issue_refuses_what_does_not_read(self, as_member, owner, body):
        answer = as_member(owner).post(reverse("api-devices"), body, content_type="application/json")

        assert answer.status_code == 400
        assert answer["Content-Type"] == "application/problem+json"
        assert not Device.objects.exists()

    def test_device_issues_no_device(self, as_device, owner):
        answer = as_device(owner, "manage").post(
            reverse("api-devices"), {"name": "Gate", "scopes": ["scan"]}, content_type="application/json"
        )

        assert answer.status_code == 403
        assert "sign in" in answer.json()["detail"]
        assert Device.objects.count() == 1

    def test_answer_with_a_token_is_not_kept_for_a_repeat(self, as_member, owner):
        client = as_member(owner)
        headers = {"Idempotency-Key": "k1"}
        for _ in range(2):
            client.post(reverse("api-devices"), {"name": "Gate", "scopes": ["scan"]}, content_type="application/json", headers=headers)

        assert not KeptAnswer.objects.exists()

    def test_builder_issues_none(self, as_member, builder):
        answer = as_member(builder).post(reverse("api-devices"), {"name": "Gate", "scopes": ["scan"]}, content_type="application/json")

        assert answer.status_code == 403

    def test_device_revokes_itself_and_is_out(self, as_device, owner):
        client = as_device(owner, "manage")
        address = reverse("api-device", args=[Device.objects.get().pk])

        assert client.delete(address).status_code == 204
        assert client.get(address).status_code == 401

    def test_revoking_again_answers_the_same(self, as_member, owner, device):
        client = as_member(owner)

        assert [client.delete(reverse("api-device", args=[device.pk])).status_code for _ in range(2)] == [204, 204]

    @pytest.mark.parametrize("pk", [0, 10**30])
    def test_number_that_is_no_device_is_not_found(self, as_member, owner, pk):
        assert as_member(owner).get(reverse("api-device", args=[pk])).status_code == 404

    def test_another_s_device_is_not_found(self, as_member, storekeeper, device):
        client = as_member(storekeeper)

        assert client.get(reverse("api-device", args=[device.pk])).status_code == 404
        assert client.delete(reverse("api-device", args=[device.pk])).status_code == 404

    @pytest.mark.parametrize("scope", ["read", "scan", "manage"])
    def test_me_tells_a_device_of_any_scope_who_it_is(self, as_device, owner, scope):
        found = as_device(owner, scope).get(reverse("api-me")).json()

        assert found["member"] == {"id": owner.pk, "name": owner.name, "role": "owner"}
        assert found["workshop"] == {"code": "MARSH", "name": owner.workshop.name}
        assert found["device"]["name"] == "Scanner"
        assert found["scopes"] == [scope]

    def test_me_tells_a_person_that_they_may_all(self, as_member, reader):
        found = as_member(reader).get(reverse("api-me")).json()

        assert (found["device"], found["scopes"]) == (None, ["read", "scan", "manage"])


def test_device_s_request_takes_one_query_for_its_member_and_workshop(as_device, owner):
    client = as_device(owner, "read")
    client.get(reverse("api-me"))

    with CaptureQueriesContext(connection) as found:
        assert client.get(reverse("api-me")).status_code == 200
    assert [query["sql"] for query in found if "inventory_device" not in query["sql"]] == []
    assert len(found) == 1


def test_device_is_seen_when_it_calls(as_device, owner):
    before = timezone.now()
    as_device(owner, "read").get(reverse("api-me"))

    assert Device.objects.get().last_seen >= before
