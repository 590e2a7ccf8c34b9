"""`manage.py expiries`: what on the shelves is dead by a day."""

import json
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django_scopes import scope

from buildplan.ageing.answer import as_object
from buildplan.management.base import SiteCommand
from buildplan.management.dates import day
from inventory.common.fields import plain
from inventory.common.problems import Problem
from inventory.shelflife.queries import Expiry, expiries
from inventory.workshop.queries import workshop_of
from inventory.workshop.reading import by_clock_of


class Command(SiteCommand):
    help = "List the lots on hand whose last usable day is on or before a day, and those whose life nobody knows."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--before", type=day, required=True, metavar="DATE")
        parser.add_argument("--workshop", metavar="W")
        parser.add_argument("--json", action="store_true")

    def handle(self, **options: Any) -> None:
        try:
            workshop = workshop_of(options["workshop"])
            with scope(workshop=workshop), by_clock_of(workshop):
                found = expiries(before=options["before"])
        except Problem as problem:
            raise CommandError(str(problem)) from problem
        if options["json"]:
            body = as_object(found, before=options["before"])
            self.stdout.write(json.dumps(body, indent=1, ensure_ascii=False))
            return
        for one in found:
            self.stdout.write(_text(one))
        self.stdout.write(f"{len(found)} holdings dead by {options['before']}, or of unknown life")


def _text(one: Expiry) -> str:
    held, lot = one.held, f"lot {one.held.lot}" if one.held.lot else "no lot code"
    state = "" if held.state == "good" else f", {held.state}"
    why = "; ".join(reason.source for reason in one.trace)
    return f"{one.last_usable_day or 'unknown   '}  {plain(held.quantity)} {held.unit} of {held.item}, {lot}, in {held.place}{state}: {why}"
