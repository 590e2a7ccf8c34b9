"""The only writer of workshops, members, benches and devices, and of sign-ins by link."""

from collections.abc import Collection
from datetime import datetime, timedelta

from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django_scopes import scope, scopes_disabled

from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.common.rows import find_or_make
from inventory.common.texts import filled
from inventory.workshop import policy, sessions, tokens
from inventory.workshop.models import Bench, Device, Member, RivetRounding, Role, User, Workshop

HAND = "command line"
MOST_RECEIVING_DAYS = 365
SEEN_EVERY = timedelta(minutes=1)  # a scanner sends several requests a second: to write each time would queue them behind one another


class BadMember(Problem):
    """An address or role that can't be a member's."""

    title = "This can't be a member"


class LastOwner(Problem):
    """A workshop without an owner could never be managed again."""

    status = 409
    title = "The last owner"


class BadSetting(Problem):
    """A figure or a word that can't be a workshop's setting."""

    title = "This setting doesn't do"


class BadDevice(Problem):
    """What no device can be, or can be no longer."""

    title = "This can't be a device"


class AlreadyIssued(Problem):
    """A form that was sent twice. The second time has no token to show: only the first answer had it."""

    status = 409
    title = "Issued already"

    def __init__(self) -> None:
        """Say what to do where the first answer went astray."""
        super().__init__("this form was sent before, and its token was shown then: if you missed it, revoke that device and issue another")


@transaction.atomic
def ensure_workshop(*, code: str, name: str | None = None) -> tuple[Workshop, bool]:
    """The workshop of `code` (matched ignoring case), made where there is none, and whether it was made.

    It has no bench yet. `name` is the name of a new one, its code unless given; one that is there keeps its own.
    """
    code = filled("workshop code", code, 40)
    name = filled("workshop name", name or code, 120)

    def make() -> Workshop:
        workshop = changed_by(Workshop(code=code, name=name), None)
        workshop.save()
        return workshop

    return find_or_make(lambda: Workshop.objects.filter(code__iexact=code).first(), make)


@transaction.atomic
def ensure_bench(*, workshop: Workshop, code: str, shared: bool = False, by: Member) -> tuple[Bench, bool]:
    """The bench of `code` in `workshop` (matched ignoring case), made where there is none, and whether it was made.

    `shared` is said of a new one; one that is there stays as it is.
    """
    policy.own(by, workshop)
    policy.require(by, "keep_stock")
    code = filled("bench code", code, 40)

    def make() -> Bench:
        bench = changed_by(Bench(workshop=workshop, code=code, name=code, shared=shared), by)
        bench.save()
        return bench

    with scope(workshop=workshop):
        return find_or_make(lambda: Bench.objects.filter(code__iexact=code).first(), make)


@transaction.atomic
def hand(workshop: Workshop) -> Member:
    """The workshop's own member that commands act by. It has no user, so nobody can sign in as it."""

    def make() -> Member:
        member = changed_by(Member(workshop=workshop, name=HAND, role=Role.STOREKEEPER), None)
        member.save()
        return member

    with scope(workshop=workshop):
        return find_or_make(lambda: Member.objects.filter(user=None, name=HAND).first(), make)[0]


@transaction.atomic
def set_member(*, email: str, workshop: Workshop, name: str, role: str, by: Member) -> tuple[Member, bool]:
    """Make the person of `email` a member, or change a member's name and role; and whether they were made one.

    Takes an owner, or the workshop's own hand: who has the command line has the database. A person who left becomes active
    again. Refuses to take the role from the last owner.
    """
    policy.own(by, workshop)
    if by.user_id is not None:
        policy.require(by, "manage")
    user, name, role = _user(email), filled("name", name, 120), _role(role)
    with scope(workshop=workshop):
        lock(workshop)  # two owners who demote each other at once: one of them stays
        member = Member.objects.filter(user=user).first()
        if member is not None and role != Role.OWNER:
            refuse_last_owner(member)
        return _save_member(member or Member(workshop=workshop, user=user), name, role, by), member is None


