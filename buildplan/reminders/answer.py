"""The reminders as other programs read them."""

from typing import Any

from buildplan.reminders.calc import Reminder
from buildplan.reminders.queries import Due


def as_object(found: Due) -> dict[str, Any]:
    """Days are ISO; `link` is a path of this site."""
    return {
        "as_of": found.as_of.isoformat(),
        "days": found.days,
        "reminders": [_reminder(found, one) for one in found.reminders],
        "undated": list(found.undated),
    }


def _reminder(found: Due, one: Reminder) -> dict[str, Any]:
    return {
        "day": one.day.isoformat(),
        "days_left": one.days_left(found.as_of),
        "kind": one.kind.value,
        "text": one.text,
        "link": one.link,
        "about": list(one.about),
        "trace": [{"text": reason.text, "source": reason.source} for reason in one.trace],
    }
