"""An archive held against its manifest and the tables of this program: the first time through, before anything is written."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from buildplan.archive import kinds, manifest
from buildplan.archive.cells import row_id, shown
from buildplan.archive.manifest import File, Manifest
from buildplan.archive.numbers import Numbers
from buildplan.archive.opening import Archive, opened
from buildplan.archive.problems import BadArchive, BadCell
from buildplan.archive.tables import Column, Kind, Table, all_tables
from buildplan.loading.columns import near
from buildplan.loading.problems import Problems
from inventory.common.pictures import LARGEST

_ALWAYS = frozenset({kinds.WORKSHOP, kinds.MEMBER})
_JPEG = b"\xff\xd8\xff"


@dataclass(frozen=True, slots=True)
class Checked:
    """An archive that is whole: each file is there and is what was saved."""

    workshop: str
    saved_at: str
    rows: int
    photos: int
    warnings: Sequence[str]

    def as_object(self) -> dict[str, Any]:
        """For a program."""
        return {**asdict(self), "warnings": list(self.warnings)}


def check(*, path: Path) -> Checked:
    """Look whether an archive is whole, where its workshop may well be: the database is not asked. Raises `BadArchive`."""
    with opened(path) as archive:
        look = Look(archive)
        look.run()
        said = archive.manifest
        return Checked(said.code, said.saved_at, said.rows, len(said.photos), look.problems.warnings)


@dataclass(slots=True)
class Plan:
    """One table with its file and how each column of the file is read."""

    table: Table
    file: File
    columns: Sequence[Column]
    left_to_default: Sequence[Any] = ()
    own: int = field(default=-1)  # where the file has the row's id


class Look:
    """What was found of an archive: its faults, and the ids of its rows."""

    def __init__(self, archive: Archive) -> None:
        """Nothing is looked at yet."""
        self.archive = archive
        self.problems = Problems()
        self.numbers = {label: Numbers(table.model) for label, table in all_tables().items() if not table.of}
        self._same_program = archive.manifest.migrations == manifest.our_migrations()

    def run(self) -> list[Plan]:
        """Hold every file against the manifest; gives the tables that are to be written. Raises all faults at once."""
        self._refuse_program(self.archive.manifest)
        plans = self._plans()
        self._gather(plans)
        self._check_photos()
        self.refuse_faults()
        return plans

    def fault(self, text: str) -> None:
        """Note what stops the load; what comes after many is not looked for."""
        self.problems.add_error(text)
        if self.problems.full:
            self.refuse_faults()

    def refuse_faults(self) -> None:
        """Raise all that was found, if anything was."""
        if self.problems.error_count:
            raise BadArchive(*self.problems.errors)

    def has_photo(self, digest: str) -> bool:
        """Whether the archive has the picture."""
        return digest in self.archive.manifest.photos

    def lines(self, file: File) -> Iterator[tuple[int, list[str]]]:
        """The rows of a file without its header."""
        found = self.archive.rows(file)
        next(found, None)
        return found

    def _refuse_program(self, said: Manifest) -> None:
        for app, name in said.migrations.items():
            if not manifest.is_known(app, name):
                raise BadArchive(f"the archive was saved by a newer program ({app} {name}): bring this one up to date first")
        if not self._same_program:
            self.problems.add_warning("the archive was saved by an older program: what is new since has its first value")

    def _plans(self) -> list[Plan]:
        files = self.archive.manifest.tables
        for label in files:
            if label not in all_tables():
                self.problems.add_error(f"{files[label].name}: no such table {label}{_meant(label, all_tables())}")
        for label, table in all_tables().items():
            if label not in files and (self._same_program or label in _ALWAYS):
                self.problems.add_error(f"{table.file} is missing: take another copy of the archive")
        self.refuse_faults()
        return [self._plan(table, files[label]) for label, table in all_tables().items() if label in files]

    def _plan(self, table: Table, file: File) -> Plan:
        _, header = next(self.archive.rows(file), (1, []))
        known = {column.name: column for column in table.columns}
        for at, name in enumerate(header):
            if name not in known:
                self.problems.add_error(f"{file.name}:1: no such column {shown(name)}{_meant(name, known)}")
            elif name in header[:at]:
                self.problems.add_error(f"{file.name}:1: {name}: this column stands twice")
        missing = [column for column in table.columns if column.name not in header]
        for column in missing:
            if self._same_program or not _has_first_value(column):
                self.problems.add_error(f"{file.name}:1: {column.name}: this column is missing")
        columns = [known[name] for name in header if name in known]
        own = next((at for at, column in enumerate(columns) if column.kind is Kind.OWN), -1)
        return Plan(table, file, columns, [column.field for column in missing], own)

    # The first time through: sizes, hashes, ids

    def _gather(self, plans: Sequence[Plan]) -> None:
        self.refuse_faults()
        for plan in plans:
            self._gather_ids(plan)
        self.refuse_faults()

    def take_numbers(self, plans: Sequence[Plan]) -> None:
        """Take a new id for every row."""
        for plan in plans:
            if not plan.table.of and (twice := self.numbers[plan.table.label].take()) is not None:
                self.problems.add_error(f"{plan.file.name}: id: two rows have the id {twice}")

    def _gather_ids(self, plan: Plan) -> None:
        rows, width, own = 0, len(plan.columns), plan.own
        numbers = None if plan.table.of else self.numbers[plan.table.label]
        lines = self.archive.rows(plan.file)
        next(lines, None)
        for line, cells in lines:
            rows += 1
            if len(cells) != width:
                self.problems.add_error(f"{plan.file.name}:{line}: {len(cells)} cells, and the header has {width} columns")
            elif numbers is not None:
                self._see(plan, line, cells[own], numbers)
        if rows != plan.file.rows:
            self.problems.add_error(f"{plan.file.name} has {rows} rows, and the manifest says {plan.file.rows}: take another copy")

    def _see(self, plan: Plan, line: int, text: str, numbers: Numbers) -> None:
        try:
            numbers.see(row_id(text))
        except BadCell as error:
            self.problems.add_error(f"{plan.file.name}:{line}: id: {error}")

    def _check_photos(self) -> None:
        for digest, file in self.archive.manifest.photos.items():
            if file.name != photo_name(digest):
                self.problems.add_error(f"{file.name}: a photo is called by its SHA-256, {photo_name(digest)}")
            elif file.bytes > LARGEST:
                self.problems.add_error(f"{file.name}: {file.bytes} bytes, and {LARGEST} are the most of a photo")
            else:
                pieces = self.archive.photo(file)
                if not next(pieces, b"").startswith(_JPEG):
                    self.problems.add_error(f"{file.name}: is no JPEG")
                for _ in pieces:
                    pass


def _has_first_value(column: Column) -> bool:
    one = column.field
    return column.kind is not Kind.OWN and (one.null or one.has_default() or one.blank)


def _meant(name: str, known: Mapping[str, Any]) -> str:
    match = near(name, known)
    return f": did you mean {match}?" if match else ": this program has none"


def photo_name(digest: str) -> str:
    """Under which name a photo lies in an archive."""
    return f"photos/{digest}.jpg"
