"""A year of the demo's workshop, week by week: what was used was alive, and what died had been said in time.

Whoever walks through it only calls what a builder calls. Until when a lot may be used is worked out here once more, in plain Python from
the raw columns, and compared with what was used and with what the reminders said.
"""

from calendar import monthrange
from collections import defaultdict
from datetime import UTC, date, datetime, timedelta
from math import floor
from pathlib import Path

import pytest
from dateutil.relativedelta import relativedelta
from django_scopes import scope

from buildplan.fitting.queries import open_conflicts
from buildplan.fitting.services import add_answer, settle
from buildplan.loading import demo
from buildplan.models import Conflict, Project, SealDay, Step
from buildplan.plan.services import set_planned
from buildplan.records.queries import proposals
from buildplan.records.services import Use, finish_step
from buildplan.reminders.forms import DAYS
from buildplan.reminders.queries import due
from buildplan.sealday.queries import view
from buildplan.sealday.services import call_off
from buildplan.shortfall.queries import shortfall
from inventory.models import Acceptance, Crate, Disposal, Holding, Lot, Member, Movement, PackingLine, Place, UpdateTest
from inventory.receiving import services as receiving
from inventory.shelflife import services as shelflife
from inventory.shelflife.calc import StatedDate
from inventory.shelflife.storage import Reading
from inventory.stock import services as stock
from inventory.workshop.services import set_member
from tests.factories import DAY

pytestmark = pytest.mark.alike

FIXTURES = Path(__file__).parents[2] / "fixtures"
WEEK = timedelta(days=7)
WARNED = timedelta(days=14)  # what the mail says ahead; the page says more
WEEKS = 53
HOT = 20  # the week in which the fridge's door stood open
ANSWERED = 40  # the week in which the maker answers what text and drawing disagree about
SOLD_OUT, AGAIN = {"ADH-EPOXY", "SEAL-C24"}, 26  # what no seller has until that week


# The second opinion


def months_after(day, precision, months):
    """The last day of a life that starts on `day`; what is stated by the month or quarter ends on the last day of a month."""
    end = day + relativedelta(months=months)
    return end if precision == "day" else end.replace(day=monthrange(end.year, end.month)[1])


def last_day(lot):
    """The last day by the columns of a lot and its item; None for no end, "unknown" where nobody knows."""
    item, ends = lot.item, []
    more = lot.passes * floor(item.life_months * item.extend_part) if item.extend_part and item.life_months else 0
    if lot.expires_on:
        ends.append(months_after(lot.expires_on, lot.expires_as, more) if more else lot.expires_on)
    if lot.made_on and item.life_months:
        ends.append(months_after(lot.made_on, lot.made_as, item.life_months + more))
    if not ends and (item.kind in {"sealant", "chemical"} or item.life_months):
        return "unknown"
    if lot.opened_on and item.open_life_days is not None:
        ends.append(lot.opened_on + timedelta(days=item.open_life_days))
    if lot.storage_until:
        ends.append(lot.storage_until)
    return min(ends, default=None)


def accepted(lot, on):
    return Acceptance.objects.filter(lot=lot, withdrawn=None, on__lte=on, until__gte=on).exists()


def may_be_used(lot, on):
    end = last_day(lot)
    alive = end is None or (end != "unknown" and (end - on).days >= (lot.item.min_life_days or 0))
    failed = UpdateTest.objects.filter(lot__item=lot.item, lot__code__iexact=lot.code, passed=False, on__lte=on).exclude(lot__code="")
    return lot.state == "good" and not failed.exists() and (alive or accepted(lot, on))


# The year


