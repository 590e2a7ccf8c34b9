"""Mixing, finishing and taking either back, in any order, against a plain model of need and stock."""

from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from buildplan.hardware.services import StepDone
from buildplan.records import queries as records
from buildplan.records import services
from buildplan.records.services import Use
from buildplan.sealing import services as sealing
from buildplan.sealing.services import MixUsed, Take
from buildplan.shortfall.queries import shortfall
from inventory.models import Lot, Place
from inventory.stock.queries import ledger_errors, on_hand
from inventory.stock.services import NotEnough
from tests import factories

DAY = date(2027, 3, 6)
AT = datetime(2027, 3, 6, 9, 0, tzinfo=UTC)
NEEDS = (30, 14, 50)
STOCK = (60, 70)

grams = st.integers(1, 40)
some_step = st.integers(0, len(NEEDS) - 1)
some_lot = st.integers(0, len(STOCK) - 1)


class Mixing(RuleBasedStateMachine):
    """Three steps that need a sealant, and two lots of it; each run of it is rolled back."""

    project = by = place = item = None
    steps = lots = ()

    def __init__(self):
        super().__init__()
        self.stock = list(STOCK)
        self.mixes = []  # (mix, its grams by step, the lot)
        self.done = {}  # step: grams taken of each lot when it was finished
        self.atomic = transaction.atomic()
        self.atomic.__enter__()

    def teardown(self):
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    def mixed(self, step):
        return sum(shares.get(step, 0) for _, shares, _ in self.mixes)

    def needed(self, step):
        return max(NEEDS[step] - self.mixed(step), 0)

    @rule(lot=some_lot, shares=st.dictionaries(some_step, grams, min_size=1, max_size=3))
    def mix(self, lot, shares):
        total = sum(shares.values())

        def write():
            return sealing.record_mix(
                item=self.item,
                key=uuid4(),
                takes=[Take(self.lots[lot], self.place, Decimal(total))],
                shares=[(self.steps[step], Decimal(share)) for step, share in shares.items()],
                base=Decimal(total),
                accelerator=Decimal(0),
                mixed_at=AT,
                mixed_by="Ada",
                on=DAY,
                temperature_f=None,
                life_hours=None,
                by=self.by,
            )

        refused = StepDone if self.done.keys() & shares.keys() else NotEnough if total > self.stock[lot] else None
        if refused is not None:
            with pytest.raises(refused):
                write()
            return
        self.mixes.append((write(), shares, lot))
        self.stock[lot] -= total

    @precondition(lambda self: self.mixes)
    @rule(data=st.data())
    def take_back_mix(self, data):
        at = data.draw(st.integers(0, len(self.mixes) - 1))
        mix, shares, lot = self.mixes[at]
        if self.done.keys() & shares.keys():
            with pytest.raises(MixUsed):
                sealing.take_back_mix(mix=mix, on=DAY, now=AT, by=self.by)
            return
        sealing.take_back_mix(mix=mix, on=DAY, now=AT, by=self.by)
        self.mixes.pop(at)
        self.stock[lot] += sum(shares.values())

    @rule(step=some_step)
    def finish(self, step):
        """With what is proposed: what was not mixed, from the lot that expires first."""
        if step in self.done:
            with pytest.raises(services.AlreadyDone):
                services.finish_step(step=self.steps[step], on=DAY, uses=(), by=self.by)
            return
        left, takes = self.needed(step), []
        for there in self.stock:
            takes.append(min(left, there))
            left -= takes[-1]
        choices = [choice for proposal in records.proposals(self.steps[step], on=DAY) for choice in proposal.choices if choice.proposed]
        assert [choice.proposed for choice in choices] == [take for take in takes if take]
        uses = [Use(Lot.objects.get(pk=one.lot), Place.objects.get(pk=one.place), one.proposed) for one in choices]
        if not uses and not self.mixed(step):
            with pytest.raises(services.NothingTaken):
                services.finish_step(step=self.steps[step], on=DAY, uses=uses, by=self.by)
            return
        services.finish_step(step=self.steps[step], on=DAY, uses=uses, by=self.by)
        self.stock = [there - take for there, take in zip(self.stock, takes, strict=True)]
        self.done[step] = takes

    @precondition(lambda self: self.done)
    @rule(data=st.data())
    def take_back(self, data):
        step = data.draw(st.sampled_from(sorted(self.done)))
        services.take_back(step=self.steps[step], on=DAY, now=AT, by=self.by)
        self.stock = [there + take for there, take in zip(self.stock, self.done.pop(step), strict=True)]

    @invariant()
    def stock_and_need_are_the_model(self):
        assert [on_hand(lot) for lot in self.lots] == self.stock
        needed = sum(self.needed(step) for step in range(len(NEEDS)) if step not in self.done)
        lines = shortfall([self.project], before=None, as_of=DAY).lines
        assert [(line.needed, line.usable) for line in lines] == ([(needed, min(needed, sum(self.stock)))] if needed else [])
        assert [line.short for line in lines] == ([max(needed - sum(self.stock), 0)] if needed else [])

    @invariant()
    def ledger_holds(self):
        assert ledger_errors(self.by.workshop) == []


def test_need_and_stock_are_the_model_whatever_happens(workshop, bench, project, drawer, builder):
    class Ours(Mixing):
        by, place = builder, drawer

    Ours.project = project
    Ours.item = item = factories.ItemFactory(workshop=workshop, kind="sealant", unit="g")
    Ours.steps = [factories.StepFactory(project=project, planned_on=DAY) for _ in NEEDS]
    Ours.lots = [factories.LotFactory(bench=bench, item=item, expires_on=date(2027, 6, day)) for day, _ in enumerate(STOCK, start=1)]
    for step, quantity in zip(Ours.steps, NEEDS, strict=True):
        factories.CallOutFactory(step=step, item=item, quantity=Decimal(quantity))
    for lot, quantity in zip(Ours.lots, STOCK, strict=True):
        factories.stock(lot, quantity, place=drawer)

    run_state_machine_as_test(Ours, settings=settings(max_examples=12, stateful_step_count=12, deadline=None))
