"""`manage.py trace`: where a lot went, or what went into a step, a section or an aeroplane."""

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django_scopes import scope

from buildplan.trace import answer
from buildplan.trace.asking import AskOne, found_by
from buildplan.trace.queries import CameFrom, Went
from inventory.common.problems import Problem
from inventory.workshop.queries import workshop_of
from inventory.workshop.reading import by_clock_of


class Command(BaseCommand):
    help = "Print where a lot went, or what went into a step, a section, a project or an assembly, and how sure that is."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--lot", metavar="L", help="a maker's lot code; or #17, the lot of that number")
        parser.add_argument("--item", metavar="I", help="with --lot: of this item alone")
        parser.add_argument("--project", metavar="P", help="what went into it")
        parser.add_argument("--step", metavar="S", help="with --project: what went into this step")
        parser.add_argument("--section", metavar="NAME", help="with --project: what went into this section")
        parser.add_argument("--assembly", metavar="N", help="the number of an assembly")
        parser.add_argument("--workshop", metavar="W")
        parser.add_argument("--why", action="store_true", help="every reason of each line")
        parser.add_argument("--json", action="store_true")

    def handle(self, **options: Any) -> None:
        try:
            found = self._found(**options)
        except Problem as problem:
            raise CommandError(str(problem)) from problem
        if options["json"]:
            self.stdout.write(json.dumps(answer.as_object(found), indent=1, ensure_ascii=False))
        else:
            self.stdout.write(answer.as_text(found, why=options["why"]), ending="")

    def _found(self, **options: Any) -> Went | CameFrom:
        workshop = workshop_of(options["workshop"])
        lot = options["lot"] or ""
        asked = {name: options[name] or "" for name in ("item", "project", "step", "section", "assembly")}
        asked |= {"lot": lot[1:]} if lot.startswith("#") else {"code": lot}
        with scope(workshop=workshop), by_clock_of(workshop):
            found = found_by(asked)
        if found is None:
            raise AskOne("say what to trace: --lot, --project (and --step or --section), or --assembly")
        return found
