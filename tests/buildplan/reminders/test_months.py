"""Months of a workshop, day by day: what dies, lapses or must be ordered was said in time, by every way of saying it."""

from datetime import datetime, time, timedelta
from http import HTTPStatus
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.management import call_command
from django.test import Client
from icalendar import Calendar

from inventory.workshop import feeds
from tests import factories
from tests.factories import DAY

AHEAD = 14  # what the mail looks ahead


@pytest.fixture
def dying(workshop, bench):
    """Lots that die 0 to 80 days from now."""
    lots = {}
    for days in range(0, 81, 8):
        lot = factories.LotFactory(bench=bench, code=f"DIES-{days:02}", expires_on=DAY + timedelta(days=days), expires_as="day")
        factories.stock(lot, 1)
        lots[lot.code] = lot.expires_on
    return lots


def test_every_death_is_in_a_mail_fourteen_days_before_and_until_it_comes(dying, reader, mailoutbox):
    feeds.want_digest(member=reader, wanted=True, by=reader)
    said = {}
    for n in range(90):
        today = DAY + timedelta(days=n)
        with time_machine.travel(datetime.combine(today, time(6), ZoneInfo("UTC")), tick=False):
            call_command("digest", days=AHEAD, stdout=StringIO())
        (mail,) = mailoutbox or [None]
        body = mail.body if mail else ""
        mailoutbox.clear()
        for code in dying:
            if code in body:
                said.setdefault(code, []).append(today)

    for code, last in dying.items():
        first = max(DAY, last - timedelta(days=AHEAD))
        assert said[code] == [first + timedelta(days=n) for n in range((last - first).days + 1)]


@pytest.mark.parametrize("zone", ["UTC", "Pacific/Auckland", "America/Los_Angeles"])
def test_day_is_that_of_the_workshop_s_clock(dying, reader, secret_of, settings, zone):
    settings.TIME_ZONE = zone
    where = f"/feed/{secret_of(reader)}.ics"
    for clock in (time(0, 1), time(23, 59)):
        with time_machine.travel(datetime.combine(DAY, clock, ZoneInfo(zone)), tick=False):
            answer = Client().get(where)
        assert answer.status_code == HTTPStatus.OK
        days = {str(one["SUMMARY"]).split(":")[0][-7:]: one["DTSTART"].dt for one in Calendar.from_ical(answer.content).walk("VEVENT")}
        assert days == dying
