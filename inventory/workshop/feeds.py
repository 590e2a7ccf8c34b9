"""The only writer of feed addresses, and of who wants what is due by mail."""

from datetime import date, datetime

from django.db import IntegrityError, transaction
from django.db.models import Q

from inventory.common.history import changed_by
from inventory.common.problems import Problem
from inventory.common.rows import find_or_make
from inventory.workshop import policy, tokens
from inventory.workshop.models import DigestMail, FeedAddress, Member


class BadAddress(Problem):
    """What no feed address can be."""

    title = "This can't be a feed address"


class AlreadyMade(Problem):
    """A form that was sent twice. The second time has no address to show: only the first answer had it."""

    status = 409
    title = "Made already"

    def __init__(self) -> None:
        """Say what to do where the first answer went astray."""
        super().__init__("this form was sent before, and its address was shown then: if you missed it, make another")


@transaction.atomic
def make_feed_address(*, member: Member, prefix: str, now: datetime, by: Member) -> tuple[FeedAddress, str]:
    """A new secret for the member's calendar feed, which ends the one before. Nobody sees it again: its digest is kept.

    `prefix` is the start that the secret shall have. A form carries it, so that one sent twice makes one address.
    """
    _own(member, by)
    if not tokens.is_prefix(prefix, tokens.FEED):
        raise BadAddress("this isn't how a feed's secret starts: open the form anew")
    _lock(member)  # the same form twice at once: the later finds what the first left in the history
    if FeedAddress.history.filter(prefix=prefix).exists():
        raise AlreadyMade
    secret = tokens.make(prefix)
    address = FeedAddress.objects.filter(member=member).first() or FeedAddress(workshop=member.workshop, member=member)
    address.prefix, address.digest, address.made_at = secret.prefix, secret.digest, now
    try:
        with transaction.atomic():
            changed_by(address, by).save()
    except IntegrityError as error:  # another member's form had this start
        raise AlreadyMade from error
    return address, secret.text


@transaction.atomic
def end_feed_address(*, member: Member, by: Member) -> bool:
    """End the member's feed, and whether there was one."""
    _own(member, by)
    _lock(member)
    address = FeedAddress.objects.filter(member=member).first()
    if address is None or address.prefix is None:
        return False
    address.prefix = address.digest = None
    changed_by(address, by).save(update_fields=["prefix", "digest"])
    return True


@transaction.atomic
def end_all(*, member: Member, by: Member) -> None:
    """End the feed and the mails of a member who leaves. Whoever ends a membership may."""
    address = FeedAddress.objects.filter(member=member, prefix__isnull=False).first()
    if address is not None:
        address.prefix = address.digest = None
        changed_by(address, by).save(update_fields=["prefix", "digest"])
    mail = DigestMail.objects.filter(member=member, wanted=True).first()
    if mail is not None:
        mail.wanted = False
        changed_by(mail, by).save(update_fields=["wanted"])


@transaction.atomic
def want_digest(*, member: Member, wanted: bool, by: Member) -> DigestMail:
    """Ask for what is due by mail, or ask no longer."""
    _own(member, by)
    _lock(member)

    def make() -> DigestMail:
        made = changed_by(DigestMail(workshop=member.workshop, member=member, wanted=wanted), by)
        made.save()
        return made

    kept, _ = find_or_make(lambda: DigestMail.objects.filter(member=member).first(), make)
    if kept.wanted != wanted:
        kept.wanted = wanted
        changed_by(kept, by).save(update_fields=["wanted"])
    return kept


def take_day(*, mail: DigestMail, today: date) -> bool:
    """Take the day for the one mail that it has, before it is sent; False where another run took it, or nobody wants it any more."""
    free = DigestMail.objects.filter(Q(sent_on=None) | ~Q(sent_on=today), pk=mail.pk, wanted=True)
    return bool(free.update(sent_on=today))


def give_day_back(*, mail: DigestMail, today: date) -> None:
    """The mail of `today` did not go out: the next run tries again."""
    DigestMail.objects.filter(pk=mail.pk, sent_on=today).update(sent_on=mail.sent_on)


def _own(member: Member, by: Member) -> None:
    policy.require(by, "read")
    if by.pk != member.pk:
        raise policy.NotAllowed("a feed and a mail are their member's own: everyone asks for theirs")
    if member.user_id is None:
        raise BadAddress(f"{member.name} is nobody who signs in: a feed belongs to a person")


def _lock(member: Member) -> None:
    Member.objects.select_for_update().get(pk=member.pk)
