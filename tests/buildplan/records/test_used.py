"""What finished steps used of a sealant: which count, and in which unit."""

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.records import services
from buildplan.records.services import Use
from buildplan.records.used import calibrations, in_grams
from inventory.models import Movement
from inventory.stock import services as stock
from tests import factories
from tests.factories import DAY


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", gravity=Decimal("1.55"))


@pytest.fixture
def finished(project, bench, drawer, builder, sealant):
    """Finish a step with one seam of 27.9 g, having used so many grams."""

    def finished(used, item=None, **more):
        item = item or sealant
        step = factories.StepFactory(project=project, **more)
        factories.SeamFactory(step=step, sealant=item)
        lot = factories.LotFactory(bench=bench, item=item, expires_on=date(2028, 1, 1))
        factories.stock(lot, 1000, drawer)
        services.finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal(used))], by=builder)
        return step

    return finished


def test_calibrations_compare_what_was_used_with_the_seams(finished, sealant):
    finished("27.9", code="A")
    finished("55.8", code="B")

    found = calibrations([sealant.pk])[sealant.pk]
    assert (found.n, found.mean, found.least, found.most) == (2, Fraction(3, 2), 1, 2)
    assert [sample.step for sample in found.samples] == ["TERN-1:A", "TERN-1:B"]


def test_calibrations_add_up_several_seams_and_several_lots(finished, sealant, bench, drawer, builder, project):
    step = factories.StepFactory(project=project)
    lots = [factories.LotFactory(bench=bench, item=sealant, expires_on=date(2028, 1, 1)) for _ in range(2)]
    for lot in lots:
        factories.SeamFactory(step=step, sealant=sealant)
        factories.stock(lot, 100, drawer)
    services.finish_step(step=step, on=DAY, uses=[Use(lot, drawer, Decimal("27.9")) for lot in lots], by=builder)

    (sample,) = calibrations([sealant.pk])[sealant.pk].samples
    assert (sample.formula, sample.used) == (Decimal("55.8"), Fraction("55.8"))


def test_calibrations_forget_a_finish_taken_back(finished, sealant, builder):
    services.take_back(step=finished(30), on=DAY, now=datetime(2027, 2, 21, tzinfo=UTC), by=builder)

    assert calibrations([sealant.pk]) == {}


def test_calibrations_forget_a_movement_that_was_reversed(finished, sealant, storekeeper):
    finished(30)
    stock.reverse(movement=Movement.objects.get(ref__startswith="finish:"), on=DAY, by=storekeeper, note="wrong lot")

    assert calibrations([sealant.pk]) == {}


def test_calibrations_leave_out_a_step_done_without_movements(project, sealant, builder):
    step = factories.StepFactory(project=project)
    factories.SeamFactory(step=step, sealant=sealant)
    services.finish_step(step=step, on=DAY, uses=[], by=builder, without_movements=True)

    assert calibrations([sealant.pk]) == {}


def test_calibrations_leave_out_a_step_that_calls_the_sealant_out_too(finished, sealant):
    factories.CallOutFactory(step=finished(30), item=sealant)

    assert calibrations([sealant.pk]) == {}


def test_calibrations_leave_out_a_seam_whose_grams_are_not_known(finished, sealant):
    finished(30)
    sealant.gravity = None
    sealant.save()

    assert calibrations([sealant.pk]) == {}


def test_calibrations_read_another_unit_of_mass_exactly(finished, workshop):
    ounces = factories.ItemFactory(workshop=workshop, kind="sealant", unit="oz", gravity=Decimal("1.55"))
    finished(1, item=ounces)

    assert calibrations([ounces.pk])[ounces.pk].mean == Fraction("28.349523125") / Fraction("27.9")


def test_calibrations_are_of_the_sealant_asked_for(finished, workshop, sealant):
    other = factories.ItemFactory(workshop=workshop, kind="sealant", unit="g", gravity=Decimal(1))
    finished(30)
    finished(99, item=other)

    assert set(calibrations([sealant.pk])) == {sealant.pk}


def test_a_volume_has_no_grams():
    assert in_grams("mL") is None
    assert in_grams("g") == 1


@pytest.mark.parametrize("many", [1, 6])
def test_calibrations_take_five_queries(finished, sealant, many, django_assert_num_queries):
    for _ in range(many):
        finished(30)

    with django_assert_num_queries(5):
        calibrations([sealant.pk])
