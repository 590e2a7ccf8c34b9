"""A club of two benches and a pool that both want at once."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from buildplan.club.services import set_unit_cost
from buildplan.models import Finish, Mix, MixShare
from inventory.models import BenchHolder, PoolRules
from inventory.pool import services as pool
from inventory.stock import services as stock
from tests import factories

TODAY = date(2027, 2, 20)
SATURDAY = TODAY + timedelta(days=7)
NOW = datetime.combine(TODAY, time(12), ZoneInfo("UTC"))


@pytest.fixture
def tern(bench):
    return bench


@pytest.fixture
def plover(other_bench):
    return other_bench


@pytest.fixture
def holder(workshop):
    """Make a builder who holds a bench."""

    def holder(bench, name, role="builder"):
        member = factories.MemberFactory(workshop=workshop, name=name, role=role)
        BenchHolder.objects.create(workshop=workshop, bench=bench, member=member)
        return member

    return holder


@pytest.fixture
def wren(holder, tern):
    return holder(tern, "Wren")


@pytest.fixture
def heron(holder, plover):
    return holder(plover, "Heron")


@pytest.fixture
def squeezer(workshop):
    return factories.ItemFactory(workshop=workshop, code="SQUEEZER", name="Squeezer", kind="tool")


@pytest.fixture
def cleco(workshop):
    return factories.ItemFactory(workshop=workshop, code="CLECO-3", name="Cleco", kind="cleco")


@pytest.fixture
def owned(workshop):
    """Give a bench some of an item."""

    def owned(bench, item, quantity):
        lot = factories.LotFactory(bench=bench, item=item, code="")
        factories.stock(lot, quantity)
        return lot

    return owned


@pytest.fixture
def tern_1(tern):
    return factories.ProjectFactory(bench=tern, code="TERN-1")


@pytest.fixture
def plover_1(plover):
    return factories.ProjectFactory(bench=plover, code="PLOVER-1")


@pytest.fixture
def planned():
    """A step of a project, with what it calls out."""

    def planned(project, code, day, after=(), **wants):
        step = factories.StepFactory(project=project, code=code, planned_on=day, after=list(after))
        for item, quantity in wants.get("wants", ()):
            factories.CallOutFactory(step=step, item=item, quantity=Decimal(quantity))
        return step

    return planned


@pytest.fixture
def contested(tern_1, plover_1, shared_bench, squeezer, owned, planned, wren, heron):
    """One squeezer in the pool, and a step of each project that wants it on Saturday."""
    owned(shared_bench, squeezer, 1)
    return planned(plover_1, "F1-07", SATURDAY, wants=[(squeezer, 1)]), planned(tern_1, "W2-01", SATURDAY, wants=[(squeezer, 1)])


@pytest.fixture
def booked():
    """Book pieces of the pool for a member."""

    def booked(item, quantity, member, day=SATURDAY, last=None, **more):
        said = {"first_day": day, "last_day": last or day, "member": member, "by": member, "key": uuid4()}
        return pool.book(item=item, quantity=Decimal(quantity), today=TODAY, now=NOW, **(said | more))

    return booked


@pytest.fixture
def lent():
    """Lend pieces of a lot to a member."""

    def lent(lot, quantity, member, by, due=None, **more):
        place = lot.holdings.order_by("id")[0].place
        said = {"lot": lot, "place": place, "quantity": Decimal(quantity), "member": member, "on": TODAY, "due_on": due}
        return pool.lend(**said, key=uuid4(), by=by, now=NOW, **more)

    return lent


@pytest.fixture
def sealant(workshop):
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g")


@pytest.fixture
def take(owner):
    """Use material for a step that is finished."""

    def take(lot, quantity, step=None, ref="", on=TODAY):
        if step is not None:
            ref = Finish.objects.create(workshop=step.workshop, step=step, on=on, by=owner).ref
        place = lot.holdings.get().place
        return stock.use(lot=lot, quantity=Decimal(quantity), place=place, on=on, by=owner, ref=ref)

    return take


@pytest.fixture
def used(workshop, shared_bench, tern, sealant, tern_1, plover_1, planned, take, owner, wren, heron):
    """Two projects that took of the pool's sealant: by a finish, by a batch for both, and what doesn't count."""
    PoolRules.objects.create(workshop=workshop, currency="EUR")
    shared, wipe = (
        factories.LotFactory(bench=shared_bench, item=item, expires_on=date(2028, 1, 1))
        for item in (sealant, factories.ItemFactory(workshop=workshop, code="WIPE", kind="other"))
    )
    own = factories.LotFactory(bench=tern, item=sealant, expires_on=date(2028, 1, 1))
    for lot in (shared, wipe, own):
        factories.stock(lot, 200)
    f1, w2 = planned(plover_1, "F1-07", None), planned(tern_1, "W2-01", None)
    set_unit_cost(item=sealant, since=date(2027, 1, 1), amount=Decimal("0.2"), by=owner)
    take(shared, 30, w2)
    take(wipe, 4, planned(tern_1, "W2-02", None))
    mix = Mix.objects.create(
        workshop=workshop, item=sealant, key="0" * 32, base=20, accelerator=10, mixed_at=NOW, mixed_by="Wren", by=owner
    )
    for step, grams in ((f1, 20), (w2, 10)):
        MixShare.objects.create(workshop=workshop, mix=mix, step=step, grams=grams)
    take(shared, 30, ref=mix.ref)
    take(own, 50, planned(tern_1, "W2-03", None))  # its own
    stock.reverse(movement=take(shared, 7, planned(tern_1, "W2-04", None)), on=TODAY, by=owner)
    take(shared, 9, planned(tern_1, "W2-05", None), on=date(2027, 1, 31))  # before
    return shared
