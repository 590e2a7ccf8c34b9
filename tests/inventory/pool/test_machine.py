"""The pool against a plain model that counts each day, under any order of lending, returning, booking, cancelling, losing and renewing."""

from collections import Counter
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from inventory.models import Booking, Holding, Loan
from inventory.pool import queries, services
from inventory.pool.services import LoanOver, Taken, TooMany, WaitedFor
from inventory.stock.queries import ledger_errors
from tests.factories import DAY
from tests.inventory.pool.conftest import NOW

pytestmark = pytest.mark.django_db
PIECES = 40
FAR = 30  # days that the model counts: far past any day that is asked for
people = st.integers(0, 2)
amounts = st.sampled_from([1, 10, 15, 25, 40])
lengths = st.integers(0, 4)


@dataclass
class OneLoan:
    pk: int
    who: int
    out: int
    due: int | None
    on: int
    ended: int = 0  # day of the last end


@dataclass
class OneBooking:
    pk: int
    who: int
    quantity: int
    first: int
    last: int
    asked: int
    waiting: bool
    ended: str = ""


@dataclass
class Model:
    """All of it in small lists; days are numbers."""

    today: int = 0
    pieces: int = PIECES
    loans: list = field(default_factory=list)
    bookings: list = field(default_factory=list)

    def held(self, day, besides=(), bookings=None):
        """What is held that day, counted one by one."""
        lent = sum(
            one.out
            for one in self.loans
            if one not in besides and one.on <= day and (one.due is None or one.due < self.today or day <= one.due)
        )
        these = self.bookings if bookings is None else bookings
        booked = (one for one in these if not one.waiting and not one.ended and one.last >= self.today)
        return lent + sum(one.quantity for one in booked if one not in besides and one.first <= day <= one.last)

    def fits(self, quantity, first, last, besides=(), bookings=None):
        days = range(max(first, self.today), (FAR if last is None else last) + 1)
        return all(self.held(day, besides, bookings) + quantity <= self.pieces for day in days)

    def had(self, who):
        of_loans = [FAR + 1 if one.out else one.ended for one in self.loans if one.who == who]
        of_bookings = [one.last for one in self.bookings if one.who == who and not one.waiting and not one.ended]
        return max([*of_loans, *of_bookings], default=-1000)

    def serve(self):
        """The line, made anew after each turn."""
        line = [one for one in self.bookings if one.waiting and not one.ended and one.last >= self.today]
        for one in sorted(line, key=lambda one: (self.had(one.who), one.asked, one.pk)):
            if self.fits(one.quantity, one.first, one.last):
                one.waiting = False
                return self.serve()
        return None

    def replant(self):
        kept = []
        for one in sorted(self.bookings, key=lambda one: (one.asked, one.pk)):
            if one.waiting or one.ended or one.last < self.today:
                continue
            if self.fits(one.quantity, one.first, one.last, bookings=kept):
                kept.append(one)
            else:
                one.waiting = True
        self.serve()

    def lend(self, who, quantity, due):
        """The loan and what is left of the booking it is out of; None where others were promised it."""
        self.serve()
        live = [one for one in self.bookings if one.who == who and not one.waiting and not one.ended and one.last >= self.today]
        live.sort(key=lambda one: (one.first, one.pk))
        chosen = next((one for one in live if one.first <= self.today), None)
        due = due if due is not None or chosen is None else chosen.last
        gone, rest = [], None
        if chosen:
            chosen.ended = "lent"
            used = OneBooking(0, who, min(chosen.quantity, quantity), chosen.first, chosen.last, 0, waiting=False)
            gone.append(used)
            if chosen.quantity > quantity:
                rest = OneBooking(
                    0, who, chosen.quantity - quantity, max(chosen.first, self.today), chosen.last, chosen.asked, waiting=False
                )
                self.bookings.append(rest)
        for one in live:
            if one is not chosen and (due is None or one.last <= due):
                most = max(
                    sum(other.quantity for other in (*gone, one) if other.first <= day <= other.last)
                    for day in range(one.first, one.last + 1)
                )
                if most <= quantity:
                    gone.append(one)
        for one in gone:
            one.ended = "lent"
        if not self.fits(quantity, self.today, due):
            return None
        self.loans.append(OneLoan(0, who, quantity, due, self.today))
        return self.loans[-1], rest


