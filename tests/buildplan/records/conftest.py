"""A step that takes things, and lots to take them from."""

from datetime import date
from decimal import Decimal

import pytest

from tests import factories

PLANNED = date(2027, 3, 6)


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05", planned_on=PLANNED)


@pytest.fixture
def wanted(step, item):
    """The step needs 100 of the item."""
    return factories.CallOutFactory(step=step, item=item, quantity=Decimal(100))


@pytest.fixture
def stocked(wanted, lot, drawer):
    """130 of the item in the drawer."""
    return factories.stock(lot, 130, drawer)
