"""Signing in and out, by password and by link; choosing a workshop."""

import re
from http import HTTPStatus

import pytest
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from django_scopes import scopes_disabled

from inventory.workshop import services
from inventory.workshop.models import Member
from tests import factories

PASSWORD = "a long way to the sea"
WRONG = "don&#x27;t go together"


@pytest.fixture
def user(workshop):
    user = factories.UserFactory(email="ada@club.example")
    services.set_password(user=user, password=PASSWORD)
    factories.MemberFactory(workshop=workshop, user=user, name="Ada")
    return user


def link(user, token=None):
    return reverse("sign-in-link", args=[urlsafe_base64_encode(force_bytes(user.pk)), token or services.sign_in_token(user)])


def signed_in(client):
    return client.session.get(SESSION_KEY)


class TestSignIn:
    @pytest.mark.parametrize("email", ["ada@club.example", "Ada@Club.Example"])
    def test_sign_in_takes_the_address_in_any_case(self, client, user, email):
        answer = client.post(reverse("sign-in"), {"username": email, "password": PASSWORD})

        assert (answer.status_code, answer.url) == (HTTPStatus.FOUND, reverse("home"))
        assert signed_in(client) == str(user.pk)

    def test_sign_in_goes_on_to_where_one_was_going(self, client, user):
        asked = client.get(reverse("shelves"))
        assert asked.url == f"{reverse('sign-in')}?next={reverse('shelves')}"

        page = client.get(asked.url).content.decode()
        assert f'name="next" value="{reverse("shelves")}"' in page
        answer = client.post(asked.url, {"username": user.email, "password": PASSWORD, "next": reverse("shelves")})
        assert answer.url == reverse("shelves")

    def test_sign_in_never_leads_off_the_site(self, client, user):
        answer = client.post(reverse("sign-in"), {"username": user.email, "password": PASSWORD, "next": "https://elsewhere.example/"})

        assert answer.url == reverse("home")

    def test_sign_in_says_the_same_of_an_unknown_address_and_a_wrong_password(self, client, user):
        known, unknown = (
            client.post(reverse("sign-in"), {"username": email, "password": "wrong"}).content.decode()
            for email in ("ada@club.example", "bob@club.example")
        )

        assert WRONG in known
        assert re.sub(r'value="[^"]*"', "", known) == re.sub(r'value="[^"]*"', "", unknown)

    @pytest.mark.parametrize("email", ["ada@club.example", "nobody@club.example"])
    def test_sign_in_locks_after_too_many_tries_whether_or_not_the_address_is_known(self, client, user, email):
        for _ in range(settings.AXES_FAILURE_LIMIT):
            answer = client.post(reverse("sign-in"), {"username": email, "password": "wrong"})

        assert answer.status_code == HTTPStatus.TOO_MANY_REQUESTS
        assert "Too many tries" in answer.content.decode()
        right = client.post(reverse("sign-in"), {"username": email, "password": PASSWORD})
        assert right.status_code == HTTPStatus.TOO_MANY_REQUESTS
        assert signed_in(client) is None

    def test_sign_in_of_others_is_not_locked_along(self, client, user):
        for _ in range(settings.AXES_FAILURE_LIMIT):
            client.post(reverse("sign-in"), {"username": "nobody@club.example", "password": "wrong"})

        client.post(reverse("sign-in"), {"username": user.email, "password": PASSWORD})

        assert signed_in(client) == str(user.pk)

    def test_sign_out_takes_a_post(self, as_member, owner):
        client = as_member(owner)

        assert client.get(reverse("sign-out")).status_code == HTTPStatus.METHOD_NOT_ALLOWED
        assert client.post(reverse("sign-out")).url == reverse("sign-in")
        assert signed_in(client) is None


