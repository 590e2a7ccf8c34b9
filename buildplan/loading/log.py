"""A builder's log from a file: what `buildplan.logbook.files` writes, or a list kept by hand.

Rows of one `entry` are one entry, each with a person; without that column rows of the same day, step and text are. An entry that is
there already is passed over, so a file may be loaded again. Lots, signatures and photos are never read: the ledger tells the lots, and
a signature is a person's own.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from uuid import UUID, uuid5

from django.utils import timezone

from buildplan.loading.cells import Cells, Reading
from buildplan.loading.columns import near
from buildplan.loading.problems import Problems
from buildplan.loading.records import shown
from buildplan.loading.tables import Row, Table
from buildplan.loading.values import BadValue, plain_date
from buildplan.logbook import services
from buildplan.logbook.calc import prose, read_minutes
from buildplan.logbook.files import TOLD, unguarded
from buildplan.logbook.models import LogEntry, LogHours
from buildplan.logbook.services import MOST_NAME, MOST_TEXT, MOST_WHY, Worked
from buildplan.plan.models import Project, Step
from inventory.models import Member

NAMES = UUID("10609b00-0000-4000-8000-000000000000")  # keys of entries that a file gives none are made from this and what they say
SAYS = ("lots", "seen_by", "photos")
_Hours = tuple[tuple[str, int], ...]


@dataclass(slots=True)
class Stated:
    """An entry as the file states it."""

    row: Row
    key: UUID
    on: date
    step: Step | None
    text: str
    struck: str
    hours: list[Worked] = field(default_factory=list)

    def says(self) -> tuple[date, int | None, str, bool, _Hours]:
        """What is compared with an entry that is there."""
        people = tuple(sorted((one.member.name if one.member else one.name, one.minutes) for one in self.hours))
        return self.on, self.step.pk if self.step else None, self.text, bool(self.struck), people


def load(table: Table, reading: Reading, *, project: Project, by: Member) -> dict[str, int]:
    """Read, check, write. Writes nothing where a problem was found."""
    stated = _read(table, reading, project)
    new = _not_there(stated, project, reading.problems)
    if reading.problems.error_count:
        return {}
    for one in new:
        today = max(one.on, reading.today)  # a file's day is never refused by today's clock alone
        entry = services.write_entry(
            project=project, step=one.step, on=one.on, text=one.text, hours=one.hours, key=one.key, by=by, today=today
        )
        if one.struck:
            services.strike_entry(entry=entry, why=one.struck, by=by, now=timezone.now())
    return {"entries": len(new), "there_already": len(stated) - len(new)}


def _read(table: Table, reading: Reading, project: Project) -> list[Stated]:
    steps = {step.code.upper(): step for step in Step.objects.filter(project=project)}
    people = _people()
    found: dict[UUID, Stated] = {}
    unread: set[str] = set()
    for row in table.rows(reading.progress):
        unread.update(name for name in SAYS if row[name])
        if one := _stated(Cells(row, reading), project, steps):
            _add(found, one, Cells(row, reading), people)
    if unread:
        names = ", ".join(name for name in TOLD if name in unread)
        reading.problems.add_warning(f"{table.label}: {names}: not read: the ledger tells the lots, people sign and photograph anew")
    return list(found.values())


def _stated(cells: Cells, project: Project, steps: Mapping[str, Step]) -> Stated | None:
    on = cells.need("day", partial(plain_date, today=cells.reading.today))
    text = cells.need("text", _text)
    step = cells.may("step", partial(_step, steps=steps))
    struck = cells.text_if_any("struck", MOST_WHY)
    if cells.faulty:
        return None
    entry = unguarded(cells.row["entry"])
    return Stated(cells.row, _key(entry, project, (str(on), step.code if step else "", text)), on, step, text, unguarded(struck))


def _key(entry: str, project: Project, said: tuple[str, ...]) -> UUID:
    """The entry's own; else one that the same row gives again."""
    try:
        return UUID(entry)
    except ValueError:
        parts = (str(project.workshop_id), project.code.upper(), entry, *(() if entry else said))
        return uuid5(NAMES, "\n".join(parts))


def _add(found: dict[UUID, Stated], one: Stated, cells: Cells, people: Mapping[str, Member | None]) -> None:
    """A further row of an entry adds a person to it."""
    entry = found.setdefault(one.key, one)
    if entry is not one and (entry.on, entry.step, entry.text, entry.struck) != (one.on, one.step, one.text, one.struck):
        cells.fault("entry", f"it is on {entry.row.where} too, with another day, step, text or struck: give these alike, or another entry")
        return
    who, minutes = unguarded(cells.text_if_any("person", MOST_NAME)), cells.may("hours", _minutes)
    if minutes and not who:
        cells.fault("person", "whose hours are these: write a name, or empty the hours")
    elif who and minutes:
        _work(entry, cells, who, Worked(minutes, people.get(who.casefold()), who))


def _work(entry: Stated, cells: Cells, who: str, worked: Worked) -> None:
    if any((one.member.name if one.member else one.name).casefold() == who.casefold() for one in entry.hours):
        cells.fault("person", f"{shown(who)} stands twice in this entry: add the hours up")
    else:
        entry.hours.append(worked if worked.member is None else Worked(worked.minutes, worked.member))


def _people() -> dict[str, Member | None]:
    """Members by name; None where two have the same one: then it is kept as a name alone."""
    members = list(Member.objects.exclude(user=None))
    names = Counter(member.name.casefold() for member in members)
    return {member.name.casefold(): member if names[member.name.casefold()] == 1 else None for member in members}


def _not_there(stated: Iterable[Stated], project: Project, problems: Problems) -> list[Stated]:
    """Those that are to be written. One that is there and says something else is a problem."""
    stated = list(stated)
    there = {entry.key: entry for entry in LogEntry.objects.filter(key__in=[one.key for one in stated]).select_related("project")}
    hours = _hours(there.values())
    for one in stated:
        entry = there.get(one.key)
        if entry is None:
            continue
        if entry.project_id != project.pk:
            problems.add_error(one.row.error("entry", f"it is an entry of {entry.project.code} already: empty the cell to write it anew"))
        elif one.says() != (entry.on, entry.step_id, entry.text, entry.struck_at is not None, hours.get(entry.pk, ())):
            problems.add_error(one.row.error("entry", "it is there already and says something else: correct it on its page"))
    return [one for one in stated if one.key not in there]


def _hours(entries: Iterable[LogEntry]) -> dict[int, _Hours]:
    found: dict[int, list[tuple[str, int]]] = {}
    rows = LogHours.objects.filter(entry__in=list(entries)).values_list("entry_id", "member__name", "name", "minutes")
    for entry, called, name, minutes in rows:
        found.setdefault(entry, []).append((called or name, minutes))
    return {entry: tuple(sorted(people)) for entry, people in found.items()}


def _text(text: str) -> str:
    try:
        return prose(unguarded(text), MOST_TEXT)
    except ValueError as error:
        raise BadValue(str(error)) from error


def _step(text: str, *, steps: Mapping[str, Step]) -> Step:
    code = unguarded(text)
    if (step := steps.get(code.upper())) is not None:
        return step
    match = near(code, steps)
    raise BadValue(
        f"{shown(code)} is no step of the project: " + (f"did you mean {match}?" if match else "empty it, or load the plan first")
    )


def _minutes(text: str) -> int:
    try:
        return read_minutes(unguarded(text))
    except ValueError as error:
        raise BadValue(f"{shown(text)}: {error}") from error
