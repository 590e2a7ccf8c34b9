"""The log as a CSV file: for people and inspectors, and for loading. One row a person; an entry's rows share its `entry`.

`entry day step text person hours struck` are read back by loading. The others are told by the ledger, the photos and the signers, and
are there to be read.
"""

import csv
import re
from collections.abc import Iterable, Iterator
from io import StringIO

from buildplan.logbook.models import LogEntry
from buildplan.logbook.queries import EntryRow, HoursRow

READ = ("entry", "day", "step", "text", "person", "hours", "struck")
TOLD = ("project", "section", "lots", "seen_by", "photos", "written_by")
HEADINGS = (*READ, *TOLD)
_FORMULA = re.compile(r"'*[=+\-@\t\r]")


def guarded(text: str) -> str:
    """A cell that no spreadsheet runs: one that starts like a formula gets a ' before it. `unguarded` takes it away again."""
    return f"'{text}" if _FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """What `guarded` was given."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


def as_csv(rows: Iterable[EntryRow]) -> str:
    """The log as the text of a file."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADINGS)
    writer.writerows(cells_of(rows))
    return out.getvalue()


def cells_of(rows: Iterable[EntryRow]) -> Iterator[list[str]]:
    """The rows of entries, in their order. One query."""
    entries = list(rows)
    keys = dict(LogEntry.objects.filter(pk__in=[entry.id for entry in entries]).values_list("pk", "key"))
    for entry in entries:
        yield from _cells(entry, str(keys[entry.id]))


def _cells(entry: EntryRow, key: str) -> Iterator[list[str]]:
    """The rows of an entry: one for each person, or one without."""
    told = [
        entry.project,
        entry.section,
        "; ".join(took.label for took in entry.took),
        "; ".join(signature.label for signature in entry.signatures),
        "; ".join(photo.caption or f"photo {photo.id}" for photo in entry.photos),
        entry.by,
    ]
    struck = (entry.struck_why or "struck out") if entry.struck_at else ""
    people: list[HoursRow | None] = [*entry.hours] or [None]
    for person in people:
        who, time = (person.who, person.time) if person else ("", "")
        row = [key, entry.on.isoformat(), entry.step, entry.text, who, time, struck, *told]
        yield [guarded(cell) for cell in row]
