"""The API's door: which tokens let in, what a refusal says, and what keeps a browser's session from being abused."""

import logging
from datetime import timedelta
from http import HTTPStatus

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_scopes import scopes_disabled

from inventory.models import Device
from inventory.workshop import tokens
from inventory.workshop.authentication import PAGE_OF
from inventory.workshop.services import issue_device, revoke_device
from tests import factories

ME = reverse("api-me")
DEVICES = reverse("api-devices")


@pytest.fixture
def token(owner):
    return issue_device(member=owner, name="Scanner", scopes=("manage",), by=owner)[1]


def ask(token, address=ME, client=None, kind="Bearer", **more):
    return (client or Client()).get(address, headers={"Authorization": f"{kind} {token}", **more})


def other_secret(token):
    return tokens.make(tokens.read(token).prefix).text


class TestToken:
    @pytest.mark.parametrize("kind", ["Bearer", "bearer", "BEARER"])
    def test_good_one_lets_in(self, token, kind):
        assert ask(token, kind=kind).status_code == HTTPStatus.OK

    @pytest.mark.parametrize("change", [other_secret, lambda token: token[:-1], lambda token: token.upper(), lambda token: f"{token} x"])
    def test_wrong_one_is_refused_as_invalid(self, token, change):
        answer = ask(change(token))

        assert answer.status_code == HTTPStatus.UNAUTHORIZED
        assert answer["WWW-Authenticate"] == 'Bearer realm="Rivetloft", error="invalid_token"'
        assert answer["Content-Type"] == "application/problem+json"

    @pytest.mark.parametrize("kind", ["", "Basic", "Token", "Bearerx"])
    def test_what_is_no_bearer_token_is_nobody_s(self, token, kind):
        answer = ask(token, kind=kind)

        assert answer.status_code == HTTPStatus.UNAUTHORIZED
        assert answer["WWW-Authenticate"] == 'Bearer realm="Rivetloft"'

    @pytest.mark.parametrize("text", ["", " ", "ä", "rl_\N{BLACK STAR}", "x" * 5000])
    def test_any_text_is_refused(self, db, text):
        assert ask(text.encode().decode("latin-1")).status_code == HTTPStatus.UNAUTHORIZED

    def test_unknown_prefix_and_wrong_secret_are_told_apart_by_nothing(self, token):
        unknown = ask(tokens.make(tokens.make_prefix()).text)

        assert unknown.json() == ask(other_secret(token)).json()

    def test_what_is_no_token_takes_no_query(self, token, django_assert_num_queries):
        with django_assert_num_queries(0):
            ask("rl_guess")
        with django_assert_num_queries(1):
            ask(other_secret(token))

    def test_revoked_one_is_refused_at_once(self, token, owner):
        assert ask(token).status_code == HTTPStatus.OK
        revoke_device(device=Device.objects.get(), now=timezone.now(), by=owner)

        assert ask(token).status_code == HTTPStatus.UNAUTHORIZED

    def test_one_of_a_member_who_left_is_refused(self, token, owner):
        owner.active = False
        owner.save()

        assert ask(token).status_code == HTTPStatus.UNAUTHORIZED

    def test_one_of_a_person_who_is_shut_out_is_refused(self, token, owner):
        owner.user.is_active = False
        owner.user.save()

        assert ask(token).status_code == HTTPStatus.UNAUTHORIZED

    def test_refused_one_is_not_seen(self, token, owner):
        revoke_device(device=Device.objects.get(), now=timezone.now(), by=owner)
        ask(token)

        assert Device.objects.get().last_seen is None

    def test_member_with_a_smaller_role_takes_their_device_along(self, token, owner, project):
        owner.role = "reader"
        owner.save()

        assert ask(token).json()["member"]["role"] == "reader"


