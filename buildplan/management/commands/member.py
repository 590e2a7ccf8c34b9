"""`manage.py member`: who works in a workshop, and the link that lets them in."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import transaction

from buildplan.management.base import SiteCommand
from buildplan.management.links import sign_in_link
from inventory.common.problems import Problem
from inventory.models import Member, User
from inventory.workshop.models import Role
from inventory.workshop.queries import workshop_of
from inventory.workshop.services import hand, set_member


class Command(SiteCommand):
    help = "Make or change a member, and print a sign-in link that works once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", metavar="EMAIL")
        parser.add_argument("--workshop", required=True, metavar="W")
        parser.add_argument("--name", required=True, metavar="N")
        parser.add_argument("--role", required=True, choices=Role.values)

    def handle(self, **options: Any) -> None:
        try:
            member, made = _set(options)
        except Problem as problem:
            raise CommandError(str(problem)) from problem
        user = User.objects.get(memberships=member)
        self.stdout.write(f"{'made' if made else 'changed'}: {member.name}, {member.role} in {member.workshop.code}")
        self.stdout.write(f"sign in once at {sign_in_link(user)}")


@transaction.atomic
def _set(options: dict[str, Any]) -> tuple[Member, bool]:
    workshop = workshop_of(options["workshop"])
    return set_member(email=options["email"], workshop=workshop, name=options["name"], role=options["role"], by=hand(workshop))
