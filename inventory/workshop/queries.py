"""Reads of who works where."""

from dataclasses import dataclass
from typing import Any

from django.db.models import F, Prefetch, QuerySet
from django_scopes import scopes_disabled

from inventory.common.problems import Problem
from inventory.workshop import policy, tokens
from inventory.workshop.models import Bench, BenchHolder, Device, DigestMail, FeedAddress, Invitation, Member, User, Workshop


def membership(user: Any, named: str | None, chosen: str | None) -> Member | None:
    """The active membership that a request acts under, with its workshop. One query.

    `named` (a workshop code in the address) wins and must be one of theirs, else there is no membership: a foreign workshop
    looks like one that doesn't exist. `chosen` is the session's; where it is gone, the first membership serves.
    """
    if not user.is_authenticated:
        return None
    found = memberships(user)
    by_code = {member.workshop.code.upper(): member for member in found}
    if named is not None:
        return by_code.get(named.upper())
    return by_code.get((chosen or "").upper()) or (found[0] if found else None)


def memberships(user: User) -> list[Member]:
    """Where a person is a member, with the workshops, by their codes. One query."""
    with scopes_disabled():  # they are found across workshops, before any is the scope
        return list(Member.objects.filter(user_id=user.pk, active=True).select_related("workshop").order_by("workshop__code"))


def device_of(text: str) -> Device | None:
    """The device that a token is of, with its member, user and workshop; None for one that is unknown or revoked, or whose member left.

    One query, none for a text that can't be a token. The prefix finds the row, which is no secret; the rest is compared in constant time.
    """
    token = tokens.read(text)
    if token is None:
        return None
    good = {"revoked_at": None, "member__active": True, "member__user__is_active": True}
    with scopes_disabled():  # it is found across workshops, before any is the scope
        device = Device.objects.filter(prefix=token.prefix, **good).select_related("member__user", "workshop").first()
    if device is None or not token.is_of(device.digest):
        return None
    device.member.workshop = device.workshop  # the same row: spares a query
    return device


def devices(member: Member) -> QuerySet[Device]:
    """The devices that a member may see and revoke: their own, or everybody's; in use first, then by name."""
    found = Device.objects.select_related("member")
    if not policy.allowed(member, "all_devices"):
        found = found.filter(member=member)
    return found.order_by(F("revoked_at").desc(nulls_first=True), "name", "pk")


def feed_of(text: str) -> FeedAddress | None:
    """The feed that a secret opens, with its member and workshop; None for one that is unknown or ended, or whose member left.

    One query, none for a text that can't be a secret. As with a device's token, the prefix finds the row and the rest is compared.
    """
    secret = tokens.read(text, tokens.FEED)
    if secret is None:
        return None
    with scopes_disabled():  # it is found across workshops, before any is the scope
        found = FeedAddress.objects.filter(prefix=secret.prefix, member__active=True, member__user__is_active=True)
        address = found.select_related("member", "workshop").first()
    return address if address is not None and secret.is_of(address.digest or "") else None


def invitation_of(text: str) -> Invitation | None:
    """The invitation that a secret opens, used up or not, with its workshop, bench and who invited. One query, as for a feed."""
    secret = tokens.read(text, tokens.INVITATION)
    if secret is None:
        return None
    with scopes_disabled():  # it is found across workshops, before any is the scope
        found = Invitation.objects.filter(prefix=secret.prefix).select_related("by__workshop", "workshop", "bench").first()
    return found if found is not None and secret.is_of(found.digest) else None


def came_by(invitation: Invitation, user: User) -> bool:
    """Whether it made `user` the member that they are. One query."""
    if invitation.used_by_id is None:
        return False
    with scopes_disabled():  # likewise
        return Member.objects.filter(pk=invitation.used_by_id, user_id=user.pk, active=True).exists()


@dataclass(frozen=True, slots=True)
class Person:
    """A member and the benches that they hold."""

    member: Member
    benches: tuple[Bench, ...]


def people() -> list[Person]:
    """Who works here, who left last, each with their benches; without the workshop's own hand. Two queries."""
    held = Prefetch("benches", BenchHolder.objects.select_related("bench").order_by("bench__code"))
    found = Member.objects.exclude(user=None).select_related("user").prefetch_related(held).order_by("-active", "name", "pk")
    return [Person(member, tuple(row.bench for row in member.benches.all())) for member in found]


@dataclass(frozen=True, slots=True)
class Held:
    """A bench and who holds it."""

    bench: Bench
    holders: tuple[Member, ...]


def benches() -> list[Held]:
    """The benches with their holders. Two queries."""
    held = Prefetch("holders", BenchHolder.objects.select_related("member").order_by("member__name", "pk"))
    found = Bench.objects.prefetch_related(held).order_by("shared", "code")
    return [Held(bench, tuple(row.member for row in bench.holders.all())) for bench in found]


def invitations() -> QuerySet[Invitation]:
    """All of the workshop, the newest first, with their benches, who invited and who came. One query."""
    return Invitation.objects.select_related("bench", "by", "used_by").order_by("-made_at", "-pk")


def digest_mails(*, workshop: Workshop | None = None, to: str | None = None) -> list[DigestMail]:
    """Who wants what is due by mail, with their members, users and workshops: everywhere, of one workshop, of one address. One query."""
    named = {"workshop": workshop, "member__user__email__iexact": to}
    with scopes_disabled():  # the mails of all workshops go out in one run
        wanted = DigestMail.objects.filter(wanted=True, member__active=True, member__user__is_active=True)
        wanted = wanted.filter(**{name: value for name, value in named.items() if value is not None})
        return list(wanted.select_related("member__user", "workshop").order_by("workshop__code", "member__user__email"))


def workshop_of(code: str | None) -> Workshop:
    """The workshop of a code (any case), or the only one. Raises a `Problem` that lists them. One query."""
    found = {workshop.code.upper(): workshop for workshop in Workshop.objects.order_by("code")}
    if code is None and len(found) == 1:
        return next(iter(found.values()))
    if code is None or code.strip().upper() not in found:
        listed = ", ".join(workshop.code for workshop in found.values()) or "none yet"
        what = "name the workshop with --workshop" if code is None else f"no workshop {code}"
        raise Problem(f"{what}: the workshops are {listed}")
    return found[code.strip().upper()]
