"""`manage.py digest`: one mail a member and day, to those who asked."""

import json
from datetime import UTC, date, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import CommandError, call_command
from django_scopes import scope

from inventory.models import DigestMail
from inventory.workshop import feeds
from tests import factories

NOON = datetime(2027, 2, 20, 12, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOON, tick=False) as clock:
        yield clock


def run(*arguments):
    out = StringIO()
    call_command("digest", *arguments, stdout=out)
    return out.getvalue()


@pytest.fixture
def asked(reader):
    feeds.want_digest(member=reader, wanted=True, by=reader)
    return reader


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="CRATE-8", due_on=date(2027, 2, 25))


def test_mail_says_what_is_due_with_its_page(asked, crate, bench, mailoutbox, settings):
    settings.RIVETLOFT_ADDRESS = "https://rivetloft.club.example"
    factories.CrateFactory(bench=bench, code="CRATE-LATE", due_on=date(2027, 2, 18))
    factories.CrateFactory(bench=bench, code="CRATE-9")

    assert "1 of 1 mails sent" in run()
    (mail,) = mailoutbox
    assert (mail.to, mail.from_email) == ([asked.user.email], settings.DEFAULT_FROM_EMAIL)
    assert mail.subject == "Workshop MARSH: 2 things due, the first 2 days ago"
    assert mail.body == (
        "Overdue:\n\n"
        f"Thu 2027-02-18, 2 days ago: CRATE-LATE for {bench.code} is due: no list yet\n"
        f"  https://rivetloft.club.example/crates/{crate.pk + 1}/\n\n"
        "Due within 14 days of 2027-02-20:\n\n"
        f"Thu 2027-02-25, in 5 days: CRATE-8 for {bench.code} is due: no list yet\n"
        f"  https://rivetloft.club.example/crates/{crate.pk}/\n\n"
        "Without a day: 1 crate on the way without a due day.\n\n"
        "All of it, with reasons, and where to say that you want no more of these mails: https://rivetloft.club.example/reminders/\n"
    )


def test_second_run_of_a_day_sends_nothing_and_the_next_day_does(asked, crate, mailoutbox, clock):
    run()
    assert "sent today already" in run()
    assert len(mailoutbox) == 1

    clock.shift(timedelta(days=1))
    run()
    assert len(mailoutbox) == 2


def test_nothing_to_say_is_no_mail_and_does_not_take_the_day(asked, bench, mailoutbox):
    assert "nothing due" in run()
    factories.CrateFactory(bench=bench, due_on=date(2027, 2, 25))
    run()

    assert len(mailoutbox) == 1


def test_lot_that_died_before_is_no_news(asked, bench, mailoutbox):
    factories.stock(factories.LotFactory(bench=bench, expires_on=date(2027, 2, 19), expires_as="day"), 1)

    assert "nothing due" in run()


def test_days_say_how_far(asked, crate, mailoutbox):
    assert "nothing due" in run("--days", "4")
    assert "1 of 1 mails sent" in run("--days", "5")


def test_nobody_who_did_not_ask_or_left_gets_one(asked, crate, owner, mailoutbox):
    asked.active = False
    asked.save()

    assert run().strip() == "0 of 0 mails sent"
    assert mailoutbox == []


def test_to_is_the_mail_of_one_member(asked, crate, owner, mailoutbox):
    feeds.want_digest(member=owner, wanted=True, by=owner)
    run("--to", owner.user.email.upper())

    assert [mail.to for mail in mailoutbox] == [[owner.user.email]]


def test_to_somebody_who_did_not_ask_is_an_error(asked, crate, owner, mailoutbox):
    with pytest.raises(CommandError, match="nobody of the address"):
        run("--to", owner.user.email)


@pytest.mark.parametrize("days", ["0", "-1", "367", "x", "9999999999999"])
def test_days_that_do_not_read_are_wrong_usage(asked, days):
    with pytest.raises(CommandError, match="--days"):
        run(f"--days={days}")


def test_json_says_what_became_of_each(asked, crate, owner, mailoutbox):
    assert json.loads(run("--json")) == {
        "mails": [{"workshop": "MARSH", "to": asked.user.email, "things": 1, "outcome": "sent", "why": ""}]
    }


class Refusing(EmailBackend):
    """A mail server that is not there."""

    def send_messages(self, messages):
        raise OSError("connection refused")


def test_mail_that_fails_is_an_error_and_is_sent_by_the_next_run(asked, crate, mailoutbox, settings):
    settings.EMAIL_BACKEND, good = f"{__name__}.Refusing", settings.EMAIL_BACKEND
    out = StringIO()
    with pytest.raises(CommandError, match="not every mail was sent"):
        call_command("digest", stdout=out)
    assert "failed, connection refused" in out.getvalue()

    settings.EMAIL_BACKEND = good
    assert "1 of 1 mails sent" in run()


def test_day_is_taken_once_by_runs_at_the_same_time(asked):
    mail = DigestMail.objects.get()

    assert [feeds.take_day(mail=mail, today=NOON.date()) for _ in range(2)] == [True, False]


def test_each_workshop_hears_of_its_own(asked, crate, outsider, mailoutbox):
    with scope(workshop=outsider):
        theirs = outsider.members.get(name="OUTSIDE owner")
        factories.CrateFactory(bench=outsider.benches.get(), code="OUTSIDE-DUE", due_on=date(2027, 2, 25))
        feeds.want_digest(member=theirs, wanted=True, by=theirs)
    run()

    bodies = {mail.to[0]: mail.body for mail in mailoutbox}
    assert "OUTSIDE" not in bodies[asked.user.email]
    assert "CRATE-8" not in bodies[theirs.user.email]
    assert "OUTSIDE-DUE" in bodies[theirs.user.email]


def test_workshop_alone_is_served_where_named(asked, crate, outsider, mailoutbox):
    assert run("--workshop", "OUTSIDE").strip() == "0 of 0 mails sent"
    with pytest.raises(CommandError, match="no workshop NOWHERE"):
        run("--workshop", "NOWHERE")
