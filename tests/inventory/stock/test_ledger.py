"""The ledger against a plain dict, under any order of deliveries, moves, uses, counts and reverses."""

from collections import Counter
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from inventory.models import Holding
from inventory.stock import services
from inventory.stock.queries import ledger_errors
from tests import factories
from tests.factories import DAY

amounts = st.integers(min_value=1, max_value=9000).map(lambda thousandths: Decimal(thousandths).scaleb(-3))
lots = places = st.integers(min_value=0, max_value=1)


class Ledger(RuleBasedStateMachine):
    """Over two lots and two shelves; each run of it is rolled back."""

    items = shelves = by = None

    def __init__(self):
        super().__init__()
        self.model = Counter()
        self.done = []  # (movement, what it did to the model)
        self.atomic = transaction.atomic()
        self.atomic.__enter__()

    def teardown(self):
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    def apply(self, changes, write):
        """Either both the model and the database change, or the database refuses what the model can't do."""
        after = Counter(self.model)
        for spot, change in changes.items():
            after[spot] += change
        if min(after.values(), default=0) < 0:
            with pytest.raises(services.NotEnough):
                write()
            return
        self.model = after
        self.done.append((write(), changes))

    @rule(lot=lots, place=places, quantity=amounts)
    def receive(self, lot, place, quantity):
        self.apply(
            {(lot, place): quantity},
            lambda: services.receive(lot=self.items[lot], quantity=quantity, place=self.shelves[place], on=DAY, by=self.by),
        )

    @rule(lot=lots, source=places, quantity=amounts)
    def move(self, lot, source, quantity):
        target = 1 - source
        self.apply(
            {(lot, source): -quantity, (lot, target): quantity},
            lambda: services.move(
                lot=self.items[lot],
                quantity=quantity,
                source=self.shelves[source],
                target=self.shelves[target],
                on=DAY,
                by=self.by,
            ),
        )

    @rule(lot=lots, place=places, quantity=amounts, end=st.sampled_from([services.use, services.scrap]))
    def take(self, lot, place, quantity, end):
        self.apply(
            {(lot, place): -quantity},
            lambda: end(lot=self.items[lot], quantity=quantity, place=self.shelves[place], on=DAY, by=self.by),
        )

    @rule(lot=lots, place=places, counted=amounts | st.just(Decimal(0)))
    def adjust(self, lot, place, counted):
        change = counted - self.model[lot, place]
        movement = services.adjust(lot=self.items[lot], place=self.shelves[place], counted=counted, on=DAY, by=self.by)
        assert (movement is None) == (change == 0)
        if movement:
            self.model[lot, place] = counted
            self.done.append((movement, {(lot, place): change}))

    @precondition(lambda self: self.done)
    @rule(data=st.data())
    def reverse(self, data):
        movement, changes = data.draw(st.sampled_from(self.done))
        undo = {spot: -change for spot, change in changes.items()}
        if movement.reverses_id or hasattr(movement, "undone"):
            with pytest.raises(services.AlreadyReversed):
                services.reverse(movement=movement, on=DAY, by=self.by)
            return
        before = len(self.done)
        self.apply(undo, lambda: services.reverse(movement=movement, on=DAY, by=self.by))
        if len(self.done) > before:
            movement.undone = True

    @invariant()
    def holdings_are_the_model(self):
        found = {(row.lot_id, row.place_id): row.quantity for row in Holding.objects.all()}
        wanted = {(self.items[lot].pk, self.shelves[place].pk): quantity for (lot, place), quantity in self.model.items()}
        assert {spot: quantity for spot, quantity in found.items() if quantity} == {
            spot: quantity for spot, quantity in wanted.items() if quantity
        }
        assert all(quantity >= 0 for quantity in found.values())

    @invariant()
    def holdings_are_the_sum_of_movements(self):
        assert ledger_errors(self.by.workshop) == []


def test_ledger_is_the_model_whatever_happens(bench, storekeeper):
    class Ours(Ledger):
        items = [factories.LotFactory(bench=bench, item__unit="g") for _ in range(2)]
        shelves = [factories.PlaceFactory(workshop=bench.workshop) for _ in range(2)]
        by = storekeeper

    run_state_machine_as_test(Ours, settings=settings(max_examples=25, stateful_step_count=20, deadline=None))
