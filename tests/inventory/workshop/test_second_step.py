"""Two-step sign-in: set up, asked for, backup codes, turned off; wrong codes count."""

import re
from datetime import timedelta
from http import HTTPStatus

import pytest
import time_machine
from django.contrib.auth import SESSION_KEY
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from django_otp.oath import totp
from django_otp.plugins.otp_static.models import StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from inventory.workshop import second_step, services
from tests import factories
from tests.loads import run

PASSWORD = "a long way to the sea"
START = "2027-02-20T09:00:00Z"
BACKEND = "django.contrib.auth.backends.ModelBackend"


def code(user, steps=0):
    """What the app shows, now or so many half minutes later."""
    device = TOTPDevice.objects.get(user=user)
    return f"{totp(device.bin_key, t0=-30 * steps):06}"


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
def backup(user, clock):
    """It is on; the backup codes. The app has gone on to its next code."""
    second_step.start(user=user)
    codes = second_step.confirm(user=user, code=code(user))
    clock.shift(timedelta(seconds=30))
    return codes


def give_password(client, **more):
    return client.post(reverse("sign-in"), {"username": "ada@club.example", "password": PASSWORD, **more})


def give_code(client, text):
    return client.post(reverse("sign-in-code"), {"code": text})


def is_in(client):
    return SESSION_KEY in client.session


class TestSetUp:
    def test_secret_counts_once_a_code_confirms_it(self, user):
        second_step.start(user=user)
        assert not second_step.is_on(user)

        assert len(second_step.confirm(user=user, code=code(user))) == 10
        assert second_step.is_on(user)

    def test_wrong_code_confirms_nothing(self, user):
        second_step.start(user=user)

        with pytest.raises(second_step.WrongCode):
            second_step.confirm(user=user, code="000000" if code(user) != "000000" else "000001")
        assert not second_step.is_on(user)

    def test_start_again_ends_the_secret_before(self, user):
        first = second_step.start(user=user).key
        assert second_step.start(user=user).key != first
        assert TOTPDevice.objects.count() == 1

    def test_start_while_it_is_on_is_refused(self, user, backup):
        with pytest.raises(second_step.NotStarted, match="on already"):
            second_step.start(user=user)

    def test_backup_codes_are_kept_as_digests_alone(self, user, backup):
        kept = " ".join(StaticToken.objects.values_list("token", flat=True)).lower()

        assert len(set(backup)) == 10
        assert not [one for one in backup if one.replace("-", "") in kept]

    def test_key_to_type_in_is_the_one_in_the_picture(self, user):
        device = second_step.start(user=user)

        assert f"secret={second_step.readable_key(device).replace(' ', '')}&" in device.config_url
        assert "issuer=Rivetloft" in device.config_url


class TestCheck:
    def test_code_works_once(self, user, backup):
        shown = code(user)

        assert second_step.check(user=user, code=f"{shown[:3]} {shown[3:]}")
        assert not second_step.check(user=user, code=shown)

    @pytest.mark.parametrize(("steps", "fits"), [(-2, False), (-1, True), (1, True), (2, False)])
    def test_code_of_the_half_minute_before_or_after_works_and_no_other(self, user, backup, clock, steps, fits):
        clock.shift(timedelta(minutes=5))

        assert second_step.check(user=user, code=code(user, steps)) == fits

    def test_backup_code_works_once_however_it_is_typed(self, user, backup):
        assert second_step.check(user=user, code=backup[0].upper().replace("-", " "))
        assert not second_step.check(user=user, code=backup[0])
        assert second_step.codes_left(user) == 9

    def test_after_a_wrong_one_comes_a_pause(self, user, backup, clock):
        assert not second_step.check(user=user, code="000000" if code(user) != "000000" else "000001")
        assert not second_step.check(user=user, code=code(user))
        clock.shift(timedelta(seconds=30))
        assert second_step.check(user=user, code=code(user))

    def test_codes_of_another_do_nothing(self, user, backup):
        other = factories.UserFactory()

        assert not second_step.check(user=other, code=code(user))
        assert not second_step.check(user=other, code=backup[0])

    def test_what_is_no_code_is_wrong(self, user, backup, clock):
        for text in ("", "²²²²²²", "abc", "-" * 20, "1234567"):
            assert not second_step.check(user=user, code=text)
            clock.shift(timedelta(hours=1))


