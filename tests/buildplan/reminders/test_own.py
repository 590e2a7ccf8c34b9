"""Loans and bookings: everyone is told of their own, and of nobody else's."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from icalendar import Calendar

from buildplan.reminders.calc import BookingDue, Facts, Kind, LoanDue, reminders, to_do, undated
from buildplan.reminders.queries import due, due_of
from inventory.pool import services as pool
from inventory.workshop import feeds
from tests import factories
from tests.buildplan.reminders.conftest import NOON
from tests.factories import DAY

IN_TEN = DAY + timedelta(days=10)
LOAN = LoanDue(7, 1, "CLECO-3", "ea", Decimal(20), IN_TEN, 2, (), "/pool/loans/7/")
BOOKING = BookingDue(9, 1, "SQUEEZER", "ea", Decimal(1), IN_TEN, IN_TEN, (), "/pool/mine/")


@pytest.fixture
def ann(workshop):
    return factories.MemberFactory(workshop=workshop, name="Ann", role="builder")


@pytest.fixture
def bea(workshop):
    return factories.MemberFactory(workshop=workshop, name="Bea", role="builder")


@pytest.fixture
def clecos(shared_bench, drawer):
    lot = factories.LotFactory(bench=shared_bench, item__code="CLECO-3", item__kind="cleco", code="")
    factories.stock(lot, 40, place=drawer)
    return lot


@pytest.fixture
def lent(ann, bea, clecos, drawer):
    """Ann has 20 until the tenth day and books 5 from the twelfth to the thirteenth; Bea has 8, without a day to be back."""
    said = {"lot": clecos, "place": drawer, "on": DAY, "now": NOON}
    loan = pool.lend(**said, quantity=Decimal(20), member=ann, due_on=IN_TEN, key=uuid4(), by=ann)
    pool.lend(**said, quantity=Decimal(8), member=bea, key=uuid4(), by=bea)
    days = {"first_day": DAY + timedelta(days=12), "last_day": DAY + timedelta(days=13)}
    pool.book(item=clecos.item, quantity=Decimal(5), **days, member=ann, key=uuid4(), by=ann, today=DAY, now=NOON)
    return loan


def test_each_is_told_of_their_own_loans_and_bookings_with_reasons(lent, ann, bea):
    loan, booking = due(today=DAY, days=30, member=ann).reminders

    assert (loan.kind, loan.day, loan.text) == (Kind.LOAN, IN_TEN, "20 ea of CLECO-3 are to be back")
    assert loan.link == reverse("loan", args=[lent.pk])
    assert [reason.text for reason in loan.trace][-1] == "due on 2027-03-02: mails speak of it from 1 day before on"
    assert "20 ea went from" in loan.trace[0].text
    assert (booking.kind, booking.text) == (Kind.BOOKING, "5 ea of CLECO-3 are yours through 2027-03-05: to be fetched")
    other = due(today=DAY, days=30, member=bea)
    assert (other.reminders, other.undated) == ((), ("1 loan of yours without a day to be back",))


def test_feed_api_and_page_tell_nobody_of_another_s(lent, ann, bea, secret_of, as_member):
    summaries = [
        [str(one["SUMMARY"]) for one in Calendar.from_ical(Client().get(f"/feed/{secret_of(member)}.ics").content).walk("VEVENT")]
        for member in (ann, bea)
    ]
    assert [len(found) for found in summaries] == [2, 0]
    assert [len(as_member(member).get(reverse("api-reminders")).json()["reminders"]) for member in (ann, bea)] == [2, 0]
    pages = [as_member(member).get(reverse("reminders")).content.decode() for member in (ann, bea)]
    assert ["to be back" in page and "to be fetched" in page for page in pages] == [True, False]


def test_mail_speaks_of_a_loan_from_the_day_that_the_rules_say(lent, ann, bea, owner, workshop, mailoutbox, time_machine):
    pool.set_rules(workshop=workshop, by=owner, remind_days=3)
    for member in (ann, bea):
        feeds.want_digest(member=member, wanted=True, by=member)
    days = []
    for n in range(12):
        time_machine.move_to(NOON + timedelta(days=n), tick=False)
        call_command("digest", verbosity=0)
        days += [n for mail in mailoutbox if "are to be back" in mail.body and mail.to == [ann.user.email]]
        assert all(mail.to == [ann.user.email] for mail in mailoutbox)
        mailoutbox.clear()

    assert days == [7, 8, 9, 10, 11]  # from three days before on, and while it is overdue


def test_what_is_back_fetched_or_called_off_is_due_no_longer(lent, ann, clecos, drawer):
    said = {"quantity": Decimal(20), "place": drawer, "on": DAY, "now": NOON}
    pool.take_in(loan=lent, kind="returned", **said, key=uuid4(), by=ann)
    pool.cancel(booking=ann.bookings.get(), by=ann, now=NOON)

    assert due(today=DAY, days=30, member=ann).reminders == ()


def test_booking_that_nobody_fetched_is_told_of_through_its_last_day(lent, ann):
    def kinds(days):
        return [one.kind for one in due(today=DAY + timedelta(days=days), days=30, member=ann).reminders]

    assert [Kind.BOOKING in kinds(days) for days in (12, 13, 14)] == [True, True, False]


def test_queries_do_not_grow_with_loans_and_bookings(lent, ann, bea, clecos, drawer):
    counts = []
    for more in (0, 3):
        for n in range(more):
            said = {"lot": clecos, "place": drawer, "quantity": Decimal(1), "on": DAY, "now": NOON}
            pool.lend(**said, member=bea, due_on=IN_TEN, key=uuid4(), by=bea)
            day = DAY + timedelta(days=15 + n)
            wanted = {"quantity": Decimal(1), "first_day": day, "last_day": day}
            pool.book(item=clecos.item, **wanted, member=bea, key=uuid4(), by=bea, today=DAY, now=NOON)
        with CaptureQueriesContext(connection) as taken:
            found = due_of([ann.pk, bea.pk], today=DAY, days=30)
        counts.append(len(taken))

    assert [len(one.reminders) for one in found.values()] == [2, 6]
    assert counts[0] == counts[1]


def test_loan_without_a_day_is_counted_and_one_of_a_rule_of_no_days_is_spoken_of_on_its_day():
    facts = Facts(loans=(replace(LOAN, day=None), replace(LOAN, loan_id=8, days_before=0)), bookings=(BOOKING,))
    found = reminders(facts, through=IN_TEN)

    assert [one.text for one in found] == ["20 ea of CLECO-3 are to be back", "1 ea of SQUEEZER is yours through 2027-03-02: to be fetched"]
    assert "from on the day itself" not in found[0].trace[-1].text
    assert [len(to_do(found, IN_TEN - timedelta(days=days))) for days in (1, 0)] == [1, 2]
    assert undated(facts) == ("1 loan of yours without a day to be back",)
    assert reminders(facts.own(2), through=IN_TEN) == ()
