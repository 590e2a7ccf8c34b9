from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine

from tests import factories
from tests.factories import DAY


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", name="Sealant, class B", kind="sealant", unit="g", life_months=9)


@pytest.fixture
def fridge(workshop):
    return factories.PlaceFactory(workshop=workshop, path="Hangar/Fridge")


@pytest.fixture
def lot_of(bench, sealant, fridge):
    """A lot of sealant that dies some days from today."""

    def lot_of(code, days, quantity=50, place=None, **more):
        dates = {} if days is None else {"expires_on": DAY + timedelta(days=days)}
        lot = factories.LotFactory(**{"bench": bench, "item": sealant, "code": code, **dates, **more})
        factories.stock(lot, quantity, place or fridge)
        return lot

    return lot_of


@pytest.fixture
def needed(project, sealant):
    """A step that needs sealant on a day."""

    def needed(code, day, quantity, **more):
        step = factories.StepFactory(**{"project": project, "code": code, "planned_on": day, **more})
        factories.CallOutFactory(step=step, item=more.get("item", sealant), quantity=Decimal(quantity))
        return step

    return needed


@pytest.fixture
def scene(lot_of, needed):
    """R7 dies in 10 days: 12 g go into F3-04, 38 g die; F3-09 comes too late for it and takes R8. R6 is dead, R9 unknown."""
    lots = [lot_of("R7", 10), lot_of("R6", -5), lot_of("R8", 200), lot_of("R9", None)]
    first = needed("F3-04", date(2027, 2, 27), 12)
    needed("F3-09", date(2027, 3, 13), 20, after=[first])
    return lots
