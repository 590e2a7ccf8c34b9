"""What is chosen for a load by page: what it is loaded into, which file holds which table, which column is which of ours."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any

from buildplan.loading import job_files, mapping
from buildplan.loading.columns import COLUMNS
from buildplan.loading.mapping import ColumnMap
from buildplan.loading.models import ColumnMemory, LoadJob
from buildplan.loading.packing import Paper
from buildplan.loading.services import Request
from buildplan.loading.tables import KINDS, Part
from buildplan.loading.targets import Named
from inventory.models import Bench, Sender


@dataclass(frozen=True, slots=True)
class Choices:
    """What a load is loaded into, and how its files are read. `tables` says which file and sheet holds a table, as (1, 0)."""

    bench: Bench | None = None
    project: str = ""
    crate: str = ""
    due_on: date | None = None
    sender: Sender | None = None
    printed_lines: int | None = None
    printed_quantity: Decimal | None = None
    recount: bool = False
    remove_missing: bool = False
    tables: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    columns: Mapping[str, ColumnMap] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """As a row keeps it."""
        return {
            "bench": self.bench and self.bench.pk,
            "project": self.project,
            "crate": self.crate,
            "due_on": self.due_on and self.due_on.isoformat(),
            "sender": self.sender and self.sender.pk,
            "printed_lines": self.printed_lines,
            "printed_quantity": None if self.printed_quantity is None else str(self.printed_quantity),
            "recount": self.recount,
            "remove_missing": self.remove_missing,
            "tables": {table: list(at) for table, at in self.tables.items()},
            "columns": {table: [dict(one.positions), dict(one.constants)] for table, one in self.columns.items()},
        }


def choices_of(job: LoadJob) -> Choices:
    """What was chosen for a job. At most two queries."""
    kept = job.choices
    plain = {name: kept[name] for name in ("project", "crate", "printed_lines", "recount", "remove_missing") if name in kept}
    return Choices(
        **plain,
        bench=Bench.objects.filter(pk=kept["bench"]).first() if kept.get("bench") else None,
        sender=Sender.objects.filter(pk=kept["sender"]).first() if kept.get("sender") else None,
        due_on=date.fromisoformat(kept["due_on"]) if kept.get("due_on") else None,
        printed_quantity=Decimal(kept["printed_quantity"]) if kept.get("printed_quantity") else None,
        tables={table: (file, sheet) for table, (file, sheet) in kept.get("tables", {}).items()},
        columns={table: ColumnMap(*both) for table, both in kept.get("columns", {}).items()},
    )


def titles(job: LoadJob, at: tuple[int, int]) -> list[str]:
    """The columns of a file's sheet."""
    found: list[str] = job.files[at[0]]["sheets"][at[1]]["titles"]
    return found


def proposed(job: LoadJob, choices: Choices) -> Choices:
    """The same, with the tables and columns that a first look at the files suggests."""
    spots, names = [], []
    for at, file in enumerate(job.files):
        for number, sheet in enumerate(file["sheets"]):
            spots.append((at, number))
            names.append(sheet["sheet"] or file["name"].rpartition(".")[0])
    found = {table: spots[at] for table, at in mapping.assign(KINDS[job.kind], names).items() if at is not None}
    memory = {row.table: row for row in ColumnMemory.objects.filter(table__in=found)}
    columns = {}
    for table, spot in found.items():
        remembered = memory.get(table) or ColumnMemory()
        suggested = mapping.propose(table, titles(job, spot), remembered.titles)
        positions = {name: one.at for name, one in suggested.items() if one.at is not None}
        said = {name: text for name, text in remembered.constants.items() if name not in positions}
        columns[table] = ColumnMap(positions, said)
    return replace(choices, tables=found, columns=columns)


def rows(job: LoadJob, choices: Choices) -> int:
    """How many rows the chosen sheets have."""
    return sum(job.files[file]["sheets"][sheet]["rows"] for file, sheet in choices.tables.values())


def request_of(job: LoadJob, *, dry_run: bool) -> Request:
    """What is to be loaded, as a command would say it."""
    chosen = choices_of(job)
    bench = chosen.bench.code if chosen.bench else None
    named = Named(workshop=job.workshop.code, bench=bench, project=chosen.project, crate=chosen.crate, due=chosen.due_on)
    paper = Paper(chosen.sender, chosen.printed_lines, chosen.printed_quantity)
    parts = tuple(_part(job, table, spot, chosen) for table, spot in chosen.tables.items())
    how = {"recount": chosen.recount, "remove_missing": chosen.remove_missing, "dry_run": dry_run}
    return Request(job.kind, parts[0].path, named, paper=paper, called=str(job), parts=parts, **how)


def _part(job: LoadJob, table: str, spot: tuple[int, int], choices: Choices) -> Part:
    file, named = job.files[spot[0]], titles(job, spot)
    sheet = file["sheets"][spot[1]]["sheet"] or None
    columns = choices.columns.get(table)
    label = file["name"] if sheet is None else f"{file['name']}:{sheet}"
    if columns is not None and _ours(table, named, columns):
        columns = None
    return Part(table, job_files.path(job, file["stored"]), label, sheet, columns)


def _ours(table: str, named: Sequence[str], chosen: ColumnMap) -> bool:
    """Whether a file has our columns and no others, each taken as what it is: it is then read as a command reads it."""
    plain = [title.lower() for title in named if title]
    same = all(named[at].lower() == name for name, at in chosen.positions.items())
    return same and not chosen.constants and len(plain) == len(chosen.positions) and set(plain) <= set(COLUMNS[table].names)