def _save_member(member: Member, name: str, role: str, by: Member) -> Member:
    member.name, member.role, member.active, member.left_on = name, role, True, None
    changed_by(member, by).save()
    return member


def _user(email: str) -> User:
    address = filled("e-mail address", email, 254).lower()
    try:
        validate_email(address)
    except ValidationError as error:
        raise BadMember(f"{address} is no e-mail address") from error
    return find_or_make(lambda: User.objects.filter(email=address).first(), lambda: User.objects.create_user(address))[0]


def _role(role: str) -> str:
    if role not in Role.values:
        raise BadMember(f"{role!r} is no role: there are {', '.join(Role.values)}")
    return role


def lock(workshop: Workshop) -> None:
    """Hold the workshop until the transaction ends: what is true of it as a whole is looked at and written in one go."""
    Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)


def refuse_last_owner(member: Member) -> None:
    """Raise `LastOwner` where nobody else could manage the workshop. Call it with the workshop locked."""
    if member.role != Role.OWNER or not member.active:
        return
    if not Member.objects.filter(role=Role.OWNER, active=True).exclude(user=None).exclude(pk=member.pk).exists():
        raise LastOwner(f"{member.name} is the last owner here: make somebody else an owner first")


class _SignInTokens(PasswordResetTokenGenerator):
    """Tokens that die with the next sign-in, to the microsecond, and after PASSWORD_RESET_TIMEOUT."""

    key_salt = "inventory.workshop.sign_in"

    def _make_hash_value(self, user: User, timestamp: int) -> str:
        last = "" if user.last_login is None else user.last_login.isoformat(timespec="microseconds")
        return f"{user.pk}:{user.password}:{user.email}:{user.is_active}:{last}:{timestamp}"


_tokens = _SignInTokens()


def sign_in_token(user: User) -> str:
    """A token that signs `user` in once, within PASSWORD_RESET_TIMEOUT. Any sign-in of theirs ends it. The link's uid is `user.pk`."""
    return _tokens.make_token(user)


def owner_of_link(uid: int | str, token: str) -> User | None:
    """Whom a link would sign in, as long as it is good. It stays good: a mail scanner that looks at it uses nothing up."""
    return _linked(User.objects.all(), uid, token)


@transaction.atomic
def use_sign_in_link(uid: int | str, token: str) -> User | None:
    """The user of a link that is good, which it is no longer after this; None for any other. Of two uses at once one is let in."""
    user = _linked(User.objects.select_for_update(no_key=True), uid, token)
    if user is None:
        return None
    now = timezone.now()
    # Strictly later, even where the clock stands or was set back: an equal instant would leave the token good.
    user.last_login = now if user.last_login is None else max(now, user.last_login + timedelta(microseconds=1))
    user.save(update_fields=["last_login"])
    return user


def _linked(users: QuerySet[User], uid: int | str, token: str) -> User | None:
    if not str(uid).isascii() or not str(uid).isdigit() or len(str(uid)) > len(str(2**63 - 1)) - 1:
        return None
    user = users.filter(pk=uid, is_active=True).first()
    return user if user is not None and _tokens.check_token(user, token) else None


@transaction.atomic
def set_password(*, user: User, password: str, but: str = "") -> None:
    """Give `user` a password, which ends every sign-in link and every session of theirs, save the one of key `but`."""
    user.set_password(password)
    user.save(update_fields=["password"])
    sessions.end_all(user=user, but=but)


@transaction.atomic
def set_receiving_days(*, workshop: Workshop, days: int, by: Member) -> Workshop:
    """How many days pass between a crate's arrival and its parts being usable: order-by days are that much earlier."""
    if not 0 <= days <= MOST_RECEIVING_DAYS:
        raise BadSetting(f"a receiving allowance of {days} days doesn't do: give 0 to {MOST_RECEIVING_DAYS}")
    return _set(workshop, "receiving_days", days, by)