class Pool(RuleBasedStateMachine):
    """Forty clecos and three people; each run of it is rolled back."""

    lot = tub = who = keeper = None

    def __init__(self):
        super().__init__()
        self.model, self.minutes = Model(), 0
        self.atomic = transaction.atomic()
        self.atomic.__enter__()

    def teardown(self):
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    @property
    def now(self):
        return NOW + timedelta(days=self.model.today, minutes=self.minutes)

    def day(self, number):
        return None if number is None else DAY + timedelta(days=number)

    def refused(self, before, errors, write):
        """What the model can't do the service refuses, and nothing has changed."""
        self.model = before
        with pytest.raises(errors):
            write()

    @rule(who=people, quantity=amounts, length=st.none() | lengths)
    def lend(self, who, quantity, length):
        before = deepcopy(self.model)
        due = None if length is None else self.model.today + length

        def write():
            said = {"on": self.day(self.model.today), "due_on": self.day(due), "key": uuid4(), "by": self.who[who], "now": self.now}
            return services.lend(lot=self.lot, place=self.tub, quantity=Decimal(quantity), member=self.who[who], **said)

        found = self.model.lend(who, quantity, due)
        if found is None:
            return self.refused(before, Taken, write)
        loan, rest = found
        loan.pk = write().pk
        if rest:
            rest.pk = Booking.objects.latest("pk").pk
        return None

    @precondition(lambda self: self.model.loans)
    @rule(data=st.data(), quantity=amounts, kind=st.sampled_from(["returned", "returned", "lost", "worn"]))
    def take_in(self, data, quantity, kind):
        at = data.draw(st.integers(0, len(self.model.loans) - 1))
        before, loan = deepcopy(self.model), self.model.loans[at]

        def write():
            row = Loan.objects.get(pk=loan.pk)
            said = {"key": uuid4(), "on": self.day(self.model.today), "by": self.who[loan.who], "now": self.now}
            return services.take_in(loan=row, kind=kind, quantity=Decimal(quantity), **said)

        if quantity > loan.out:
            return self.refused(before, LoanOver, write)
        loan.out -= quantity
        loan.ended = self.model.today
        if kind == "returned":
            self.model.serve()
        else:
            self.model.pieces -= quantity
            self.model.replant()
        write()
        return None

    @rule(who=people, quantity=amounts, ahead=lengths, length=lengths, wait=st.booleans())
    def book(self, who, quantity, ahead, length, wait):
        before, first = deepcopy(self.model), self.model.today + ahead
        self.minutes += 1
        days = {"first_day": self.day(first), "last_day": self.day(first + length)}

        def write():
            said = {"key": uuid4(), "wait": wait, "by": self.who[who], "today": self.day(self.model.today), "now": self.now}
            return services.book(item=self.lot.item, quantity=Decimal(quantity), member=self.who[who], **days, **said)

        self.model.serve()
        if quantity > self.model.pieces:
            return self.refused(before, TooMany, write)
        fits = self.model.fits(quantity, first, first + length)
        if not fits and not wait:
            return self.refused(before, Taken, write)
        self.model.bookings.append(OneBooking(write().pk, who, quantity, first, first + length, self.minutes, not fits))
        return None

    @precondition(lambda self: any(not one.ended and one.last >= self.model.today for one in self.model.bookings))
    @rule(data=st.data())
    def cancel(self, data):
        found = [one for one in self.model.bookings if not one.ended and one.last >= self.model.today]
        one = data.draw(st.sampled_from(found))
        one.ended = "cancelled"
        self.model.serve()
        services.cancel(booking=Booking.objects.get(pk=one.pk), by=self.keeper, now=self.now)

    @precondition(lambda self: any(one.out and one.due is not None for one in self.model.loans))
    @rule(data=st.data(), more=st.integers(1, 5))
    def renew(self, data, more):
        loan = data.draw(st.sampled_from([one for one in self.model.loans if one.out and one.due is not None]))
        due = max(loan.due, self.model.today) + more

        def write():
            on = self.day(self.model.today)
            return services.renew(loan=Loan.objects.get(pk=loan.pk), due_on=self.day(due), on=on, by=self.who[loan.who])

        line = [one for one in self.model.bookings if one.waiting and not one.ended and one.last >= self.model.today]
        if any(one.who != loan.who and one.first <= due for one in line):
            self.refused(self.model, WaitedFor, write)
        elif not self.model.fits(loan.out, self.model.today, due, besides=[loan]):
            self.refused(self.model, Taken, write)
        else:
            loan.due = due
            write()

    @rule()
    def tomorrow(self):
        self.model.today += 1

    @invariant()
    def days_are_what_counting_gives(self):
        today = self.model.today
        for at, found in enumerate(queries.free(self.lot.item, self.day(today), self.day(today + 9)), today):
            assert (found.there, found.lent + found.booked) == (self.model.pieces, self.model.held(at)), at

    @invariant()
    def bookings_are_the_model(self):
        found = {row.pk: (int(row.quantity), row.waiting, row.ended_as) for row in Booking.objects.all()}
        assert found == {one.pk: (one.quantity, one.waiting, one.ended) for one in self.model.bookings}

    @invariant()
    def hands_hold_what_is_lent_and_the_ledger_adds_up(self):
        lent = Counter()
        for one in self.model.loans:
            lent[self.who[one.who].pk] += one.out
        held = Holding.objects.filter(place__hands__isnull=False, quantity__gt=0)
        assert dict(held.values_list("place__hands", "quantity")) == {who: out for who, out in lent.items() if out}
        assert {row.pk: int(row.open) for row in Loan.objects.all()} == {one.pk: one.out for one in self.model.loans}
        assert ledger_errors(self.lot.workshop) == []


@pytest.mark.usefixtures("outsider")
def test_pool_is_the_model_whatever_happens(clecos, tub, people, storekeeper):
    class Ours(Pool):
        lot, who, keeper = clecos, people, storekeeper

    Ours.tub = tub
    run_state_machine_as_test(Ours, settings=settings(max_examples=25, stateful_step_count=20, deadline=None))
