"""The only writer of invitations: a link makes whoever opens it a member, once."""

import logging
from datetime import datetime, timedelta
from smtplib import SMTPException

from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.core.validators import validate_email
from django.db import IntegrityError, transaction
from django_scopes import scope

from inventory.common.history import changed_by
from inventory.common.problems import FieldProblem, Problem
from inventory.common.texts import filled, optional
from inventory.workshop import memberships, policy, queries, services, tokens
from inventory.workshop.models import Bench, BenchHolder, Invitation, Member, Role, User

LASTS = timedelta(days=7)  # a starting value of ours
OPEN = "open"
MOST_NAME, MOST_EMAIL = 120, 254
_log = logging.getLogger(__name__)


class BadInvitation(Problem):
    """What no invitation can be."""

    title = "This can't be an invitation"


class AlreadyMade(Problem):
    """A form that was sent twice. The second time has no link to show: only the first answer had it."""

    status = 409
    title = "Made already"

    def __init__(self) -> None:
        """Say what to do where the first answer went astray."""
        super().__init__(
            "this form was sent before, and its link was shown then: if you missed it, withdraw that invitation and make another"
        )


class Gone(Problem):
    """An invitation that lets nobody in any more, or never was one."""

    status = 410
    title = "This invitation no longer works"


class AlreadyMember(Problem):
    """Who is a member needs no invitation: it stays good for somebody else."""

    status = 409
    title = "You are a member already"


@transaction.atomic
def invite(  # noqa: PLR0913 - what is said of who is to come
    *, name: str, role: str, prefix: str, now: datetime, by: Member, email: str = "", bench: Bench | None = None
) -> tuple[Invitation, str]:
    """An invitation to the workshop of `by`, and the secret of its link. That is the only time that anyone sees it: its digest is kept.

    `bench` is what they will hold. `prefix` is the start that the secret shall have; a form carries it, so that one sent twice makes one.
    """
    policy.require(by, "manage", bench)
    name, email = filled("name", name, MOST_NAME), _address(email)
    if role not in Role.values:
        raise FieldProblem("role", f"{role!r} is no role: there are {', '.join(Role.values)}")
    if bench is not None:
        _refuse_bench(bench, name, role)
    if not tokens.is_prefix(prefix, tokens.INVITATION):
        raise BadInvitation("this isn't how an invitation's secret starts: open the form anew")
    secret = tokens.make(prefix)
    row = Invitation(workshop_id=by.workshop_id, name=name, email=email, role=role, bench=bench, prefix=prefix, digest=secret.digest, by=by)
    row.made_at, row.expires_at = now, now + LASTS
    try:
        with transaction.atomic():
            changed_by(row, by).save()
    except IntegrityError as error:
        raise AlreadyMade from error
    return row, secret.text


def _address(text: str) -> str:
    address = optional("e-mail address", text, MOST_EMAIL).lower()
    if address:
        try:
            validate_email(address)
        except ValidationError as error:
            raise FieldProblem("email", f"{address} is no e-mail address") from error
    return address


def _refuse_bench(bench: Bench, name: str, role: str) -> None:
    if bench.shared:
        raise FieldProblem("bench", f"{bench.name} is shared: a shared bench is everybody's, and has no holders")
    memberships.refuse_as_holder(name, role, field="bench")


@transaction.atomic
def withdraw(*, invitation: Invitation, now: datetime, by: Member) -> Invitation:
    """Take an invitation back before it is used. Again changes nothing; a used one made a member, who leaves in another way."""
    policy.own(by, invitation)
    policy.require(by, "manage")
    row = Invitation.objects.select_for_update(no_key=True).get(pk=invitation.pk)
    if row.used_at is not None:
        raise Gone(f"{row.name} came by this invitation already: it can't be taken back")
    if row.withdrawn_at is None:
        row.withdrawn_at = now
        changed_by(row, by).save(update_fields=["withdrawn_at"])
    return row