class Year:
    """The workshop's people at work. `said` is when the reminders named a lot with a day, `dying` since when a lot had it."""

    def __init__(self, clock, keeper, inspector):
        self.clock, self.keeper, self.inspector = clock, keeper, inspector
        self.today = DAY
        self.projects = list(Project.objects.select_related("bench__workshop").order_by("pk"))
        self.shelf = Place.objects.get(path="Tern bay/Fridge/Lower shelf")
        self.seen = Movement.objects.order_by("-pk").values_list("pk", flat=True).first()
        self.said, self.dying = defaultdict(list), {}
        self.uses = self.by_acceptance = self.settled = 0
        self.died = {}

    def compare(self):
        """The reminders of the sealing weekend name what its own pages say is missing, and when it is cured."""
        told = due(today=DAY, days=DAYS, member=self.keeper).reminders
        now = datetime.combine(DAY, datetime.min.time(), UTC)
        for day in SealDay.objects.all():
            shown = view(day, today=DAY, now=now)
            (said,) = [one for one in told if one.kind == "seal_day" and one.key == str(day.pk)]
            assert {reason.text.partition(":")[0] for reason in said.trace} == {one.line.item.code for one in shown.missing}
            cures = {one.key: one.day for one in told if one.kind == "cure" and one.link == said.link}
            assert cures == {f"{day.pk}:{one.item_id}": one.cured_at.date() for one in shown.products if one.cured_at}

    def plan(self):
        """One step a week and project, in plan order, from next week on; the sealing weekend is put off."""
        for day in SealDay.objects.filter(closed_at=None, called_off_at=None):
            call_off(
                day=day, reason="the club builds slowly this year", by=self.keeper, now=datetime.combine(DAY, datetime.min.time(), UTC)
            )
        for project in self.projects:
            for week, step in enumerate(
                Step.objects.filter(project=project, done=False).select_related("project__bench").order_by("position"), 1
            ):
                set_planned(step=step, planned_on=DAY + week * WEEK, by=self.keeper)

    def week(self, number):
        self.today = DAY + number * WEEK
        self.clock.move_to(datetime.combine(self.today, datetime.min.time(), UTC) + timedelta(hours=12), tick=False)
        self.receive()
        if number == HOT:
            self.heat()
        self.read()
        self.test_and_dispose()
        if number == ANSWERED:
            self.settle()
        self.build()
        self.check_uses()
        self.order()

    # What is read

    def read(self):
        """The reminders name every lot that dies within their days, and no other, each on the day that the columns give."""
        told = {
            (int(one.key), one.day)
            for one in due(today=self.today, days=DAYS, member=self.keeper).reminders
            if one.kind == "expiry" and one.day >= self.today
        }
        ends = {lot.pk: last_day(lot) for lot in self.on_hand() if lot.accepted_until is None}
        soon = {(pk, end) for pk, end in ends.items() if isinstance(end, date) and self.today <= end <= self.today + timedelta(days=DAYS)}
        assert {one for one in told if one[0] in ends} == soon
        for pk, end in ends.items():
            self.died_or_lives(pk, end)
        for spot in told:
            self.said[spot].append(self.today)

    def died_or_lives(self, pk, end):
        if self.dying.get(pk, (None, None))[0] != end:
            self.dying[pk] = (end, self.today)
        if isinstance(end, date) and end < self.today and pk not in self.died:
            self.died[pk] = self.dying[pk]

    def on_hand(self):
        return list(Lot.objects.filter(holdings__quantity__gt=0).select_related("item", "bench").distinct().order_by("pk"))

    # What is done

    def receive(self):
        for crate in Crate.objects.filter(due_on__lte=self.today, lines__open_quantity__gt=0).distinct():
            for line in PackingLine.objects.filter(crate=crate, open_quantity__gt=0, item__isnull=False).select_related(
                "item", "crate__bench"
            ):
                timed = line.item.life_months and not (line.made_on or line.expires_on)
                made = StatedDate(self.today - timedelta(days=20), "day") if timed else line.made
                code = line.lot_code or f"N-{line.pk}"
                said = {"lot_code": code, "made": made, "expires": line.expires}
                receiving.arrive(line=line, quantity=line.open_quantity, place=self.shelf, on=self.today, by=self.keeper, **said)

    def heat(self):
        """29 C for two hours where most of the sealants lie: they are to be used within 35 days."""
        start = datetime.combine(self.today, datetime.min.time(), UTC)
        readings = [Reading(start + timedelta(hours=hour), celsius) for hour, celsius in ((8, 6.0), (9, 29.0), (10, 29.0), (11, 6.0))]
        kept = shelflife.log_temperatures(place=self.shelf, readings=readings, by=self.keeper, now=start + timedelta(hours=12))
        assert kept.changed

    def test_and_dispose(self):
        """A batch near its end is tested: twice it passes, then it fails. What has been dead for a month, or failed, goes."""
        for lot in self.on_hand():
            end = last_day(lot)
            if not isinstance(end, date):
                continue
            testable = lot.state == "good" and lot.item.extend_part and lot.code and not lot.storage_until
            if testable and abs((end - self.today).days) <= 7 and not UpdateTest.objects.filter(lot__code=lot.code, on=self.today).exists():
                shelflife.record_test(lot=lot, on=self.today, passed=lot.passes < 2, method="sample", by=self.inspector)
            elif end < self.today - timedelta(days=30) and not accepted(lot, self.today):
                self.dispose(lot)

    def dispose(self, lot):
        for held in Holding.objects.filter(lot=lot, quantity__gt=0).select_related("place"):
            said = {"mass_g": held.quantity, "way": "hazardous waste collection", "on": self.today, "by": self.keeper}
            shelflife.dispose(lot=lot, place=held.place, quantity=held.quantity, **said)

    def settle(self):
        """The maker answers each open conflict, and it's settled by that."""
        for conflict in Conflict.objects.filter(pk__in=[one.id for found in self.held().values() for one in found]):
            said = {"on": self.today, "by": self.keeper, "today": self.today}
            add_answer(conflict=conflict, text="as drawn", reference="a letter", **said)
            settle(conflict=conflict, right="drawing", **said)
            self.settled += 1

    def held(self):
        return open_conflicts(list(Step.objects.values_list("pk", flat=True)))

    def build(self):
        """Whatever is planned by now, waits for nothing and isn't held, as far as its lots reach."""
        ready = Step.objects.filter(done=False, planned_on__lte=self.today).exclude(afters__after__done=False).exclude(pk__in=self.held())
        for step in ready.select_related("project__bench__workshop").order_by("project", "position"):
            self.step(step)

    def step(self, step):
        proposed = self.proposed(step)
        if self.accept_dead([one.item.id for one in proposed if one.line.short], step):
            proposed = self.proposed(step)
        if any(one.line.short for one in proposed):
            return
        choices = [choice for one in proposed for choice in one.choices if choice.proposed]
        lots, places = Lot.objects.in_bulk([one.lot for one in choices]), Place.objects.in_bulk([one.place for one in choices])
        for lot in {lots[one.lot] for one in choices}:
            if lot.opened_on is None and lot.item.open_life_days is not None:
                lots[lot.pk] = stock.open_lot(lot=lot, on=self.today, by=self.keeper)
        uses = [Use(lots[one.lot], places[one.place], one.proposed) for one in choices]
        finish_step(step=step, on=self.today, uses=uses, by=self.keeper, without_movements=not uses)

    def proposed(self, step):
        return [one for one in proposals(step, on=self.today) if not one.item.returned]

    def accept_dead(self, items, step):
        """An inspector looks at what is dead and would do, a few times in the year; whether there was any."""
        if not items or (left := 6 - Acceptance.objects.count()) <= 0:
            return False
        dead = [lot for lot in self.on_hand() if lot.item_id in items and lot.bench == step.project.bench and self.is_dead(lot)]
        taken = dead[:left]
        for lot in taken:
            said = {"until": self.today + 2 * WEEK, "reason": "a sample did well", "on": self.today}
            shelflife.accept(lot=lot, **said, by=self.inspector)
        return bool(taken)

    def is_dead(self, lot):
        return lot.state == "good" and lot.accepted_until is None and not may_be_used(lot, self.today)

    def order(self):
        """What is due within the coming week, not before its window opens."""
        for project in self.projects:
            for line in shortfall([project], before=None, as_of=self.today).short:
                opens = line.not_before is None or line.not_before <= self.today
                closes = line.order_by is None or line.order_by < self.today + WEEK
                sold = line.item.code not in SOLD_OUT or self.today >= DAY + AGAIN * WEEK
                if opens and closes and sold and not line.item.returned:
                    said = {"due_on": self.today + timedelta(days=line.item.lead_days or 7), "ordered_on": self.today}
                    item = project.workshop.items.get(pk=line.item.id)
                    receiving.expect(bench=project.bench, item=item, quantity=line.buy, **said, by=self.keeper)

    # What must hold

    def check_uses(self):
        """Nothing expired, failed or of unknown life was used this week without an inspector's recorded acceptance."""
        rows = Movement.objects.filter(pk__gt=self.seen, target__end="used").select_related("lot__item")
        for moved in rows.order_by("pk"):
            assert may_be_used(moved.lot, moved.on), (moved.lot, moved.lot.item.code, moved.on, last_day(moved.lot))
            end = last_day(moved.lot)
            self.by_acceptance += end == "unknown" or (end is not None and end < moved.on)
            self.uses += 1
        self.seen = Movement.objects.order_by("-pk").values_list("pk", flat=True).first()

    def check_deaths(self):
        """Every lot that died on the shelf had been named two weeks before, or when the day was set where that was later."""
        for pk, (end, since) in self.died.items():
            if since > end:  # it came dead, or was ended that week: by a fail, an excursion
                continue
            first = min(self.said[pk, end], default=date.max)
            assert first <= max(end - WARNED, since), (Lot.objects.get(pk=pk), end, since, first)


@pytest.fixture
def year(db, time_machine, settings):
    time_machine.move_to(datetime.combine(DAY, datetime.min.time(), UTC) + timedelta(hours=12), tick=False)
    found = demo.ensure_demo(FIXTURES, password="a year in a hangar", today=DAY)
    with scope(workshop=found.workshop):
        keeper = Member.objects.get(user__email=demo.KEEPER)
        ines, _ = set_member(email="ines@saltmarsh.example", workshop=found.workshop, name="Ines", role="inspector", by=keeper)
        yield Year(time_machine, keeper, ines)


def test_nothing_expired_is_used_and_every_death_was_said_in_time(year):
    year.compare()
    year.plan()
    for number in range(WEEKS):
        year.week(number)
    year.check_deaths()

    assert year.uses > 60
    assert year.by_acceptance
    assert year.settled
    assert len([pk for pk, (end, since) in year.died.items() if since <= end]) > 10
    assert set(UpdateTest.objects.values_list("passed", flat=True)) == {True, False}
    assert Disposal.objects.exists()
    assert Lot.objects.filter(storage_until__isnull=False).exists()
    assert not Step.objects.filter(done=False).exists()
