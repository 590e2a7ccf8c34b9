"""One of each thing that can be found."""

from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from uuid import uuid4

import pytest

from buildplan.models import Assembly, Conflict, Notice, SealDay
from inventory.catalogue.services import add_identifier
from inventory.labels.services import ensure_labels
from tests import factories, pool

ON = date(2027, 3, 6)


@pytest.fixture
def scene(workshop, bench, project, drawer, storekeeper):
    rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", name="Rivet, universal head", kind="rivet")
    for text in ("AN470AD4-6", "05412345000013"):
        add_identifier(item=rivet, text=text, by=storekeeper)
    factories.ItemFactory(workshop=workshop, code="PRIMER-EP", name="Époxy primer", kind="chemical")
    lot = factories.LotFactory(bench=bench, item=rivet, code="R7")
    factories.stock(lot, 112, drawer)
    crate = factories.CrateFactory(bench=bench, code="CRATE-7", order_code="PO-1881")
    bag = factories.BagFactory(crate=crate, path="7A/2", name="2")
    step = factories.StepFactory(project=project, code="F3-04", title="Rivet the skin")
    factories.CallOutFactory(step=step, item=rivet, quantity=Decimal(40))
    person = factories.MemberFactory(workshop=workshop, name="Jörg Müller", role="builder")
    thing = pool.squeezer(factories.BenchFactory(workshop=workshop, code="POOL", shared=True), drawer, storekeeper, serial="SQ-77")
    day = SealDay.objects.create(workshop=workshop, bench=bench, on=ON, by=storekeeper)
    assembly = Assembly.objects.create(workshop=workshop, project=project, name="Bow bulkhead")
    said = {"text_says": "up", "text_where": "p. 4", "drawing_says": "down", "drawing_where": "sheet 2"}
    conflict = Conflict.objects.create(workshop=workshop, project=project, title="Bracket faces", kind="hand", by=storekeeper, **said)
    notice = Notice.objects.create(
        workshop=workshop, reference="SN-14", title="Cartridges that set late", text="x", issued_on=ON, key=uuid4(), by=storekeeper
    )
    label = ensure_labels(rows=[drawer], by=storekeeper)[0]
    return SimpleNamespace(**{name: value for name, value in locals().items() if name not in {"workshop", "storekeeper", "said"}})
