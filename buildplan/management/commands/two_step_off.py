"""`manage.py two_step_off`: lets a person in who lost both their phone and their backup codes."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from buildplan.management.base import SiteCommand
from inventory.models import User
from inventory.workshop import second_step


class Command(SiteCommand):
    help = "Turn two-step sign-in off for a person. Make sure first that it is they who ask."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", metavar="EMAIL")

    def handle(self, **options: Any) -> None:
        user = User.objects.filter(email=options["email"].strip().lower()).first()
        if user is None:
            raise CommandError(f"nobody has the address {options['email']}")
        was_on = second_step.is_on(user)
        second_step.turn_off(user=user)
        self.stdout.write(f"two-step sign-in of {user.email} is off now" if was_on else f"two-step sign-in of {user.email} was off already")
