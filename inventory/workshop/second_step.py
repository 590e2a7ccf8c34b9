"""Two-step sign-in: a code of an authenticator app after the password or the link, and backup codes for a lost phone.

The app's secret is kept as it is, since codes are reckoned from it (RFC 6238). Of a backup code only a keyed digest is kept.
"""

import base64
import secrets

from django.db import transaction
from django.utils.crypto import salted_hmac
from django_otp.plugins.otp_static.models import StaticDevice, StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from inventory.common.problems import FieldProblem, Problem
from inventory.workshop.models import User

CODES = 10
DIGITS = 6
_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"  # without 0 and o, 1, i and l: a backup code is copied by hand
_CODE_LENGTH = 10
_KEPT = 10  # bytes of a digest: sixteen characters in base 32, the column's


class WrongCode(FieldProblem):
    """A code that doesn't do, and what would."""

    title = "This code doesn't do"

    def __init__(self) -> None:
        """The same for a wrong, a used and a hurried one."""
        super().__init__("code", "This code doesn't do. Wait for the app's next one: each works once, and after a wrong one comes a pause.")


class NotStarted(Problem):
    """Confirming what was never begun, or was confirmed before."""

    status = 409
    title = "Nothing to confirm"


def is_on(user: User) -> bool:
    """Whether `user` is asked for a code. One query."""
    return bool(TOTPDevice.objects.filter(user=user, confirmed=True).exists())


def pending(user: User) -> TOTPDevice | None:
    """What was begun and not confirmed yet."""
    return TOTPDevice.objects.filter(user=user, confirmed=False).order_by("-pk").first()


def codes_left(user: User) -> int:
    """How many backup codes are unused."""
    return int(StaticToken.objects.filter(device__user=user).count())


def readable_key(device: TOTPDevice) -> str:
    """The app's secret for who can't take the picture: base 32, in fours."""
    text = base64.b32encode(device.bin_key).decode("ascii").rstrip("=")
    return " ".join(text[at : at + 4] for at in range(0, len(text), 4))


@transaction.atomic
def start(*, user: User) -> TOTPDevice:
    """A new secret for the app, which counts once a code of it is given. What was begun before ends."""
    _hold(user)
    if is_on(user):
        raise NotStarted("two-step sign-in is on already: turn it off first to set up another app")
    TOTPDevice.objects.filter(user=user, confirmed=False).delete()
    return TOTPDevice.objects.create(user=user, name="app", confirmed=False)


def confirm(*, user: User, code: str) -> tuple[str, ...]:
    """Turn it on by a code of the app, which shows that the secret arrived. Gives the backup codes: nobody sees them again.

    A wrong code starts a pause, which is kept: call it outside any transaction.
    """
    if not _fits(user, code, confirmed=False):
        raise WrongCode
    with transaction.atomic():
        _hold(user)
        if not TOTPDevice.objects.filter(user=user, confirmed=False).update(confirmed=True):
            raise NotStarted("two-step sign-in is on already")
        return _new_codes(user)


def check(*, user: User, code: str) -> bool:
    """Whether a code lets `user` in: the app's, or a backup code, which is used up by it. A wrong one starts a pause, as in `confirm`."""
    text = _plain(code)
    if len(text) == DIGITS and text.isdecimal():
        return _fits(user, text, confirmed=True)
    return _uses_up(user, text)


@transaction.atomic
def renew_codes(*, user: User) -> tuple[str, ...]:
    """New backup codes in place of all earlier ones. Ask for a code first."""
    _hold(user)
    if not is_on(user):
        raise NotStarted("two-step sign-in is off: there are no backup codes without it")
    return _new_codes(user)


@transaction.atomic
def turn_off(*, user: User) -> None:
    """Ask for no code any more. Ask for one first, unless whoever runs the site does it."""
    _hold(user)
    for model in (TOTPDevice, StaticDevice):
        model.objects.filter(user=user).delete()


def _hold(user: User) -> None:
    User.objects.select_for_update(no_key=True).get(pk=user.pk)


@transaction.atomic
def _fits(user: User, code: str, *, confirmed: bool) -> bool:
    device = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=confirmed).order_by("-pk").first()
    return device is not None and bool(device.verify_token(_plain(code)))


@transaction.atomic
def _uses_up(user: User, text: str) -> bool:
    device = StaticDevice.objects.select_for_update().filter(user=user, confirmed=True).first()
    return device is not None and bool(device.verify_token(_kept(user, text)))


def _new_codes(user: User) -> tuple[str, ...]:
    StaticDevice.objects.filter(user=user).delete()
    device = StaticDevice.objects.create(user=user, name="backup codes")
    made = ["".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH)) for _ in range(CODES)]
    StaticToken.objects.bulk_create(StaticToken(device=device, token=_kept(user, code)) for code in made)
    return tuple(f"{code[:5]}-{code[5:]}" for code in made)


def _kept(user: User, text: str) -> str:
    """What is kept of a backup code: who reads the database alone can't try codes against it."""
    digest = salted_hmac("inventory.workshop.second_step", f"{user.pk}:{text}", algorithm="sha256").digest()
    return base64.b32encode(digest[:_KEPT]).decode("ascii")


def _plain(code: str) -> str:
    """As it is compared: blanks and hyphens are for the eye."""
    return "".join(code.split()).replace("-", "").lower()
