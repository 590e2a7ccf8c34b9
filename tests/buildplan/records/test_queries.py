"""What a step's page reads: the lots that finishing would take, and what a finish took."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.plan.calc import step_ref
from buildplan.records import queries, services
from buildplan.records.services import Use
from buildplan.shortfall.reading import read
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

    def test_proposals_take_whole_pieces_where_the_plan_needs_half_a_one(self, step, wanted, bench, item):
        wanted.quantity = Decimal("2.5")
        wanted.save()
        lot_of(bench, item, 60, code="L")

        (found,) = queries.proposals(step, on=DAY)
        assert (found.needed, found.choices[0].proposed) == (Decimal("2.5"), 3)

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
    def test_proposals_take_thirteen_queries_whatever_the_step_needs_and_none_where_all_is_read(
        self, step, bench, workshop, many, django_assert_num_queries
    ):
        for _ in range(many):
            item = factories.ItemFactory(workshop=workshop)
            factories.CallOutFactory(step=step, item=item, quantity=Decimal(2))
            for _ in range(many):
                lot_of(bench, item, 1)
        step.project.bench  # noqa: B018 - fetched with the step on a page

        with django_assert_num_queries(13):
            known = read([step.pk])
        with django_assert_num_queries(0):
            found = queries.proposals(step, on=DAY, known=known)
        with django_assert_num_queries(13):
            assert queries.proposals(step, on=DAY) == found


class TestTwoNeedsOfOneItem:
    def test_proposals_add_up_what_rows_and_seams_and_call_outs_take_of_a_lot(self, step, wanted, bench, item):
        item.kind, item.diameter = "rivet", Fraction(1, 8)
        item.save()
        for _ in range(2):
            factories.RivetRowFactory(step=step, rivet=item, holes=30)
        lot_of(bench, item, 90, code="OLD", expires_on=date(2027, 4, 1))
        lot_of(bench, item, 200, code="NEW", expires_on=date(2027, 5, 1))

        assert proposed(step) == {"OLD": 90, "NEW": 70}


class TestNeeded:
    def test_needed_tells_of_a_step_that_is_done(self, step, wanted):
        factories.RivetRowFactory(step=step, holes=12)
        factories.SeamFactory(step=step)
        step.done = True
        step.save()

        found = {need.source: need.quantity for _, needs in queries.needed(step, on=DAY) for need in needs}
        assert sorted(found.values()) == [12, Decimal("27.9"), 100]

    def test_needed_leaves_out_a_seam_whose_grams_are_not_known(self, step):
        seam = factories.SeamFactory(step=step)
        seam.sealant.gravity = None
        seam.sealant.save()

        assert queries.needed(step, on=DAY) == ()


class TestUsable:
    def usable(self, step, item, on=DAY):
        return {lot.label: (lot.quantity, lot.serves_until) for lot in queries.usable(step, [item.pk], on=on)}

    def test_usable_counts_what_is_free_and_what_is_held_for_this_step(self, step, item, bench):
        lot = lot_of(bench, item, 100, code="L", expires_on=date(2027, 4, 1))
        factories.SetAsideFactory(lot=lot, ref=step_ref(step.pk), quantity=Decimal(20))
        factories.SetAsideFactory(lot=lot, ref="step:0", quantity=Decimal(30))

        assert self.usable(step, item) == {"L": (70, date(2027, 4, 1))}

    @pytest.mark.parametrize("bad", [{"state": "quarantined"}, {"expires_on": DAY - timedelta(days=1)}])
    def test_usable_leaves_out_what_cannot_serve_on_the_day(self, step, item, bench, bad):
        lot_of(bench, item, 100, **bad)

        assert self.usable(step, item) == {}

    def test_usable_leaves_out_another_bench_s_and_crates(self, step, item, other_bench, bench):
        lot_of(other_bench, item, 100)
        factories.PackingLineFactory(crate=factories.CrateFactory(bench=bench, due_on=DAY), item=item, quantity=Decimal(100))

        assert self.usable(step, item) == {}

    def test_usable_tells_lots_of_one_code_apart_by_place_then_by_number(self, step, item, bench, workshop):
        shelf = factories.PlaceFactory(workshop=workshop, path="Shelf")
        for place in (shelf, shelf, factories.PlaceFactory(workshop=workshop, path="Fridge")):
            lot_of(bench, item, 10, place, code="TWIN")

        labels = sorted(self.usable(step, item))
        assert labels[0] == "lot TWIN in Fridge"
        assert labels[1].startswith("lot TWIN in Shelf, no. ")
        assert len(labels) == 3

    @pytest.mark.parametrize("many", [1, 12])
    def test_usable_takes_seven_queries(self, step, bench, workshop, many, django_assert_num_queries):
        items = [factories.ItemFactory(workshop=workshop) for _ in range(many)]
        for item in items:
            lot_of(bench, item, 10)
        step.project.bench  # noqa: B018 - fetched with the step on a page

        with django_assert_num_queries(7):
            queries.usable(step, [item.pk for item in items], on=DAY)


class TestFinished:
    @pytest.fixture
    def finish(self, step, stocked, lot, drawer, builder):
        return lambda: services.finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(100))], by=builder)

    def test_finished_tells_what_was_taken(self, finish, step, lot, drawer, builder):
        finish()

        (took,) = queries.finished(queries.finishes(step)).movements
        assert (took.lot, took.quantity, took.path, took.by, took.undone_on) == (lot.pk, 100, drawer.path, builder.name, None)

    def test_finished_is_none_for_a_step_loaded_as_done(self, project):
        assert queries.finished(queries.finishes(factories.StepFactory(project=project, done=True))) is None

    def test_finished_forgets_one_taken_back_and_taken_back_keeps_it(self, finish, step, builder):
        finish()
        services.take_back(step=step, on=DAY, now=datetime(2027, 2, 21, tzinfo=UTC), by=builder)

        assert queries.finished(queries.finishes(step)) is None
        assert [found.taken_back_by for found in queries.taken_back(queries.finishes(step))] == [builder]
