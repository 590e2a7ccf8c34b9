"""`manage.py archive`: a whole workshop as one file, and back into a database where it isn't."""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from buildplan.archive.looking import Checked, check
from buildplan.archive.problems import BadArchive
from buildplan.archive.restoring import Asked, Owner, Restored, restore
from buildplan.archive.saving import Saved, Told, save
from buildplan.management.links import sign_in_link
from inventory.common.problems import Problem
from inventory.models import User
from inventory.workshop.queries import workshop_of

MB = 1_000_000


class Command(BaseCommand):
    help = "Save a whole workshop, its history and its photos as one file; load it where no such workshop is, all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        what = parser.add_subparsers(dest="what", required=True, metavar="save|check|load")
        saving = what.add_parser("save", help="write a workshop to PATH, a .zip that isn't there yet")
        saving.add_argument("path", type=Path, metavar="PATH")
        saving.add_argument("--workshop", metavar="W", help="the only one is taken where none is named")
        checking = what.add_parser("check", help="look whether PATH is whole and this program can load it; the database is not asked")
        checking.add_argument("path", type=Path, metavar="PATH")
        loading = what.add_parser("load", help="load PATH as a new workshop")
        loading.add_argument("path", type=Path, metavar="PATH")
        loading.add_argument("--as", dest="code", default="", metavar="CODE", help="the workshop's code here (that of the archive)")
        loading.add_argument("--owner", metavar="EMAIL", help="make this person an owner of it, and print a link that signs them in once")
        loading.add_argument("--name", default="", metavar="N", help="of an owner who is no member in the archive")
        loading.add_argument("--link", action="store_true", help="members who have an account here, by their addresses, are linked with it")
        loading.add_argument("--dry-run", action="store_true", help="check everything, write nothing")
        for each in (saving, checking, loading):
            each.add_argument("--json", action="store_true", help="print for a program")

    def handle(self, **options: Any) -> None:
        try:
            with _progress(shown=sys.stderr.isatty() and not options["json"]) as told:
                found = _ACTIONS[options["what"]](options, told)
        except Problem as problem:
            self._refuse(problem, options)
        else:
            self.stdout.write(json.dumps(found.as_object(), indent=1, ensure_ascii=False) if options["json"] else _text(found))
            if isinstance(found, Restored):
                self._tell_people(found, options)

    def _refuse(self, problem: Problem, options: dict[str, Any]) -> None:
        errors = list(problem.errors) if isinstance(problem, BadArchive) else [str(problem)]
        if options["json"]:
            self.stdout.write(json.dumps({"errors": errors}, indent=1, ensure_ascii=False))
            sys.exit(1)
        raise CommandError("\n".join([*errors, *(["nothing was loaded"] if options["what"] == "load" else [])]))

    def _tell_people(self, found: Restored, options: dict[str, Any]) -> None:
        """To whom it belongs now: beside the answer, which may be for a program."""
        if options["dry_run"]:
            return
        if options["owner"]:
            link = sign_in_link(User.objects.get(email=options["owner"].strip().lower()))
            self.stderr.write(f"sign in once at {link}")
        else:
            code = found.workshop.code
            member = f"manage.py member EMAIL --workshop {code} --name N --role owner"
            self.stderr.write(f"nobody signs in yet: `{member}` prints an owner's link, and owners let others in")


def _save(options: dict[str, Any], told: Told | None) -> Saved:
    return save(workshop=workshop_of(options["workshop"]), path=options["path"], now=timezone.now(), told=told)


def _load(options: dict[str, Any], told: Told | None) -> Restored:
    _refuse_no_file(options["path"])
    owner = Owner(options["owner"], options["name"]) if options["owner"] else None
    given = {name: options[name] for name in ("path", "code", "link", "dry_run")}
    return restore(asked=Asked(**given, owner=owner), told=told)


def _check(options: dict[str, Any], _told: Told | None) -> Checked:
    _refuse_no_file(options["path"])
    return check(path=options["path"])


def _refuse_no_file(path: Path) -> None:
    if not path.is_file():
        raise CommandError(f"{path}: no such file", returncode=2)


_ACTIONS: dict[str, Callable[[dict[str, Any], Told | None], Saved | Checked | Restored]] = {"save": _save, "check": _check, "load": _load}


def _text(found: Saved | Checked | Restored) -> str:
    if isinstance(found, Checked):
        whole = f"workshop {found.workshop} as it was saved on {found.saved_at[:10]}: {found.rows} rows, {found.photos} photos; it is whole"
        return "\n".join([*(f"warning: {warning}" for warning in found.warnings), whole])
    rows = f"{sum(found.rows.values())} rows, {found.photos} photos"
    if isinstance(found, Saved):
        return f"{found.path}: workshop {found.workshop}, {rows}, {found.bytes / MB:.1f} MB"
    warnings = [f"warning: {warning}" for warning in found.warnings]
    did = "a dry run: nothing was written" if found.dry_run else "the ledger holds"
    accounts = [f"made accounts without a password: {', '.join(found.accounts)}"] if found.accounts else []
    return "\n".join([*warnings, f"workshop {found.workshop.code} as it was saved on {found.saved_at[:10]}: {rows}; {did}", *accounts])


@contextmanager
def _progress(*, shown: bool) -> Iterator[Told | None]:
    if not shown:
        yield None
        return
    from rich.console import Console  # noqa: PLC0415 - most archives are done before it would be imported
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn  # noqa: PLC0415

    columns = SpinnerColumn(), TextColumn("{task.completed} rows"), TimeElapsedColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        task = bars.add_task("archive", total=None)
        yield lambda count: bars.update(task, completed=count)
