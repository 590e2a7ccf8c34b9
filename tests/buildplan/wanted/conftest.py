from datetime import date
from decimal import Decimal

import pytest

from tests import factories

TODAY = date(2027, 2, 20)
DAY = date(2027, 3, 6)


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet", kind="rivet", identifiers=["05412345000013"])


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05", title="Rivet the skin", planned_on=DAY)


@pytest.fixture
def wanted(step, rivet):
    return factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(240))


@pytest.fixture
def on_shelf(bench, rivet, drawer):
    """112 rivets of lot R7, in date until 2029."""
    lot = factories.LotFactory(bench=bench, item=rivet, code="R7", expires_on=date(2029, 3, 31))
    factories.stock(lot, 112, place=drawer)
    return lot


@pytest.fixture
def crate(bench):
    return factories.CrateFactory(bench=bench, code="CRATE-7", due_on=TODAY)


@pytest.fixture
def bag(crate):
    return factories.BagFactory(crate=crate, name="7A", path="7A")
