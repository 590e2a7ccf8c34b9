"""Where people are signed in: noted, listed, ended; a forgotten password."""

import re
from datetime import timedelta
from http import HTTPStatus

import pytest
import time_machine
from django.contrib.auth import SESSION_KEY
from django.core import mail
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import SignedIn
from inventory.workshop import services, sessions
from tests import factories

PASSWORD = "a long way to the sea"
NEW = "another long way home"
FIREFOX = "Mozilla/5.0 (Android 14; Mobile; rv:131.0) Gecko/131.0 Firefox/131.0"
START = "2027-02-20T09:00:00Z"


@pytest.fixture
def clock():
    with time_machine.travel(START, tick=False) as clock:
        yield clock


@pytest.fixture
def user(workshop, clock):
    user = factories.UserFactory(email="ada@club.example")
    services.set_password(user=user, password=PASSWORD)
    factories.MemberFactory(workshop=workshop, user=user, name="Ada")
    return user


@pytest.fixture
def sign_in(user):
    def sign_in(agent=FIREFOX, password=PASSWORD):
        client = Client(headers={"user-agent": agent})
        client.post(reverse("sign-in"), {"username": "ada@club.example", "password": password})
        return client

    return sign_in


def is_in(client):
    return client.get(reverse("account")).status_code == HTTPStatus.OK


class TestNoted:
    def test_signing_in_is_noted_at_once(self, sign_in, user):
        client = sign_in()

        row = SignedIn.objects.get()
        assert (row.user, row.key, row.agent) == (user, client.session.session_key, FIREFOX)

    def test_it_is_noted_once_a_minute_in_one_statement(self, sign_in, clock):
        client = sign_in()
        cache.clear()  # a minute went by
        clock.shift(timedelta(minutes=5))

        with CaptureQueriesContext(connection) as found:
            client.get(reverse("account"))
            client.get(reverse("account"))

        assert len([one for one in found if "INSERT INTO" in one["sql"] and "signedin" in one["sql"]]) == 1
        row = SignedIn.objects.get()
        assert row.seen_at - row.since == timedelta(minutes=5)

    def test_device_is_in_no_such_list(self, as_device, owner):
        as_device(owner).get(reverse("api-me"))

        assert not SignedIn.objects.exists()

    def test_stranger_is_not_noted(self, client, db):
        client.get(reverse("sign-in"))

        assert not SignedIn.objects.exists()

    @pytest.mark.parametrize(
        ("agent", "words"),
        [
            (FIREFOX, "Firefox on Android"),
            ("Mozilla/5.0 (Windows NT 10.0) AppleWebKit/537.36 Chrome/130.0 Safari/537.36 Edg/130.0", "Edge on Windows"),
            ("Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 Chrome/130.0 Safari/537.36", "Chrome on Linux"),
            ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) Version/18.0 Mobile/15E148 Safari/604.1", "Safari on iPhone"),
            ("", "A browser"),
            ("curl/8.0", "A browser"),
        ],
    )
    def test_browser_is_named_in_words(self, agent, words):
        assert sessions.named(agent) == words


class TestList:
    def test_places_are_listed_and_the_one_here_is_marked(self, sign_in, clock):
        sign_in("Mozilla/5.0 (Windows NT 10.0) Chrome/130.0")
        clock.shift(timedelta(hours=1))
        page = sign_in().get(reverse("account")).content.decode()

        assert re.search(r"Firefox on Android</strong>, <strong>here, now</strong>", page)
        assert "Chrome on Windows</strong>: since 2027-02-20 09:00" in page
        assert page.count("Sign out there") == 1

    def test_place_that_is_over_is_not_listed(self, sign_in):
        client, other = sign_in(), sign_in("Mozilla/5.0 (Windows NT 10.0) Chrome/130.0")
        other.post(reverse("sign-out"))

        assert "Chrome on Windows" not in client.get(reverse("account")).content.decode()

    def test_list_takes_as_many_queries_for_many(self, sign_in):
        def queries(client):
            with CaptureQueriesContext(connection) as found:
                assert client.get(reverse("account")).status_code == HTTPStatus.OK
            return len(found)

        client = sign_in()
        client.get(reverse("account"))
        one = queries(client)
        for _ in range(5):
            sign_in()

        assert queries(client) == one


