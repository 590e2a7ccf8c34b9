"""The reminders as an iCalendar (RFC 5545): all-day events without alarms, since whose calendar it is says when it rings."""

from datetime import datetime, timedelta

from django.utils.crypto import salted_hmac
from icalendar import Calendar, Event

from buildplan.reminders.calc import Reminder, printable
from inventory.models import Workshop

MEDIA_TYPE = "text/calendar; charset=utf-8"
EVERY = timedelta(hours=6)  # how often a calendar is asked to look again; many have a pace of their own
_SALT = "rivetloft.feed"


def calendar(workshop: Workshop, found: tuple[Reminder, ...], *, base: str, now: datetime) -> bytes:
    """The events of these reminders; `base` is the site's address, `now` the moment of the answer, which is when they hold."""
    made = Calendar()
    made.add("prodid", "-//Rivetloft//Reminders//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("x-wr-calname", printable(f"Rivetloft, {workshop.name}"))
    made.add("refresh-interval", EVERY, parameters={"value": "DURATION"})
    made.add("x-published-ttl", EVERY)
    for one in found:
        made.add_component(_event(workshop, one, base, now))
    return bytes(made.to_ical())


def _event(workshop: Workshop, one: Reminder, base: str, now: datetime) -> Event:
    event = Event()
    event.add("uid", _uid(workshop, one))
    event.add("dtstamp", now)
    event.add("dtstart", one.day)  # a date alone lasts that day
    event.add("summary", one.text)
    event.add("description", "\n".join([*(f"{reason.text} ({reason.source})" for reason in one.trace), base + one.link]))
    event.add("url", base + one.link)
    event.add("categories", [one.kind.value])
    event.add("transp", "TRANSPARENT")  # it takes nobody's time
    return event


def _uid(workshop: Workshop, one: Reminder) -> str:
    """The same for the same thing at every asking and on every day that it moves to; another site's or workshop's is another's."""
    named = f"{workshop.pk}:{one.kind}:{one.key}"
    return f"{salted_hmac(_SALT, named, algorithm='sha256').hexdigest()[:40]}@rivetloft"
