"""The reminders as a mail in plain text."""

from collections.abc import Iterator

from buildplan.reminders.calc import Reminder, printable, said
from buildplan.reminders.queries import Due
from inventory.models import Workshop


def subject(workshop: Workshop, found: Due) -> str:
    """How many things, and which comes first."""
    count = len(found.to_do)
    first = found.to_do[0]
    return printable(f"{workshop.name}: {count} {'thing' if count == 1 else 'things'} due, the first {said(first.days_left(found.as_of))}")


def body(found: Due, *, base: str, page: str) -> str:
    """What is overdue, then what is due, each with its page; then what has no day, and how to get no more of these."""
    over = [one for one in found.to_do if one.day < found.as_of]
    due = [one for one in found.to_do if one.day >= found.as_of]
    parts = [
        *_part("Overdue", over, found, base),
        *_part(f"Due within {found.days} days of {found.as_of}", due, found, base),
        *_without_day(found),
        f"All of it, with reasons, and where to say that you want no more of these mails: {base}{page}",
    ]
    return "\n".join(parts) + "\n"


def _part(title: str, ones: list[Reminder], found: Due, base: str) -> Iterator[str]:
    if not ones:
        return
    yield f"{title}:\n"
    for one in ones:
        yield f"{one.day:%a} {one.day}, {said(one.days_left(found.as_of))}: {one.text}\n  {base}{one.link}\n"


def _without_day(found: Due) -> Iterator[str]:
    if found.undated:
        yield "Without a day: " + "; ".join(found.undated) + ".\n"