class TestWhereATokenCounts:
    @pytest.mark.parametrize("name", ["token", "access_token", "bearer", "authorization", "Authorization"])
    def test_not_in_an_address(self, token, name):
        assert Client().get(ME, {name: token}).status_code == HTTPStatus.UNAUTHORIZED
        assert Client().get(ME, {name: f"Bearer {token}"}).status_code == HTTPStatus.UNAUTHORIZED

    def test_not_in_a_form_or_a_cookie(self, token):
        client = Client()
        client.cookies["Authorization"] = client.cookies["token"] = token

        assert client.get(ME).status_code == HTTPStatus.UNAUTHORIZED
        assert client.post(DEVICES, {"access_token": token, "name": "Gate", "scopes": ["read"]}).status_code == HTTPStatus.UNAUTHORIZED

    @pytest.mark.parametrize("name", ["home", "devices", "shelves", "settings"])
    def test_not_on_a_page(self, token, name):
        assert ask(token, reverse(name)).status_code == HTTPStatus.FOUND

    def test_not_in_another_workshop(self, token, owner, outsider):
        with scopes_disabled():
            factories.MemberFactory(workshop=outsider, user=owner.user, role="owner")

        assert ask(token, f"{ME}?workshop=outside").status_code == HTTPStatus.NOT_FOUND
        assert ask(token, f"{ME}?workshop=marsh").json()["workshop"]["code"] == "MARSH"

    def test_not_in_a_log(self, token, caplog, owner, settings):
        caplog.set_level(logging.DEBUG)
        ask(token)
        ask(other_secret(token))
        ask(token, "/api/v1/nowhere")
        ask(token, DEVICES)

        assert tokens.read(token).text not in caplog.text
        assert token.split("_")[2] not in caplog.text

    def test_not_in_the_report_of_an_error(self, token, rf):
        from django.views.debug import SafeExceptionReporterFilter  # noqa: PLC0415

        shown = SafeExceptionReporterFilter().get_safe_request_meta(rf.get(ME, headers={"Authorization": f"Bearer {token}"}))

        assert token not in str(shown)


class TestSession:
    def test_wrong_token_is_not_made_good_by_a_session(self, as_member, owner, token):
        client = as_member(owner)

        assert client.get(ME).status_code == HTTPStatus.OK
        assert ask(other_secret(token), client=client).status_code == HTTPStatus.UNAUTHORIZED

    def test_token_beside_a_session_counts_alone(self, as_member, storekeeper, token, owner):
        assert ask(token, client=as_member(storekeeper)).json()["member"]["id"] == owner.pk

    def test_page_of_somebody_who_is_no_longer_signed_in_is_refused(self, as_member, owner, storekeeper):
        client = as_member(storekeeper)
        theirs, mine = (client.get(ME, headers={PAGE_OF: str(member.user_id)}) for member in (owner, storekeeper))

        assert (theirs.status_code, mine.status_code) == (HTTPStatus.UNAUTHORIZED, HTTPStatus.OK)
        assert "Somebody else signed in here meanwhile" in theirs.json()["detail"]

    def test_token_reads_and_makes_no_session(self, as_member, storekeeper, token, django_assert_num_queries):
        client = as_member(storekeeper)
        ask(token, client=client)
        before = Session.objects.count()

        with django_assert_num_queries(1):
            answer = ask(token, client=client)
        assert Session.objects.count() == before
        assert not answer.cookies

    def test_browser_that_writes_needs_its_csrf_token(self, owner):
        client = Client(enforce_csrf_checks=True)
        client.force_login(owner.user, backend="django.contrib.auth.backends.ModelBackend")
        body = {"name": "Gate", "scopes": ["read"]}

        refused = client.post(DEVICES, body, content_type="application/json")
        assert (refused.status_code, refused.json()["title"]) == (HTTPStatus.FORBIDDEN, "Not allowed")
        client.get(reverse("devices"))
        headers = {"X-CSRFToken": client.cookies["csrftoken"].value}
        assert client.post(DEVICES, body, content_type="application/json", headers=headers).status_code == HTTPStatus.CREATED

    def test_device_that_writes_needs_none(self, as_device, owner):
        client = as_device(owner)

        assert client.delete(reverse("api-device", args=[Device.objects.get().pk])).status_code == HTTPStatus.NO_CONTENT

    def test_stranger_s_page_of_another_site_gets_nothing(self, token):
        answer = ask(token, Origin="https://elsewhere.example")

        assert not [name for name in answer.headers if name.lower().startswith("access-control-")]


class TestOrderOfRefusals:
    def test_small_scope_says_what_it_has_and_what_this_takes(self, as_device, owner):
        answer = as_device(owner, "scan").get(DEVICES)

        assert answer.status_code == HTTPStatus.FORBIDDEN
        assert answer.json()["detail"] == "the token of Scanner is for scan; this takes read"

    def test_scopes_add_up(self, as_device, owner):
        client = as_device(owner, "read", "scan")

        assert client.get(DEVICES).status_code == HTTPStatus.OK
        assert client.delete(reverse("api-device", args=[1])).status_code == HTTPStatus.FORBIDDEN

    def test_scope_of_a_token_gives_no_more_than_its_member_may(self, as_device, storekeeper, owner):
        other, _ = issue_device(member=owner, name="Owner's", scopes=("read",), by=owner)

        assert as_device(storekeeper).get(reverse("api-device", args=[other.pk])).status_code == HTTPStatus.NOT_FOUND

    def test_last_seen_is_late_by_a_minute_at_most(self, token):
        old = timezone.now() - timedelta(minutes=5)
        Device.objects.update(last_seen=old)
        ask(token)

        assert Device.objects.get().last_seen > old
