"""A step's sealant weighed out: the mix, the scale, and batches of the day."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.records.mixing import Given, plan_sealing
from buildplan.records.sheet import sheet_on
from buildplan.shortfall.reading import read
from tests import factories
from tests.factories import DAY

SAID = Given(
    day=DAY,
    people=2,
    pace=Decimal(20),
    temperature_f=Fraction(77),
    division=Decimal("0.1"),
    lives={"SEAL-B2": Decimal(2)},
)


@pytest.fixture
def sealant(workshop):
    known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)


@pytest.fixture
def called(step, sealant):
    """The step calls out 110 g."""
    return factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(110))


@pytest.fixture
def lot_of(bench, sealant, drawer):
    def lot_of(code, grams, days=100):
        lot = factories.LotFactory(bench=bench, item=sealant, code=code, expires_on=DAY + timedelta(days))
        factories.stock(lot, grams, drawer)
        return lot

    return lot_of


@pytest.fixture
def planned(step):
    def planned(given=SAID, **said):
        (found,) = plan_sealing(sheet_on(step, DAY), replace(given, **said)).products
        return found

    return planned


def test_mix_splits_the_whole_by_the_product_s_ratio(called, planned):
    found = planned(Given(DAY))

    assert (found.mix.base, found.mix.accelerator, found.mix.error, found.smallest) == (Decimal(100), Decimal(10), "", None)
    assert "100 : 10 by weight" in found.why[0].text


def test_mix_says_what_the_scale_makes_of_the_small_part(called, planned):
    found = planned(Given(DAY, division=Decimal("0.1")))

    assert (found.mix.error, found.mix.refused, found.smallest) == ("0.5", "", Decimal("27.5"))


def test_mix_that_the_scale_cannot_weigh_is_refused_with_the_smallest_batch(called, planned):
    found = planned(Given(DAY, division=Decimal(1)))

    assert found.mix.error == "5"
    assert found.mix.refused.endswith("over 2 %; this scale mixes 275 g or more")


def test_product_without_a_ratio_is_not_known_and_no_number(called, sealant, planned):
    sealant.accelerator = None
    sealant.save()

    found = planned()
    assert found.mix is None
    assert "base : accelerator of SEAL-B2 not known: read it off the data sheet" in found.faults[0]
    assert all(batch.mix is None for batch in found.batches)


def test_batches_fit_the_work_life_and_take_one_lot_each_the_oldest_first(called, lot_of, planned):
    lot_of("NEW", 200)
    lot_of("OLD", 60, days=5)

    found = planned()
    assert found.most == 80
    assert [(batch.grams, batch.lots) for batch in found.batches] == [
        (55, (("OLD", Decimal(55)),)),
        (55, (("NEW", Decimal(55)),)),
    ]
    assert (found.batches[0].mix.base, found.batches[0].mix.accelerator) == (50, 5)
    assert (found.short, found.exact, found.life.hours) == (0, True, 2)


def test_batches_are_smaller_in_the_heat(called, lot_of, planned):
    lot_of("L", 200)

    found = planned(temperature_f=Fraction(87))
    assert (found.most, len(found.batches)) == (40, 3)
    assert "the shorter" in found.life.reasons[0].text


@pytest.mark.parametrize("fahrenheit", [40, 69, 100, 120])
def test_batches_stop_outside_the_temperatures_that_sealant_stands(called, lot_of, planned, fahrenheit):
    lot_of("L", 200)

    found = planned(temperature_f=Fraction(fahrenheit))
    assert (found.stopped, found.batches) == (True, ())
    assert found.life.reasons[0].text.startswith("stop:")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"people": None}, "how many people"),
        ({"pace": None}, "the grams that one of them places in an hour"),
        ({"temperature_f": None}, "the temperature"),
        ({"lives": {}}, "the work life of SEAL-B2"),
    ],
)
def test_batches_say_what_they_still_ask_for(called, planned, said, told):
    found = planned(**said)

    assert (found.batches, found.faults) == ((), (f"for batches say {told}",))


def test_batches_say_what_no_lot_holds(called, lot_of, planned):
    lot_of("L", 70)
    lot_of("DEAD", 70, days=-1)

    found = planned()
    assert (sum(batch.grams for batch in found.batches), found.short) == (70, 40)


def test_batches_too_small_for_the_scale_are_refused_with_what_would_do(called, lot_of, planned):
    lot_of("L", 200)

    found = planned(division=Decimal(1))
    assert found.batches == ()
    assert found.faults[-1].endswith("this scale mixes no less than 275 g: take a finer scale, or more hands")


def test_batches_past_all_reason_are_refused(called, lot_of, planned):
    lot_of("L", 200)

    assert "no day's work" in planned(pace=Decimal("0.001"), division=None).faults[-1]


def test_batches_take_a_lot_counted_in_ounces(step, sealant, lot_of, planned):
    sealant.unit = "oz"
    sealant.save()
    factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(1))
    lot_of("L", 2)

    assert [(batch.grams, batch.lots[0][0]) for batch in planned().batches] == [(Decimal("28.350"), "L")]


def test_supplies_are_multiplied_by_the_batches(step, called, lot_of, workshop):
    lot_of("L", 200)
    factories.SealingSupplyFactory(workshop=workshop, name="Cleaner", quantity=Decimal("12.5"), unit="mL")

    found = plan_sealing(sheet_on(step, DAY), SAID)
    assert [(one.name, one.each, one.total, one.unit) for one in found.supplies] == [("Cleaner", Decimal("12.5"), 25, "mL")]
    assert (found.batches, found.batched) == (2, {"SEAL-B2"})


def test_done_step_has_its_mix_and_no_batches(step, called, lot_of, planned):
    lot_of("L", 200)
    step.done = True
    step.save()

    found = planned()
    assert (found.mix.grams, found.batches, found.faults, found.short) == (110, (), (), 0)


@pytest.mark.parametrize("many", [1, 8])
def test_plan_takes_eight_queries_and_one_where_stock_is_read(step, workshop, bench, drawer, many, django_assert_num_queries):
    for _ in range(many):
        item = factories.ItemFactory(workshop=workshop, kind="sealant", unit="g", gravity=Decimal(1))
        factories.CallOutFactory(step=step, item=item, quantity=Decimal(10))
        factories.stock(factories.LotFactory(bench=bench, item=item, expires_on=date(2028, 1, 1)), 5, drawer)
        factories.SealingSupplyFactory(workshop=workshop)
    sheet = sheet_on(step, DAY)

    with django_assert_num_queries(8):
        found = plan_sealing(sheet, SAID)
    known = read([step.pk])
    with django_assert_num_queries(1):
        assert plan_sealing(sheet, SAID, known) == found
