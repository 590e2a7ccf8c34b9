"""`manage.py export`: a file that loads back equal."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django_scopes import scope

from buildplan.loading import export, targets
from buildplan.management.base import SiteCommand
from inventory.common.problems import Problem
from inventory.workshop.queries import workshop_of


class Command(SiteCommand):
    help = "Write the catalogue, the stock of a bench, a plan or a log, in the columns of loading."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=("catalogue", "stock", "plan", "log"))
        parser.add_argument("path", type=Path, metavar="PATH", help="a .csv or .xlsx; a plan: a folder or an .xlsx")
        parser.add_argument("--workshop", metavar="W")
        parser.add_argument("--project", metavar="P")
        parser.add_argument("--bench", metavar="B")

    def handle(self, **options: Any) -> None:
        try:
            with scope(workshop=workshop_of(options["workshop"])):
                rows = _export(options["kind"], options["path"], options)
        except export.NoTarget as error:
            raise CommandError(str(error), returncode=2) from error
        except Problem as problem:
            raise CommandError(str(problem)) from problem
        self.stdout.write(f"{options['path']}: " + ", ".join(f"{name} {count}" for name, count in rows.items()))


def _export(kind: str, path: Path, options: dict[str, Any]) -> dict[str, int]:
    if kind == "catalogue":
        return export.export_catalogue(path)
    if kind == "stock":
        return export.export_stock(path, targets.bench_of(options["bench"]))
    if kind == "log":
        return export.export_log(path, targets.project_of(options["project"]))
    return export.export_plan(path, targets.project_of(options["project"]))
