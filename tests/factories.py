"""Rows for tests. A factory fills in what a test doesn't care about; the workshop always follows from the row it hangs on."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import factory
from django.utils import timezone
from factory.django import DjangoModelFactory as PlainFactory

from buildplan.models import CallOut, LoadJob, Project, RivetRow, SealingSupply, Seam, Section, Step, StepAfter
from inventory.catalogue import calc as codes
from inventory.models import (
    Bag,
    Bench,
    Crate,
    Device,
    Holding,
    Identifier,
    Item,
    Label,
    LabelSheet,
    Lot,
    Member,
    Movement,
    PackingLine,
    Place,
    SetAside,
    User,
    Workshop,
)
from inventory.scanning.calc import make_token
from inventory.workshop import tokens

DAY = date(2027, 2, 20)
FIRST = 10_000  # so that no code of a sequence is one that a test writes itself, and all sort in the order in which they were made


class DjangoModelFactory(PlainFactory):
    """Every factory here."""

    class Meta:
        abstract = True

    @classmethod
    def _setup_next_sequence(cls):
        return FIRST


class WorkshopFactory(DjangoModelFactory):
    class Meta:
        model = Workshop

    code = factory.Sequence("W{}".format)
    name = factory.LazyAttribute(lambda row: f"Workshop {row.code}")


class UserFactory(DjangoModelFactory):
    class Meta:
        model = User

    email = factory.Sequence("member{}@club.example".format)


class MemberFactory(DjangoModelFactory):
    class Meta:
        model = Member

    workshop = factory.SubFactory(WorkshopFactory)
    user = factory.SubFactory(UserFactory)
    name = factory.Sequence("Member {}".format)
    role = "owner"


class DeviceFactory(DjangoModelFactory):
    """A device whose token nobody has; `issue_device` gives one with its token."""

    class Meta:
        model = Device

    member = factory.SubFactory(MemberFactory)
    workshop = factory.SelfAttribute("member.workshop")
    name = factory.Sequence("Scanner {}".format)
    prefix = factory.LazyFunction(tokens.make_prefix)
    digest = "0" * 64


class BenchFactory(DjangoModelFactory):
    class Meta:
        model = Bench

    workshop = factory.SubFactory(WorkshopFactory)
    code = factory.Sequence("B{}".format)
    name = factory.LazyAttribute(lambda row: f"Bench {row.code}")


class ItemFactory(DjangoModelFactory):
    class Meta:
        model = Item
        skip_postgeneration_save = True

    workshop = factory.SubFactory(WorkshopFactory)
    code = factory.Sequence("ITEM-{}".format)
    name = "a thing"
    kind = "part"
    unit = "ea"

    @factory.post_generation
    def identifiers(self, create, texts, **_):
        for text in [self.code, *(texts or [])]:
            Identifier.objects.create(workshop=self.workshop, item=self, text=text, key=codes.key(text))


class PlaceFactory(DjangoModelFactory):
    class Meta:
        model = Place

    workshop = factory.SubFactory(WorkshopFactory)
    path = factory.Sequence("Shelf {}".format)
    name = factory.LazyAttribute(lambda row: row.path.rsplit("/", 1)[-1])
    key = factory.LazyAttribute(lambda row: row.path.casefold())


class LotFactory(DjangoModelFactory):
    class Meta:
        model = Lot

    bench = factory.SubFactory(BenchFactory)
    workshop = factory.SelfAttribute("bench.workshop")
    item = factory.SubFactory(ItemFactory, workshop=factory.SelfAttribute("..workshop"))
    code = factory.Sequence("L{}".format)


class SetAsideFactory(DjangoModelFactory):
    class Meta:
        model = SetAside

    lot = factory.SubFactory(LotFactory)
    workshop = factory.SelfAttribute("lot.workshop")
    quantity = Decimal(1)


class CrateFactory(DjangoModelFactory):
    class Meta:
        model = Crate

    bench = factory.SubFactory(BenchFactory)
    workshop = factory.SelfAttribute("bench.workshop")
    code = factory.Sequence("CRATE-{}".format)


class PackingLineFactory(DjangoModelFactory):
    class Meta:
        model = PackingLine

    crate = factory.SubFactory(CrateFactory)
    workshop = factory.SelfAttribute("crate.workshop")
    number = factory.Sequence("{}".format)
    item = factory.SubFactory(ItemFactory, workshop=factory.SelfAttribute("..workshop"))
    quantity = Decimal(10)
    open_quantity = factory.SelfAttribute("quantity")


class BagFactory(DjangoModelFactory):
    class Meta:
        model = Bag

    crate = factory.SubFactory(CrateFactory)
    workshop = factory.SelfAttribute("crate.workshop")
    path = factory.Sequence("{}A".format)
    name = factory.LazyAttribute(lambda row: row.path.rsplit("/", 1)[-1])


class LabelFactory(DjangoModelFactory):
    class Meta:
        model = Label

    lot = factory.SubFactory(LotFactory)
    workshop = factory.LazyAttribute(lambda row: (row.lot or row.bag or row.place).workshop)
    token = factory.Sequence(make_token)


class LabelSheetFactory(DjangoModelFactory):
    class Meta:
        model = LabelSheet

    workshop = factory.SubFactory(WorkshopFactory)
    name = factory.Sequence("Sheet {}".format)
    page_width, page_height = 210, 297
    left, top = 8, 12
    columns, rows = 3, 8
    label_width, label_height = 63, 34
    gap_x, gap_y = 2, 0


class ProjectFactory(DjangoModelFactory):
    class Meta:
        model = Project

    bench = factory.SubFactory(BenchFactory)
    workshop = factory.SelfAttribute("bench.workshop")
    code = factory.Sequence("P{}".format)
    name = factory.LazyAttribute(lambda row: f"Project {row.code}")


class SectionFactory(DjangoModelFactory):
    class Meta:
        model = Section
        django_get_or_create = ("project", "name")

    project = factory.SubFactory(ProjectFactory)
    workshop = factory.SelfAttribute("project.workshop")
    name = "Floats"
    position = 1


class StepFactory(DjangoModelFactory):
    class Meta:
        model = Step
        skip_postgeneration_save = True

    project = factory.SubFactory(ProjectFactory)
    workshop = factory.SelfAttribute("project.workshop")
    section = factory.SubFactory(SectionFactory, project=factory.SelfAttribute("..project"))
    code = factory.Sequence("F{}".format)
    title = "Rivet the skin"
    position = factory.Sequence(lambda n: n)

    @factory.post_generation
    def after(self, create, steps, **_):
        for step in steps or []:
            StepAfter.objects.create(workshop=self.workshop, step=self, after=step)


class CallOutFactory(DjangoModelFactory):
    class Meta:
        model = CallOut

    step = factory.SubFactory(StepFactory)
    workshop = factory.SelfAttribute("step.workshop")
    item = factory.SubFactory(ItemFactory, workshop=factory.SelfAttribute("..workshop"))
    quantity = Decimal(1)


class RivetRowFactory(DjangoModelFactory):
    class Meta:
        model = RivetRow

    step = factory.SubFactory(StepFactory)
    workshop = factory.SelfAttribute("step.workshop")
    code = factory.Sequence("R{}".format)
    rivet = factory.SubFactory(ItemFactory, workshop=factory.SelfAttribute("..workshop"), kind="rivet", diameter=Fraction(1, 8))
    holes = 10


class SeamFactory(DjangoModelFactory):
    class Meta:
        model = Seam

    step = factory.SubFactory(StepFactory)
    workshop = factory.SelfAttribute("step.workshop")
    code = factory.Sequence("S{}".format)
    sealant = factory.SubFactory(
        ItemFactory, workshop=factory.SelfAttribute("..workshop"), kind="sealant", unit="g", gravity=Decimal("1.55")
    )
    shape = "triangle"
    length = Fraction(1)
    unit = "m"
    leg_a = Fraction(6)
    leg_b = Fraction(6)
    size_unit = "mm"


class SealingSupplyFactory(DjangoModelFactory):
    class Meta:
        model = SealingSupply

    workshop = factory.SubFactory(WorkshopFactory)
    name = factory.Sequence("Cup {}".format)
    quantity = Decimal(1)
    unit = "ea"


def stock(lot, quantity, place=None, by=None):
    """Put `quantity` of `lot` into `place` as a supplier's delivery, ledger and holding alike."""
    workshop = lot.workshop
    place = place or PlaceFactory(workshop=workshop)
    named = {"name": "supplier", "path": "supplier"}
    supplier, _ = Place.objects.get_or_create(workshop=workshop, end="supplier", key="supplier", defaults=named)
    by = by or MemberFactory(workshop=workshop)
    Movement.objects.create(workshop=workshop, lot=lot, quantity=Decimal(quantity), source=supplier, target=place, by=by, on=DAY)
    holding, _ = Holding.objects.get_or_create(workshop=workshop, lot=lot, place=place, defaults={"quantity": Decimal(0)})
    holding.quantity += Decimal(quantity)
    holding.save()
    return holding


