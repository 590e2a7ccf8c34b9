"""Reminders of seal days, of what they lack, and of the end of their cures."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from icalendar import Calendar

from buildplan.reminders import feed
from buildplan.reminders.calc import CureDue, Facts, Kind, Lacking, SealDayDue, reminders, to_do
from buildplan.reminders.queries import MOST_DAYS, due, due_of
from buildplan.sealday import queries, services
from buildplan.sealday.services import Outcome, PersonData
from buildplan.sealing.services import Take, end_mix
from inventory.common.reasons import Reason
from tests import factories
from tests.buildplan.reminders.conftest import NOON
from tests.factories import DAY

ON = DAY + timedelta(days=14)
EACH = {"shape": "each", "length": None, "leg_a": None, "leg_b": None, "grams_each": Fraction(15), "loss_percent": Fraction(0)}
CURED = datetime(2027, 3, 7, 7, 0, tzinfo=UTC)
SEALED = SealDayDue(5, "TERN", ON, past=False, steps=("F3-04",), lacking=(), link="/seal-days/5/")
CURE = CureDue(5, "TERN", 8, "SEAL-B2", CURED, CURED.date(), False, ("F3-06",), (Reason("14 h", "sheet"),), "/seal-days/5/")


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(
        workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", gravity=Decimal("1.5"), base=Decimal(100), accelerator=Decimal(10)
    )


@pytest.fixture
def fridge(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Fridge")


def plan_day(project, sealant, by, on=ON):
    """A seal day of 15 g for one step, two people from 9 to 17, 14 h of cure; F3-06 comes after it, the next day."""
    sealed = factories.StepFactory(project=project, code="F3-04", planned_on=on)
    factories.SeamFactory(step=sealed, sealant=sealant, **EACH)
    factories.StepFactory(project=project, code="F3-06", planned_on=on + timedelta(days=1), after=[sealed])
    day = services.plan_seal_day(bench=project.bench, on=on, steps=[sealed], by=by, today=DAY)
    people = [PersonData("Ada", time(9), time(17)), PersonData("Jon", time(9), time(17))]
    services.set_people(day=day, people=people, by=by)
    services.set_product(day=day, item=sealant, life_hours=Fraction(2), cure_hours=Fraction(14), by=by)
    return day, sealed


@pytest.fixture
def planned(project, sealant, owner):
    return plan_day(project, sealant, owner)


def told(owner, today=DAY, days=60):
    return [one for one in due(today=today, days=days, member=owner).reminders if one.kind in {"seal_day", "unclosed", "cure"}]


def test_seal_day_says_what_is_missing_for_it_and_when_it_is_cured(planned, owner):
    day, cure = told(owner)

    assert (day.kind, day.day, day.about) == (Kind.SEAL_DAY, ON, ("F3-04",))
    assert day.text == "Seal day of TERN: 1 step (F3-04); 1 thing missing for it"
    assert day.trace == (Reason("SEAL-B2: 15 g short for F3-04", "netting, as on the order sheet of TERN-1"),)
    assert (cure.kind, cure.day) == (Kind.CURE, ON + timedelta(days=1))
    assert cure.text == "SEAL-B2 of TERN is cured, as planned, at 07:00: F3-06 may go on"
    assert cure.trace[0].text == "cured 2027-03-07 07:00 = the day's last hour 2027-03-06 17:00 + 14 h"


def test_feed_page_and_day_agree(planned, owner, sealant, bench, fridge, workshop):
    """What the reminder names is what the day's own page shows, with enough stock and without, with clecos too few and enough."""
    cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco")
    factories.RivetRowFactory(step=planned[1], cleco=cleco, cleco_every=1, holes=10, grip=None)
    for grams in (0, 4, 20):
        if grams:
            factories.stock(factories.LotFactory(bench=bench, item=sealant, expires_on=ON, expires_as="day"), grams, fridge)
        day, cure = told(owner)
        view = queries.view(planned[0], today=DAY, now=NOON)
        assert {reason.text.partition(":")[0] for reason in day.trace if "short" in reason.text} == {
            one.line.item.code for one in view.missing
        }
        assert [product.cured_at for product in view.products] == [datetime(2027, 3, 7, 7, 0, tzinfo=UTC)]
        assert [one.free_from for one in view.blocked] == [cure.day]


