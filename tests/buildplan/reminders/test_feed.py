"""The calendar feed, as a calendar reads it."""

from dataclasses import replace
from datetime import date, datetime
from http import HTTPStatus

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django_scopes import scope
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from buildplan.reminders.calc import Kind, Reminder, printable
from buildplan.reminders.feed import calendar
from inventory.common.reasons import Reason
from inventory.models import FeedAddress, Workshop
from inventory.workshop import feeds, tokens
from tests import factories
from tests.buildplan.reminders.conftest import NOON
from tests.factories import DAY

ONE = Reminder(DAY, Kind.CRATE, "4", "CRATE-8 is due", "/crates/4/", ("CRATE-8",), (Reason("it is", "its due day"),))


def events(answer):
    assert answer.status_code == HTTPStatus.OK
    return Calendar.from_ical(answer.content).walk("VEVENT")


def test_feed_has_an_event_for_each_reminder(scene, reader, address_of):
    found = events(Client().get(address_of(reader)))

    assert [(str(one["CATEGORIES"].cats[0]), one["DTSTART"].dt) for one in found] == [
        ("claim", date(2027, 2, 25)),
        ("order", date(2027, 3, 1)),
        ("crate", date(2027, 3, 3)),
        ("expiry", date(2027, 3, 5)),
    ]


def test_event_is_all_day_without_alarm_and_says_why_and_where(scene, reader, address_of, settings):
    settings.RIVETLOFT_ADDRESS = "https://rivetloft.club.example"
    last = events(Client().get(address_of(reader)))[-1]

    assert str(last["SUMMARY"]) == "SEAL, lot R7: last usable day of 12.5 g in Fridge/Door"
    where = f"https://rivetloft.club.example/lots/{scene.pk}/"
    assert str(last["DESCRIPTION"]) == f"expires: usable through 2027-03-05 (expires 2027-03-05, as printed)\n{where}"
    assert str(last["URL"]) == where
    assert not isinstance(last["DTSTART"].dt, datetime)
    assert (last["DTSTAMP"].dt, str(last["TRANSP"]), last.subcomponents) == (NOON, "TRANSPARENT", [])


def test_answer_is_a_private_calendar(scene, reader, address_of):
    answer = Client().get(address_of(reader))

    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert {part.strip() for part in answer["Cache-Control"].split(",")} == {"private", "no-cache"}
    assert "sessionid" not in answer.cookies


def test_uids_stay_when_days_move_and_differ_by_thing_and_workshop(scene, reader, address_of):
    where = address_of(reader)
    before = [str(one["UID"]) for one in events(Client().get(where))]
    scene.expires_on = date(2027, 3, 9)
    scene.save()
    with time_machine.travel(NOON.replace(day=21), tick=False):
        after = [str(one["UID"]) for one in events(Client().get(where))]

    assert before == after
    assert len(set(before)) == 4
    ours, theirs = (calendar(Workshop(pk=pk, name="X"), (ONE,), base="", now=NOON) for pk in (1, 2))
    assert Calendar.from_ical(ours).walk("VEVENT")[0]["UID"] != Calendar.from_ical(theirs).walk("VEVENT")[0]["UID"]


def test_new_address_ends_the_one_before(scene, reader, address_of):
    old, new = address_of(reader), address_of(reader)

    assert Client().get(old).status_code == HTTPStatus.NOT_FOUND
    assert Client().get(new).status_code == HTTPStatus.OK


def test_ended_feed_is_not_found(scene, reader, address_of):
    where = address_of(reader)
    feeds.end_feed_address(member=reader, by=reader)

    assert Client().get(where).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("who", ["member", "user"])
def test_feed_of_who_left_is_not_found(scene, reader, address_of, who):
    where = address_of(reader)
    row, field = (reader, "active") if who == "member" else (reader.user, "is_active")
    setattr(row, field, False)
    row.save()

    assert Client().get(where).status_code == HTTPStatus.NOT_FOUND


def test_wrong_secret_is_not_found(scene, reader, secret_of):
    secret = secret_of(reader)
    prefix = FeedAddress.objects.get().prefix
    wrong = [
        tokens.make(prefix).text,  # the right start, another secret
        tokens.make(tokens.make_prefix(tokens.FEED)).text,
        secret[:-1],
        secret + "a",
        secret.upper(),
        secret.replace("rf_", "rl_"),
        "x",
        "%00",
    ]

    assert [Client().get(reverse("feed", args=[text])).status_code for text in wrong] == [HTTPStatus.NOT_FOUND] * len(wrong)


def test_secret_of_a_feed_is_no_token_and_a_token_no_secret(scene, owner, secret_of):
    device = tokens.make(tokens.make_prefix())
    factories.DeviceFactory(member=owner, prefix=device.prefix, digest=device.digest)
    bearer = Client(headers={"authorization": f"Bearer {secret_of(owner)}"})

    assert bearer.get(reverse("api-me")).status_code == HTTPStatus.UNAUTHORIZED
    assert Client().get(reverse("feed", args=[device.text])).status_code == HTTPStatus.NOT_FOUND


def test_feed_reads_its_own_workshop_whoever_is_signed_in(scene, reader, outsider, address_of, as_member):
    with scope(workshop=outsider):
        theirs = outsider.members.get(name="OUTSIDE owner")
        factories.CrateFactory(bench=outsider.benches.get(), code="OUTSIDE-DUE", due_on=DAY)
        stranger = address_of(theirs)
    ours = address_of(reader)

    assert "OUTSIDE-DUE" in str([one["SUMMARY"] for one in events(Client().get(stranger))])
    assert "CRATE-7" not in Client().get(stranger).content.decode()
    assert "OUTSIDE" not in as_member(theirs).get(ours).content.decode()
    assert "CRATE-7" not in as_member(reader).get(stranger).content.decode()


def test_secret_is_kept_as_a_hash_alone(scene, reader, secret_of):
    secret = secret_of(reader)
    kept = FeedAddress.objects.get()

    assert secret.startswith(kept.prefix)
    assert secret.removeprefix(kept.prefix).strip("_") not in repr(kept.__dict__)
    assert len(kept.digest) == 64
    assert not hasattr(FeedAddress.history.get(), "digest")


def test_feed_takes_get_and_head_alone(scene, reader, address_of):
    where = address_of(reader)

    assert Client().head(where).status_code == HTTPStatus.OK
    assert Client().post(where).status_code == HTTPStatus.METHOD_NOT_ALLOWED


def test_feed_takes_a_fixed_number_of_queries(scene, workshop, bench, reader, address_of, django_assert_max_num_queries):
    """One for the secret, at most 40 for what is due."""
    where = address_of(reader)
    for _ in range(5):
        factories.CrateFactory(bench=bench, due_on=DAY)
        factories.StepFactory(project=factories.ProjectFactory(bench=bench))

    with django_assert_max_num_queries(41):
        assert len(events(Client().get(where))) == 9


@given(st.text())
def test_any_text_comes_back_as_it_was_in_folded_lines(text):
    made = calendar(
        Workshop(pk=1, name=text),
        (replace(ONE, text=printable(text), trace=(Reason(printable(text), ""),)),),
        base="https://x.example",
        now=NOON,
    )
    (event,) = Calendar.from_ical(made).walk("VEVENT")

    assert all(len(line) <= 75 for line in made.split(b"\r\n"))
    assert made.endswith(b"END:VCALENDAR\r\n")
    assert b"\r" not in made.replace(b"\r\n", b"")
    assert str(event["SUMMARY"]) == printable(text)
    assert event.errors == []