class LoadJobFactory(DjangoModelFactory):
    """A load whose files are gone."""

    class Meta:
        model = LoadJob

    by = factory.SubFactory(MemberFactory)
    workshop = factory.SelfAttribute("by.workshop")
    key = factory.Faker("uuid4")
    kind = "catalogue"
    files = factory.LazyAttribute(lambda row: [{"name": f"{row.workshop.code}.csv", "stored": "0.csv", "sheets": [SHEET]}])
    made_at = factory.LazyFunction(timezone.now)


SHEET = {"sheet": "", "titles": [], "rows": 0, "fault": ""}


def furnished_workshop(code):
    """A workshop with one of everything, named so that a leak shows."""
    workshop = WorkshopFactory(code=code)
    bench = BenchFactory(workshop=workshop, code=f"{code}-BENCH", shared=True)
    DeviceFactory(member=MemberFactory(workshop=workshop, name=f"{code} owner"), name=f"{code} device")
    item = ItemFactory(workshop=workshop, code=f"{code}-ITEM")
    lot = LotFactory(bench=bench, item=item, code=f"{code}-LOT")
    stock(lot, 100)
    project = ProjectFactory(bench=bench, code=f"{code}-PROJECT")
    step = StepFactory(project=project, code=f"{code}-STEP")
    CallOutFactory(step=step, item=item, quantity=Decimal(120))
    PackingLineFactory(crate=CrateFactory(bench=bench, code=f"{code}-CRATE"), item=item)
    SetAsideFactory(lot=lot, ref="step:0")
    SealingSupplyFactory(workshop=workshop, name=f"{code}-CUP")
    return workshop
