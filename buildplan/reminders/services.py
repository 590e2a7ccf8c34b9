"""The mails that go out, one a member and day."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import groupby
from smtplib import SMTPException
from typing import Any

from django.core.mail import EmailMessage
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from buildplan.reminders import mail, queries
from buildplan.reminders.queries import Due
from inventory.common.problems import Problem
from inventory.models import DigestMail, Workshop
from inventory.workshop import feeds
from inventory.workshop.queries import digest_mails
from inventory.workshop.reading import by_clock_of


class Outcome(StrEnum):
    """What became of a member's mail."""

    SENT = "sent"
    NOTHING = "nothing due"
    BEFORE = "sent today already"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Told:
    """What became of one member's mail; `things` are due, `why` says what failed."""

    workshop: str
    to: str
    things: int
    outcome: Outcome
    why: str = ""


def send_digests(  # noqa: PLR0913 - the parts of one run
    *, now: datetime, days: int, base: str, connection: Any, workshop: Workshop | None = None, to: str | None = None
) -> list[Told]:
    """Send each member who asked for it what is due. One who has nothing to do, or whose mail of today went out, gets none.

    Today is today in each workshop's own zone. The day is taken before a mail is sent, so that two runs at once send
    one; where sending fails it is given back.
    """
    wanted = digest_mails(workshop=workshop, to=to)
    if to is not None and not wanted:
        raise Problem(f"nobody of the address {to} asked for the mail: it is asked for on the page Reminders")
    told: list[Told] = []
    for _, mails in groupby(wanted, key=lambda one: one.workshop_id):
        told.extend(_of_workshop(list(mails), now, days, base, connection))
    return told


def _of_workshop(mails: list[DigestMail], now: datetime, days: int, base: str, connection: Any) -> list[Told]:
    workshop = mails[0].workshop
    with scope(workshop=workshop), by_clock_of(workshop):
        found = queries.due_of([one.member_id for one in mails], today=timezone.localdate(now), days=days)
        return [_told(one, found[one.member_id], base, connection) for one in mails]


def _told(one: DigestMail, found: Due, base: str, connection: Any) -> Told:
    return Told(one.workshop.code, _address(one), len(found.to_do), *_send(one, found, base, connection))


def _send(one: DigestMail, found: Due, base: str, connection: Any) -> tuple[Outcome, str]:
    if not found.to_do:
        return Outcome.NOTHING, ""
    if not feeds.take_day(mail=one, today=found.as_of):
        return Outcome.BEFORE, ""
    text = mail.body(found, base=base, page=reverse("reminders"))
    try:
        EmailMessage(mail.subject(one.workshop, found), text, to=[_address(one)], connection=connection).send()
    except (SMTPException, OSError) as error:
        feeds.give_day_back(mail=one, today=found.as_of)
        return Outcome.FAILED, str(error) or type(error).__name__
    return Outcome.SENT, ""


def _address(one: DigestMail) -> str:
    return one.member.user.email if one.member.user else ""
