"""The log of the demo: what its builders wrote down, who helped, and what the inspector has seen."""

from datetime import date, datetime, time, timedelta
from uuid import UUID, uuid5

from django.utils import timezone

from buildplan.logbook import services
from buildplan.logbook.models import LogEntry
from buildplan.logbook.services import Worked
from buildplan.plan.models import Project, Step
from inventory.models import Member

NAMES = UUID("10609b00-5a17-4000-8000-000000000000")  # keys are made from it, so that making the demo again makes none
TERN, PLOVER = "TERN-1", "PLOVER-1"
WREN, JOSS, IDA = "Wren of Tern", "Joss of Tern", "Ida of Plover"
INSPECTOR = "Amos Reed"
LICENCE = "Saltmarsh club inspector, no. 3 (invented)"
# Project, step, days before, text, minutes by name: who is no member is a helper.
ENTRIES: tuple[tuple[str, str | None, int, str, dict[str, int]], ...] = (
    (TERN, "T1-03", 61, "Riveted all eleven ribs to the spar.\nThree rivets of rib 7 drilled out and set anew.", {WREN: 150, JOSS: 90}),
    (TERN, "F1-01", 55, "Left keel lies true to a string within a sheet's thickness.", {JOSS: 165}),
    (TERN, "T1-04", 40, "Closed the stabiliser. Looked inside with a mirror before the last row.", {WREN: 240, "Jon, a guest": 120}),
    (TERN, "F2-01", 33, "Right keel on the same jig, turned round.", {JOSS: 140}),
    (TERN, "F1-02", 30, "Match-drilled the left bottom skin; edge distance held at frame 4.", {WREN: 200}),
    (TERN, "F2-02", 12, "Match-drilled the right bottom skin. Ida bucked the last third.", {WREN: 120, IDA: 60}),
    (TERN, "T1-06", 8, "Rudder swings free, no rub at either stop.", {JOSS: 75}),
    (TERN, None, 6, "Swept, sorted clecos by size, oiled the squeezer.", {WREN: 45, JOSS: 45}),
    (PLOVER, "T1-01", 14, "Deburred and dimpled the ribs.", {IDA: 130}),
)
SEEN = (TERN, "T1-04", 39, "Seen inside before closing, by mirror and lamp.")


def make_log(*, today: date) -> None:
    """Entries, hours and one signature. Made again it is the same."""
    people = {member.name: member for member in Member.objects.filter(active=True)}
    for project, code, before, text, minutes in ENTRIES:
        found = Project.objects.select_related("bench").get(code=project)
        services.write_entry(
            project=found,
            step=Step.objects.get(project=found, code=code) if code else None,
            on=today - timedelta(days=before),
            text=text,
            hours=[_worked(name, spent, people) for name, spent in minutes.items()],
            key=_key(f"{project} {code}"),
            by=people[next(iter(minutes))],
            today=today,
        )
    _sign(people[INSPECTOR], today)


def _worked(name: str, minutes: int, people: dict[str, Member]) -> Worked:
    return Worked(minutes, people[name]) if name in people else Worked(minutes, name=name)


def _sign(by: Member, today: date) -> None:
    project, code, before, statement = SEEN
    entry = LogEntry.objects.get(key=_key(f"{project} {code}"))
    now = timezone.make_aware(datetime.combine(today - timedelta(days=before), time(18)))
    services.sign(of=entry, key=_key("seen"), by=by, now=now, statement=statement, licence=LICENCE)


def _key(what: str) -> UUID:
    return uuid5(NAMES, what)
