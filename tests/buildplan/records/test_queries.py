"""What a step's page reads: the lots that finishing would take, and what a finish took."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from buildplan.records import queries, services
from buildplan.records.services import Use
from buildplan.shortfall.queries import step_ref
from tests import factories
from tests.factories import DAY


def lot_of(bench, item, quantity, place=None, **more):
    lot = factories.LotFactory(bench=bench, item=item, **more)
    factories.stock(lot, quantity, place)
    return lot


def proposed(step, on=DAY):
    return {choice.lot_code: int(choice.proposed) for found in queries.proposals(step, on=on) for choice in found.choices}


class TestProposals:
    def test_proposals_take_what_expires_first(self, step, wanted, bench, item):
        lot_of(bench, item, 60, code="LATE", expires_on=date(2028, 1, 1))
        lot_of(bench, item, 70, code="SOON", expires_on=date(2027, 4, 1))
        lot_of(bench, item, 80, code="NEVER")

        assert proposed(step) == {"SOON": 70, "LATE": 30, "NEVER": 0}

    def test_proposals_take_what_is_set_aside_for_the_step_first(self, step, wanted, bench, item):
        lot_of(bench, item, 70, code="SOON", expires_on=date(2027, 4, 1))
        held = lot_of(bench, item, 60, code="HELD")
        factories.SetAsideFactory(lot=held, ref=step_ref(step.pk), quantity=Decimal(50))

        assert proposed(step) == {"SOON": 50, "HELD": 50}

    def test_proposals_leave_what_another_step_holds(self, step, wanted, bench, item):
        held = lot_of(bench, item, 60, code="HELD")
        factories.SetAsideFactory(lot=held, ref="step:0", quantity=Decimal(50))

        (found,) = queries.proposals(step, on=DAY)
        assert ([int(choice.proposed) for choice in found.choices], found.line.short) == ([10], 90)

    def test_proposals_empty_one_place_before_the_next(self, step, wanted, bench, item, workshop):
        lot = lot_of(bench, item, 40, factories.PlaceFactory(workshop=workshop, path="A"))
        factories.stock(lot, 90, factories.PlaceFactory(workshop=workshop, path="B"))

        (found,) = queries.proposals(step, on=DAY)
        assert [(choice.path, int(choice.there), int(choice.proposed)) for choice in found.choices] == [("A", 40, 40), ("B", 90, 60)]

    @pytest.mark.parametrize("bad", [{"state": "quarantined"}, {"expires_on": DAY - timedelta(days=1)}])
    def test_proposals_never_offer_a_lot_that_cannot_serve_that_day(self, step, wanted, bench, item, bad):
        lot_of(bench, item, 100, **bad)

        (found,) = queries.proposals(step, on=DAY)
        assert (found.choices, found.line.short) == ((), 100)

    def test_proposals_offer_a_dead_lot_for_the_day_it_served(self, step, wanted, bench, item):
        lot_of(bench, item, 100, code="L", expires_on=DAY)

        assert proposed(step, on=DAY) == {"L": 100}
        assert proposed(step, on=DAY + timedelta(days=1)) == {}

    def test_proposals_never_offer_another_bench_s_or_a_crate_on_its_way(self, step, wanted, bench, other_bench, item):
        lot_of(other_bench, item, 100)
        factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, due_on=DAY), item=item, quantity=Decimal(100))

        (found,) = queries.proposals(step, on=DAY)
        assert (found.choices, found.line.short) == ((), 100)

    def test_proposals_offer_the_pool(self, step, wanted, shared_bench, item):
        lot_of(shared_bench, item, 100, code="POOL")

        assert proposed(step) == {"POOL": 100}

    def test_proposals_take_nothing_of_what_comes_back(self, step, bench, workshop):
        cleco = factories.ItemFactory(workshop=workshop, kind="cleco")
        factories.CallOutFactory(step=step, item=cleco, quantity=Decimal(40))
        lot_of(bench, cleco, 30)

        (found,) = queries.proposals(step, on=DAY)
        assert (found.choices, found.needed, found.line.short) == ((), 40, 10)

    @pytest.mark.parametrize("many", [1, 12])
    def test_proposals_take_twelve_queries_whatever_the_step_needs(self, step, bench, workshop, many, django_assert_num_queries):
        for _ in range(many):
            item = factories.ItemFactory(workshop=workshop)
            factories.CallOutFactory(step=step, item=item, quantity=Decimal(2))
            for _ in range(many):
                lot_of(bench, item, 1)
        step.project.bench  # noqa: B018 - fetched with the step on a page

        with django_assert_num_queries(11):
            queries.proposals(step, on=DAY)


class TestFinished:
    @pytest.fixture
    def finish(self, step, stocked, lot, drawer, builder):
        return lambda: services.finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(100))], by=builder)

    def test_finished_tells_what_was_taken(self, finish, step, lot, drawer, builder):
        finish()

        (took,) = queries.finished(step).movements
        assert (took.lot, took.quantity, took.path, took.by, took.undone_on) == (lot.pk, 100, drawer.path, builder.name, None)

    def test_finished_is_none_for_a_step_loaded_as_done(self, project):
        assert queries.finished(factories.StepFactory(project=project, done=True)) is None

    def test_finished_forgets_one_taken_back_and_taken_back_keeps_it(self, finish, step, builder):
        finish()
        services.take_back(step=step, on=DAY, now=datetime(2027, 2, 21, tzinfo=UTC), by=builder)

        assert queries.finished(step) is None
        assert [found.taken_back_by for found in queries.taken_back(step)] == [builder]
