"""`manage.py digest`: what is due, by mail to those who asked for it. For a timer, once a day."""

import json
import sys
from argparse import ArgumentTypeError
from dataclasses import asdict
from typing import Any

from django.conf import settings
from django.core.mail import get_connection
from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from buildplan.management.base import SiteCommand
from buildplan.management.links import ADDRESS
from buildplan.reminders.queries import MOST_DAYS
from buildplan.reminders.services import Outcome, Told, send_digests
from inventory.common.problems import Problem
from inventory.workshop.queries import workshop_of

DAYS = 14


def _days(text: str) -> int:
    """A number of days; wrong usage (exit 2) where it is none."""
    if text.isascii() and text.isdigit() and 0 < int(text[:9]) <= MOST_DAYS:
        return int(text)
    message = f"{text!r}: give 1 to {MOST_DAYS} days"
    raise ArgumentTypeError(message)


class Command(SiteCommand):
    help = "Mail what is due to each member who asked for it: once a day at most, and nothing where nothing is due."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--days", type=_days, default=DAYS, metavar="N", help=f"how far to look ahead ({DAYS})")
        parser.add_argument("--to", metavar="EMAIL", help="only the mail of this member")
        parser.add_argument("--workshop", metavar="W", help="only the members of this workshop")
        parser.add_argument("--json", action="store_true", help="print what became of each mail as JSON")

    def handle(self, **options: Any) -> None:
        try:
            told = self._told(**options)
        except Problem as problem:
            raise CommandError(str(problem)) from problem
        if options["json"]:
            self.stdout.write(json.dumps({"mails": [asdict(one) for one in told]}, indent=1, ensure_ascii=False))
        else:
            for one in told:
                self.stdout.write(_text(one))
            self.stdout.write(f"{sum(one.outcome == Outcome.SENT for one in told)} of {len(told)} mails sent")
        if any(one.outcome == Outcome.FAILED for one in told):
            raise CommandError("not every mail was sent: run this again once the mail server answers")

    def _told(self, **options: Any) -> list[Told]:
        return send_digests(
            now=timezone.now(),
            days=options["days"],
            base=settings.RIVETLOFT_ADDRESS or ADDRESS,
            connection=get_connection(stream=sys.stderr if options["json"] else sys.stdout),  # the stream is the console backend's
            workshop=None if options["workshop"] is None else workshop_of(options["workshop"]),
            to=options["to"],
        )


def _text(one: Told) -> str:
    return f"{one.workshop}  {one.to}: {one.outcome}{f', {one.why}' if one.why else ''} ({one.things} due)"