class TestLink:
    def test_opening_a_link_signs_nobody_in_and_uses_nothing_up(self, client, user):
        address = link(user)

        for _ in range(2):
            page = client.get(address)
            assert page.status_code == HTTPStatus.OK
            assert "Sign in as ada@club.example" in page.content.decode()
            assert signed_in(client) is None

    def test_link_signs_in_once(self, client, user):
        address = link(user)

        assert client.post(address).url == reverse("home")
        assert signed_in(client) == str(user.pk)
        client.logout()
        for answer in (client.post(address), client.get(address)):
            assert answer.status_code == HTTPStatus.GONE
            assert "no longer works" in answer.content.decode()
        assert signed_in(client) is None

    def test_link_takes_the_plain_number_too(self, client, user):
        client.post(reverse("sign-in-link", args=[str(user.pk), services.sign_in_token(user)]))

        assert signed_in(client) == str(user.pk)

    @pytest.mark.parametrize(("uid", "token"), [("MQ", "x"), ("!", "x"), ("999999", "x-y"), ("w6k", "x"), ("9" * 30, "x")])
    def test_broken_link_says_what_to_do_and_names_nobody(self, client, user, uid, token):
        page = client.get(reverse("sign-in-link", args=[uid, token]))

        assert page.status_code == HTTPStatus.GONE
        assert "Ask an owner" in page.content.decode() or "ask an owner" in page.content.decode()
        assert user.email not in page.content.decode()

    def test_link_switches_from_another_person(self, as_member, owner, user):
        client = as_member(owner)

        client.post(link(user))

        assert signed_in(client) == str(user.pk)

    def test_who_has_no_password_is_told_to_set_one(self, client, workshop):
        member = factories.MemberFactory(workshop=workshop)
        services.set_password(user=member.user, password=None)

        page = client.post(link(member.user), follow=True)

        assert "Set a password now" in page.content.decode()

    def test_link_is_never_cached(self, client, user):
        assert "no-store" in client.get(link(user))["Cache-Control"]


class TestPassword:
    def test_password_without_an_old_one_asks_for_none(self, as_member, workshop):
        member = factories.MemberFactory(workshop=workshop)
        services.set_password(user=member.user, password=None)
        client = as_member(member)

        assert "old_password" not in client.get(reverse("password")).content.decode()
        client.post(reverse("password"), {"new_password1": PASSWORD, "new_password2": PASSWORD})

        member.user.refresh_from_db()
        assert member.user.check_password(PASSWORD)
        assert signed_in(client) == str(member.user_id)

    def test_password_asks_for_the_old_one(self, client, user):
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        given = {"new_password1": "another long way home", "new_password2": "another long way home"}

        assert client.post(reverse("password"), given).status_code == HTTPStatus.OK
        client.post(reverse("password"), {**given, "old_password": PASSWORD})

        user.refresh_from_db()
        assert user.check_password("another long way home")

    def test_password_refuses_a_short_one(self, client, user):
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        page = client.post(reverse("password"), {"old_password": PASSWORD, "new_password1": "short", "new_password2": "short"})

        assert "at least 12 characters" in page.content.decode()


class TestWorkshop:
    @pytest.fixture
    def elsewhere(self, user):
        """The same person in a second workshop, which stands after the first."""
        with scopes_disabled():
            return factories.MemberFactory(workshop=factories.WorkshopFactory(code="ZWIN", name="Zwin hangar"), user=user)

    def test_choose_another_of_one_s_workshops(self, client, user, elsewhere):
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        assert "Go to Zwin hangar" in client.get(reverse("home")).content.decode()

        client.post(reverse("workshop"), {"workshop": "zwin"})

        assert "Projects of Zwin hangar" in client.get(reverse("projects")).content.decode()

    @pytest.mark.parametrize("code", ["OUTSIDE", "NONE", ""])
    def test_choose_refuses_a_workshop_that_is_not_one_s_own(self, client, user, code):
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

        assert client.post(reverse("workshop"), {"workshop": code}).status_code == HTTPStatus.NOT_FOUND

    def test_workshop_named_in_the_address_must_be_one_s_own(self, client, user, elsewhere):
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

        assert "Projects of Zwin hangar" in client.get(reverse("projects"), {"workshop": "ZWIN"}).content.decode()
        assert client.get(reverse("home"), {"workshop": "OUTSIDE"}).status_code == HTTPStatus.NOT_FOUND

    def test_person_of_no_workshop_is_told_what_to_do(self, client, db):
        user = factories.UserFactory(email="lost@club.example")
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

        page = client.get(reverse("home"))

        assert page.status_code == HTTPStatus.FORBIDDEN
        assert "manage.py member lost@club.example" in page.content.decode()
        assert "Sign out" in page.content.decode()

    def test_member_who_left_sees_nothing(self, as_member, owner):
        client = as_member(owner)
        Member.objects.filter(pk=owner.pk).update(active=False)

        assert client.get(reverse("shelves")).status_code == HTTPStatus.FORBIDDEN