@transaction.atomic
def set_rivet_rounding(*, workshop: Workshop, rounding: str, by: Member) -> Workshop:
    """How the exact length of a rivet becomes one that is made."""
    if rounding not in RivetRounding.values:
        raise BadSetting(f"{rounding!r} is no way of rounding: there are {', '.join(RivetRounding.values)}")
    return _set(workshop, "rivet_rounding", rounding, by)


def _set(workshop: Workshop, name: str, value: object, by: Member) -> Workshop:
    """Write one setting; the same value again leaves no trace in the history."""
    policy.own(by, workshop)
    policy.require(by, "manage")
    lock(workshop)
    workshop = Workshop.objects.get(pk=workshop.pk)
    if getattr(workshop, name) != value:
        setattr(workshop, name, value)
        changed_by(workshop, by).save(update_fields=[name])
    return workshop


@transaction.atomic
def issue_device(*, member: Member, name: str, scopes: Collection[str], by: Member, prefix: str = "") -> tuple[Device, str]:
    """A device of `member` with these scopes, and its token. That is the only time that anyone sees the token: its digest is kept.

    `prefix` is the start that its token shall have, else a new one. A form carries it, so that one sent twice issues one device.
    """
    policy.own(by, member)
    policy.require(by, "issue_devices")
    if by.pk != member.pk:
        raise policy.NotAllowed("a device acts in its member's name: everyone issues their own")
    if member.user_id is None:
        raise BadDevice(f"{member.name} is nobody who signs in: a device belongs to a person")
    if prefix and not tokens.is_prefix(prefix):
        raise BadDevice("this isn't how a token starts: open the form anew")
    token = tokens.make(prefix or tokens.make_prefix())
    name = filled("device's name", name, 80)
    device = Device(workshop=member.workshop, member=member, name=name, prefix=token.prefix, digest=token.digest, **_scopes(scopes))
    return _save_once(device, by), token.text


def _save_once(device: Device, by: Member) -> Device:
    def find() -> Device | None:
        with scopes_disabled():  # a prefix is one device's, whatever the workshop
            return Device.objects.filter(prefix=device.prefix).first()

    def make() -> Device:
        changed_by(device, by).save()
        return device

    kept, made = find_or_make(find, make)
    if not made:
        raise AlreadyIssued
    return kept


def _scopes(scopes: Collection[str]) -> dict[str, bool]:
    if not scopes or not set(scopes) <= set(policy.SCOPES):
        raise BadDevice(f"a device's scopes are one or more of {', '.join(policy.SCOPES)}")
    return {f"may_{name}": name in scopes for name in policy.SCOPES}


@transaction.atomic
def rename_device(*, device: Device, name: str, by: Member) -> Device:
    """Call a device something else."""
    device = _own_device(device, by)
    name = filled("device's name", name, 80)
    if device.name != name:
        device.name = name
        changed_by(device, by).save(update_fields=["name"])
    return device


@transaction.atomic
def revoke_device(*, device: Device, now: datetime, by: Member) -> Device:
    """End a device's token, for good. Again changes nothing: it stays revoked since the first time."""
    device = _own_device(device, by)
    if device.revoked_at is None:
        device.revoked_at = now
        changed_by(device, by).save(update_fields=["revoked_at"])
    return device


def _own_device(device: Device, by: Member) -> Device:
    """The device as it is now, locked. Its member's, or for who looks after everybody's."""
    policy.own(by, device)
    if device.member_id != by.pk or not by.active:
        policy.require(by, "all_devices")
    return Device.objects.select_for_update(no_key=True).get(pk=device.pk)


def saw(*, device: Device, now: datetime) -> None:
    """Note that a device was heard of, once a minute at most."""
    if device.last_seen is not None and now - device.last_seen < SEEN_EVERY:
        return
    stale = Q(last_seen=None) | Q(last_seen__lte=now - SEEN_EVERY)  # of requests at once, one writes
    with scope(workshop=device.workshop):
        Device.objects.filter(stale, pk=device.pk).update(last_seen=now)
    device.last_seen = now
