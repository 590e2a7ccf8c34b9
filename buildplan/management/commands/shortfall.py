"""`manage.py shortfall`: what to order, and by when."""

import json
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone
from django_scopes import scope

from buildplan.management.base import SiteCommand
from buildplan.management.dates import day
from buildplan.shortfall import answer, queries, text
from inventory.common.problems import Problem
from inventory.workshop.queries import workshop_of
from inventory.workshop.reading import by_clock_of


class Command(SiteCommand):
    help = "Print what a project's steps are short of, with reasons and order-by days."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--project", action="append", required=True, metavar="P", help="several are netted together")
        parser.add_argument("--before", type=day, metavar="DATE", help="the steps planned up to this day, and all they wait for")
        parser.add_argument("--as-of", type=day, metavar="DATE", help="count from this day instead of today")
        parser.add_argument("--workshop", metavar="W")
        parser.add_argument("--all", action="store_true", help="also the items that are met")
        parser.add_argument("--why", action="store_true", help="every reason of each line")
        parser.add_argument("--json", action="store_true")

    def handle(self, **options: Any) -> None:
        try:
            found = self._found(**options)
        except Problem as problem:
            raise CommandError(str(problem)) from problem
        if options["json"]:
            self.stdout.write(json.dumps(answer.as_object(found, every=options["all"]), indent=1, ensure_ascii=False))
        else:
            self.stdout.write(text.order_list(found, every=options["all"], reasons=options["why"]))

    def _found(self, **options: Any) -> queries.Shortfall:
        workshop = workshop_of(options["workshop"])
        with scope(workshop=workshop), by_clock_of(workshop):
            named = queries.projects(options["project"])
            as_of = options["as_of"] or timezone.localdate()
            return queries.shortfall(named, before=options["before"], as_of=as_of)
