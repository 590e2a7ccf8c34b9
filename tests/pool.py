"""What a club's pool is made of in tests: a tub of clecos, and a squeezer."""

from uuid import uuid4

from inventory.models import Thing
from inventory.pool import services
from inventory.stock import services as stock
from tests import factories
from tests.factories import DAY
from tests.scans import NOW


def tub(bench, place, by, *, quantity=200, code="CLECO-3/32"):
    """Clecos of a bench in one place, received as goods are."""
    item = factories.ItemFactory(workshop=bench.workshop, code=code, name="Cleco, 3/32", kind="cleco")
    lot = factories.LotFactory(bench=bench, item=item, code="TUB-3")
    stock.receive(lot=lot, quantity=quantity, place=place, on=DAY, by=by)
    return lot


def squeezer(bench, place, by, *, serial="SQ-1", item=None):
    """A single thing of a bench."""
    item = item or factories.ItemFactory(workshop=bench.workshop, code="SQUEEZER", name="Rivet squeezer", kind="tool")
    lot = factories.LotFactory(bench=bench, item=item, code=serial)
    stock.receive(lot=lot, quantity=1, place=place, on=DAY, by=by)
    return services.add_thing(lot=lot, serial=serial, condition="good", calibrated_on=None, calibrated_until=None, by=by)


def foreign_thing(outsider):
    """A squeezer of the outsider's, named so that a leak shows. Written as rows: no service of theirs is called by ours."""
    lot = factories.LotFactory(
        bench=factories.BenchFactory(workshop=outsider, code="OUTSIDE-POOL", shared=True),
        item=factories.ItemFactory(workshop=outsider, code="OUTSIDE-SQUEEZER", kind="tool"),
        code="OUTSIDE-1",
    )
    return Thing.objects.create(workshop=outsider, lot=lot, serial="OUTSIDE-SERIAL")


def lend(lot, place, member, by=None, *, quantity=40, on=DAY, **more):
    """Lend pieces of a lot."""
    told = {"key": uuid4(), "by": by or member, "now": NOW, **more}
    return services.lend(lot=lot, place=place, quantity=quantity, member=member, on=on, **told)
