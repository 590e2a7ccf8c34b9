"""What a command is about: the workshop, bench, project or crate of a code, or the only one there is."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from buildplan.loading.columns import near
from buildplan.plan.models import Project
from buildplan.plan.services import ensure_project, set_bench
from inventory.common.problems import Problem
from inventory.models import Bench, Crate, Member, Workshop
from inventory.receiving.services import ensure_crate
from inventory.workshop.queries import workshop_of
from inventory.workshop.services import ensure_bench, ensure_workshop, hand

FIRST_BENCH = "MAIN"

Coded = TypeVar("Coded", Bench, Project)


class NoTarget(Problem):
    """A code that is not there, or one that is needed to tell several apart."""

    title = "It is not clear what is meant"


@dataclass(frozen=True, slots=True)
class Named:
    """The codes that a command gives; None for each it leaves out."""

    workshop: str | None = None
    bench: str | None = None
    shared: bool = False
    project: str | None = None
    crate: str | None = None
    due: date | None = None


@dataclass(slots=True)
class Target:
    """A workshop to load into, by whose hand, and what was made on the way there, for a person to read."""

    workshop: Workshop
    by: Member
    made: list[str] = field(default_factory=list)


def target_of(named: Named, by: Member | None = None) -> Target:
    """The workshop that is named, made with one own bench where it is not there, or the only one; locked until the transaction ends.

    Without `by` it is the "command line" member's hand that loads.
    The lock stands in the way of a second load: of two at once the later sees what the earlier wrote.
    """
    workshop, made = (workshop_of(None), False) if named.workshop is None else ensure_workshop(code=named.workshop)
    Workshop.objects.select_for_update(no_key=True).get(pk=workshop.pk)
    target = Target(workshop, by or hand(workshop))
    if made:
        target.made.append(f"workshop {workshop.code}")
        code = FIRST_BENCH if named.bench is None or named.shared else named.bench
        bench, _ = ensure_bench(workshop=workshop, code=code, by=target.by)
        target.made.append(f"bench {bench.code}")
    return target


def bench_to_load(named: Named, target: Target) -> Bench:
    """The bench that is named, made where it is not there, or the only own one."""
    if named.bench is None:
        return only_bench()
    bench, made = ensure_bench(workshop=target.workshop, code=named.bench, shared=named.shared, by=target.by)
    if made:
        target.made.append(f"{'shared ' if bench.shared else ''}bench {bench.code}")
    elif named.shared and not bench.shared:
        raise NoTarget(f"bench {bench.code} is there, and is not shared: leave --shared out, or name another bench")
    return bench


def project_to_load(named: Named, target: Target) -> Project:
    """The project that is named, made where it is not there; a bench that is named as well becomes its bench."""
    present = Project.objects.filter(code__iexact=named.project or "").select_related("bench").first()
    bench = present.bench if present and named.bench is None else bench_to_load(named, target)
    project, made = ensure_project(bench=bench, code=named.project or "", by=target.by)
    if made:
        target.made.append(f"project {project.code}")
    return set_bench(project=project, bench=bench, by=target.by)


def crate_to_load(named: Named, target: Target) -> Crate:
    """The crate that is named, made where it is not there; without a bench that is named it stays on its own."""
    present = Crate.objects.filter(code__iexact=named.crate or "").select_related("bench").first()
    bench = present.bench if present and named.bench is None else bench_to_load(named, target)
    crate, made = ensure_crate(bench=bench, code=named.crate or "", due_on=named.due, by=target.by)
    if made:
        target.made.append(f"crate {crate.code}")
    return crate


def only_bench() -> Bench:
    """The only own bench of the workshop in scope, or its only bench."""
    benches = list(Bench.objects.order_by("code"))
    own = [bench for bench in benches if not bench.shared]
    for those in (own, benches):
        if len(those) == 1:
            return those[0]
    raise NoTarget(f"name the bench with --bench: {_listed(benches, 'benches')}")


def bench_of(code: str | None) -> Bench:
    """The bench of a code in the workshop in scope, or the only own one."""
    return only_bench() if code is None else _of(code, Bench.objects.order_by("code"), "bench", "benches")


def project_of(code: str | None) -> Project:
    """The project of a code in the workshop in scope, or the only one."""
    projects = list(Project.objects.order_by("code"))
    if code is None and len(projects) == 1:
        return projects[0]
    if code is None:
        raise NoTarget(f"name the project with --project: {_listed(projects, 'projects')}")
    return _of(code, projects, "project", "projects")


def _of(code: str, rows: Iterable[Coded], what: str, several: str) -> Coded:
    found = {row.code.upper(): row for row in rows}
    if row := found.get(code.strip().upper()):
        return row
    match = near(code, (row.code for row in found.values()))
    raise NoTarget(f"no {what} {code}: {f'did you mean {match}? ' if match else ''}{_listed(found.values(), several)}")


def _listed(rows: Iterable[Coded], several: str) -> str:
    codes = ", ".join(row.code for row in rows)
    return f"the {several} are {codes}" if codes else f"there are no {several} yet"
