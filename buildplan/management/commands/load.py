"""`manage.py load`: a file of the catalogue, of stock, of a plan, of a packing list or of a builder's log."""

import json
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from buildplan.loading import services
from buildplan.loading.problems import NoSuchPath
from buildplan.loading.services import Outcome, Request
from buildplan.loading.tables import TABLES, Progress
from buildplan.loading.targets import Named
from buildplan.management.base import SiteCommand
from buildplan.management.dates import by_clock_of_named, day

# What is about one kind of file alone, so that a slip of the keyboard is not passed over.
ONLY_FOR = {"recount": "stock", "remove_missing": "plan", "crate": "packing", "due": "packing"}


class Command(SiteCommand):
    help = "Load a .csv, an .xlsx or (plan) a folder of .csv: all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=TABLES)
        parser.add_argument("path", type=Path, metavar="PATH")
        parser.add_argument("--workshop", metavar="W", help="made where it is not there; the only one is taken where none is named")
        parser.add_argument("--bench", metavar="B", help="made where it is not there; the only own one is taken where none is named")
        parser.add_argument("--shared", action="store_true", help="a bench that is made is the club's pool")
        parser.add_argument("--project", metavar="P", help="plan: made where it is not there; log: whose log")
        parser.add_argument("--crate", metavar="C", help="packing: made where it is not there")
        parser.add_argument("--due", type=day, metavar="DATE", help="packing: the day that the crate arrives")
        parser.add_argument("--recount", action="store_true", help="stock: the file says how much lies where")
        parser.add_argument("--remove-missing", action="store_true", help="plan: remove the steps that the file has not")
        parser.add_argument("--dry-run", action="store_true", help="check everything, write nothing")
        parser.add_argument("--json", action="store_true")

    def handle(self, **options: Any) -> None:
        _check_usage(options)
        try:
            with _clock(options), _progress_bar(shown=sys.stderr.isatty() and not options["json"]) as progress:
                outcome = services.load(_request(options), today=timezone.localdate(), progress=progress)
        except NoSuchPath as error:
            raise CommandError(str(error), returncode=2) from error
        if options["json"]:
            self.stdout.write(json.dumps(outcome.as_object(), ensure_ascii=False, indent=1))
        else:
            self._tell(outcome)
        if outcome.errors:
            sys.exit(1)

    def _tell(self, outcome: Outcome) -> None:
        for warning in outcome.warnings:
            self.stderr.write(f"warning: {warning}")
        for error in outcome.errors:
            self.stderr.write(error)
        if outcome.errors:
            self.stderr.write("nothing was loaded")
            return
        for made in outcome.made:
            self.stdout.write(f"made {made}")
        self.stdout.write(", ".join(f"{name.replace('_', '-')} {count}" for name, count in outcome.loaded.items()))
        if outcome.dry_run:
            self.stdout.write("a dry run: nothing was written")


def _check_usage(options: dict[str, Any]) -> None:
    kind = options["kind"]
    for name, only in ONLY_FOR.items():
        if options[name] and kind != only:
            raise CommandError(f"--{name.replace('_', '-')} is for {only} alone", returncode=2)
    if kind == "plan" and not options["project"]:
        raise CommandError("name the project of the plan: --project P", returncode=2)
    if kind == "packing" and not options["crate"]:
        raise CommandError("name the crate of the packing list: --crate C", returncode=2)
    if options["shared"] and not options["bench"]:
        raise CommandError("name the bench that is shared: --bench B --shared", returncode=2)


def _clock(options: dict[str, Any]) -> AbstractContextManager[object]:
    """The workshop's own. A path that isn't there is refused before anything asks the database."""
    return by_clock_of_named(options["workshop"]) if options["path"].exists() else nullcontext()


def _request(options: dict[str, Any]) -> Request:
    named = Named(**{name: options[name] for name in ("workshop", "bench", "shared", "project", "crate", "due")})
    how = {name: options[name] for name in ("recount", "remove_missing", "dry_run")}
    return Request(options["kind"], options["path"], named, **how)


@contextmanager
def _progress_bar(*, shown: bool) -> Iterator[Progress | None]:
    if not shown:
        yield None
        return
    from rich.console import Console  # noqa: PLC0415 - most loads are over before it would be imported
    from rich.progress import Progress as Bars  # noqa: PLC0415
    from rich.progress import SpinnerColumn, TextColumn, TimeElapsedColumn  # noqa: PLC0415

    columns = SpinnerColumn(), TextColumn("{task.completed} rows read"), TimeElapsedColumn()
    with Bars(*columns, console=Console(stderr=True), transient=True) as bars:
        task = bars.add_task("load", total=None)
        yield lambda count: bars.update(task, completed=count)
