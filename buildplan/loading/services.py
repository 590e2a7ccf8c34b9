"""Loading a file: all of it or nothing, with every problem told at once."""

import hashlib
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from django.db import transaction
from django.utils import timezone
from django_scopes import scope

from buildplan.loading import catalogue, log, packing, plan, stock, targets
from buildplan.loading.cells import Reading
from buildplan.loading.items import Codes
from buildplan.loading.models import LoadedFile
from buildplan.loading.packing import Listed, Paper
from buildplan.loading.problems import Problems
from buildplan.loading.tables import TABLES, Part, Progress, Table, open_parts, open_tables
from buildplan.loading.targets import Named, Target
from inventory.common.problems import Problem
from inventory.models import Bench, Member

NAME_LENGTH = 200


@dataclass(frozen=True, slots=True)
class Request:
    """What to load, into what, and how. `paper` is what a packing list says beside its lines; `called` how messages name the file."""

    kind: str
    path: Path
    named: Named = field(default_factory=Named)
    recount: bool = False
    remove_missing: bool = False
    dry_run: bool = False
    paper: Paper = field(default_factory=Paper)
    called: str = ""
    parts: tuple[Part, ...] = ()  # where files and columns go by other names than ours, in place of the path


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a load wrote, or in a dry run would have written: nothing where there are errors.

    `listed` is what a packing list says, and of any file the codes that mean nothing.
    """

    loaded: dict[str, int]
    made: list[str]
    warnings: list[str]
    errors: list[str]
    dry_run: bool = False
    listed: Listed = field(default_factory=Listed)

    def as_object(self) -> dict[str, Any]:
        """As programs read it."""
        loaded = {} if self.errors else {**self.loaded, "made": self.made}
        found = {"loaded": loaded, "warnings": self.warnings, "errors": self.errors}
        return {**found, "dry_run": True} if self.dry_run else found


@dataclass(slots=True)
class Load:
    """One load under way."""

    request: Request
    tables: Mapping[str, Table]
    target: Target
    reading: Reading
    listed: Listed = field(default_factory=Listed)

    @property
    def main(self) -> Table:
        """The table that must be there."""
        return self.tables[TABLES[self.request.kind][0]]


def load(request: Request, *, today: date, progress: Progress | None = None, by: Member | None = None) -> Outcome:
    """Load a file, by a member's hand or by the workshop's own.

    Raises `NoSuchPath` where the path is no file or folder; every other fault is in the outcome's errors.
    """
    problems = Problems()
    reading = Reading(today, problems, progress)
    listed = Listed()
    tables = open_parts(request.parts, problems) if request.parts else open_tables(request.path, request.kind, problems, request.called)
    if TABLES[request.kind][0] not in tables:
        return _outcome(request, {}, [], problems)
    loaded: dict[str, int] = {}
    made: list[str] = []
    try:
        with transaction.atomic():
            target = targets.target_of(request.named, by)
            with scope(workshop=target.workshop):
                loaded = LOADERS[request.kind](Load(request, tables, target, reading, listed))
            made = target.made
            transaction.set_rollback(bool(problems.error_count) or request.dry_run)
    except Problem as problem:
        problems.add_error(str(problem))
    return _outcome(request, loaded, made, problems, listed)


def _load_catalogue(load: Load) -> dict[str, int]:
    if load.request.named.bench is not None:
        targets.bench_to_load(load.request.named, load.target)
    counts = catalogue.load(load.main, load.reading, by=load.target.by)
    _record(load, None)
    return counts


def _load_stock(load: Load) -> dict[str, int]:
    recount = load.request.recount
    bench = targets.bench_to_load(load.request.named, load.target)
    Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)  # nobody makes a lot of a code between the look and the save
    codes = Codes()
    load.listed.unknown = codes.unknown
    rows = stock.read(load.main, codes, load.reading, recount=recount)
    if not recount and not _refused_again(load, bench):
        stock.refuse_known(rows, bench, load.reading.problems)
    if load.reading.problems.error_count:
        return {}
    file = _record(load, bench)
    job = stock.Job(bench, load.target.by, load.reading.today, f"loaded from {file.name}"[:NAME_LENGTH], f"load:{file.pk}")
    return stock.recount(rows, job, load.reading.problems) if recount else stock.add(rows, job)


def _load_packing(load: Load) -> dict[str, int]:
    crate = targets.crate_to_load(load.request.named, load.target)
    paper, by = load.request.paper, load.target.by
    counts = packing.load(load.main, load.reading, crate=crate, paper=paper, by=by, listed=load.listed)
    _record(load, crate.bench)
    return counts


def _load_plan(load: Load) -> dict[str, int]:
    project = targets.project_to_load(load.request.named, load.target)
    removing, by = load.request.remove_missing, load.target.by
    codes = Codes()
    load.listed.unknown = codes.unknown
    counts = plan.load(load.tables, load.reading, codes, project=project, remove_missing=removing, by=by)
    _record(load, project.bench)
    return counts


def _load_log(load: Load) -> dict[str, int]:
    project = targets.project_of(load.request.named.project)
    counts = log.load(load.main, load.reading, project=project, by=load.target.by)
    _record(load, project.bench)
    return counts


LOADERS: Mapping[str, Callable[[Load], dict[str, int]]] = {
    "catalogue": _load_catalogue,
    "stock": _load_stock,
    "plan": _load_plan,
    "packing": _load_packing,
    "log": _load_log,
}


def _refused_again(load: Load, bench: Bench) -> bool:
    """Whether these rows were loaded before, which is then a problem: stock only adds, and would be there twice."""
    before = LoadedFile.objects.filter(bench=bench, kind="stock", digest=_digest(load.tables)).order_by("at").first()
    if before is None:
        return False
    told = f"loaded for bench {bench.code} on {timezone.localdate(before.at)}, as {before.name}"
    text = f"this was {told}: to say how much lies where, load with --recount"
    load.reading.problems.add_error(f"{load.main.label}: {text}")
    return True


def _record(load: Load, bench: Bench | None) -> LoadedFile:
    name, kind = load.request.called[:NAME_LENGTH] or _name(load.request.path), load.request.kind
    digest = "" if load.reading.problems.error_count else _digest(load.tables)
    return LoadedFile.objects.create(workshop=load.target.workshop, bench=bench, kind=kind, name=name, digest=digest, by=load.target.by)


def _digest(tables: Mapping[str, Table]) -> str:
    return hashlib.sha256("".join(tables[name].digest for name in sorted(tables)).encode()).hexdigest()


def _name(path: Path) -> str:
    """What a person called it, even where that is no proper text."""
    return os.fsencode(path.name or path.resolve().name).decode("utf-8", "replace")[:NAME_LENGTH]


def _outcome(request: Request, loaded: dict[str, int], made: list[str], problems: Problems, listed: Listed | None = None) -> Outcome:
    return Outcome(loaded, made, problems.warnings, problems.errors, request.dry_run, listed or Listed())
