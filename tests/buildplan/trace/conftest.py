"""Two benches with rivets and sealant, steps that took of them, and a pool with a squeezer."""

from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest

from buildplan.records import services as records
from buildplan.records.services import Use
from buildplan.trace import services
from buildplan.trace.services import NoticeData
from inventory.stock import services as stock
from tests import factories

DAY = date(2027, 3, 6)
AT = datetime(2027, 3, 6, 9, 0, tzinfo=UTC)


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet", kind="rivet")


@pytest.fixture
def lot_of(bench, drawer, owner):
    """A lot on the shelf, received by the ledger."""

    def lot_of(item, code="R-1", quantity=100, *, on=bench, place=None, day=DAY, **kwargs):
        lot = factories.LotFactory(bench=on, item=item, code=code, **kwargs)
        if quantity:
            stock.receive(lot=lot, quantity=Decimal(quantity), place=place or drawer, on=day, by=owner)
        return lot

    return lot_of


@pytest.fixture
def step_of(project):
    def step_of(code="F1", *, of=project, **kwargs):
        return factories.StepFactory(project=of, code=code, title=f"Rivet {code}", **kwargs)

    return step_of


@pytest.fixture
def finish(drawer, owner):
    """Finish a step that took quantities of lots."""

    def finish(step, *uses, place=None, on=DAY, without=False):
        told = [Use(lot, place or drawer, Decimal(quantity)) for lot, quantity in uses]
        return records.finish_step(step=step, on=on, uses=told, by=owner, without_movements=without)

    return finish


@pytest.fixture
def notice_of(workshop, owner):
    def notice_of(*items, codes=(), **said):
        told = {"reference": "SB-7", "title": "Cracked heads", "text": "Look at each head.", "issued_on": DAY, "maker": "Reedling", **said}
        return services.add_notice(workshop=workshop, said=NoticeData(codes=codes, **told), items=items, key=uuid4(), by=owner)

    return notice_of