def test_day_that_is_past_is_to_be_closed_until_it_is(planned, owner):
    (first, *_) = told(owner, today=ON + timedelta(days=1))

    assert (first.kind, first.day) == (Kind.UNCLOSED, ON)
    assert first.text == "Seal day of TERN is past and not closed: say what was done, and what was left"
    assert first in to_do(due(today=ON + timedelta(days=1), days=5, member=owner).reminders, ON + timedelta(days=1))
    services.call_off(day=planned[0], reason="rain", by=owner, now=NOON)
    assert told(owner, today=ON + timedelta(days=1)) == []


def test_mixed_and_closed_day_is_reminded_of_by_its_cure_alone_until_that_is_over(planned, owner, sealant, bench, fridge):
    day, step = planned
    lot = factories.LotFactory(bench=bench, item=sealant, code="R7", expires_on=ON + timedelta(days=60), expires_as="day")
    factories.stock(lot, 40, fridge)
    at = datetime(2027, 3, 6, 10, 30, tzinfo=UTC)
    said = {"base": Decimal("13.636"), "accelerator": Decimal("1.364"), "mixed_at": at, "mixed_by": "Ada", "on": ON, "temperature_f": None}
    mixed = services.mix(
        day=day, key=uuid4(), item=sealant, takes=[Take(lot, fridge, Decimal(15))], shares=[(step, Decimal(15))], **said, by=owner
    )
    end_mix(mix=mixed.mix, left=Decimal(1), at=at + timedelta(hours=1), by=owner)
    services.close(day=day, outcomes=[Outcome(step, done=True)], by=owner, today=ON, now=at + timedelta(hours=6))

    (cure,) = told(owner, today=ON)
    assert cure.text == "SEAL-B2 of TERN is cured at 00:30: F3-06 may go on"
    assert "the last batch" in cure.trace[0].text
    assert told(owner, today=ON + timedelta(days=2)) == []


def test_seam_that_cannot_be_reckoned_is_not_nothing_missing(planned, owner):
    factories.SeamFactory(step=planned[1], code="S9", sealant=planned[1].seams.get().sealant, shape="dome")
    day, _ = told(owner)

    assert day.text == "Seal day of TERN: 1 step (F3-04); 1 seam of it can't be reckoned, so what is missing isn't known"
    assert day.trace[0].text.startswith("seam S9 of F3-04, SEAL-B2: ")


def test_calendar_keeps_the_event_of_a_day_that_is_moved(planned, owner, workshop):
    def uids():
        events = Calendar.from_ical(feed.calendar(workshop, tuple(told(owner)), base="", now=NOON)).walk("VEVENT")
        return {str(one["UID"]): one["DTSTART"].dt for one in events}

    before = uids()
    services.move(days=[planned[0]], to=ON + timedelta(days=7), later=False, by=owner, today=DAY, now=NOON)

    assert {uid: day + timedelta(days=7) for uid, day in before.items()} == uids()


def test_queries_do_not_grow_with_seal_days_and_members(planned, owner, sealant, workshop):
    """At most 45, whatever the number of seal days and of members told."""
    counts = []
    for more in (0, 4):
        for n in range(more):
            plan_day(factories.ProjectFactory(bench__workshop=workshop), sealant, owner, on=ON + timedelta(days=n))
        members = [owner.pk, *(factories.MemberFactory(workshop=workshop).pk for _ in range(more))]
        with CaptureQueriesContext(connection) as taken:
            found = due_of(members, today=DAY, days=60)
        counts.append(len(taken))

    assert len([one for one in found[owner.pk].reminders if one.kind == Kind.SEAL_DAY]) == 5
    assert counts[0] == counts[1] <= 45


def test_last_days_of_the_calendar_are_no_error(planned, owner):
    assert due(today=date.max - timedelta(days=3), days=MOST_DAYS, member=owner).reminders
    assert due(today=date.min + timedelta(days=3), days=MOST_DAYS, member=owner).days == MOST_DAYS


def test_words_of_a_day_and_a_cure():
    lack = Lacking("TERN-1", "CUP", "ea", Decimal("2.500"), ("F3-04", "F3-05"))
    facts = Facts(seal_days=(SEALED, replace(SEALED, day_id=6, steps=(), lacking=(lack, lack))), cures=(replace(CURE, frees=()),))
    first, second, cure = reminders(facts, through=date.max)

    assert first.text == "Seal day of TERN: 1 step (F3-04); nothing is missing for it"
    assert first.trace[0].text == f"no step of {ON} is short of anything"
    assert second.text == "Seal day of TERN: no step yet; 2 things missing for it"
    assert second.trace[0] == Reason("CUP: 2.5 ea short for F3-04, F3-05", "netting, as on the order sheet of TERN-1")
    assert cure.text == "SEAL-B2 of TERN is cured at 07:00: no step waits for it"