class TestSignIn:
    def test_without_it_the_password_alone_signs_in(self, client, user):
        assert give_password(client).url == reverse("home")
        assert is_in(client)

    def test_password_alone_signs_nobody_in(self, client, user, backup):
        assert give_password(client).url == reverse("sign-in-code")

        assert not is_in(client)
        assert client.get(reverse("home")).status_code == HTTPStatus.FOUND

    def test_code_after_the_password_signs_in_and_leads_on(self, client, user, backup):
        give_password(client, next=reverse("shelves"))

        answer = give_code(client, code(user))

        assert answer.url == reverse("shelves")
        assert is_in(client)

    def test_link_asks_for_the_code_too(self, client, user, backup):
        uid = urlsafe_base64_encode(force_bytes(user.pk))
        answer = client.post(reverse("sign-in-link", args=[uid, services.sign_in_token(user)]))

        assert answer.url == reverse("sign-in-code")
        assert not is_in(client)
        assert give_code(client, backup[3]).url == reverse("home")
        assert is_in(client)

    def test_code_without_a_password_leads_back_to_it(self, client, user, backup):
        assert give_code(client, code(user)).url == reverse("sign-in")
        assert not is_in(client)

    def test_password_waits_for_ten_minutes(self, client, user, backup, clock):
        give_password(client)
        clock.shift(timedelta(minutes=10, seconds=1))

        assert give_code(client, code(user)).url == reverse("sign-in")

    def test_password_changed_meanwhile_does_not_count(self, client, user, backup):
        give_password(client)
        services.set_password(user=user, password="another long way home")

        assert give_code(client, code(user)).url == reverse("sign-in")

    def test_wrong_code_shows_the_form_again(self, client, user, backup):
        give_password(client)
        answer = give_code(client, "abcde-fghij")

        assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "This code doesn&#x27;t do" in answer.content.decode()
        assert not is_in(client)

    def test_wrong_codes_lock_out_as_wrong_passwords_do(self, client, user, backup, clock):
        give_password(client)
        answers = []
        for _ in range(10):
            answers.append(give_code(client, "abcde-fghij"))
            clock.shift(timedelta(seconds=1))

        assert "Too many tries" in answers[-1].content.decode()
        assert "Too many tries" in give_code(client, backup[0]).content.decode()
        assert not is_in(client)
        assert second_step.codes_left(user) == 10
        assert "Too many tries" in give_password(client).content.decode()

    def test_token_of_a_device_needs_no_code(self, as_device, user, backup):
        assert as_device(user.memberships.get(), "read").get(reverse("api-me")).status_code == HTTPStatus.OK

    def test_reset_password_still_asks_for_the_code(self, client, user, backup):
        services.set_password(user=user, password=PASSWORD)

        assert give_password(client).url == reverse("sign-in-code")


class TestPages:
    @pytest.fixture
    def inside(self, client, user):
        client.force_login(user, backend=BACKEND)
        return client

    def test_set_up_page_shows_picture_and_key_until_a_code_confirms(self, inside, user):
        assert "It is off" in inside.get(reverse("two-step")).content.decode()

        page = inside.post(reverse("two-step"), follow=True)

        assert page["Cache-Control"].count("no-store")
        assert 'src="data:image/svg+xml' in page.content.decode()
        assert second_step.readable_key(TOTPDevice.objects.get()) in page.content.decode()
        done = inside.post(reverse("confirm-two-step"), {"code": code(user)})
        assert len(re.findall(r"<li><code>([\w-]+)</code>", done.content.decode())) == 10
        assert "no-store" in done["Cache-Control"]
        assert "It is on. 10 backup codes are left" in inside.get(reverse("two-step")).content.decode()

    def test_wrong_code_shows_the_set_up_again(self, inside, user):
        inside.post(reverse("two-step"))

        page = inside.post(reverse("confirm-two-step"), {"code": "nonsense"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert 'src="data:image/svg+xml' in page.content.decode()
        assert TOTPDevice.objects.get().throttling_failure_count == 1  # kept, though the form was refused

    def test_secret_is_not_shown_once_it_is_on(self, inside, user, backup):
        page = inside.post(reverse("two-step")).content.decode()

        assert "data:image/svg" not in page
        assert second_step.readable_key(TOTPDevice.objects.get()) not in page

    @pytest.mark.parametrize("name", ["renew-codes", "end-two-step"])
    def test_change_takes_a_code(self, inside, user, backup, name):
        page = inside.post(reverse(name), {"code": "nonsense"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert second_step.is_on(user)
        assert second_step.codes_left(user) == 10

    def test_new_backup_codes_void_the_old_ones(self, inside, user, backup, clock):
        page = inside.post(reverse("renew-codes"), {"code": code(user)}).content.decode()

        new = re.findall(r"<li><code>([\w-]+)</code>", page)
        assert len(new) == 10
        assert not {*new} & {*backup}
        assert second_step.check(user=user, code=new[0])
        assert not second_step.check(user=user, code=backup[1])

    def test_code_turns_it_off(self, inside, user, backup):
        inside.post(reverse("end-two-step"), {"code": code(user)})

        assert not second_step.is_on(user)
        assert not StaticToken.objects.exists()

    def test_code_is_not_taken_for_another_s_account(self, client, user, backup, workshop):
        other = factories.MemberFactory(workshop=workshop)
        client.force_login(other.user, backend=BACKEND)

        client.post(reverse("end-two-step"), {"code": code(user)})

        assert second_step.is_on(user)


def test_command_turns_it_off_for_who_lost_everything(user, backup):
    found = run("two_step_off", "Ada@club.example")

    assert (found.code, found.out.strip()) == (0, "two-step sign-in of ada@club.example is off now")
    assert not second_step.is_on(user)
    assert run("two_step_off", "ada@club.example").out.strip().endswith("off already")
    assert run("two_step_off", "crow@club.example").code == 1
