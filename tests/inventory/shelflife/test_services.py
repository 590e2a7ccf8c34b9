"""Update tests, acceptances and disposals of lots."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from inventory.common.quantities import BadQuantity
from inventory.models import Acceptance, Lot, Movement, UpdateTest
from inventory.shelflife import services
from inventory.stock import services as stock
from inventory.stock.queries import life_of
from inventory.workshop.policy import NotAllowed
from tests import factories
from tests.factories import DAY

LATER = DAY + timedelta(days=1)


def record(lot, by, *, passed=True, on=DAY):
    return services.record_test(lot=lot, on=on, passed=passed, method="hardness after 24 h", by=by)


def last_day(lot):
    return life_of(Lot.objects.select_related("item").get(pk=lot.pk)).last_day


def test_pass_adds_half_the_life_to_every_lot_of_the_batch(batch, bench, other_bench, sealant, inspector):
    twin = factories.LotFactory(bench=other_bench, item=sealant, code="R7", made_on=date(2026, 4, 30), made_as="month")
    stranger = factories.LotFactory(bench=bench, item=sealant, code="R8", made_on=date(2026, 4, 30), made_as="month")

    record(batch, inspector)

    assert [last_day(lot) for lot in (batch, twin, stranger)] == [date(2027, 5, 31), date(2027, 5, 31), date(2027, 1, 31)]


def test_passes_add_up_until_one_fails(batch, inspector):
    record(batch, inspector)
    record(batch, inspector, on=LATER)
    assert last_day(batch) == date(2027, 9, 30)
    record(batch, inspector, passed=False, on=LATER + timedelta(days=1))
    with pytest.raises(services.BatchFailed, match="no later test brings its batch back"):
        record(batch, inspector, on=LATER + timedelta(days=2))


def test_fail_ends_every_lot_of_the_batch_in_the_workshop_and_no_other(batch, bench, other_bench, sealant, inspector, outsider):
    twin = factories.LotFactory(bench=other_bench, item=sealant, code="R7", state="quarantined")
    stranger = factories.LotFactory(bench=bench, item=sealant, code="R8")
    record(batch, inspector, passed=False)
    assert [Lot.objects.get(pk=lot.pk).state for lot in (batch, twin, stranger)] == ["failed", "failed", "good"]


def test_more_of_a_batch_that_passed_has_its_passes_and_of_one_that_failed_is_refused(batch, other_bench, sealant, storekeeper):
    record(batch, storekeeper)
    more, _ = stock.find_or_make_lot(bench=other_bench, item=sealant, code="R7", made=batch.made, by=storekeeper)
    assert more.passes == 1
    record(batch, storekeeper, passed=False, on=LATER)
    with pytest.raises(stock.NotUsable, match="failed"):
        stock.find_or_make_lot(bench=other_bench, item=sealant, code="R7", by=storekeeper)


def test_pass_of_a_day_that_is_recorded_or_before_it_is_refused(batch, inspector):
    record(batch, inspector)
    for day in (DAY, DAY - timedelta(days=1)):
        with pytest.raises(services.TestedAlready, match="Each pass counts once"):
            record(batch, inspector, on=day)
    assert UpdateTest.objects.count() == 1


def test_fail_counts_on_the_day_of_a_pass(batch, inspector):
    record(batch, inspector)
    record(batch, inspector, passed=False)
    assert Lot.objects.get(pk=batch.pk).state == "failed"


def test_second_fail_is_refused(batch, inspector):
    record(batch, inspector, passed=False)
    with pytest.raises(services.BatchFailed, match="failed already"):
        record(batch, inspector, passed=False)


@pytest.mark.parametrize(("column", "text"), [("extend_part", "can't be extended"), ("life_months", "isn't known")])
def test_pass_is_refused_where_it_can_add_nothing(batch, sealant, inspector, column, text):
    setattr(sealant, column, None)
    sealant.save()
    batch.refresh_from_db()
    with pytest.raises(services.CantBeExtended, match=text):
        record(batch, inspector)


def test_test_of_a_lot_without_a_code_is_refused(bench, sealant, inspector):
    with pytest.raises(services.CantBeExtended, match="no batch is known"):
        record(factories.LotFactory(bench=bench, item=sealant, code=""), inspector)


def test_builder_records_no_test(batch, builder):
    with pytest.raises(NotAllowed):
        record(batch, builder)


def test_acceptance_lifts_the_block_through_its_day_and_not_after(batch, fridge, builder, inspector):
    factories.stock(batch, 10, place=fridge)
    with pytest.raises(stock.NotUsable, match="An update test that it passes, or an inspector's recorded acceptance, would lift this"):
        stock.use(lot=batch, quantity=1, place=fridge, on=DAY, by=builder)
    services.accept(lot=batch, until=LATER, reason="sample cured hard", on=DAY, by=inspector)
    stock.use(lot=batch, quantity=1, place=fridge, on=LATER, by=builder)
    with pytest.raises(stock.NotUsable, match="an inspector accepted it through 2027-02-21"):
        stock.use(lot=batch, quantity=1, place=fridge, on=LATER + timedelta(days=1), by=builder)


def test_acceptance_holds_through_its_last_day_though_days_must_be_left(batch, sealant, fridge, builder, inspector):
    sealant.min_life_days = 14
    sealant.save()
    factories.stock(batch, 10, place=fridge)
    services.accept(lot=batch, until=LATER, reason="sample cured hard", on=DAY, by=inspector)
    stock.use(lot=Lot.objects.get(pk=batch.pk), quantity=1, place=fridge, on=LATER, by=builder)


def test_acceptance_lifts_an_unknown_life_and_an_end_that_a_rule_sets(bench, sealant, fridge, builder, inspector):
    undated = factories.LotFactory(bench=bench, item=sealant, code="U")
    factories.stock(undated, 1, place=fridge)
    with pytest.raises(stock.NotUsable, match="Setting that date, or an inspector's"):
        stock.use(lot=undated, quantity=1, place=fridge, on=DAY, by=builder)
    services.accept(lot=undated, until=DAY, reason="made last month", on=DAY, by=inspector)
    stock.use(lot=undated, quantity=1, place=fridge, on=DAY, by=builder)


def test_withdrawn_acceptance_blocks_again_and_stays_on_record(batch, fridge, builder, inspector):
    factories.stock(batch, 10, place=fridge)
    first = services.accept(lot=batch, until=LATER, reason="sample", on=DAY, by=inspector)
    services.withdraw(acceptance=first, on=DAY, by=inspector, why="stayed soft")
    with pytest.raises(stock.NotUsable):
        stock.use(lot=batch, quantity=1, place=fridge, on=DAY, by=builder)
    with pytest.raises(services.WithdrawnAlready):
        services.withdraw(acceptance=first, on=DAY, by=inspector)
    assert Acceptance.objects.get().withdrawn_why == "stayed soft"


def test_of_two_acceptances_the_later_day_stands_until_it_is_withdrawn(batch, inspector):
    services.accept(lot=batch, until=LATER, reason="sample", on=DAY, by=inspector)
    longer = services.accept(lot=batch, until=LATER + timedelta(days=9), reason="more", on=DAY, by=inspector)
    assert last_day(batch) == longer.until
    services.withdraw(acceptance=longer, on=DAY, by=inspector)
    assert last_day(batch) == LATER


def test_fail_withdraws_acceptances_and_refuses_new_ones(batch, inspector):
    services.accept(lot=batch, until=LATER, reason="sample", on=DAY, by=inspector)
    record(batch, inspector, passed=False)
    assert Acceptance.objects.get().withdrawn == DAY
    assert Lot.objects.get(pk=batch.pk).accepted_until is None
    with pytest.raises(services.BatchFailed):
        services.accept(lot=batch, until=LATER, reason="sample", on=DAY, by=inspector)


def test_only_an_inspector_accepts(batch, owner, storekeeper, builder):
    for member in (owner, storekeeper, builder):
        with pytest.raises(NotAllowed, match="inspector"):
            services.accept(lot=batch, until=LATER, reason="sample", on=DAY, by=member)


def test_acceptance_through_a_day_gone_by_is_refused(batch, inspector):
    with pytest.raises(services.BadAcceptance, match="is before"):
        services.accept(lot=batch, until=DAY - timedelta(days=1), reason="sample", on=DAY, by=inspector)


def test_more_of_an_accepted_lot_is_a_lot_of_its_own(batch, bench, sealant, inspector, storekeeper):
    services.accept(lot=batch, until=LATER, reason="sample", on=DAY, by=inspector)
    more, made = stock.find_or_make_lot(bench=bench, item=sealant, code="R7", by=storekeeper)
    assert (made, more.accepted_until) == (True, None)


def test_disposal_scraps_and_keeps_mass_and_way(batch, fridge, storekeeper):
    factories.stock(batch, 100, place=fridge)
    kept = services.dispose(
        lot=batch, place=fridge, quantity=Decimal(60), mass_g=Decimal("92.5"), way="cured, to the town's collection", on=DAY, by=storekeeper
    )
    assert (kept.mass_g, kept.movement.target.end) == (Decimal("92.5"), "scrapped")
    with pytest.raises(stock.NotEnough):
        services.dispose(lot=batch, place=fridge, quantity=Decimal(60), mass_g=Decimal(1), way="x", on=DAY, by=storekeeper)
    assert Movement.objects.filter(target__end="scrapped").count() == 1


@pytest.mark.parametrize("mass", ["0", "-1"])
def test_disposal_without_mass_is_refused(batch, fridge, storekeeper, mass):
    factories.stock(batch, 100, place=fridge)
    with pytest.raises(BadQuantity):
        services.dispose(lot=batch, place=fridge, quantity=Decimal(1), mass_g=Decimal(mass), way="x", on=DAY, by=storekeeper)
