"""Drawings at true size, and the type that a sheet is printed in."""

from decimal import Decimal
from fractions import Fraction

import pytest

from buildplan.records import paper
from buildplan.records.bars import Bar, ruler_in, ruler_mm
from buildplan.records.mixing import Given, plan_sealing
from buildplan.records.sheet import sheet_on
from tests import factories
from tests.factories import DAY


@pytest.mark.parametrize(
    ("length", "diameter", "width", "height"),
    [
        (Fraction(6, 16), Fraction(1, 8), "9.525", "3.175"),
        (Fraction(7, 32), Fraction(3, 32), "5.55625", "2.38125"),
        (Fraction(1), Fraction(5, 32), "25.4", "3.96875"),
    ],
)
def test_bar_is_exact_in_mm(length, diameter, width, height):
    bar = Bar(length, diameter)

    assert (bar.width, bar.height) == (width, height)
    assert Fraction(bar.width) == length * Fraction("25.4")


def test_bar_tells_its_length_three_ways():
    assert Bar(Fraction(7, 32), Fraction(3, 32)).label == "3.5/16 in = 0.21875 in = 5.55625 mm"


def test_ruler_measures_50_mm_and_2_in():
    assert (ruler_mm()[0].at, ruler_mm()[-1].at) == ("0", "50")
    assert (ruler_in()[0].at, ruler_in()[-1].at, len(ruler_in())) == ("0", "50.8", 17)


def test_ruler_s_whole_ticks_are_longer():
    assert [tick.up for tick in ruler_mm()[:3]] == ["3", "4.5", "3"]
    assert [ruler_in()[at].down for at in (0, 1, 8)] == ["11", "9.5", "11"]


@pytest.fixture
def fitted(step):
    def fitted(given=None):
        sheet = sheet_on(step, DAY)
        return paper.fit(sheet, plan_sealing(sheet, given or Given(DAY)))

    return fitted


def test_type_gets_smaller_as_there_is_more_to_print(step, fitted):
    sizes = []
    for _ in range(14):
        sizes.append(fitted().size)
        for _ in range(4):
            factories.RivetRowFactory(step=step)

    assert list(dict.fromkeys(sizes)) == ["roomy", "usual", "close", "tight", "tightest"]


def test_card_has_blank_lines_without_a_plan_and_a_line_a_batch_with_one(step, workshop, bench, fitted):
    known = {"gravity": Decimal(1), "base": Decimal(100), "accelerator": Decimal(10)}
    item = factories.ItemFactory(workshop=workshop, code="S", kind="sealant", unit="g", **known)
    factories.CallOutFactory(step=step, item=item, quantity=Decimal(140))
    factories.stock(factories.LotFactory(bench=bench, item=item, code="L1", expires_on=DAY), 500)
    assert [(card.batch, card.mix) for card in fitted().cards] == [("", None)] * 3

    said = Given(DAY, 1, Decimal(10), Fraction(77), None, {"S": Decimal(1)})
    found = fitted(said)
    assert ([card.batch for card in found.cards[:2]], len(found.cards), found.more) == (["1 of 14", "2 of 14"], 12, 2)
    assert (found.cards[0].lots, found.cards[0].mix.grams) == ("L1", 10)