def state(invitation: Invitation, now: datetime) -> str:
    """Where it stands, in a word."""
    if invitation.used_at is not None:
        return "used"
    if invitation.withdrawn_at is not None:
        return "withdrawn"
    return OPEN if now < invitation.expires_at else "expired"


def opened(*, secret: str, now: datetime) -> Invitation:
    """The invitation that a link opens, as long as it is good. It stays good: a mail scanner that looks at it uses nothing up."""
    found = queries.invitation_of(secret)
    if found is None:
        raise Gone("This link opens no invitation: it may have been cut off on its way. Ask for it once more.")
    _refuse_gone(found, now)
    return found


def _refuse_gone(invitation: Invitation, now: datetime) -> None:
    """The same page for all, with the sentence that fits: who holds the link was meant to know."""
    if invitation.used_at is not None:
        raise Gone(f"This invitation was used on {invitation.used_at:%Y-%m-%d}. Each lets one person in: ask for another.")
    if invitation.withdrawn_at is not None:
        raise Gone(f"This invitation was withdrawn on {invitation.withdrawn_at:%Y-%m-%d}. Ask for another if that was a mistake.")
    if now >= invitation.expires_at:
        raise Gone(f"This invitation ended on {invitation.expires_at:%Y-%m-%d}. Each lasts {LASTS.days} days: ask for another.")
    if not policy.allowed(invitation.by, "manage"):
        raise Gone("Whoever invited you may no longer do so. Ask an owner of the workshop for another.")


@transaction.atomic
def accept(*, secret: str, user: User, name: str, now: datetime) -> Member:
    """Make `user` a member by an invitation, which is used up by it. Of two at once one is let in.

    Somebody who left comes back as who they were, with what they did before.
    """
    name, found = filled("name", name, MOST_NAME), opened(secret=secret, now=now)
    with scope(workshop=found.workshop):
        services.lock(found.workshop)
        _refuse_gone(Invitation.objects.select_related("by").get(pk=found.pk), now)
        member = Member.objects.filter(user=user).first() or Member(workshop=found.workshop, user=user)
        if member.pk is not None and member.active:
            raise AlreadyMember(f"You are {member.role} in {found.workshop.name} already: leave the invitation to somebody else.")
        return _let_in(member, found, name, now)


def _let_in(member: Member, invitation: Invitation, name: str, now: datetime) -> Member:
    member.name, member.role, member.active, member.left_on = name, invitation.role, True, None
    changed_by(member, invitation.by).save()
    if invitation.bench is not None and not BenchHolder.objects.filter(bench=invitation.bench, member=member).exists():
        changed_by(BenchHolder(workshop=invitation.workshop, bench=invitation.bench, member=member), invitation.by).save()
    invitation.used_at, invitation.used_by = now, member
    changed_by(invitation, member).save(update_fields=["used_at", "used_by"])
    return member


@transaction.atomic
def accept_as_new(*, secret: str, email: str, password: str, name: str, now: datetime) -> Member:
    """Make an account and a member of it in one go. An address that has an account signs in first."""
    opened(secret=secret, now=now)
    address = _address(email)
    if not address:
        raise FieldProblem("email", "Give an e-mail address: you sign in with it.")
    if User.objects.filter(email=address).exists():
        raise FieldProblem("email", f"{address} has an account here: sign in with it, then open the invitation again.")
    return accept(secret=secret, user=User.objects.create_user(address, password), name=name, now=now)


def mail(*, invitation: Invitation, link: str) -> bool:
    """Send an invitation to its address, and whether it went out. The link was shown as well, so that nothing is lost otherwise."""
    workshop, days = invitation.workshop, LASTS.days
    text = (
        f"{invitation.name},\n\n{invitation.by.name} invites you to {workshop.name} on Rivetloft, as {invitation.role}.\n\n{link}\n\n"
        f"The link works once, for {days} days. If you don't know what this is about, leave it alone.\n"
    )
    try:
        return bool(EmailMessage(f"Invitation to {workshop.name}", text, to=[invitation.email]).send())
    except (OSError, SMTPException):
        _log.exception("an invitation could not be mailed")
        return False
