"""A sealant on hand, and two steps that it is for."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from buildplan.sealing import services
from buildplan.sealing.services import Take
from tests import factories

SEALED = date(2027, 3, 6)
MIXED_AT = datetime(2027, 3, 6, 9, 30, tzinfo=UTC)


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", gravity=Decimal("1.55"), life_months=9)


@pytest.fixture
def lot_of(bench, sealant, drawer):
    """Makes a lot of the sealant with some grams in the drawer."""

    def lot_of(grams=200, code="R7", last=SEALED + timedelta(days=90), **said):
        lot = factories.LotFactory(**{"bench": bench, "item": sealant, "code": code, "expires_on": last, **said})
        factories.stock(lot, grams, place=drawer)
        return lot

    return lot_of


@pytest.fixture
def steps(project, sealant):
    """Two steps that need 30 g and 14 g."""
    steps = [factories.StepFactory(project=project, code=code, planned_on=SEALED) for code in ("F3-05", "F3-06")]
    for step, grams in zip(steps, (30, 14), strict=True):
        factories.CallOutFactory(step=step, item=sealant, quantity=Decimal(grams))
    return steps


@pytest.fixture
def mix(sealant, drawer, builder, steps):
    """Records a batch of 44 g for both steps, or whatever is said."""

    def mix(*lots, **said):
        asked = {
            "item": sealant,
            "key": uuid4(),
            "takes": [Take(lot, drawer, Decimal(44)) for lot in lots],
            "shares": [(steps[0], Decimal(30)), (steps[1], Decimal(14))],
            "base": Decimal(40),
            "accelerator": Decimal(4),
            "mixed_at": MIXED_AT,
            "mixed_by": "Ada",
            "on": SEALED,
            "temperature_f": None,
            "life_hours": None,
            "by": builder,
        }
        return services.record_mix(**{**asked, **said})

    return mix
