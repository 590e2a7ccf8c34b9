"""Finishing a step and taking it back: stock, step and record change together or not at all."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django_scopes import scopes_disabled

from buildplan.models import Finish, Step
from buildplan.plan.calc import step_ref
from buildplan.records import services
from buildplan.records.services import Use
from inventory.models import Holding, Lot, Movement, Place, SetAside
from inventory.stock import services as stock
from inventory.stock.queries import ledger_errors, on_hand
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY

NOW = datetime(2027, 2, 21, 9, 30, tzinfo=UTC)


@pytest.fixture
def finish(step, stocked, lot, drawer, builder):
    def finish(**given):
        asked = {"step": step, "on": DAY, "uses": [Use(lot, drawer, Decimal(100))], "by": builder}
        return services.finish_step(**{**asked, **given})

    return finish


@pytest.fixture
def take_back(step, builder):
    def take_back(**given):
        return services.take_back(**{"step": step, "on": DAY, "now": NOW, "by": builder, **given})

    return take_back


def nothing_happened():
    assert not Finish.objects.exists()
    assert not Step.objects.filter(done=True).exists()
    assert not Movement.objects.filter(target__end="used").exists()


class TestFinishStep:
    def test_finish_takes_the_stock_and_marks_the_step(self, finish, step, lot, builder):
        finish(note="two drilled out")

        step.refresh_from_db()
        assert (step.done, step.done_on) == (True, DAY)
        assert on_hand(lot) == 30
        assert ledger_errors() == []

    def test_finish_is_on_record_with_its_movements(self, finish, lot, drawer, builder):
        found = finish(note="two drilled out")

        moved = Movement.objects.get(ref=found.ref)
        assert (moved.lot, moved.source, moved.target.end, moved.quantity, moved.on, moved.by) == (lot, drawer, "used", 100, DAY, builder)
        assert (found.on, found.by, found.without_movements, found.note) == (DAY, builder, False, "two drilled out")

    def test_finish_names_who_changed_the_step(self, finish, step, builder):
        finish()

        assert step.history.first().history_user == builder

    def test_finish_may_take_more_or_less_than_the_plans_say(self, finish, lot, drawer):
        finish(uses=[Use(lot, drawer, Decimal(112))])

        assert on_hand(lot) == Decimal(18)

    def test_finish_takes_from_several_lots(self, finish, bench, item, lot, drawer):
        other = factories.LotFactory(bench=bench, item=item)
        factories.stock(other, 5, drawer)

        finish(uses=[Use(other, drawer, Decimal(5)), Use(lot, drawer, Decimal(95))])

        assert (on_hand(other), on_hand(lot)) == (0, 35)

    def test_finish_draws_down_what_was_set_aside_for_the_step(self, finish, step, lot):
        factories.SetAsideFactory(lot=lot, ref=step_ref(step.pk), quantity=Decimal(120))

        finish()

        assert SetAside.objects.get().quantity == 20

    def test_finish_without_movements_is_said_and_kept(self, finish, step, lot):
        found = finish(uses=[], without_movements=True)

        step.refresh_from_db()
        assert (found.without_movements, step.done, on_hand(lot)) == (True, True, 130)

    def test_finish_of_a_step_that_needs_nothing_needs_no_word(self, project, builder):
        step = factories.StepFactory(project=project)

        assert services.finish_step(step=step, on=DAY, uses=[], by=builder).without_movements

    def test_finish_of_a_step_whose_needs_all_come_back_needs_no_word(self, project, workshop, builder):
        step = factories.StepFactory(project=project)
        factories.CallOutFactory(step=step, item=factories.ItemFactory(workshop=workshop, kind="cleco"))

        assert services.finish_step(step=step, on=DAY, uses=[], by=builder).without_movements

    def test_finish_refuses_silence(self, finish):
        with pytest.raises(services.NothingTaken, match="F3-05 needs stock"):
            finish(uses=[])
        nothing_happened()

    def test_finish_refuses_quantities_and_their_absence_at_once(self, finish):
        with pytest.raises(services.NothingTaken, match="give one or the other"):
            finish(without_movements=True)
        nothing_happened()

    def test_finish_refuses_a_second_time_and_takes_nothing(self, finish, lot):
        finish()

        with pytest.raises(services.AlreadyDone, match="F3-05 is done on 2027-02-20 already"):
            finish()
        assert on_hand(lot) == 30

    def test_finish_refuses_a_step_that_was_loaded_as_done(self, finish, project):
        loaded = factories.StepFactory(project=project, code="F1-01", done=True)

        with pytest.raises(services.AlreadyDone, match="F1-01 is done already"):
            finish(step=loaded)
        nothing_happened_to(loaded)

    def test_finish_takes_all_or_nothing(self, finish, bench, item, lot, drawer):
        other = factories.LotFactory(bench=bench, item=item)
        factories.stock(other, 5, drawer)

        with pytest.raises(stock.NotEnough):
            finish(uses=[Use(lot, drawer, Decimal(95)), Use(other, drawer, Decimal(6))])
        nothing_happened()
        assert (on_hand(lot), on_hand(other)) == (130, 5)

    @pytest.mark.parametrize("state", ["quarantined", "disputed", "failed"])
    def test_finish_refuses_a_lot_in_a_bad_state(self, finish, lot, state):
        Lot.objects.filter(pk=lot.pk).update(state=state)

        with pytest.raises(stock.NotUsable, match=state):
            finish()
        nothing_happened()

    def test_finish_refuses_a_lot_that_died_the_day_before(self, finish, lot):
        Lot.objects.filter(pk=lot.pk).update(expires_on=date(2027, 2, 19))

        with pytest.raises(stock.NotUsable, match="2027-02-19"):
            finish()
        nothing_happened()

    def test_finish_takes_a_lot_on_its_last_day(self, finish, lot):
        Lot.objects.filter(pk=lot.pk).update(expires_on=DAY)

        finish()

    def test_finish_refuses_what_another_step_holds(self, finish, lot):
        factories.SetAsideFactory(lot=lot, ref="step:0", quantity=Decimal(31))

        with pytest.raises(stock.SetAsideForOthers):
            finish()
        nothing_happened()

    def test_finish_refuses_a_reader(self, finish, reader):
        with pytest.raises(NotAllowed, match="owner, storekeeper, builder"):
            finish(by=reader)
        nothing_happened()

    def test_finish_refuses_an_outsider(self, finish, outsider):
        with scopes_disabled():
            stranger = outsider.members.first()

        with pytest.raises(NotAllowed):
            finish(by=stranger)
        nothing_happened()

    def test_finish_refuses_an_outsider_s_lot(self, finish, outsider):
        with scopes_disabled():
            theirs, place = Lot.objects.select_related("bench").get(workshop=outsider), Place.objects.filter(workshop=outsider).first()

        with pytest.raises(NotAllowed):
            finish(uses=[Use(theirs, place, Decimal(1))])
        nothing_happened()


def nothing_happened_to(step):
    assert not Finish.objects.filter(step=step).exists()


class TestTakeBack:
    def test_take_back_restores_holdings_and_step(self, finish, take_back, step, lot):
        finish()

        take_back()

        step.refresh_from_db()
        assert (step.done, step.done_on, on_hand(lot)) == (False, None, 130)
        assert ledger_errors() == []

    def test_take_back_puts_each_quantity_where_it_lay(self, finish, take_back, workshop, lot, drawer):
        shelf = factories.PlaceFactory(workshop=workshop)
        factories.stock(lot, 20, shelf)
        before = set(Holding.objects.values_list("lot", "place", "quantity"))
        finish(uses=[Use(lot, drawer, Decimal(90)), Use(lot, shelf, Decimal(10))])

        take_back()

        assert set(Holding.objects.values_list("lot", "place", "quantity")) == before

    def test_take_back_keeps_both_on_record(self, finish, take_back, builder):
        found = finish()

        take_back()

        found.refresh_from_db()
        assert (found.taken_back_at, found.taken_back_by) == (NOW, builder)
        assert Movement.objects.filter(ref=found.ref).count() == 2

    def test_take_back_works_though_the_lot_died_since(self, finish, take_back, lot):
        finish()
        Lot.objects.filter(pk=lot.pk).update(expires_on=DAY, state="failed")

        take_back(on=date(2027, 5, 1))

        assert on_hand(lot) == 130

    def test_take_back_passes_over_a_movement_that_was_reversed_by_hand(self, finish, take_back, lot, builder):
        found = finish()
        stock.reverse(movement=Movement.objects.get(ref=found.ref), on=DAY, by=builder)

        take_back()

        assert on_hand(lot) == 130

    def test_take_back_then_finish_again(self, finish, take_back, lot):
        finish()
        take_back()

        finish()

        assert (on_hand(lot), Finish.objects.count()) == (30, 2)

    def test_take_back_of_a_finish_without_movements(self, finish, take_back, step, lot):
        finish(uses=[], without_movements=True)

        take_back()

        step.refresh_from_db()
        assert (step.done, on_hand(lot)) == (False, 130)

    def test_take_back_refuses_what_was_not_finished_here(self, take_back, project, step):
        with pytest.raises(services.NotFinishedHere, match="F3-05 was not finished here"):
            take_back()
        with pytest.raises(services.NotFinishedHere):
            take_back(step=factories.StepFactory(project=project, done=True))

    def test_take_back_refuses_a_second_time(self, finish, take_back, lot):
        finish()
        take_back()

        with pytest.raises(services.NotFinishedHere):
            take_back()
        assert on_hand(lot) == 130

    def test_take_back_refuses_reader_and_outsider(self, finish, take_back, reader, outsider, step):
        finish()
        with scopes_disabled():
            stranger = outsider.members.first()

        for by in (reader, stranger):
            with pytest.raises(NotAllowed):
                take_back(by=by)
        step.refresh_from_db()
        assert step.done
