"""A sheet that gives four pieces by number, a bar that is cut by length, and steps that need pieces of them."""

from datetime import date, timedelta
from fractions import Fraction

import pytest

from buildplan.cutting import services
from buildplan.cutting.services import BlankData, PlannedPiece
from tests import factories

DAY = date(2027, 3, 6)
LATER = DAY + timedelta(days=730)


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-01", planned_on=DAY)


@pytest.fixture
def later_step(project):
    return factories.StepFactory(project=project, code="F9-01", planned_on=LATER)


@pytest.fixture
def made_item(workshop):
    return factories.ItemFactory(workshop=workshop, code="W-31", name="Doubler")


@pytest.fixture
def sheet(workshop, owner):
    """Nobody said how large it is: one gives four, as the kit says."""
    item = factories.ItemFactory(workshop=workshop, code="SHEET-032", kind="sheet")
    return services.save_blank(item=item, said=BlankData("sheet"), by=owner)


@pytest.fixture
def bar(workshop, owner):
    item = factories.ItemFactory(workshop=workshop, code="ANGLE-25", kind="other")
    return services.save_blank(item=item, said=BlankData("bar", length=Fraction(1000), kerf=Fraction(0), end_trim=Fraction(0)), by=owner)


@pytest.fixture
def lot_of(bench, drawer):
    """A lot of a blank on the shelf."""

    def lot_of(blank, quantity=1, code="B-1", item=None, **kwargs):
        lot = factories.LotFactory(bench=bench, item=item or blank.item, code=code, **kwargs)
        factories.stock(lot, quantity, drawer)
        return lot

    return lot_of


@pytest.fixture
def piece_of(owner):
    """A piece of a step."""

    def piece_of(step, blank, code="W-31", count=2, **kwargs):
        item = kwargs.pop("item", None)
        sizes = {name: Fraction(kwargs.pop(name)) for name in ("length", "width") if name in kwargs}
        stated = PlannedPiece(step.code, code, blank.pk, count, item.pk if item else None, **sizes, **kwargs)
        return services.save_piece(step=step, stated=stated, by=owner)

    return piece_of