class TestEnd:
    def test_one_place_is_signed_out(self, sign_in):
        client, other = sign_in(), sign_in()
        row = SignedIn.objects.get(key=other.session.session_key)

        client.post(reverse("end-session", args=[row.pk]))

        assert not is_in(other)
        assert is_in(client)

    def test_another_person_s_place_is_not_found(self, sign_in, as_member, owner):
        sign_in()

        answer = as_member(owner).post(reverse("end-session", args=[SignedIn.objects.get(user__email="ada@club.example").pk]))

        assert answer.status_code == HTTPStatus.NOT_FOUND

    def test_everywhere_else(self, sign_in, as_member, owner):
        client, others, stranger = sign_in(), [sign_in(), sign_in()], as_member(owner)

        page = client.post(reverse("end-sessions"), follow=True)

        assert "in 2 places" in page.content.decode()
        assert [is_in(one) for one in (client, *others, stranger)] == [True, False, False, True]

    def test_everywhere(self, sign_in):
        client, other = sign_in(), sign_in()

        assert client.post(reverse("end-sessions"), {"here": "1"}).url == reverse("sign-in")
        assert [is_in(client), is_in(other)] == [False, False]

    def test_place_that_was_never_noted_ends_as_well(self, sign_in):
        client, other = sign_in(), sign_in()
        SignedIn.objects.all().delete()

        client.post(reverse("end-sessions"))

        assert not is_in(other)

    def test_new_password_ends_the_others(self, sign_in):
        client, other = sign_in(), sign_in()

        client.post(reverse("password"), {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW})

        assert [is_in(client), is_in(other)] == [True, False]
        assert len(sessions.of(SignedIn.objects.get().user)) == 1


class TestForgotten:
    def ask(self, client, address="ada@club.example"):
        return client.post(reverse("forgotten"), {"email": address})

    def link(self):
        return re.search(r"https?://[^/]+(/password/reset/\S+)", mail.outbox[0].body)[1]

    def test_answer_is_the_same_for_an_address_that_nobody_has(self, client, user):
        known, unknown = self.ask(client), self.ask(client, "crow@club.example")

        assert (known.status_code, known.url, known.content) == (unknown.status_code, unknown.url, unknown.content)
        assert [one.to for one in mail.outbox] == [["ada@club.example"]]

    def test_mail_goes_out_after_the_answer(self, client, user, monkeypatch):
        """So that the time that a mail takes doesn't tell either."""
        answer = self.ask(client)

        assert "close" in vars(type(answer))

    def test_link_sets_a_password_once_and_signs_out_everywhere(self, client, sign_in, user):
        other = sign_in()
        self.ask(client, "Ada@Club.Example")
        form = client.get(self.link(), follow=True)
        assert "Set a new password" in form.content.decode()

        done = client.post(form.redirect_chain[-1][0], {"new_password1": NEW, "new_password2": NEW}, follow=True)

        assert "sign in with it" in done.content.decode()
        assert SESSION_KEY not in client.session
        assert not is_in(other)
        assert is_in(sign_in(password=NEW))
        assert "This link no longer works" in Client().get(self.link(), follow=True).content.decode()

    def test_link_ends_after_three_days(self, client, user, clock):
        self.ask(client)
        clock.shift(timedelta(days=3, seconds=1))

        assert "This link no longer works" in client.get(self.link(), follow=True).content.decode()

    def test_weak_password_is_refused(self, client, user):
        self.ask(client)
        form = client.get(self.link(), follow=True)

        page = client.post(form.redirect_chain[-1][0], {"new_password1": "short", "new_password2": "short"})

        assert "at least 12 characters" in page.content.decode()

    def test_who_has_no_password_yet_gets_one_this_way(self, client, user):
        services.set_password(user=user, password=None)
        self.ask(client)

        assert len(mail.outbox) == 1

    def test_who_is_no_more_gets_none(self, client, user):
        user.is_active = False
        user.save()
        self.ask(client)

        assert not mail.outbox

    def test_nobody_is_buried_in_mails(self, client, user):
        for _ in range(3):
            assert self.ask(client).url == reverse("password-sent")

        assert len(mail.outbox) == 1

    def test_mail_names_the_address_that_the_site_was_given(self, client, user, settings):
        settings.RIVETLOFT_ADDRESS = "https://loft.example"
        self.ask(client)

        assert "https://loft.example/password/reset/" in mail.outbox[0].body

    def test_server_that_refuses_changes_nothing_of_the_answer(self, client, user, settings):
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9  # nobody listens there

        assert self.ask(client).url == reverse("password-sent")
